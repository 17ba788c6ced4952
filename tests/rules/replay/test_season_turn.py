"""Which turn of the season is told, and in which weeks."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward_rules.plants.collection import Collection
from sillward_rules.remark import NightsSafe
from sillward_rules.replay.past_nights import PastNights
from sillward_rules.replay.season import NightLimit, season_outlook
from sillward_rules.replay.season_turn import TOLD_DAYS, SafePart, safe_part, season_turn
from sillward_rules.weather.year_day import YearDay
from tests.support.core import OPEN_BENCH, WARM_ROOM, collection, plant

WALL = replace(OPEN_BENCH, name="wall")

TENDER, HARDY = NightLimit("bench", 14.0), NightLimit("bench", 8.0)


def place() -> Collection:
    return collection(
        plant("A", night_low=14.0), plant("B", night_low=14.0), plant("C", night_low=8.0),
        plant("D", night_low=8.0, home="wall"),
        spots=(OPEN_BENCH, WALL, WARM_ROOM),
    )  # fmt: skip


KEPT = (
    SafePart(TENDER, YearDay(11, 20), YearDay(3, 10), 12),
    SafePart(HARDY, YearDay(10, 5), YearDay(5, 2), 11),
    SafePart(NightLimit("wall", 8.0), YearDay(9, 20), YearDay(5, 20), 12),
)


def turn(today: date, *parts: SafePart) -> NightsSafe | None:
    return season_turn(place(), parts or KEPT, today)


@pytest.mark.parametrize(
    ("today", "told"),
    [
        (date(2026, 1, 10), None),
        (date(2026, 2, 20), NightsSafe("bench", ("A", "B", "C"), date(2026, 3, 9), False, 11)),
        (date(2026, 3, 10), None),
        (date(2026, 4, 20), NightsSafe("bench", ("C",), date(2026, 5, 1), False, 11)),
        (date(2026, 5, 5), NightsSafe("wall", ("D",), date(2026, 5, 19), False, 12)),
        (date(2026, 7, 1), None),
        (date(2026, 9, 12), NightsSafe("bench", ("C",), date(2026, 10, 5), True, 11)),
        (date(2026, 11, 1), NightsSafe("bench", ("A", "B", "C"), date(2026, 11, 20), True, 11)),
        (date(2026, 11, 20), NightsSafe("bench", ("A", "B", "C"), date(2026, 11, 20), True, 11)),
        (date(2026, 11, 21), None),
    ],
)
def test_a_turn_is_told_in_the_weeks_before_it_and_only_there(
    today: date, told: NightsSafe | None
) -> None:
    assert turn(today) == told


def test_what_is_told_was_kept_and_lies_within_four_weeks() -> None:
    days = 0
    for number in range(2 * 365):
        today = date(2027, 1, 1) + timedelta(days=number)
        found = turn(today)
        if found is None:
            continue
        days += 1
        assert 0 <= (found.day - today).days < TOLD_DAYS
        for part in KEPT:
            members = {"bench": "ABC", "wall": "D"}[part.limit.spot]
            counted = {name for name in members if name in found.plants}
            if part.limit.spot == found.spot and counted and part.has(found.day):
                assert found.years <= part.years
    assert 0 < days < 2 * 365 * 0.6


def test_the_turn_of_the_year_is_no_obstacle() -> None:
    part = SafePart(TENDER, YearDay(1, 5), YearDay(3, 10), 12)

    found = turn(date(2026, 12, 24), part)

    assert found == NightsSafe("bench", ("A", "B"), date(2027, 1, 5), True, 12)


def test_plants_that_are_safe_all_year_are_counted_with_the_others() -> None:
    parts = (KEPT[0], SafePart(HARDY, None, None, 12))

    found = turn(date(2026, 11, 1), *parts)

    assert found is not None
    assert found.plants == ("A", "B", "C")
    assert turn(date(2026, 11, 1), parts[1]) is None


def test_limits_that_no_plant_has_any_more_are_left_out() -> None:
    gone = SafePart(NightLimit("bench", 20.0), YearDay(11, 20), YearDay(3, 10), 12)

    assert turn(date(2026, 11, 1), gone) is None


@pytest.mark.parametrize(
    ("low_c", "kept"), [(20.0, (None, None)), (2.0, None)], ids=["never cold", "always cold"]
)
def test_what_is_kept_of_an_outlook(
    low_c: float, kept: tuple[YearDay | None, YearDay | None] | None
) -> None:
    low = np.full((4000, 1), low_c)
    outlook = season_outlook(
        collection(plant(night_low=13.0)), PastNights(date(2001, 1, 1), ("bench",), low, low)
    )

    part = safe_part(outlook.limits[0])

    assert (part and (part.since, part.until)) == kept
