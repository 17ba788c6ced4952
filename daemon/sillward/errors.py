"""What can go wrong, by whose doing.

SillwardError
├── ConfigError      the grower's file or setting is wrong       exit 78
├── UsageError       the call is wrong                           exit 2
├── SourceError      a forecast could not be had                 exit 1
├── LedgerError      the ledger cannot be used                   exit 1
└── DeliveryError    a channel did not take a notice             exit 1
"""

from collections.abc import Sequence


class SillwardError(Exception):
    """Base of all errors that are told in plain words, without a traceback."""

    exit_status = 1


class ConfigError(SillwardError):
    """One or more things are wrong with a collection or a setting; one line for each."""

    exit_status = 78

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = tuple(lines)


class UsageError(SillwardError):
    """The call asks for something that does not exist."""

    exit_status = 2


class SourceError(SillwardError):
    """A forecast source gave nothing that can be used."""


class LedgerError(SillwardError):
    """The ledger file cannot be opened, read or written."""


class DeliveryError(SillwardError):
    """A channel did not take a notice, or nobody can say (`perhaps_sent`)."""

    def __init__(self, text: str, *, perhaps_sent: bool = False) -> None:
        super().__init__(text)
        self.perhaps_sent = perhaps_sent
