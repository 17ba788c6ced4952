"""What is wrong with the work for many households as a whole, in the ledger that all share: for
`sillward status`, which is another process, maybe on another machine."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.errors import LedgerError
from sillward.ledger import Ledger

TROUBLE_MARK = "trouble of the house"
"""The beginning of the mark that a daemon keeps while something is wrong; its machine follows."""

KEPT_EVERY = timedelta(minutes=10)
"""How often the mark is written again, for `status` to know that it still holds."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class HouseTroubles:
    """Keeps the troubles of the daemon on one machine."""

    shared: Ledger
    machine: str
    _text: str | None = None
    """What was kept last; None if that is not known, as the process before may have kept some."""
    _kept_at: datetime | None = None

    def keep(self, troubles: Sequence[str], now: datetime) -> None:
        """Keep these, if they have changed or were kept some time ago; with none remove the mark.

        A ledger that cannot take it is logged: nothing else depends on it.
        """
        text, mark = "; ".join(troubles), f"{TROUBLE_MARK}, {self.machine}"
        is_old = self._kept_at is None or not timedelta(0) <= now - self._kept_at < KEPT_EVERY
        if text == self._text and not (text and is_old):
            return
        try:
            if text:
                self.shared.marks.set(mark, now, text)
            else:
                self.shared.marks.remove(mark)
        except LedgerError as error:
            log.error("ledger.failed reason=%s", error)
        else:
            self._text, self._kept_at = text, now


def kept_troubles(shared: Ledger, now: datetime, kept_for: timedelta) -> list[str]:
    """Return what daemons have said, as far as it was kept up for this long."""
    return [
        mark.text
        for name, mark in sorted(shared.marks.all().items())
        if name.startswith(f"{TROUBLE_MARK}, ") and abs(now - mark.at) <= kept_for
    ]
