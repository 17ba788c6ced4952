"""What a plant went through, ranked: cold nights by harm, hot days, and what damage looks like."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.inquest import (
    LATE_WEIGHT,
    READ_SD_K,
    Cause,
    ColdNight,
    LateFeed,
    Stay,
    cold_nights,
    hot_days,
    ranked,
)
from sillward_rules.plants.limits import Limit
from sillward_rules.weather.climate import Climate, climate_of
from sillward_rules.weather.uncertainty import USUAL_ERROR_K
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM, daily_curve, plant, utc, weather

FIRST = date(2026, 5, 10)
DAYS = [FIRST + timedelta(days=number) for number in range(3)]
STRAP = plant(night_low=10.0)


def climate(*lows: float, high: float = 22.0) -> Climate:
    """Days with these lows at dawn, from the noon of the first day on."""
    start = utc("2026-05-09T16:00Z")
    days = [daily_curve(low, high, 24, warmest_utc=19) for low in (lows[0], *lows, lows[-1])]
    return climate_of(MENDOZA, (OPEN_BENCH, WARM_ROOM), weather(start, np.concatenate(days)))


def stay(day: date, *spots: str, read: float | None = None, is_known: bool = True) -> Stay:
    spots = spots or ("bench",)
    lows = {} if read is None else {spots[0]: read}
    return Stay(day, spots, spots[:1], is_known, lows)


def night(day: date, harm: float, low_c: float = 5.0) -> ColdNight:
    at = datetime.combine(day, datetime.min.time(), MENDOZA.zone)
    return ColdNight(day, "bench", True, low_c, at, 1.0, False, 10.0, 4.0, harm, harm)


def test_colder_nights_do_more_harm_where_the_plant_stood() -> None:
    mild, cold, _ = cold_nights(MENDOZA, STRAP, climate(12.0, 4.0, 12.0), [*map(stay, DAYS)])

    assert mild.harm < cold.harm
    assert cold.low_c < 5.0
    assert (cold.day, cold.spot, cold.is_read) == (DAYS[1], "bench", False)
    assert cold.limit_c == 10.0
    assert cold.sd_k == USUAL_ERROR_K[0]
    assert cold.hours > 3


def test_a_night_under_cover_does_none() -> None:
    stays = [stay(DAYS[0], "room")]

    (inside,) = cold_nights(MENDOZA, STRAP, climate(2.0, 2.0, 2.0), stays)
    assert (inside.harm, inside.hours, inside.low_c) == (0.0, 0.0, 16.0)


def test_the_colder_of_two_places_counts_where_it_is_not_known_which() -> None:
    stays = [stay(DAYS[0], "room", "bench", is_known=False)]

    (found,) = cold_nights(MENDOZA, STRAP, climate(2.0, 2.0, 2.0), stays)
    assert (found.spot, found.is_known) == ("bench", False)


def test_a_reading_moves_the_leaf_as_far_as_its_air() -> None:
    around = climate(8.0, 8.0, 8.0)
    (told,) = cold_nights(MENDOZA, STRAP, around, [stay(DAYS[0])])
    (read,) = cold_nights(MENDOZA, STRAP, around, [stay(DAYS[0], read=5.0)])

    air = around.temp_c[:, around.column("bench")]
    assert told.low_c - read.low_c == pytest.approx(float(air.min()) - 5.0, abs=0.2)
    assert (read.is_read, read.sd_k) == (True, READ_SD_K)


def test_a_night_that_is_not_known_is_left_out() -> None:
    later = DAYS[-1] + timedelta(days=30)

    assert cold_nights(MENDOZA, STRAP, climate(2.0, 2.0, 2.0), [stay(later)]) == []
    unlimited = replace(STRAP, limits=replace(STRAP.limits, night_low=None))
    assert cold_nights(MENDOZA, unlimited, climate(2.0, 2.0, 2.0), [stay(DAYS[0])]) == []


def test_a_second_cold_night_does_more_harm_than_the_first() -> None:
    _, first, second = cold_nights(MENDOZA, STRAP, climate(14.0, 8.5, 8.5), [*map(stay, DAYS)])

    assert second.harm / second.dose > first.harm / first.dose


def test_days_above_the_limit_of_heat_are_found() -> None:
    tender = replace(STRAP, limits=replace(STRAP.limits, day_high=Limit(30.0, "own")))

    days = hot_days(MENDOZA, tender, climate(15.0, 15.0, 15.0, high=35.0), [*map(stay, DAYS)])
    assert [day.day for day in days] == DAYS
    assert days[0].high_c == pytest.approx(35.0, abs=0.5)
    assert 0 < days[0].harm <= 1
    assert hot_days(MENDOZA, tender, climate(15.0, 15.0), [*map(stay, DAYS)]) == []
    unlimited = replace(STRAP, limits=replace(STRAP.limits, day_high=None))
    assert hot_days(MENDOZA, unlimited, climate(15.0, 15.0, high=45.0), [*map(stay, DAYS)]) == []


def test_the_most_harmful_night_is_the_likeliest_and_later_ones_are_left_out() -> None:
    seen = date(2026, 5, 20)
    nights = [night(date(2026, 5, 17), 0.3), night(date(2026, 5, 18), 0.6), night(seen, 1.0)]

    first, second = ranked(nights, seen)
    assert (first.event.day, second.event.day) == (date(2026, 5, 18), date(2026, 5, 17))
    assert first.is_likely
    assert first.cause is Cause.COLD


def test_a_night_long_before_counts_half() -> None:
    seen = date(2026, 5, 20)

    (found,) = ranked([night(seen - timedelta(days=18), 0.6)], seen)
    assert found.weight == pytest.approx(0.6 * LATE_WEIGHT)


def test_of_nights_that_count_alike_the_coldest_is_the_likeliest() -> None:
    seen = date(2026, 5, 20)
    nights = [night(date(2026, 5, 15), 1.0, 4.0), night(date(2026, 5, 16), 1.0, 3.0)]

    assert ranked(nights, seen)[0].event.day == date(2026, 5, 16)


@pytest.mark.parametrize(
    ("what", "cause"),
    [("", Cause.COLD), ("soft, water-soaked", Cause.COLD), ("burnt tips", Cause.SALT)],
)
def test_what_damage_looks_like_is_a_hint(what: str, cause: Cause) -> None:
    seen = date(2026, 5, 20)
    at = utc("2026-05-18T13:00Z")
    fed = LateFeed(date(2026, 5, 18), at, at - timedelta(hours=2))

    found = ranked([night(date(2026, 5, 18), 0.2), fed], seen, what)
    assert found[0].cause is cause
