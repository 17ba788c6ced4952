"""The season that a plant is remembered to be in, over real years and invented days."""

import csv
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.plants.season_memory import (
    DAYS_RUNNING,
    FORGOTTEN_AFTER,
    SEEN_HOLDS,
    STEP_DAYS,
    WAKES,
    SeasonMemory,
    more_restful,
    seen_growing,
)
from sillward_rules.weather.season import (
    GROWS,
    Grows,
    Season,
    day_length_h,
    running_mean_c,
    season_of,
)
from sillward_rules.weather.site import Site
from tests.support import airport
from tests.support.core import MENDOZA
from tests.support.paths import EXAMPLES

STEPS = [Season.REST, Season.SLOWING, Season.GROWING]
FIRST = date(2025, 3, 1)
NEW_YORK = {"EWR": (40.69, -74.17), "LGA": (40.78, -73.87), "JFK": (40.64, -73.78)}

repeatable = settings(deadline=None, derandomize=True)


def follow(days: list[Season], start: SeasonMemory) -> list[SeasonMemory]:
    """What is remembered after each day."""
    memories = [start]
    for number, raw in enumerate(days, start=1):
        last = memories[-1]
        memories.append(last.after(FIRST + timedelta(days=number), raw))
    return memories


def began(season: Season) -> SeasonMemory:
    return SeasonMemory(season, FIRST, FIRST)


# -- real years


@cache
def year_of(place: str) -> tuple[np.ndarray, np.ndarray]:
    """Day lengths [h] and means of the days around [°C] of a year."""
    if place == "Mendoza":
        site = MENDOZA
        text = (EXAMPLES / "past-year.csv").read_text(encoding="utf-8")
        rows = list(csv.reader(text.splitlines()))[4:]
        times = np.array([int(row[0]) for row in rows])
        temp = np.array([float(row[1] or "nan") for row in rows])
    else:
        site = Site(place, *NEW_YORK[place], 5, ZoneInfo("America/New_York"))
        hours = airport.hourly(place)
        times = np.array([int(moment.timestamp()) for moment in hours.index])
        temp = hours["temperature_2m"].to_numpy()
    mornings = times[0] + 86400 * np.arange(8, (times[-1] - times[0]) // 86400 - 7) + 11 * 3600
    days = [datetime.fromtimestamp(morning, UTC).date() for morning in mornings.tolist()]
    return (
        np.array([day_length_h(site, day) for day in days]),
        np.array([float(running_mean_c(times, temp, float(morning))) for morning in mornings]),
    )


def seasons_of(place: str, grows: Grows) -> tuple[list[Season], list[Season]]:
    """The season by each day alone, and as remembered."""
    length, mean = year_of(place)
    raw = season_of(length, mean, grows).tolist()
    memory = SeasonMemory(raw[0], FIRST, FIRST)
    remembered = [memory.season]
    for number in range(1, len(raw)):
        day = FIRST + timedelta(days=number)
        memory = memory.after(day, raw[number])
        remembered.append(memory.season)
    return raw, remembered


def changes(seasons: list[Season]) -> list[int]:
    return [number for number, (one, next_) in enumerate(pairwise(seasons)) if one is not next_]


def test_memory_takes_the_flips_out_of_real_years() -> None:
    flips = {"raw": 0, "remembered": 0}
    quick = {"raw": 0, "remembered": 0}
    for place in ("Mendoza", *NEW_YORK):
        for grows in GROWS:
            raw, remembered = seasons_of(place, grows)
            for name, seasons in (("raw", raw), ("remembered", remembered)):
                at = changes(seasons)
                flips[name] += len(at)
                # Taken back within three weeks.
                quick[name] += sum(
                    later - one < 21 and seasons[one] is seasons[later + 1]
                    for one, later in pairwise(at)
                )

    # Four changes are a year's own: sixteen classes and places have 64.
    assert flips == {"raw": 100, "remembered": 64}
    assert quick == {"raw": 35, "remembered": 0}


@pytest.mark.parametrize("place", ["Mendoza", *NEW_YORK])
@pytest.mark.parametrize("grows", GROWS)
def test_no_change_comes_much_later_than_the_days_running(place: str, grows: Grows) -> None:
    raw, remembered = seasons_of(place, grows)
    running = 0
    for was, now in zip(raw, remembered, strict=True):
        running = running + 1 if was is not now else 0
        assert running < DAYS_RUNNING + STEP_DAYS + 1


# -- what memory is


@repeatable
@given(days=st.lists(st.sampled_from(STEPS), max_size=60), start=st.sampled_from(STEPS))
def test_it_goes_by_one_step_at_a_time_and_towards_the_days(
    days: list[Season], start: Season
) -> None:
    memories = follow(days, began(start))

    for raw, (before, after) in zip(days, pairwise(memories), strict=True):
        step = STEPS.index(after.season) - STEPS.index(before.season)
        assert abs(step) <= 1
        assert step * (STEPS.index(raw) - STEPS.index(before.season)) >= 0
        assert after.changed == (step != 0)
        assert after.season is before.season or after.came_from is before.season


@repeatable
@given(days=st.lists(st.sampled_from(STEPS), max_size=60), start=st.sampled_from(STEPS))
def test_what_is_taken_back_in_time_changes_nothing(days: list[Season], start: Season) -> None:
    flickering = [day if number % DAYS_RUNNING else start for number, day in enumerate(days)]

    assert {memory.season for memory in follow(flickering, began(start))} == {start}


def test_enough_days_running_change_it_and_the_day_is_told_once() -> None:
    memories = follow([Season.SLOWING] * (DAYS_RUNNING + 3), began(Season.GROWING))

    assert [memory.season for memory in memories].index(Season.SLOWING) == DAYS_RUNNING
    assert [memory.changed for memory in memories].count(True) == 1
    assert not memories[0].changed


def test_from_rest_to_growth_it_takes_two_steps_a_week_apart() -> None:
    memories = follow([Season.GROWING] * 40, began(Season.REST))

    slowing = [memory.season for memory in memories].index(Season.SLOWING)
    growing = [memory.season for memory in memories].index(Season.GROWING)
    assert slowing == DAYS_RUNNING
    assert growing == slowing + STEP_DAYS


def test_what_wakes_is_known_for_some_weeks_or_until_a_root_is_seen() -> None:
    memories = follow([Season.GROWING] * 60, began(Season.REST))
    ended = FIRST + timedelta(days=DAYS_RUNNING)

    woken = [memory for memory in memories if memory.woke is not None]
    assert {memory.woke for memory in woken} == {ended}
    assert (woken[0].counted, woken[-1].counted) == (ended, ended + WAKES - timedelta(days=1))
    rooted = seen_growing(woken[3], woken[3].counted, Season.GROWING, woken[3].counted)
    assert rooted is not None
    assert rooted.woke is None
    leaf = seen_growing(began(Season.REST), FIRST, Season.SLOWING, FIRST)
    assert leaf is not None
    assert leaf.wakes(FIRST)
    again = follow([Season.REST] * 20, memories[20])
    assert not any(memory.woke for memory in again if memory.season is Season.REST)


def test_a_day_counts_once_and_old_memory_not_at_all() -> None:
    memory = began(Season.REST)
    late = FIRST + FORGOTTEN_AFTER + timedelta(days=1)

    assert memory.after(FIRST, Season.GROWING) is memory
    again = memory.after(late, Season.GROWING)
    assert again == SeasonMemory(Season.GROWING, late, late)


# -- the grower's eye


def test_growth_that_was_seen_ends_a_rest_and_holds_for_two_months() -> None:
    seen = seen_growing(began(Season.REST), FIRST, Season.GROWING, FIRST)
    assert seen is not None

    memories = follow([Season.REST] * 80, seen)

    ended = next(number for number, one in enumerate(memories) if one.season is not Season.GROWING)
    assert seen.season is Season.GROWING
    assert ended == SEEN_HOLDS.days + DAYS_RUNNING


def test_growth_never_takes_a_plant_towards_rest_nor_counts_for_ever() -> None:
    growing = began(Season.GROWING)
    long_after = FIRST + SEEN_HOLDS + timedelta(days=1)

    kept = seen_growing(growing, FIRST, Season.SLOWING, FIRST)
    assert kept is not None
    assert kept.season is Season.GROWING
    assert seen_growing(growing, FIRST, Season.GROWING, long_after) is growing
    assert seen_growing(None, FIRST, Season.GROWING, long_after) is None
    new = seen_growing(None, FIRST, Season.GROWING, FIRST)
    assert new is not None
    assert new.season is Season.GROWING


def test_the_more_restful_of_two() -> None:
    assert more_restful(Season.GROWING, Season.REST) is Season.REST
    assert more_restful(Season.SLOWING, Season.GROWING) is Season.SLOWING
