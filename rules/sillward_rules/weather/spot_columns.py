"""Spots by number: the columns of a climate, and what stands for no spot at all."""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

SpotColumns: TypeAlias = NDArray[np.int64]
"""Columns of a climate's arrays (time, spot); any of them may be `NO_SPOT`."""

NO_SPOT = -1
"""The column of no spot. As an index it would select the last spot, so never index an array with
columns that may hold it: `at_columns` does that safely."""


def at_columns(values: np.ndarray, columns: SpotColumns, otherwise: Any) -> Any:
    """Return the value of the spot in each column, and `otherwise` for `NO_SPOT`.

    values : (spot,), the same for all columns, or (column, spot), a row for each of them.
    """
    known = values[columns] if values.ndim == 1 else values[np.arange(columns.size), columns]
    return np.where(columns == NO_SPOT, otherwise, known)
