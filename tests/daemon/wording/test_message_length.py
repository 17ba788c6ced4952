"""How long a message may be, in characters for its reader and in bytes for its service."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.wording.message_length import (
    MAX_CHARACTERS,
    MAX_MESSAGE_BYTES,
    MAX_TITLE_BYTES,
    cut_title,
    fits,
    room_for_body,
    within_bytes,
)

TEXT = st.text(alphabet="ab 蘭°\n", max_size=2_000)


@pytest.mark.parametrize("title", ["", "Carry in 2 plants by 17:10", "x" * 150])
def test_title_line_end_and_body_together_are_at_most_the_bound(title: str) -> None:
    room = room_for_body(title)

    assert len(f"{title}\n{'x' * room}") == MAX_CHARACTERS
    assert fits(title, "x" * room)
    assert not fits(title, "x" * (room + 1))


def test_a_title_leaves_half_of_the_room_to_the_lines() -> None:
    assert room_for_body(cut_title("x" * 1_000)) >= MAX_CHARACTERS // 2 - 1


@given(TEXT, TEXT, st.integers(140, 40_000))
def test_what_is_sent_has_no_more_bytes_than_its_service_takes(
    title: str, body: str, service_bytes: int
) -> None:
    cut, rest = within_bytes(title.replace("\n", " "), body, service_bytes)

    assert len(cut.encode()) <= MAX_TITLE_BYTES
    if len(cut.encode()) < 60:  # a title that leaves room for a line and the count of the others
        assert len(cut.encode()) + 2 + len(rest.encode()) <= min(MAX_MESSAGE_BYTES, service_bytes)


def test_what_fits_is_sent_as_it_is() -> None:
    assert within_bytes("Title", "one\ntwo", 1_000) == ("Title", "one\ntwo")


def test_lines_that_are_left_out_are_counted() -> None:
    _, body = within_bytes("Title", "\n".join(f"line {n}" for n in range(30)), 140)

    kept = body.split("\n")
    assert kept[-1] == f"+{30 - (len(kept) - 1)} lines: `sillward sheet`"


def test_where_there_is_a_link_the_others_are_on_the_page() -> None:
    _, body = within_bytes("Title", "\n".join(f"line {n}" for n in range(30)), 140, linked=True)

    assert body.endswith(" lines: see the page")
