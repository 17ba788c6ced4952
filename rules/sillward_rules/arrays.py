"""Arrays: floats, with time on axis 0 and NaN where nothing is known; and how to group their
rows."""

import math
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]

HOUR_S = 3600
"""One hour [s]."""

erfc = np.vectorize(math.erfc, otypes=[np.float64])
"""The complementary error function of every element. NumPy has none."""


def finite_or_none(value: float, digits: int) -> float | None:
    """Return a number rounded for a person to read; None where it is NaN or infinite."""
    return round(float(value), digits) if np.isfinite(value) else None


def filled(values: np.ndarray, unknown: float) -> Array:
    """Return an array with a number in the place of NaN, any shape.

    Other than `numpy.nan_to_num` it leaves infinite values as they are, and is quicker.
    """
    return np.where(np.isnan(values), unknown, values)


def group_rows(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Group rows that agree in every column.

    Return the first row of each group, and the group of each row.
    """
    codes: np.ndarray = np.zeros(columns[0].shape, dtype=np.int64)
    size = 1
    for column in columns:
        parts, count = _coded(column)
        if size * count > _MAX_CODES:
            codes = np.unique(codes, return_inverse=True)[1].reshape(-1)
            size = codes.size
        codes, size = codes * count + parts, size * count
    if size > _SPARSE * codes.size:
        _, first, groups = np.unique(codes, return_index=True, return_inverse=True)
        return first, groups.reshape(-1)
    first_of = np.full(size, -1, dtype=np.int64)  # with so few codes an entry for each is quicker
    first_of[codes[::-1]] = np.arange(codes.size)[::-1]
    used = first_of >= 0
    return first_of[used], (np.cumsum(used) - 1)[codes]


_MAX_CODES = 2**62
_SPARSE = 8
"""From this many possible codes per row on, sorting them is quicker. Measured."""
_NEAR = 1024
"""Whole numbers within this range are coded by their distance from the lowest, without sorting."""


def _coded(column: np.ndarray) -> tuple[np.ndarray, int]:
    """Return the values of a column as numbers from 0 on, and how many numbers there may be."""
    if column.size and column.dtype.kind in "bi":  # spot columns and the like need no sorting
        low, high = int(column.min()), int(column.max())
        if high - low < _NEAR:
            return column.astype(np.int64) - low, high - low + 1
    if column.size and (column == column[0]).all():
        return np.zeros(column.shape, dtype=np.int64), 1
    if not column.size:
        return np.zeros(0, dtype=np.int64), 1
    order = np.argsort(column, kind="stable")
    ranked = column[order]
    new = ranked[1:] != ranked[:-1]
    if column.dtype.kind == "f":  # what is unknown is one value
        new &= ~np.isnan(ranked[:-1])
    codes = np.zeros(column.shape, dtype=np.int64)
    codes[order[1:]] = np.cumsum(new)
    return codes, int(codes[order[-1]]) + 1


def split_by_keys(cohorts: np.ndarray, *keys: np.ndarray) -> list[np.ndarray]:
    """Split cohorts into those that agree in every key, in the order given.

    keys : each of the shape of `cohorts`.
    """
    if not cohorts.size:
        return []
    groups = group_rows(*keys)[1]
    small = groups.astype(np.min_scalar_type(int(groups.max())))  # sorted by radix, in one pass
    ordered = cohorts[np.argsort(small, kind="stable")]
    ends = np.cumsum(np.bincount(groups)).tolist()
    return [ordered[start:end] for start, end in pairwise([0, *ends])]
