"""What a provider wrote, as an error repeats it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.errors import one_line


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("°F", "°F"),
        ("  a\r\n b\x00\x85c\u2028d ", "a b c d"),
        ("\x1b[2Jgone", "[2Jgone"),
        ("half \ud800 a pair", "half a pair"),
        (3.5, "3.5"),
        (None, "None"),
        ([["deep"]], "..."),
        ({}, "..."),
    ],
)
def test_it_is_one_line_that_can_be_shown(given: object, told: str) -> None:
    assert one_line(given, 20) == told


@given(st.text(st.characters()), st.integers(0, 50))
def test_any_text_can_be_printed_and_stored(text: str, most: int) -> None:
    told = one_line(text, most)

    assert len(told) <= most
    assert told.isprintable()
    assert told.encode().decode() == told
