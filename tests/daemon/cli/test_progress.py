"""Long work says on a terminal that it goes on, and nowhere else."""

import io

from sillward.cli.progress import EVERY_S, Progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_a_terminal_gets_a_line_now_and_then() -> None:
    terminal, clock = Terminal(), Clock()
    progress = Progress("nights replayed", 3650, terminal, clock)

    for _ in range(800):
        clock.now += EVERY_S / 256
        progress.one_more()

    assert terminal.getvalue().splitlines() == [
        "256 of 3,650 nights replayed",
        "512 of 3,650 nights replayed",
        "768 of 3,650 nights replayed",
    ]


def test_what_is_quick_says_nothing() -> None:
    terminal, clock = Terminal(), Clock()
    progress = Progress("nights replayed", 10, terminal, clock)

    for _ in range(10):
        progress.one_more()

    assert terminal.getvalue() == ""


def test_a_pipe_gets_nothing() -> None:
    pipe, clock = io.StringIO(), Clock()
    progress = Progress("hours", 100, pipe, clock)

    clock.now += 60
    progress.share(0.5)

    assert pipe.getvalue() == ""


def test_a_share_is_told_in_what_is_counted() -> None:
    terminal, clock = Terminal(), Clock()
    progress = Progress("hours looked at", 8760, terminal, clock)

    clock.now += EVERY_S
    progress.share(0.25)

    assert terminal.getvalue() == "2,190 of 8,760 hours looked at\n"
