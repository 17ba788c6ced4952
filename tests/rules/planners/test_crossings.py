"""When a value crosses its bound between two moments."""

import numpy as np
import pytest

from sillward_rules.planners.scene.crossings import interpolate_crossing

BEFORE, AFTER = np.array([0.0]), np.array([3600.0])


@pytest.mark.parametrize(
    ("gap_before", "gap_after", "crossing"),
    [(-1.0, 3.0, 900.0), (2.0, -2.0, 1800.0), (0.0, 5.0, 0.0), (-5.0, 0.0, 3600.0)],
)
def test_it_lies_on_the_straight_line(gap_before: float, gap_after: float, crossing: float) -> None:
    for otherwise in (0.0, 1.0):
        found = interpolate_crossing(
            BEFORE, AFTER, np.array([gap_before]), np.array([gap_after]), otherwise=otherwise
        )

        assert found == pytest.approx([crossing])


@pytest.mark.parametrize(("otherwise", "crossing"), [(0.0, 0.0), (1.0, 3600.0)])
@pytest.mark.parametrize(("gap_before", "gap_after"), [(np.nan, 2.0), (-2.0, np.nan), (3.0, 3.0)])
def test_where_none_is_known_one_of_the_moments_stands_for_it(
    gap_before: float, gap_after: float, otherwise: float, crossing: float
) -> None:
    found = interpolate_crossing(
        BEFORE, AFTER, np.array([gap_before]), np.array([gap_after]), otherwise=otherwise
    )

    assert found == pytest.approx([crossing])
