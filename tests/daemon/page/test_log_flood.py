"""One line for a flood."""

import logging

from sillward.page.log_flood import MAX_KINDS, QUIET_S, FloodFilter


class Lines(logging.Handler):
    """Keeps what is logged."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record.getMessage())


def test_the_same_is_logged_once_a_minute_and_counted() -> None:
    now, lines = [0.0], Lines()
    log = logging.Logger("trial")
    log.addFilter(FloodFilter(lambda: now[0]))
    log.addHandler(lines)

    for number in range(100):
        log.warning("page.unavailable reason=%s", number)
    log.error("page.failed")
    now[0] += QUIET_S
    log.warning("page.unavailable reason=%s", "last")

    assert lines.lines == [
        "page.unavailable reason=0",
        "page.failed",
        "page.unavailable reason=last (and 99 more like it)",
    ]


def test_errors_of_different_kinds_are_told_apart() -> None:
    lines, log = Lines(), logging.Logger("trial")
    log.addFilter(FloodFilter(lambda: 0.0))
    log.addHandler(lines)

    for error in (ValueError(), KeyError(), ValueError()):
        log.error("page.failed", exc_info=error)

    assert len(lines.lines) == 2


def test_what_is_remembered_is_bounded() -> None:
    flood, log = FloodFilter(lambda: 0.0), logging.Logger("trial")
    log.addFilter(flood)
    for number in range(10 * MAX_KINDS):
        log.warning(str(number))

    assert len(flood._passed) <= MAX_KINDS + 1
