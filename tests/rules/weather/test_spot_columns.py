"""Values at spots that are given by number, `NO_SPOT` among them."""

import numpy as np

from sillward_rules.weather.spot_columns import NO_SPOT, at_columns

COLUMNS = np.array([1, NO_SPOT, 0], dtype=np.int64)


def test_no_spot_is_not_the_last_one() -> None:
    lows = np.array([4.0, 9.0])

    np.testing.assert_array_equal(at_columns(lows, COLUMNS, np.nan), [9.0, np.nan, 4.0])


def test_each_column_may_have_a_row_of_its_own() -> None:
    warmth = np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]])

    np.testing.assert_array_equal(at_columns(warmth, COLUMNS, -np.inf), [2.0, -np.inf, 5.0])
