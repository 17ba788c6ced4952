"""The screen: its width, its colours, and what is said during a long wait."""

import os
import pty
import struct
import termios
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from fcntl import ioctl
from io import StringIO
from typing import Any, TextIO

import pytest

from sillward.net.http import Answer, Query
from sillward.net.progress import patient
from sillward.text.columns import WIDTH, Screen
from sillward.text.terminal import (
    LONG_S,
    MAX_COLUMNS,
    MIN_COLUMNS,
    patience,
    screen,
    sheet_columns,
)


@contextmanager
def a_terminal(columns: int) -> Iterator[TextIO]:
    master, slave = pty.openpty()
    ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    with os.fdopen(slave, "w") as stream:
        yield stream
    os.close(master)


@pytest.mark.parametrize(("columns", "used"), [(200, WIDTH), (80, WIDTH), (46, 44), (9, 30)])
def test_a_sheet_follows_a_narrow_terminal_and_no_wide_one(columns: int, used: int) -> None:
    with a_terminal(columns) as stream:
        assert sheet_columns(stream) == used
    assert sheet_columns(StringIO()) == WIDTH


@pytest.mark.parametrize(
    ("columns", "used"),
    [(80, 78), (100, 98), (300, MAX_COLUMNS), (20, MIN_COLUMNS), (0, WIDTH)],
)
def test_a_terminal_is_used_as_far_as_lines_can_be_read(columns: int, used: int) -> None:
    with a_terminal(columns) as stream:
        assert screen(stream, {"TERM": "xterm"}) == Screen(used, colour=True)


@pytest.mark.parametrize(
    ("environment", "colour"),
    [
        ({}, True),
        ({"TERM": "xterm-256color"}, True),
        ({"TERM": "dumb"}, False),
        ({"NO_COLOR": "1"}, False),
        ({"NO_COLOR": "0"}, False),  # no-color.org: whatever its value
        ({"NO_COLOR": ""}, True),  # ... unless it is empty
    ],
)
def test_colours_are_for_terminals_that_want_them(
    environment: dict[str, str], colour: bool
) -> None:
    with a_terminal(80) as stream:
        assert screen(stream, environment).colour is colour


def test_a_pipe_has_80_columns_and_no_colour() -> None:
    assert screen(StringIO(), {"TERM": "xterm", "COLUMNS": "200"}) == Screen(WIDTH, colour=False)


# -- while one waits


@dataclass
class FakeTimer:
    """A timer that goes off when the test says so."""

    seconds: float
    act: Callable[[], object]
    log: list[str] = field(default_factory=list)
    daemon: bool = False

    def start(self) -> None:
        self.log.append("started")

    def cancel(self) -> None:
        self.log.append("cancelled")


class Screenful(StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def timers() -> list[FakeTimer]:
    return []


def test_a_long_wait_is_explained_on_a_terminal(timers: list[FakeTimer]) -> None:
    err = Screenful()

    def timer(seconds: float, act: Callable[[], object]) -> FakeTimer:
        timers.append(FakeTimer(seconds, act))
        return timers[-1]

    with patience("asking Open-Meteo ...", err, timer):
        assert err.getvalue() == ""
        timers[0].act()

    assert err.getvalue() == "asking Open-Meteo ...\n"
    assert (timers[0].seconds, timers[0].log) == (LONG_S, ["started", "cancelled"])
    assert timers[0].daemon


def test_a_failure_ends_the_waiting_too(timers: list[FakeTimer]) -> None:
    def timer(seconds: float, act: Callable[[], object]) -> FakeTimer:
        timers.append(FakeTimer(seconds, act))
        return timers[-1]

    with pytest.raises(ValueError, match="x"), patience("...", Screenful(), timer):
        raise ValueError("x")  # noqa: EM101

    assert timers[0].log == ["started", "cancelled"]


def test_a_pipe_is_told_nothing() -> None:
    def timer(seconds: float, act: Callable[[], object]) -> FakeTimer:
        raise AssertionError

    with patience("asking ...", StringIO(), timer):
        pass


def test_a_short_wait_is_not_explained(monkeypatch: pytest.MonkeyPatch) -> None:
    """This uses the real timer, and a fake terminal for standard error."""
    err = Screenful()
    monkeypatch.setattr("sys.stderr", err)

    answer = Answer(200, {}, b"{}")

    def ask(query: Query, **how: Any) -> Answer:
        assert how == {"source": "Open-Meteo", "conditions": {}, "deadline_s": 3.0}
        return answer

    asked = patient(ask)(
        Query("https://x.invalid", {}), source="Open-Meteo", conditions={}, deadline_s=3.0
    )

    assert asked is answer
    assert err.getvalue() == ""
