"""Shelters that will not hold are told once, and again when it gets worse."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.service.due_rounds import Occasion
from sillward.service.shelter_news import TOLD_FOR, TOLD_MARK, remember, without_old_news
from sillward_rules.remark import Plain, Remark, ShelterFailing
from sillward_rules.sheet import Round, Sheet, draw_up
from tests.support.core import MENDOZA, collection, daily_curve, weather

SITE = MENDOZA.name
NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)
TODAY = date(2026, 5, 14)
FRIDAY, SATURDAY = date(2026, 5, 15), date(2026, 5, 16)
HALL = ShelterFailing(
    ("Anemone", "Boat"), "hall", (FRIDAY, SATURDAY), SATURDAY, 11.6, 0.8, 13.0, "room", 16.0
)
OTHER = Plain("something else")


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(IN_MEMORY)) as opened:
        yield opened


def occasion(day: date = TODAY, round_: Round = Round.DUSK) -> Occasion:
    return Occasion(round_, day, NOW, NOW + timedelta(hours=12))


def sheet(*remarks: Remark, round_: Round = Round.DUSK) -> Sheet:
    forecast = weather(NOW.replace(hour=0), daily_curve(14, 22, 96))
    drawn = draw_up(round_, collection(), replace(forecast, fetched_at=NOW), {}, NOW)
    return replace(drawn, warnings=tuple(remarks))


def tell(ledger: Ledger, *remarks: Remark, day: date = TODAY, reaches: bool = True) -> Sheet:
    """Tell a dusk round; return what it says."""
    told = without_old_news(sheet(*remarks), occasion(day), SITE, ledger)
    ledger.keep_round(SITE, "dusk", day, NOW, notices=(), chores=(), states_now={})
    if reaches:
        ledger.database.execute("UPDATE round SET delivered = 1 WHERE day = ?", str(day))
    remember(told, occasion(day), SITE, ledger, NOW)
    return told


def test_it_is_told_once(ledger: Ledger) -> None:
    assert tell(ledger, HALL, OTHER).warnings == (HALL, OTHER)

    assert tell(ledger, HALL, OTHER, day=FRIDAY).warnings == (OTHER,)
    # A forecast that moves by half a degree is no news, and neither is a night that is over.
    later = replace(HALL, nights=(SATURDAY,), low_c=11.1)
    assert tell(ledger, later, day=SATURDAY).warnings == ()


@pytest.mark.parametrize(
    "worse",
    [
        replace(HALL, low_c=10.5),
        replace(HALL, plants=("Anemone", "Boat", "Clover")),
        replace(HALL, nights=(TODAY, FRIDAY, SATURDAY)),
        replace(HALL, nights=(date(2026, 5, 19),)),
        replace(HALL, spot="shed"),
    ],
    ids=["colder", "another plant", "sooner", "another spell", "another spot"],
)
def test_what_is_worse_or_new_is_told_again(ledger: Ledger, worse: ShelterFailing) -> None:
    tell(ledger, HALL)

    assert tell(ledger, worse, day=FRIDAY).warnings == (worse,)
    assert tell(ledger, worse, day=SATURDAY).warnings == ()


def test_plants_that_go_two_ways_are_counted_together(ledger: Ledger) -> None:
    one = replace(HALL, plants=("Anemone",))
    two = replace(HALL, plants=("Boat",), better_spot=None, better_low_c=None)
    tell(ledger, one, two)

    assert tell(ledger, one, two, day=FRIDAY).warnings == ()


def test_what_reached_nobody_is_told_again(ledger: Ledger) -> None:
    tell(ledger, HALL, reaches=False)

    assert tell(ledger, HALL, day=FRIDAY).warnings == (HALL,)


def test_after_a_week_it_is_told_again(ledger: Ledger) -> None:
    tell(ledger, HALL)
    later = TODAY + TOLD_FOR
    lasting = replace(HALL, nights=(FRIDAY, *(later + timedelta(days=n) for n in range(2))))

    assert tell(ledger, lasting, day=later).warnings == (lasting,)


def test_the_week_has_it_every_time(ledger: Ledger) -> None:
    tell(ledger, HALL)
    week = sheet(HALL, round_=Round.WEEK)

    assert without_old_news(week, occasion(round_=Round.WEEK), SITE, ledger) is week
    before = ledger.marks.all()
    remember(week, occasion(round_=Round.WEEK), SITE, ledger, NOW)
    assert ledger.marks.all() == before


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"hall": 1}', '{"hall": {"day": "x"}}'])
def test_a_mark_that_cannot_be_read_tells_it_again(ledger: Ledger, text: str) -> None:
    ledger.marks.set(f"{TOLD_MARK}, {SITE}", NOW, text)

    assert tell(ledger, HALL).warnings == (HALL,)
    assert tell(ledger, HALL, day=FRIDAY).warnings == ()
