"""The errors that are reported in plain words, by who can put things right.

SillwardError
├── ConfigError      the collection or a setting is wrong        exit 78
├── UsageError       the call is wrong                           exit 2
├── SourceError      a source or file gave no usable weather     exit 1
│   └── DoubtError          ... or one that cannot be true
├── NotOursError     a path leads to what is not sillward's      exit 78
├── LedgerError      the ledger cannot be used                   exit 1
│   └── NewerLedgerError    a newer sillward wrote it            exit 78
├── NoThreadError    no thread can be started                    exit 1
├── DeliveryError    a channel did not take a notice             exit 1
├── CalendarError    the calendar file cannot be written         exit 1
├── ChartError       a chart could not be drawn or written       exit 1
└── PhotoError       a photo could not be taken or kept          exit 1

Anything else that is raised is a defect.
"""

import re
from collections.abc import Sequence
from datetime import timedelta

from sillward.text import printable

MAX_LINES = 50
"""Errors of a file or a setting that are shown; the others are counted. Judgement: nobody reads
more than a screen."""

MAX_LINE_LENGTH = 400
"""Characters of a line that describes an error. Judgement: five lines of a terminal."""


class SillwardError(Exception):
    """Base of all errors that are reported in plain words, without a traceback."""

    exit_status = 1


class ConfigError(SillwardError):
    """One or more things are wrong with a collection or a setting, with a line for each.

    count: how many there are. Lines are escaped and bounded, as they may quote a file.
    """

    exit_status = 78

    def __init__(self, lines: Sequence[str]) -> None:
        self.count = len(lines)
        shown = [_shortened(line) for line in lines[:MAX_LINES]]
        if self.count > MAX_LINES:
            file = re.split(r"(?::\d+)?: ", shown[0], maxsplit=1)[0]
            shown.append(f"{file}: and {self.count - MAX_LINES:,} more")
        self.lines = tuple(shown)
        super().__init__("\n".join(self.lines))


class NotOursError(SillwardError):
    """A path leads to something that is not sillward's; it was left as it is."""

    exit_status = 78


def _shortened(line: str) -> str:
    return printable.cut(printable.escaped(line[: MAX_LINE_LENGTH + 1]), MAX_LINE_LENGTH)


class UsageError(SillwardError):
    """The call asks for something that does not exist."""

    exit_status = 2


class SourceError(SillwardError):
    """A forecast source, or a file of past weather, gave nothing that can be used.

    passing: whether another try at once may help.
    wait: how long to wait before asking again.
    of_place: whether it is about the place that was asked for, and says nothing of others.
    """

    def __init__(
        self,
        text: str,
        *,
        passing: bool = False,
        wait: timedelta | None = None,
        of_place: bool = False,
    ) -> None:
        super().__init__(text)
        self.passing = passing
        self.wait = wait
        self.of_place = of_place


class DoubtError(SourceError):
    """A source gave a forecast that cannot be true."""


def one_line(value: object, max_length: int) -> str:
    """Return what a provider wrote as one line that is safe to show, cut to `max_length`.

    Characters that cannot be printed or stored (half of a surrogate pair, say) become spaces. A
    list or an object becomes "...".
    """
    text = "..." if isinstance(value, (list, dict)) else str(value)
    return " ".join(printable.blanked(text).split())[:max_length]


MAX_NAMES = 5
"""Names that an error lists of those that could have been meant. Judgement: a line or two."""


def listed(names: Sequence[str]) -> str:
    """Return "Lime, Kumquat" of names, with at most `MAX_NAMES` of them: "... and 41 more"."""
    shown = ", ".join(one_line(name, 60) for name in names[:MAX_NAMES])
    more = len(names) - MAX_NAMES
    return f"{shown} and {more:,} more" if more > 0 else shown


class LedgerError(SillwardError):
    """The ledger file cannot be opened, read or written."""


class NewerLedgerError(LedgerError):
    """A newer sillward wrote the ledger, so restarting this one does not help."""

    exit_status = 78


class NoThreadError(SillwardError):
    """No thread can be started that would watch how long something takes; it was not begun."""

    def __init__(self) -> None:
        super().__init__("no thread can be started here: too many tasks, or too little memory")


class DeliveryError(SillwardError):
    """A channel did not take a notice, or it is not known whether it did.

    perhaps_sent: whether it may have been sent.
    wait: how long to wait before trying again.
    gone: whether nothing will ever reach it again.
    """

    def __init__(
        self,
        text: str,
        *,
        perhaps_sent: bool = False,
        wait: timedelta | None = None,
        gone: bool = False,
    ) -> None:
        super().__init__(text)
        self.gone = gone
        self.perhaps_sent = perhaps_sent
        self.wait = wait


class CalendarError(SillwardError):
    """The calendar file cannot be written."""


class ChartError(SillwardError):
    """A chart could not be drawn or written."""


class PhotoError(SillwardError):
    """A photo could not be taken, or not kept."""
