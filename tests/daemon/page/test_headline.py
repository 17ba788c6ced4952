"""The headline of the page: the most pressing thing to do."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sillward.ledger import StoredChore
from sillward.page.cards import Known, cards
from sillward.page.headline import headline
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import ForecastOld, NoForecast, NoShelter, Remark
from tests.support.chores import a_chore
from tests.support.core import MENDOZA

NOW = datetime(2026, 5, 14, 9, 0, tzinfo=MENDOZA.zone)
HOUR = timedelta(hours=1)
VOICE = Voice(MENDOZA)


def chore(
    kind: ChoreKind, due_in: timedelta, start_in: timedelta | None = None, *plants: str
) -> StoredChore:
    start = None if start_in is None else NOW + start_in
    plants = plants or (f"Plant of {kind.value}",)
    return StoredChore(a_chore(f"2026-05-14-{kind.value}", NOW + due_in, kind, plants, start=start))


def title(*stored: StoredChore, remarks: Sequence[Remark] = (), is_blind: bool = False) -> str:
    chores = {kept.id: kept.chore for kept in stored}
    shown = cards(stored, chores, ("bench", "room"), NOW, VOICE, Known(is_blind=is_blind))
    return headline(shown, remarks, NOW, VOICE, is_blind=is_blind)


def test_orders_come_first_and_nothing_is_urgent_only_if_there_is_nothing_to_do() -> None:
    into = chore(ChoreKind.CARRY_IN, HOUR)
    mist = chore(ChoreKind.MIST, HOUR / 6, -HOUR)

    assert title() == "Nothing is urgent"
    assert title(into, mist) == "Carry in 1 plant by 10:00"
    assert title(mist) == "Mist 1 plant by 09:10"


def test_by_day_it_says_what_a_message_of_the_morning_would() -> None:
    out = chore(ChoreKind.CARRY_OUT, 5 * HOUR, HOUR / 2)
    mist = chore(ChoreKind.MIST, HOUR / 6, -HOUR)
    shade = chore(ChoreKind.SHADE, 3 * HOUR)

    assert title(out, mist) == "Mist 1 plant by 09:10"
    assert title(out) == "Put out 1 plant from 09:30"
    assert title(shade) == "Shade 1 plant by 12:00"
    assert title(chore(ChoreKind.FEED, HOUR, -HOUR)) == "Feed by 10:00: 1 plant"
    assert title(chore(ChoreKind.STAY_IN, HOUR, -HOUR)) == "Nothing is urgent"


def test_without_a_forecast_tonight_is_not_called_calm() -> None:
    none, old = NoForecast(), ForecastOld(33.0, expired=True)
    into = chore(ChoreKind.CARRY_IN, HOUR)

    assert title(remarks=[none], is_blind=True) == "No forecast: treat tonight as cold"
    assert title(remarks=[old], is_blind=True) == ("The forecast is too old: treat tonight as cold")
    assert title(into, remarks=[none], is_blind=True) == (
        "Carry in 1 plant by 10:00, no forecast: treat tonight as cold"
    )


def test_a_plant_without_a_shelter_is_told() -> None:
    assert title(remarks=[NoShelter(("Fern", "Moth"))]) == "No shelter tonight for 2 plants"


def test_it_asks_about_last_night_unless_there_are_orders() -> None:
    asked = chore(ChoreKind.CARRY_IN, -HOUR * 15)
    cover = chore(ChoreKind.COVER, HOUR)

    assert title(asked) == "Did 1 plant go in last night?"
    assert title(asked, cover) == "Cover 1 plant by 10:00"
