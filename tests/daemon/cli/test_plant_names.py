"""Plants by name: what of a command line is one, and what is several."""

import pytest

from sillward.cli.plant_names import several
from sillward.errors import UsageError

NAMES = ["Lime", "Blue basket", *(f"Moth {number}" for number in range(1, 13)), "Row 1-3"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("moth 3-5", ["Moth 3", "Moth 4", "Moth 5"]),
        ("Moth 9–12", ["Moth 9", "Moth 10", "Moth 11", "Moth 12"]),
        ("lime, moth 1 - 2 and blue", ["Lime", "Moth 1", "Moth 2", "Blue basket"]),
        ("moth 2-3, moth 3", ["Moth 2", "Moth 3"]),
        ("row 1-3", ["Row 1-3"]),
        ("moth 1", ["Moth 1"]),
    ],
)
def test_plants_in_a_row_are_named_as_messages_name_them(text: str, found: list[str]) -> None:
    assert several(NAMES, text) == found


@pytest.mark.parametrize("text", ["moth 3-14", "moth 5-3", "moth 0-2", "lime 1-2"])
def test_a_row_that_is_not_there_is_none(text: str) -> None:
    with pytest.raises(UsageError):
        several(NAMES, text)
