"""Text in columns: no line too wide, nothing lost, no column shifted, whatever the characters.

Widths are counted here by a rule of our own (Unicode, UAX #11: W and F take two columns, combining
marks none), not by the library that the code uses.
"""

import unicodedata
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward.text.columns import (
    GAP,
    MIN_WIDTH,
    PIPE,
    Cell,
    Column,
    Mark,
    Marked,
    Screen,
    cut,
    padded,
    table,
    width,
    wrapped,
)

RESTING = settings(derandomize=True, deadline=None)

COLOURED = Screen(columns=40, colour=True)


def columns_of(text: str) -> int:
    return sum(
        0
        if unicodedata.category(char) in ("Mn", "Me", "Cf")
        else 2
        if unicodedata.east_asian_width(char) in "WF"
        else 1
        for char in text
    )


WIDE = "蘭の花" * 30
HEBREW = "סחלב אדום ליד הדלת"
COMBINING = "o\u0308rchide\u0301e"

TEXTS = st.text(st.sampled_from("abc  xyz°é" + WIDE[:3] + "אב" + "\u0301"), max_size=60).map(
    lambda text: " ".join(text.split()).lstrip("\u0301")
)


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("", 0),
        ("Blue basket", 11),
        ("13 °C", 5),
        (WIDE[:80], 160),
        (HEBREW, 18),
        (COMBINING, 8),
        ("ｆｕｌｌ", 8),
        ("🌱", 2),
        ("🧑\u200d🌾", 2),
    ],
)
def test_the_width_is_that_of_a_terminal(text: str, columns: int) -> None:
    assert width(text) == columns


def test_a_text_with_control_characters_has_a_width() -> None:
    assert width("蘭\x07") == 2


@given(TEXTS)
@RESTING
def test_widths_agree_with_those_counted_here(text: str) -> None:
    assert width(text) == columns_of(text)


@given(TEXTS, st.integers(1, 30))
@RESTING
def test_a_cut_text_fits_and_ends_in_an_ellipsis(text: str, columns: int) -> None:
    short = cut(text, max(columns, 3))

    assert width(short) <= max(columns, 3)
    assert short == text or (short.endswith("…") and text.startswith(short[:-1]))


def test_an_accent_is_not_cut_from_its_letter() -> None:
    assert cut("e\u0301" * 9, 4) == "e\u0301" * 3 + "…"


@pytest.mark.parametrize("right", [False, True])
def test_blanks_fill_up_to_the_width(right: bool) -> None:
    assert width(padded("蘭", 6, right=right)) == 6
    assert padded("蘭", 6, right=right).strip() == "蘭"
    assert padded("longer than that", 6, right=right) == "longer than that"


# -- lines


@given(TEXTS, st.integers(8, 40))
@RESTING
def test_a_broken_line_fits_and_loses_nothing(text: str, columns: int) -> None:
    lines = wrapped(text, columns).split("\n")

    assert all(width(line) <= columns for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_line_is_broken_between_words_and_goes_on_indented() -> None:
    assert wrapped("  one two three four", 12).split("\n") == ["  one two", "    three", "    four"]


def test_a_number_keeps_its_unit() -> None:
    assert wrapped("derived from 27 °C and 60 % humidity", 16).split("\n") == [
        "derived from",
        "  27 °C and 60 %",
        "  humidity",
    ]


@pytest.mark.parametrize("word", ["x" * 200, WIDE, HEBREW.replace(" ", "") * 9])
@pytest.mark.parametrize("columns", [3, 10, 78])
def test_a_word_longer_than_a_line_is_broken(word: str, columns: int) -> None:
    lines = wrapped(f"a {word} z", columns).split("\n")

    assert max(map(columns_of, lines)) <= max(columns, 4)  # what follows is indented by two
    assert "".join("".join(lines).split()) == f"a{word}z"


# -- tables


def starts(line: str, cells: Sequence[str]) -> list[int]:
    """Return the columns in which these texts begin."""
    return [columns_of(line[: line.index(cell)]) for cell in cells]


def test_columns_begin_under_each_other_whatever_the_letters() -> None:
    rows = [(name, f"<{n}", f"|{n}") for n, name in enumerate(("ab", WIDE[:5], HEBREW, COMBINING))]

    lines = table(rows, (Column(), Column(), Column()), PIPE)

    assert len({tuple(starts(line, row[1:])) for line, row in zip(lines, rows, strict=True)}) == 1


def test_numbers_are_aligned_to_the_right() -> None:
    lines = table([("a", "1"), ("b", "100")], (Column(), Column(right=True)), PIPE, indent=2)

    assert lines == ["  a    1", "  b  100"]


def test_a_long_cell_goes_on_in_its_own_column() -> None:
    rows = [("2026-05-14", "one two three four five six", "end")]
    columns = (Column(fixed=True), Column(), Column(fixed=True))

    assert table(rows, columns, Screen(columns=30)) == [
        "2026-05-14  one two three  end",
        "            four five six",
    ]


def test_a_column_without_text_takes_no_room() -> None:
    assert table([("a", "", "b"), ("c", "", "d")], (Column(),) * 3, PIPE) == ["a  b", "c  d"]


def test_a_table_without_rows_is_empty() -> None:
    assert table([], (Column(), Column()), PIPE) == []


def test_fixed_columns_keep_their_width() -> None:
    date = "2026-05-14 17:10"

    lines = table([(date, WIDE)], (Column(fixed=True), Column()), Screen(columns=40))

    assert lines[0].startswith(f"{date}{GAP}")
    assert max(map(columns_of, lines)) <= 40


@given(st.lists(st.tuples(TEXTS, TEXTS, TEXTS), min_size=1, max_size=5), st.integers(40, 90))
@RESTING
def test_no_table_is_wider_than_its_screen_and_nothing_is_lost(
    rows: list[tuple[str, str, str]], columns: int
) -> None:
    lines = table(rows, (Column(), Column(right=True), Column()), Screen(columns), indent=2)

    assert all(columns_of(line) <= columns for line in lines)
    assert all(line == line.rstrip() for line in lines)
    letters = "".join("".join(lines).split())
    assert sorted(letters) == sorted("".join("".join(map("".join, rows)).split()))


def test_columns_stay_readable_without_room() -> None:
    lines = table([("x" * 30, "y" * 30)], (Column(), Column()), Screen(columns=10))

    assert lines[0] == f"{'x' * MIN_WIDTH}{GAP}{'y' * MIN_WIDTH}"


# -- colours


def test_colour_takes_no_column() -> None:
    rows: list[tuple[Cell, Cell]] = [
        (Marked("failed", Mark.TROUBLE), "one two three four five six seven"),
        (Marked("蘭", Mark.OK), "x"),
    ]

    coloured = table(rows, (Column(), Column()), COLOURED)

    assert coloured[0].startswith("\x1b[1;31mfailed\x1b[0m  one")
    for mark in Mark:
        coloured = [line.replace(f"\x1b[{mark.value}m", "") for line in coloured]
    plain = [line.replace("\x1b[0m", "") for line in coloured]
    assert plain == table(rows, (Column(), Column()), Screen(columns=40))


def test_a_line_that_goes_on_has_its_colour_on_every_line() -> None:
    lines = COLOURED.lines("a word " * 10, Mark.COLD)

    assert len(lines) > 1
    assert all(line.startswith("\x1b[36m") and line.endswith("\x1b[0m") for line in lines)


@pytest.mark.parametrize("mark", [*Mark, None])
def test_without_colour_there_is_none(mark: Mark | None) -> None:
    assert PIPE.painted("text", mark) == "text"
    assert COLOURED.painted("", mark) == ""
