"""How each household of a folder stands, in the ledger that all share: for `sillward status`.

A command looks at thousands of households there without opening thousands of ledgers, and sees
those that cannot be looked after at all.
"""

import logging
from dataclasses import dataclass
from datetime import datetime

from sillward.errors import LedgerError
from sillward.ledger import Ledger

PREFIX = "household, "
"""The beginning of the mark of a household; its name follows."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Standing:
    """A household as it was at its last turn that changed anything.

    line: how it is, in a line; troubles: how many things are wrong.
    """

    name: str
    at: datetime
    troubles: int
    line: str


def keep_standing(
    shared: Ledger,
    name: str,
    line: str | None,
    troubles: int,
    now: datetime,
) -> None:
    """Write how a household stands, if that has changed; with `line` None forget it.

    troubles: how many things are wrong.
    A ledger that cannot take it is logged: nothing else depends on it.
    """
    mark = f"{PREFIX}{name}"
    try:
        known = shared.marks.get(mark)
        if line is None:
            if known is not None:
                shared.marks.remove(mark)
            return
        text = f"{troubles} {line}"
        if known is None or known.text != text:
            shared.marks.set_at_once(mark, now, text)
    except LedgerError as error:
        log.error("ledger.failed reason=%s", error)


def standings(shared: Ledger) -> list[Standing]:
    """Return how all households stand: those with troubles first, then by name."""
    found = []
    for name, mark in shared.marks.all().items():
        if name.startswith(PREFIX):
            count, _, line = mark.text.partition(" ")
            found.append(Standing(name.removeprefix(PREFIX), mark.at, int(count), line))
    return sorted(found, key=lambda each: (not each.troubles, each.name))
