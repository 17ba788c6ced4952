"""What a round or a notice in the ledger is about: the name in its column `round`, taken apart.

A round has its own name there ("dusk"). The suffix " early" is for a round that was sent by hand
long before its hour, " over" for the end of a state that there was an alarm about, and " too soon"
for what was sent while the clock was far ahead, and is sent again. An alarm that there may be more
than once a day ends with its time ("collection refused 17:04:05").
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from sillward_rules.round import Round


class Alarm(StrEnum):
    """The kinds of alarms, and of what else is told outside the rounds, by their names in the
    ledger."""

    NO_FORECAST = "blind"
    WRONG_CLOCK = "clock"
    NO_LEDGER = "ledger"
    """The ledger cannot be written, and is in memory."""
    HISTORY_RESET = "history"
    """A part of the ledger was lost."""
    COLLECTION_REFUSED = "collection refused"
    COLLECTION_IN_FORCE = "collection in force"
    HELPER = "away"
    """Somebody else looks after the plants for some days; its end is when they do no longer."""
    HELPER_UNREACHED = "helper"
    """Who looks after the plants cannot be told."""
    DEVICE = "phone"
    """A phone is told by Web Push from now on."""


_OVER, _EARLY, TOO_SOON = " over", " early", " too soon"
_TIME = re.compile(r" (\d\d:\d\d:\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Subject:
    """A subject, from its parts. `str` returns its name in the ledger, `parse` reads it.

    `kind` is None for a name that only another version of sillward knows. `time` is the time of an
    alarm that there may be more than once a day.
    """

    kind: Round | Alarm | None
    time: str = ""
    is_early: bool = False
    is_over: bool = False
    is_too_soon: bool = False

    def __str__(self) -> str:
        kind = "" if self.kind is None else self.kind.value
        parts = [
            kind,
            f" {self.time}" if self.time else "",
            _EARLY if self.is_early else "",
            _OVER if self.is_over else "",
            TOO_SOON if self.is_too_soon else "",
        ]
        return "".join(parts)

    @classmethod
    def parse(cls, name: str) -> Self:
        """Return the subject of a name in the ledger."""
        rest, is_too_soon = _without_suffix(name, TOO_SOON)
        rest, is_over = _without_suffix(rest, _OVER)
        rest, is_early = _without_suffix(rest, _EARLY)
        time = _TIME.search(rest)
        kind = _KINDS.get(_TIME.sub("", rest))
        return cls(kind, "" if time is None else time[1], is_early, is_over, is_too_soon)

    @property
    def round(self) -> Round | None:
        """The round that it is, early or at its hour; None for an alarm."""
        return self.kind if isinstance(self.kind, Round) and not self.is_too_soon else None

    @property
    def daily_round(self) -> Round | None:
        """The dusk or morning round at its own hour, whose orders are corrected and reminded of."""
        return self.round if self.round in _DAILY and not self.is_early else None


_DAILY = (Round.DUSK, Round.MORNING)
_KINDS: dict[str, Round | Alarm] = {kind.value: kind for kind in (*Round, *Alarm)}


def _without_suffix(name: str, suffix: str) -> tuple[str, bool]:
    return name.removesuffix(suffix), name.endswith(suffix)
