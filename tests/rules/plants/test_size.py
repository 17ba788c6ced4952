"""What a plant weighs, how long a walk takes, how much water wets it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.plants import size
from sillward_rules.plants.limits import Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import MEDIA, Medium, Pot


def plant(litres: float | None = None, medium: Medium = "bark", span: float | None = None) -> Plant:
    pot = None if litres is None else Pot(litres, medium)
    return Plant("One", "yard", None, "pot", Limits(), pot=pot, span_cm=span)


def test_what_is_not_given_is_not_known() -> None:
    plants = [plant()]

    assert np.isnan(size.weights_kg(plants)).all()
    assert np.isnan(size.spray_l(size.spans_cm(plants))).all()
    assert not size.is_heavy(size.weights_kg(plants)).any()
    assert math.isnan(size.walk_min(size.weights_kg(plants), size.spans_cm(plants)))


@pytest.mark.parametrize("medium", MEDIA)
def test_a_pot_weighs_more_than_its_dry_medium_and_no_more_than_wet_sand(medium: Medium) -> None:
    (weight,) = size.weights_kg([plant(10, medium)])

    assert 10 * 0.5 < weight < 10 * 2.0


def test_a_pot_of_thirty_litres_of_peat_is_for_two_people() -> None:
    weights = size.weights_kg([plant(3), plant(30, "peat")])

    # 30 L at 0.98 kg/L, and 0.3 kg/L for pot and plant.
    assert weights == pytest.approx([2.88, 38.4])
    assert size.is_heavy(weights).tolist() == [False, True]


def test_a_walk_is_the_way_and_each_plant_on_it() -> None:
    plants = [plant(1), plant(), plant(span=90), plant(10, "peat"), plant(30, "peat")]

    minutes = size.walk_min(size.weights_kg(plants), size.spans_cm(plants))

    assert minutes == 2 + 1.5 + 1.5 + 2.5 + 2.5 + 6


def test_spray_grows_with_the_square_of_the_span() -> None:
    small, large = size.spray_l([30.0, 60.0])

    # A disc of 0.6 m is 0.283 m2; 0.6 mm on it are 0.17 L, and as much again runs off.
    assert large == pytest.approx(0.339, abs=0.001)
    assert large == pytest.approx(4 * small)


def test_walks_are_made_one_after_the_other() -> None:
    hour = 3600.0

    # The last takes half an hour to its deadline, and the two before it must be over by then.
    starts = size.latest_starts([10 * hour, 10.2 * hour, 12 * hour], [60, 30, 30])

    assert (starts / hour).tolist() == pytest.approx([8.7, 9.7, 11.5])
    assert size.latest_starts([], []).size == 0


@given(
    st.lists(st.tuples(st.integers(0, 600), st.integers(0, 120)), min_size=1, max_size=12),
)
def test_no_walk_ends_late_and_none_begins_sooner_than_it_must(
    walks: list[tuple[int, int]],
) -> None:
    walks.sort()
    deadlines, minutes = (np.array(values, dtype=float) for values in zip(*walks, strict=True))
    starts = size.latest_starts(60 * deadlines, minutes) / 60
    ends = starts + minutes

    next_start = np.append(starts[1:], np.inf)
    assert np.allclose(ends, np.minimum(deadlines, next_start))
