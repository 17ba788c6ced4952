"""Scales, ticks, lines and labels of a drawing."""

import pytest

from sillward.page.drawings.layout import LINE, Span, apart, band, line, ticks


def test_a_span_maps_its_ends_and_what_is_between() -> None:
    span = Span(0.0, 10.0, 200.0, 100.0)

    assert [span(value) for value in (0.0, 10.0, 2.5)] == [200.0, 100.0, 175.0]


def test_a_span_without_length_is_drawn_at_its_low_end() -> None:
    assert Span(3.0, 3.0, 200.0, 100.0)(3.0) == 200.0


@pytest.mark.parametrize(
    ("low", "high", "most", "found"),
    [
        (3.1, 22.4, 5, [5.0, 10.0, 15.0, 20.0]),
        (-7.0, 4.0, 5, [-5.0, 0.0]),
        (14.0, 18.0, 5, [14.0, 15.0, 16.0, 17.0, 18.0]),
        (0.0, 2.6, 3, [0.0, 1.0, 2.0]),
        (36.0, 104.0, 5, [40.0, 60.0, 80.0, 100.0]),
    ],
)
def test_ticks_are_round_and_few(low: float, high: float, most: int, found: list[float]) -> None:
    assert ticks(low, high, most) == found


def test_a_line_breaks_where_nothing_is_known() -> None:
    assert line([0, 1, 2, 3], [5, None, 6.25, 7]) == "M0 5M2 6.2L3 7"
    assert line([0, 1], [None, None]) == ""


def test_an_area_is_drawn_only_where_both_edges_are_known() -> None:
    lows, highs = [5.0, 6.0, None, 8.0], [1.0, 2.0, 3.0, None]

    assert band([0, 1, 2, 3], lows, highs) == "M0 5L1 6L1 2L0 1Z"
    assert band([], [], []) == ""


def test_of_labels_that_would_overlap_the_first_ones_are_shown() -> None:
    assert apart([10.0, 10.0 + LINE, 15.0, 60.0]) == [True, True, False, True]
