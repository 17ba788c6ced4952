"""Rows grouped by what they agree in."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.arrays import group_rows

floats = st.sampled_from([np.nan, -0.0, 0.0, 1.5, -2.25, np.inf])
rows = st.lists(st.tuples(floats, st.integers(-3, 5), st.sampled_from(["pot", "moss"])))


@given(rows)
def test_rows_share_a_group_exactly_if_they_agree_in_every_column(
    given_rows: list[tuple[float, int, str]],
) -> None:
    columns = (
        np.array([row[0] for row in given_rows], dtype=np.float64),
        np.array([row[1] for row in given_rows], dtype=np.int64),
        np.array([row[2] for row in given_rows], dtype="U8"),
    )

    first, groups = group_rows(*columns)

    # What is unknown counts as one value.
    keys = [("unknown" if np.isnan(a) else a + 0.0, b, c) for a, b, c in given_rows]
    assert len(first) == len(set(keys))
    assert [keys[first[group]] for group in groups] == keys
    assert all(index == keys.index(keys[index]) for index in first.tolist())
