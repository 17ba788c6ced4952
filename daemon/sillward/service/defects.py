"""Containment of defects: an unexpected error in one step must not hold up the other steps."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from sillward.errors import LedgerError

log = logging.getLogger(__name__)


@contextmanager
def contained(event: str, details: str = "") -> Iterator[None]:
    """Log an unexpected error under the name of this event instead of raising it.

    A LedgerError is raised: whoever runs the tick decides what becomes of it. Code after the block
    runs if the block failed, and after a `return` inside the block it does not.
    """
    try:
        yield
    except LedgerError:
        raise
    except Exception:
        log.exception("%s%s", event, f" {details}" if details else "")


@dataclass(slots=True)
class Defects:
    """The defects of one tick, by the names under which the log tells more."""

    events: list[str] = field(default_factory=list)

    def clear(self) -> None:
        """Forget the defects of the tick before."""
        self.events.clear()

    def add(self, event: str) -> None:
        """Remember that something failed; it has been logged."""
        self.events.append(event)

    @contextmanager
    def contained(self, event: str, details: str = "") -> Iterator[None]:
        """Do as `contained` does, and remember the event as a trouble of this tick."""
        try:
            yield
        except LedgerError:
            raise
        except Exception:
            log.exception("%s%s", event, f" {details}" if details else "")
            self.add(event)
