"""Fits that do not exist are told from those that do."""

import numpy as np
import pytest

from sillward_rules.dose_response import fit


def test_no_fit_where_a_dose_divides_the_affected_from_the_rest() -> None:
    assert fit([1, 2, 3, 4], [0, 0, 1, 1], 1) is None


def test_no_fit_for_a_kind_that_was_never_affected() -> None:
    assert fit([1, 2, 3, 1, 2, 3], [2, 5, 8, 0, 0, 0], 10, [0, 0, 0, 1, 1, 1]) is None


def test_no_fit_from_fewer_rows_than_parameters() -> None:
    assert fit([1], [1], 2) is None


def test_no_fit_where_the_dose_makes_no_difference() -> None:
    assert fit([1, 2], [5, 5], 10) is None


def test_impossible_counts_are_refused() -> None:
    with pytest.raises(ValueError, match="no more affected"):
        fit([1, 2], [3, 1], 2)


def test_half_are_affected_at_the_median_dose() -> None:
    found = fit([1, 2, 3], [2, 5, 8], 10)

    assert found is not None
    dose, error = found.dose_for(0.5)
    assert dose == pytest.approx(2.0)
    assert 0 < error < 1
    assert np.isfinite(found.covariance).all()
