"""Names that are numbered in a row."""

import pytest

from sillward.text.numbered_names import folded, unfolded


@pytest.mark.parametrize(
    ("names", "told"),
    [
        ([], []),
        (["Moth 1", "Moth 2"], [("Moth 1", 1), ("Moth 2", 1)]),
        (["A", "Moth 9", "Moth 10", "Moth 11", "B"], [("A", 1), ("Moth 9–11", 3), ("B", 1)]),
        (["M 1", "M 2", "M 3", "N 4"], [("M 1–3", 3), ("N 4", 1)]),
        (
            ["M 1", "M 3", "M 2", "M 07", "8"],
            [("M 1", 1), ("M 3", 1), ("M 2", 1), ("M 07", 1), ("8", 1)],
        ),
    ],
)
def test_numbers_in_a_row_are_one(names: list[str], told: list[tuple[str, int]]) -> None:
    assert folded(names) == told


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Moth 3–5", ["Moth 3", "Moth 4", "Moth 5"]),
        ("Moth 9 - 10", ["Moth 9", "Moth 10"]),
        ("Moth 5-3", []),
        ("Moth 5", []),
        ("5-7", []),
    ],
)
def test_a_row_stands_for_its_names(text: str, names: list[str]) -> None:
    assert unfolded(text) == names
