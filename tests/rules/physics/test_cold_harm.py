"""The harm of cold: worked by hand, against published facts, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.physics.cold_harm import (
    FULL_DOSE_H,
    HARDENED_WITHIN_K,
    HARDENING,
    MIN_SPAN_K,
    RECOVERY_NIGHTS,
    USUAL_SPAN_K,
    carried_dose,
    hardened_share,
    night_dose,
    night_harm,
    span_k,
    usual_low_c,
)
from sillward_rules.physics.exposure import exposure

few = settings(derandomize=True, deadline=None)
nights = st.lists(st.floats(-12, 12), min_size=2, max_size=20).map(np.array)


def test_hours_at_the_limit_of_injury_make_a_full_dose() -> None:
    at_injury = np.full(int(FULL_DOSE_H) + 1, 4.0)

    assert float(night_dose(at_injury, 4.0)) == pytest.approx(1.0)
    assert float(night_dose(at_injury[:-2], 4.0)) == pytest.approx(0.5)


def test_a_night_that_keeps_the_comfort_limit_has_none() -> None:
    assert float(night_dose(np.array([-3.0, -0.1, 0.0, -2.0]), 4.0)) == 0.0


def test_a_night_by_hand() -> None:
    # Under by 0, 1, 2 and 0 K at steps of half an hour: 0.25 + 0.75 + 0.5 = 1.5 K h; of 4 K x 4 h.
    dose = night_dose(np.array([0.0, 1.0, 2.0, 0.0]), 4.0, 0.5)

    assert float(dose) == pytest.approx(1.5 / 16)


def test_a_clear_night_that_just_reaches_the_limit_of_injury_is_a_full_dose() -> None:
    """Ten hours under the comfort limit, coldest at the end: half of a sine."""
    hours = np.arange(41) / 4
    under = 4.0 * np.sin(np.pi / 2 * hours / 10.0)

    assert float(night_dose(under, 4.0, 0.25)) == 1.0


def test_one_kelvin_for_some_hours_is_a_small_one() -> None:
    hours = np.arange(17) / 4
    under = 1.0 * np.sin(np.pi * hours / 4.0)

    assert 0.1 < float(night_dose(under, 4.0, 0.25)) < 0.2


def test_many_plants_at_once() -> None:
    under = np.array([[1.0, 2.0], [1.0, np.nan], [1.0, 2.0]])

    dose = night_dose(under, np.array([4.0, 2.0]))

    assert dose[0] == pytest.approx(2.0 / 16)
    assert np.isnan(dose[1])


def test_a_limit_that_is_not_known_is_taken_to_be_the_usual_span_away() -> None:
    spans = span_k([13.0, 13.0, np.nan, 13.0], [8.0, np.nan, 5.0, 12.5])

    assert spans.tolist() == [5.0, USUAL_SPAN_K, USUAL_SPAN_K, MIN_SPAN_K]


# -- across nights: the order of what has been published (module docstring of `cold_harm`)


def in_a_row(count: int, dose: float, recovery: int = 0) -> float:
    """The harm of so many equal nights, with nights without cold between them."""
    carried, harm = 0.0, 0.0
    for _ in range(count):
        harm += float(night_harm(dose, carried))
        carried = float(carried_dose(carried, dose))
        carried = float(carried_dose(carried, 0.0, recovery))
    return harm


def test_six_nights_do_more_than_six_times_the_harm_of_one() -> None:
    # Aglaonema, nights at 4.5 °C: damage rises with the number of nights (abstract).
    assert in_a_row(6, 0.1) > 6 * in_a_row(1, 0.1)
    assert in_a_row(3, 0.1) > 3 * in_a_row(1, 0.1)


def test_mild_nights_between_them_make_it_less() -> None:
    assert in_a_row(1, 0.1) * 4 < in_a_row(4, 0.1, recovery=10) < in_a_row(4, 0.1)


def test_a_dose_is_half_forgotten() -> None:
    assert float(carried_dose(0.0, 0.8, RECOVERY_NIGHTS)) == pytest.approx(0.4)
    assert float(carried_dose(0.2, 0.6, 2 * RECOVERY_NIGHTS)) == pytest.approx(0.2)


def test_plants_kept_cool_before_take_less_harm() -> None:
    # Phalaenopsis: ten days at 20 °C before 15 °C reduce the injury (Wang 2007, abstract).
    usual = np.nan
    for _ in range(10):
        usual = float(usual_low_c(usual, 25.0))
    warm = hardened_share(18.0, usual)
    for _ in range(10):
        usual = float(usual_low_c(usual, 20.0))
    cool = hardened_share(18.0, usual)

    assert float(warm) == 0.0
    assert float(night_harm(0.5, hardened=cool)) < 0.85 * float(night_harm(0.5, hardened=warm))


def test_nothing_known_of_the_nights_before_hardens_nothing() -> None:
    assert float(hardened_share(13.0, np.nan)) == 0.0
    assert float(hardened_share(13.0, 13.0 + HARDENED_WITHIN_K)) == 0.0
    assert float(hardened_share(13.0, 11.0)) == 1.0
    assert float(night_harm(0.5, hardened=1.0)) == pytest.approx(0.5 * (1 - HARDENING))


def test_a_night_whose_low_is_not_known_leaves_it_not_known() -> None:
    assert np.isnan(usual_low_c(12.0, np.nan))
    assert float(usual_low_c(np.nan, 9.0)) == 9.0


# -- what must always hold


@few
@given(nights, st.floats(0, 3), st.floats(1.5, 10))
def test_colder_is_never_less_and_the_range_is_kept(
    under: np.ndarray, colder: float, span: float
) -> None:
    dose, deeper = float(night_dose(under, span)), float(night_dose(under + colder, span))

    assert 0.0 <= dose <= deeper <= 1.0
    assert 0.0 <= float(night_harm(dose, 0.4, 0.5)) <= float(night_harm(deeper, 0.4, 0.5)) <= 1.0
    assert float(night_harm(dose, 0.2)) <= float(night_harm(dose, 0.7))


@few
@given(nights)
def test_it_is_the_degree_hours_of_exposure(under: np.ndarray) -> None:
    """In fine steps the trapezia are the exact area."""
    fine = np.interp(np.arange(0, under.size - 1, 0.01), np.arange(under.size), under)
    _, degree_hours = exposure(-fine, 0.0, 0.01)

    expected = min(float(degree_hours) / (8.0 * FULL_DOSE_H), 1.0)
    assert float(night_dose(fine, 8.0, 0.01)) == pytest.approx(expected, abs=2e-3)
