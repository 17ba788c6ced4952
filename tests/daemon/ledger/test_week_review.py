"""The review of the last week: what counts as told, done, called off, and in vain.

Days and numbers are invented; the expected results were counted by hand.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from sillward.ledger import StoredChore
from sillward.ledger.week_review import Archive, Read, ReviewedNight, WeekReview, review_of
from sillward_rules.chore import ChoreKind, Grounds
from sillward_rules.weather.night_summary import NightForecast
from tests.support.chores import a_chore
from tests.support.desks import SITE, local

TODAY = date(2026, 5, 17)
FIRST, LAST = date(2026, 5, 10), date(2026, 5, 16)
NIGHT = date(2026, 5, 14)
DUSK = {NIGHT: local("17:00", NIGHT)}
SOURCES = ("one", "two")


def chore(
    day: date = NIGHT,
    kind: ChoreKind = ChoreKind.CARRY_IN,
    *plants: str,
    number: int = 1,
    value: float | None = 3.0,
    limit: float = 8.0,
    quantity: str = "leaf temperature",
    done: bool = False,
    minutes_after: int = 0,
    called_off: bool = False,
    declined: bool = False,
) -> StoredChore:
    at = local("18:00", day)
    told = a_chore(
        f"{day}-{kind.value}-bench-to-room-{number}",
        at,
        kind,
        plants or ("Left pot",),
        quantity=quantity,
        values=[value],
        limit=limit,
    )
    return StoredChore(
        told,
        done_at=at + timedelta(minutes=minutes_after) if done else None,
        called_off_at=at if called_off else None,
        declined_at=at if declined else None,
    )


def forecast(low_c: float, at: datetime, source: str = "one", night: date = NIGHT) -> Archive:
    low_at = local("07:00", night + timedelta(days=1))
    return [(source, at, NightForecast(night, 1.0, low_c, low_at, None, None, None, None))]


def at_dusk(low_c: float, source: str = "one") -> Archive:
    return forecast(low_c, local("16:40"), source)


def next_morning(low_c: float, source: str = "one") -> Archive:
    return forecast(low_c, local("06:10", NIGHT + timedelta(days=1)), source)


def of(
    *chores: StoredChore, missed: int = 0, archive: Archive = (), read: Read | None = None
) -> WeekReview:
    return review_of(SITE, TODAY, chores, missed, archive, SOURCES, DUSK, read)


# -- orders


def test_seven_whole_days_before_today_are_looked_at() -> None:
    days = [FIRST - timedelta(days=1), FIRST, LAST, TODAY]

    week = of(*(chore(day) for day in days))

    assert (week.first, week.last, week.told) == (FIRST, LAST, 2)


def test_what_was_told_done_called_off_and_missed_is_counted() -> None:
    week = of(
        chore(done=True),
        chore(number=2),
        chore(NIGHT, ChoreKind.CARRY_IN, "Right pot", number=3, called_off=True),
        chore(NIGHT, ChoreKind.COVER, done=True),
        missed=2,
    )

    assert (week.told, week.done, week.called_off, week.missed) == (4, 2, 1, 2)


def test_what_the_grower_declined_is_counted_apart() -> None:
    declined = chore(NIGHT, ChoreKind.CARRY_IN, "Right pot", number=2, declined=True)

    week = of(chore(done=True), declined)

    assert (week.told, week.done, week.called_off, week.declined) == (2, 1, 0, 1)


@pytest.mark.parametrize("kind", [ChoreKind.MIST, ChoreKind.CARRY_OUT, ChoreKind.STOP_WETTING])
def test_what_no_plant_pays_for_is_no_order(kind: ChoreKind) -> None:
    assert of(chore(NIGHT, kind)).told == 0


def test_an_order_that_only_moved_to_another_hour_counts_once() -> None:
    was = chore(NIGHT, ChoreKind.CARRY_IN, "Left pot", called_off=True)
    now = chore(NIGHT, ChoreKind.CARRY_IN, "Left pot", "Right pot", number=2)
    other_day = replace(now, chore=replace(now.chore, id=now.id.replace("05-14", "05-15")))

    assert (of(was, now).told, of(was, now).called_off, of(was, now).false_alarms) == (1, 0, 0)
    assert (of(was, other_day).told, of(was, other_day).called_off) == (2, 1)


# -- nights


def test_a_night_is_judged_by_the_last_forecasts_before_dusk_and_in_the_morning() -> None:
    early = forecast(9.0, local("10:00"))
    evening = forecast(8.0, local("22:00"))
    small_hours = forecast(7.0, local("02:00", NIGHT + timedelta(days=1)))

    week = of(archive=[*next_morning(4.5), *small_hours, *evening, *at_dusk(3.0), *early])

    assert week.nights == (ReviewedNight(NIGHT, 3.0, 4.5),)
    assert week.nights[0].off_k == 1.5


@pytest.mark.parametrize(
    "archive",
    [
        (),
        at_dusk(3.0),
        next_morning(4.0),
        [*at_dusk(3.0), *forecast(4.0, local("23:30"))],
        [*at_dusk(3.0, "one"), *next_morning(4.0, "two")],
        [*forecast(3.0, local("17:10")), *next_morning(4.0)],
        [*at_dusk(3.0, "third"), *next_morning(4.0, "third")],
    ],
    ids=["none", "no morning", "no dusk", "not after midnight", "two sources", "after dusk", "?"],
)
def test_a_night_is_left_out_if_not_both_are_known_of_one_source(archive: Archive) -> None:
    assert of(archive=archive).nights == ()


def test_the_source_that_comes_first_is_believed() -> None:
    second = [*at_dusk(1.0, "two"), *next_morning(1.0, "two")]

    assert of(archive=second).nights == (ReviewedNight(NIGHT, 1.0, 1.0),)
    both = of(archive=[*second, *at_dusk(3.0), *next_morning(4.0)])
    assert both.nights == (ReviewedNight(NIGHT, 3.0, 4.0),)


def test_a_night_whose_dusk_was_not_told_is_left_out() -> None:
    archive = [*at_dusk(3.0), *next_morning(4.0)]

    assert review_of(SITE, TODAY, (), 0, archive, SOURCES, {}).nights == ()


def test_midnight_is_that_of_the_site() -> None:
    """03:00 UTC in Mendoza."""
    before = forecast(4.0, datetime(2026, 5, 15, 2, 59, tzinfo=UTC))
    after = forecast(5.0, datetime(2026, 5, 15, 3, 0, tzinfo=UTC))

    assert of(archive=[*at_dusk(3.0), *before]).nights == ()
    assert of(archive=[*at_dusk(3.0), *before, *after]).nights == (ReviewedNight(NIGHT, 3.0, 5.0),)


# -- false alarms


@pytest.mark.parametrize(("came_c", "alarms"), [(3.0, 0), (8.9, 0), (9.0, 1), (12.0, 1)])
def test_a_night_that_came_1_k_above_the_limit_was_a_false_alarm(
    came_c: float, alarms: int
) -> None:
    """The leaf was to have 3 °C as the air, the limit is 8."""
    week = of(chore(), archive=[*at_dusk(3.0), *next_morning(came_c)])

    assert week.false_alarms == alarms


def test_the_leaf_is_taken_to_come_as_much_milder_as_the_air() -> None:
    """Told 6 °C where the air has 8: at 11 °C of air the leaf has 9, 1 K above its limit."""
    archive = [*at_dusk(8.0), *next_morning(11.0)]

    assert of(chore(value=6.0), archive=archive).false_alarms == 1
    assert of(chore(value=5.9), archive=archive).false_alarms == 0


def test_what_was_told_in_and_called_off_was_one() -> None:
    assert of(chore(called_off=True)).false_alarms == 1
    assert of(chore(NIGHT, ChoreKind.COVER, called_off=True)).false_alarms == 0


@pytest.mark.parametrize("unknown", [chore(value=None), chore(quantity="gust", value=20.0)])
def test_an_order_for_another_reason_than_cold_or_for_none_is_not_judged(
    unknown: StoredChore,
) -> None:
    assert of(unknown, archive=[*at_dusk(3.0), *next_morning(15.0)]).false_alarms == 0


def test_one_plant_under_its_limit_is_enough_for_it_to_be_none() -> None:
    two = chore(NIGHT, ChoreKind.CARRY_IN, "Left pot", "Right pot")
    (left, mild), (right, _) = two.chore.grounds
    strict = replace(mild, plant=right[0], limit=12.0)
    two = replace(two, chore=replace(two.chore, grounds=Grounds.of((left, mild), (right, strict))))

    assert of(two, archive=[*at_dusk(3.0), *next_morning(10.0)]).false_alarms == 0


# -- confirmations


@pytest.mark.parametrize(("minutes_after", "late"), [(-30, 0), (15, 0), (16, 1)])
def test_a_confirmation_is_late_a_quarter_of_an_hour_after_the_deadline(
    minutes_after: int, late: int
) -> None:
    week = of(chore(done=True, minutes_after=minutes_after), chore(number=2))

    assert (week.done, week.late) == (1, late)


def test_where_a_thermometer_was_read_it_says_what_came() -> None:
    archive = [*at_dusk(3.0), *next_morning(9.5)]

    both = of(archive=archive, read=Read("pergola", {NIGHT: -1.2}))
    no_morning = of(archive=at_dusk(3.0), read=Read("pergola", {NIGHT: -1.2}))
    other = of(archive=archive, read=Read("pergola", {NIGHT - timedelta(days=3): -1.2}))

    for week in (both, no_morning):
        (night,) = week.nights
        assert (night.last_c, night.off_k, night.measured) == pytest.approx((1.8, -1.2, True))
        assert week.thermometer == "pergola"
    assert other.nights == (ReviewedNight(NIGHT, 3.0, 9.5),)
    assert other.thermometer is None
