"""The error of forecasts of a night's low, learned from how they were revised."""

from collections.abc import Mapping
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.weather.learned_error import (
    LEAD_H,
    LEAST_ERROR_K,
    MIN_NIGHTS,
    LearnedError,
    ReadNight,
    learned_error,
)
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.uncertainty import USUAL_ERROR_K, usual_error_k
from tests.support.core import utc

FIRST_NIGHT = LEAD_H.index(18.0)


def forecasts(off_k: Array, lead_h: float = 18.0, last_h: float = 1.0) -> LearnedError | None:
    """What is learned where each night has a last forecast of 5 °C and one that was off."""
    number = np.arange(off_k.size)
    return teach(
        np.concatenate([number, number]),
        np.concatenate([np.full(off_k.shape, last_h), np.full(off_k.shape, lead_h)]),
        np.concatenate([np.full(off_k.shape, 5.0), 5.0 + off_k]),
    )


def teach(
    night: np.ndarray, lead_h: Array, low_c: Array, read_c: Mapping[int, float] | None = None
) -> LearnedError | None:
    """What forecasts without a spread teach, with lows that were read [°C]."""
    told = PastLows(night, lead_h, low_c, np.full(low_c.shape, np.nan))
    return learned_error(told, {night: ReadNight(low_c) for night, low_c in (read_c or {}).items()})


def alternating(size_k: float, nights: int) -> Array:
    return np.where(np.arange(nights) % 2, size_k, -size_k)


def test_the_error_follows_from_the_formula() -> None:
    learned = forecasts(alternating(3.0, 40))

    assert learned is not None
    assert learned.lead_h == LEAD_H
    # 30 nights of the usual 1.3 K, 40 of 3 K with 1 K that the last forecast was off itself
    assert learned.sd_k[FIRST_NIGHT] == pytest.approx(((30 * 1.3**2 + 40 * (9 + 1)) / 70) ** 0.5)
    assert learned.nights == (0, 40, 0, 0, 0, 0, 0, 0)
    assert learned.origin == "errors learned from 40 nights"


def test_where_there_are_too_few_nights_the_usual_error_holds_but_never_less_than_before() -> None:
    learned = forecasts(alternating(3.0, 40))

    assert learned is not None
    assert learned.sd_k[0] == usual_error_k(6.0)
    # 2.53 K for the first night: more than is usual for the next four
    assert learned.sd_k[FIRST_NIGHT : FIRST_NIGHT + 5] == (learned.sd_k[FIRST_NIGHT],) * 5
    assert learned.sd_k[-2:] == USUAL_ERROR_K[-2:]


def test_with_fewer_than_a_month_of_nights_nothing_is_learned() -> None:
    assert forecasts(alternating(3.0, MIN_NIGHTS - 1)) is None
    assert forecasts(alternating(3.0, MIN_NIGHTS)) is not None
    assert forecasts(np.zeros(0)) is None


def test_a_night_whose_last_forecast_was_long_before_its_low_teaches_nothing() -> None:
    assert forecasts(alternating(3.0, 40), last_h=6.0) is not None
    assert forecasts(alternating(3.0, 40), last_h=6.1) is None


def test_a_source_that_agrees_with_itself_is_no_surer_than_usual() -> None:
    """No reading says that forecasts which are never revised are right."""
    learned = forecasts(np.zeros(10_000))

    assert learned is not None
    assert learned.nights[FIRST_NIGHT] == 10_000
    assert learned.sd_k == tuple(usual_error_k(LEAD_H).tolist())


def test_readings_may_show_that_forecasts_are_surer_than_usual() -> None:
    nights = np.tile(np.arange(400), 2)
    lead_h = np.repeat([1.0, 42.0], 400)
    low_c = np.full(800, 5.0)

    def learned(read: int) -> LearnedError:
        found = teach(nights, lead_h, low_c, dict.fromkeys(range(read), 5.0))
        assert found is not None
        return found

    second = LEAD_H.index(42.0)
    assert learned(MIN_NIGHTS - 1).sd_k[second] == USUAL_ERROR_K[1]
    # a month of readings counts alone: half of the answer is still what is usual
    assert learned(MIN_NIGHTS).nights[second] == MIN_NIGHTS
    assert learned(MIN_NIGHTS).sd_k[second] == pytest.approx(USUAL_ERROR_K[1] / 2**0.5)
    assert learned(400).sd_k[second] == LEAST_ERROR_K


def test_a_forecast_that_is_always_off_one_way_counts_as_off() -> None:
    one_way, both_ways = forecasts(np.full(40, 2.0)), forecasts(alternating(2.0, 40))

    assert one_way == both_ways


def test_of_each_night_the_forecast_nearest_to_the_lead_time_counts_once() -> None:
    number = np.repeat(np.arange(40), 5)
    lead_h = np.tile([12.5, 1.0, 17.5, 19.0, 23.9], 40)
    low_c = np.tile([95.0, 5.0, 7.0, 95.0, 95.0], 40)

    learned = teach(number, lead_h, low_c)

    assert learned is not None
    assert learned.nights[FIRST_NIGHT] == 40
    assert learned.sd_k[FIRST_NIGHT] == pytest.approx(((30 * 1.3**2 + 40 * (4 + 1)) / 70) ** 0.5)


def test_a_reading_takes_the_place_of_the_last_forecast() -> None:
    number = np.arange(40)
    nights = np.concatenate([number, number])
    lead_h = np.concatenate([np.full(40, 1.0), np.full(40, 18.0)])
    low_c = np.concatenate([np.full(40, 5.0), np.full(40, 7.0)])

    learned = teach(nights, lead_h, low_c, dict.fromkeys(range(40), 10.0))
    mixed = teach(nights, lead_h, low_c, dict.fromkeys(range(20), 10.0))

    assert learned is not None
    assert mixed is not None
    assert learned.sd_k[FIRST_NIGHT] == pytest.approx(((30 * 1.3**2 + 40 * 9) / 70) ** 0.5)
    # 20 readings are too few to count alone
    assert mixed.sd_k[FIRST_NIGHT] == pytest.approx(
        ((30 * 1.3**2 + 20 * 9 + 20 * (4 + 1)) / 70) ** 0.5
    )


def test_several_spots_count_by_the_mean_of_their_squares_without_the_doubt_of_corrections() -> (
    None
):
    nights, lead_h, low_c = np.arange(40), np.full(40, 18.0), np.full(40, 7.0)
    told = PastLows(nights, lead_h, low_c, np.full(40, np.nan))
    spots_c = np.array([6.0, 4.0])  # errors of 1 and 3 K; corrections known to 0.5 K
    variance_k2 = float(spots_c.var()) - 0.25

    found = learned_error(
        told, {n: ReadNight(float(spots_c.mean()), variance_k2) for n in range(40)}
    )

    assert found is not None
    assert found.sd_k[FIRST_NIGHT] == pytest.approx(
        ((30 * 1.3**2 + 40 * ((1 + 9) / 2 - 0.25)) / 70) ** 0.5
    )


def test_the_learned_error_is_that_of_forecasts_which_are_revised_as_they_should_be() -> None:
    """Each revision is drawn by itself, so that earlier forecasts are off by the sum of them."""
    rng = np.random.default_rng(4)
    lead_h = np.array([2.0, 6.0, 18.0, 42.0, 66.0, 90.0, 114.0, 138.0, 162.0])
    step_k = np.array([1.0, 0.6, 0.9, 1.5, 1.6, 1.5, 1.5, 1.5, 1.5])
    nights = 4000
    low_c = 8.0 + np.cumsum(rng.normal(size=(nights, lead_h.size)) * step_k, axis=1)

    learned = teach(
        np.repeat(np.arange(nights), lead_h.size), np.tile(lead_h, nights), low_c.ravel()
    )

    assert learned is not None
    true_k = np.sqrt(np.cumsum(step_k**2))[1:]  # against what came, 8 °C each night
    assert (true_k > usual_error_k(LEAD_H)).all()
    assert np.array(learned.sd_k) == pytest.approx(true_k, rel=0.04)


def test_the_spread_follows_the_table_by_lead_time() -> None:
    learned = LearnedError((6.0, 18.0), (1.0, 2.0), (40, 64))
    times = int(utc("2026-05-14T12:00").timestamp()) + 3600 * np.arange(30)

    spread = learned.spread(times, utc("2026-05-14T12:00") + timedelta(hours=1))

    assert spread.origin == "errors learned from 64 nights"
    assert spread.knows(np.arange(30))
    assert spread.sd_k[[0, 7, 13, 19, 29]].tolist() == [1.0, 1.0, 1.5, 2.0, 2.0]


@given(
    st.lists(
        st.tuples(
            st.integers(0, 60),
            st.floats(0.01, 200.0),
            st.one_of(st.just(float("nan")), st.floats(-60, 60)),
        ),
        max_size=400,
    ),
    st.dictionaries(st.integers(0, 60), st.floats(-60, 60), max_size=40),
    st.randoms(use_true_random=False),
)
def test_whatever_the_archive_holds_the_errors_rise_with_the_lead_time(
    rows: list[tuple[int, float, float]], came: dict[int, float], random: object
) -> None:
    night, lead_h, low_c = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    shuffled = np.random.default_rng(len(rows)).permutation(night.size)

    learned = teach(night.astype(int), lead_h, low_c, came)
    again = teach(night[shuffled].astype(int), lead_h[shuffled], low_c[shuffled], came)

    if learned is None:
        assert again is None
        return
    assert again is not None
    assert again.nights == learned.nights
    assert np.isfinite(learned.sd_k).all()
    assert np.all(np.diff(learned.sd_k) >= 0)
    assert min(learned.sd_k) >= LEAST_ERROR_K
    unread = teach(night.astype(int), lead_h, low_c)
    assert unread is None or np.all(unread.sd_k >= usual_error_k(LEAD_H))
