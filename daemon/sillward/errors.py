"""What can go wrong, by whose doing.

SillwardError
├── ConfigError      the grower's file or setting is wrong       exit 78
├── UsageError       the call is wrong                           exit 2
├── SourceError      a forecast could not be had                 exit 1
│   └── DoubtError          ... or cannot be true
├── NotOursError     a path leads to what is not sillward's      exit 78
├── LedgerError      the ledger cannot be used                   exit 1
│   └── NewerLedgerError    a newer sillward wrote it            exit 78
├── DeliveryError    a channel did not take a notice             exit 1
├── CalendarError    the calendar's file cannot be written       exit 1
└── ChartError       a chart could not be drawn or written       exit 1
"""

from collections.abc import Sequence
from datetime import timedelta

from sillward.text import printable

MAX_LINES = 50
"""Of what is wrong with a file or a setting; of more the rest is counted. Judgement: more than a
screen is not read."""

MAX_LINE_LENGTH = 400
"""Characters of such a line. Judgement: five lines of a terminal."""


class SillwardError(Exception):
    """Base of all errors that are told in plain words, without a traceback."""

    exit_status = 1


class ConfigError(SillwardError):
    """One or more things are wrong with a collection or a setting; one line for each.

    count: how many. What is in the lines may come from a file: they are escaped and bounded.
    """

    exit_status = 78

    def __init__(self, lines: Sequence[str]) -> None:
        self.count = len(lines)
        shown = [_bounded(line) for line in lines[:MAX_LINES]]
        if self.count > MAX_LINES:
            file = shown[0].partition(": ")[0]
            shown.append(f"{file}: and {self.count - MAX_LINES:,} more")
        self.lines = tuple(shown)
        super().__init__("\n".join(self.lines))


class NotOursError(SillwardError):
    """What a path leads to is not sillward's, and was left as it is."""

    exit_status = 78


def _bounded(line: str) -> str:
    return printable.cut(printable.escaped(line[: MAX_LINE_LENGTH + 1]), MAX_LINE_LENGTH)


class UsageError(SillwardError):
    """The call asks for something that does not exist."""

    exit_status = 2


class SourceError(SillwardError):
    """A forecast source gave nothing that can be used.

    passing: another try at once may help. wait: do not ask again before.
    """

    def __init__(self, text: str, *, passing: bool = False, wait: timedelta | None = None) -> None:
        super().__init__(text)
        self.passing = passing
        self.wait = wait


class DoubtError(SourceError):
    """A source gave a forecast that cannot be true."""


def one_line(value: object, most: int) -> str:
    """What a provider wrote, so that an error can repeat it: one line that any terminal takes.

    Signs that cannot be printed or stored, half of a surrogate pair among them, become spaces;
    lists and objects are not told. The first `most` characters.
    """
    text = "..." if isinstance(value, (list, dict)) else str(value)
    return " ".join(printable.blanked(text).split())[:most]


class LedgerError(SillwardError):
    """The ledger file cannot be opened, read or written."""


class NewerLedgerError(LedgerError):
    """A newer sillward wrote the ledger: to start this one again does not help."""

    exit_status = 78


class DeliveryError(SillwardError):
    """A channel did not take a notice, or nobody can say (`perhaps_sent`).

    wait: do not try again before.
    """

    def __init__(
        self, text: str, *, perhaps_sent: bool = False, wait: timedelta | None = None
    ) -> None:
        super().__init__(text)
        self.perhaps_sent = perhaps_sent
        self.wait = wait


class CalendarError(SillwardError):
    """The calendar's file cannot be written."""


class ChartError(SillwardError):
    """A chart could not be drawn, or not be written where it was to go."""
