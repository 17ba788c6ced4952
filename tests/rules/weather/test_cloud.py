"""Cloud by height: what low, middle and high cloud count for at night."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sillward_rules.weather.cloud import HIGH, MIDDLE, warming_cover

few = settings(derandomize=True, deadline=None)
covers = st.floats(0, 1)


def warming(total: float, low: float, middle: float, high: float) -> float:
    return float(warming_cover(total, low, middle, high))


@pytest.mark.parametrize(
    ("layers", "total", "expected"),
    [
        ((0.0, 0.0, 1.0), 1.0, HIGH),
        ((0.0, 1.0, 0.0), 1.0, MIDDLE),
        ((1.0, 0.0, 0.0), 1.0, 1.0),
        ((1.0, 1.0, 1.0), 1.0, 1.0),
        ((0.0, 0.0, 0.0), 0.0, 0.0),
        ((0.3, 0.0, 1.0), 1.0, 0.3 + 0.7 * HIGH),
        # Side by side, for else the sky were not so full.
        ((0.5, 0.5, 0.0), 1.0, 0.5 + 0.5 * MIDDLE),
        ((0.5, 0.5, 0.0), 0.75, 0.5 + 0.25 * MIDDLE),
        # The middle cloud may lie behind the low one or beside it: the colder reading counts.
        ((0.4, 0.4, 0.4), 0.8, 0.4 + 0.4 * HIGH),
        # No layer accounts for this cloud.
        ((0.0, 0.0, 0.0), 1.0, 0.0),
        ((0.2, 0.1, 0.0), 1.0, 0.2 + 0.1 * MIDDLE),
        # More low cloud than cloud at all.
        ((0.9, 0.0, 0.0), 0.4, 0.4),
    ],
)
def test_each_layer_counts_by_its_height(
    layers: tuple[float, float, float], total: float, expected: float
) -> None:
    assert warming(total, *layers) == pytest.approx(expected)


@given(total=covers, layers=st.lists(covers, min_size=3, max_size=3), gone=st.integers(1, 7))
@few
def test_where_a_layer_is_not_known_all_the_cloud_counts(
    total: float, layers: list[float], gone: int
) -> None:
    known = [np.nan if gone >> number & 1 else cover for number, cover in enumerate(layers)]

    assert warming(total, *known) == total


@given(layers=st.lists(st.one_of(covers, st.just(np.nan)), min_size=3, max_size=3))
@few
def test_where_the_cover_is_not_known_layers_do_not_warm(layers: list[float]) -> None:
    assert np.isnan(warming(np.nan, *layers))


@given(total=covers, layers=st.lists(covers, min_size=3, max_size=3))
@example(total=1.0, layers=[0.0, 0.0, 1.0])
@few
def test_no_sky_is_warmer_than_its_cover_says(total: float, layers: list[float]) -> None:
    felt = warming(total, *layers)

    assert 0.0 <= felt <= total
    # Nor colder than if all that is not surely lower were high.
    assert felt >= HIGH * min(total, max(layers)) - 1e-12


@given(total=covers)
@few
def test_low_cloud_alone_is_what_the_cover_says(total: float) -> None:
    assert warming(total, total, 0.0, 0.0) == total
