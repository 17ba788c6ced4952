"""The review of the last week in words."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.week_review import ReviewedNight, WeekReview
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import last_week
from tests.support.desks import SITE

VOICE = Voice(SITE)

QUIET = WeekReview(
    date(2026, 5, 10),
    date(2026, 5, 16),
    told=0,
    done=0,
    late=0,
    called_off=0,
    missed=0,
    false_alarms=0,
    nights=(),
)


def test_a_review_is_told_in_few_lines() -> None:
    nights = (ReviewedNight(date(2026, 5, 14), 3.0, 9.5),)
    review = replace(QUIET, told=2, done=1, missed=1, false_alarms=2, nights=nights)

    lines = last_week.lines(review, VOICE)

    assert lines == [
        "LAST WEEK, SUN 10 MAY TO SAT 16 MAY",
        "  2 orders told, 1 acknowledged; 1 message missed.",
        "  The low forecast at dusk was off by 6.5 °C on average over 1 night, most on Thu "
        "(6.5 °C milder); judged by the next morning's forecast, as nothing was measured.",
        "  2 false alarms: told to come in, then called off or 1.0 °C above the limit by that"
        " measure.",
        "    Thu 14 May  3.0 °C at dusk, 9.5 °C next morning: 6.5 °C milder",
    ]


def test_where_a_thermometer_was_read_the_review_says_so() -> None:
    nights = (ReviewedNight(date(2026, 5, 14), 3.0, 1.8, measured=True),)

    _, _, forecast, night = last_week.lines(
        replace(QUIET, nights=nights, thermometer="pergola"), VOICE
    )

    assert "(1.2 °C colder); judged by the thermometer at pergola." in forecast
    assert night == "    Thu 14 May  3.0 °C at dusk, 1.8 °C read: 1.2 °C colder"


def test_what_was_noted_is_one_sentence_and_texts_alone_are_not_told() -> None:
    at = datetime(2026, 5, 14, 12, tzinfo=UTC)

    def seen(plant: str, kind: EntryKind, amount: str | None = None) -> DiaryEntry:
        return DiaryEntry(plant, at, at, kind, "a text", amount=amount)

    entries = (
        seen("Blue basket", EntryKind.FLOWER, "3"),
        seen("Blue basket", EntryKind.OBSERVATION),
        seen("Wax\x1b[2J vine", EntryKind.DAMAGE, "some"),
        seen("Grey curls", EntryKind.MOVE),
    )
    *_, told = last_week.sentences(replace(QUIET, seen=entries), VOICE)
    assert told == "In the diary: Blue basket, 3 flowers opened; Wax [2J vine, damage: some."
    *_, told = last_week.sentences(replace(QUIET, seen=entries * 5), VOICE)
    assert told.endswith("damage: some; and 6 more.")
    assert len(last_week.sentences(replace(QUIET, seen=entries[1:2]), VOICE)) == 2


@pytest.mark.parametrize(
    ("late", "words"), [(0, "1 acknowledged;"), (1, "1 acknowledged (1 after the hour);")]
)
def test_late_confirmations_are_told(late: int, words: str) -> None:
    review = replace(QUIET, told=2, done=1, late=late)

    assert words in last_week.lines(review, VOICE)[1]


def test_a_week_without_orders_is_short() -> None:
    assert last_week.lines(QUIET, VOICE)[1] == "  No orders; no message missed."


def test_a_week_without_comparable_nights_says_that_nothing_is_known() -> None:
    assert "is not known: too few forecasts are kept" in last_week.lines(QUIET, VOICE)[2]


@pytest.mark.parametrize(
    ("off_k", "words"),
    [
        (1.25, "1.2 °C milder"),
        (-0.4, "0.4 °C colder"),
        (0.04, "as forecast"),
        (-0.04, "as forecast"),
    ],
)
def test_how_far_off_a_forecast_was_is_told_with_its_side(off_k: float, words: str) -> None:
    assert VOICE.say("off", off_k=off_k) == words
