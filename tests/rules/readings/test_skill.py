"""How good forecasts have been, on nights of which the truth is known."""

from collections.abc import Mapping

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.skill import (
    DAYS,
    ENOUGH_NIGHTS,
    LEAST_NIGHTS,
    LeadSkill,
    ReadLows,
    Skill,
    skill,
)
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.uncertainty import USUAL_ERROR_K, USUAL_LEAD_H

SPOTS_K = np.array([1.5, -0.8])
"""How much warmer than the site the spots are."""


class Yard:
    """A site whose lows are known, with thermometers at two spots."""

    def __init__(self, nights: int, seed: int = 3) -> None:
        self.rng = np.random.default_rng(seed)
        self.nights = np.arange(739_000, 739_000 + nights)
        self.came_c = 5.0 + self.rng.normal(0.0, 4.0, nights)
        at_spots = self.came_c[:, None] + SPOTS_K + self.rng.normal(0.0, 0.5, (nights, 2))
        self.read = ReadLows(self.nights, at_spots)

    def told(self, sd_k: float, bias_k: float = 0.0, days: tuple[int, ...] = (1,)) -> PastLows:
        """A source whose lows are off by so much; twice a day, of which the first ones count."""
        count = self.nights.size
        lead_h = np.concatenate(
            [np.full(count, USUAL_LEAD_H[day - 1] + late) for day in days for late in (0.5, 3.0)]
        )
        off = [
            values
            for day in days
            for values in (self.rng.normal(bias_k * day, sd_k, count), np.full(count, 50.0))
        ]
        low_c = np.concatenate([self.came_c + each for each in off])
        nights = np.tile(self.nights, 2 * len(days))
        return PastLows(nights, lead_h, low_c, np.full(low_c.shape, np.nan))

    def skill(self, told: Mapping[str, PastLows]) -> Skill:
        return skill(told, self.read)


def only(found: Skill) -> LeadSkill:
    (row,) = found.rows
    return row


def test_the_errors_are_those_at_a_spot_without_its_own_mean() -> None:
    yard = Yard(4000)

    row = only(yard.skill({"A": yard.told(1.2, bias_k=0.4)}))

    sd_k = (1.2**2 + 0.5**2) ** 0.5  # of the forecast, and of each spot by itself
    assert (row.source, row.day, row.nights) == ("A", 1, 4000)
    assert row.bias_k == pytest.approx(0.4 - SPOTS_K.mean(), abs=0.1)
    assert row.rmse_k == pytest.approx(sd_k, rel=0.03)
    assert row.mae_k == pytest.approx(sd_k * (2 / np.pi) ** 0.5, rel=0.03)
    assert row.within == pytest.approx(0.8, abs=0.02)  # of 1.3 K, as is usual
    assert row.range_off is not None
    assert row.range_off.mean == pytest.approx(row.within - 0.8)


def test_what_a_source_drifts_off_with_the_lead_time_stays() -> None:
    yard = Yard(3000)

    rows = yard.skill({"A": yard.told(1.0, bias_k=0.7, days=(1, 3))}).rows

    assert [row.day for row in rows] == [1, 3]
    first, third = rows
    assert third.bias_k - first.bias_k == pytest.approx(1.4, abs=0.1)
    assert first.rmse_k**2 == pytest.approx(1.25, rel=0.06)
    assert third.rmse_k**2 == pytest.approx(1.25 + 1.4**2, rel=0.06)


def test_the_told_spread_counts_where_there_is_one_and_else_the_usual_one() -> None:
    yard = Yard(3000)
    told = yard.told(1.2)
    narrow = PastLows(told.night, told.lead_h, told.low_c, np.full(told.low_c.shape, 0.4))

    usual, few = (only(yard.skill({"A": source})) for source in (told, narrow))

    assert usual.crps_k < few.crps_k
    assert few.within < 0.4
    assert few.range_off is not None
    assert few.range_off.is_clear
    assert few.mae_k == usual.mae_k


def test_a_clearly_better_source_is_found_and_a_slightly_better_one_is_not_called_so() -> None:
    yard = Yard(200)

    clear = yard.skill({"A": yard.told(2.0, bias_k=0.1), "B": yard.told(1.0, bias_k=2.0)})
    alike = yard.skill({"A": yard.told(1.3), "B": yard.told(1.25)})
    worse = yard.skill({"A": yard.told(1.0), "B": yard.told(2.0)})

    assert clear.better is not None
    assert (clear.better.source, clear.better.other) == ("A", "B")
    assert clear.better.better_k.pairs == 200
    assert clear.better.better_k.low < 0.7 < clear.better.better_k.high
    assert alike.better is None
    assert worse.better is None
    assert worse.comparisons[0].better_k.high < 0


def test_of_several_better_sources_the_best_is_named() -> None:
    yard = Yard(200)
    told = {"A": yard.told(2.5), "B": yard.told(1.5), "C": yard.told(0.8), "D": yard.told(3.0)}

    found = yard.skill(told)

    assert found.better is not None
    assert found.better.other == "C"
    alone = yard.skill({name: told[name] for name in "AC"}).better
    assert alone is not None
    assert alone.better_k.low > found.better.better_k.low, "three comparisons widen each other"


def test_sources_that_are_alike_are_rarely_called_different() -> None:
    called = 0
    for seed in range(200):
        yard = Yard(ENOUGH_NIGHTS, seed)
        found = yard.skill({"A": yard.told(1.3), "B": yard.told(1.3, bias_k=1.0)})
        called += found.comparisons[0].better_k.is_clear

    assert called <= 18  # 10 are expected; 19 or more come once in 200


def test_nights_that_were_not_read_or_not_told_do_not_count() -> None:
    yard = Yard(60)
    yard.read.low_c[:20] = np.nan
    yard.read.low_c[20:30, 1] = np.nan  # one spot is enough
    told, other = yard.told(1.0), yard.told(1.0)
    later = other.night >= yard.nights[25]
    other = PastLows(*(column[later] for column in columns(other)))

    found = yard.skill({"A": told, "B": other})

    assert [row.nights for row in found.rows] == [40, 35]
    assert found.comparisons[0].better_k.pairs == 35


def columns(told: PastLows) -> tuple[Array, ...]:
    return told.night, told.lead_h, told.low_c, told.sd_k


def test_of_few_nights_nothing_is_said() -> None:
    few, enough = Yard(LEAST_NIGHTS - 1), Yard(LEAST_NIGHTS)
    assert few.skill({"A": few.told(1.0)}) == Skill((), ())
    assert only(enough.skill({"A": enough.told(1.0)})).nights == LEAST_NIGHTS

    almost = Yard(ENOUGH_NIGHTS - 1)
    found = almost.skill({"A": almost.told(2.0), "B": almost.told(0.1)})
    assert len(found.rows) == 2
    assert found.comparisons == ()


def test_a_spot_with_few_nights_is_left_out() -> None:
    yard = Yard(50)
    with_both = yard.skill({"A": yard.told(1.0)})
    yard.read.low_c[9:, 1] = np.nan
    yard.read.low_c[:9, 1] = 99.0
    told = Yard(50).told(1.0)

    found = yard.skill({"A": told})

    assert only(found).nights == 50
    assert only(found).mae_k < 2.0
    assert only(found).bias_k == pytest.approx(-SPOTS_K[0], abs=0.5)
    assert only(with_both).nights == 50


def test_without_anything_nothing_is_said() -> None:
    nothing = ReadLows(np.empty(0, np.int64), np.empty((0, 0)))
    yard = Yard(50)

    assert skill({}, nothing) == Skill((), ())
    assert skill({"A": yard.told(1.0)}, nothing) == Skill((), ())
    assert skill({}, yard.read) == Skill((), ())


def test_there_is_a_usual_error_for_each_lead_day() -> None:
    assert len(DAYS) == len(USUAL_ERROR_K) == len(USUAL_LEAD_H)
