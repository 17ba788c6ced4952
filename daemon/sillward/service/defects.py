"""Containment of defects: an unexpected error in one step must not hold up the other steps."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from types import TracebackType
from typing import TypeVar

from sillward.errors import LedgerError

log = logging.getLogger(__name__)

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class contained:  # noqa: N801 (used like a function, as contextlib.suppress is)
    """A context in which an unexpected error is logged, under the name of an event, and not raised.

    The code after the block runs in either case. A LedgerError is raised all the same, since the
    tick as a whole has to deal with it.

    details: what the log line says besides.
    record: called with the event after an error.
    """

    event: str
    details: str = ""
    record: Callable[[str], None] | None = None

    def __enter__(self) -> None:
        """Begin the context."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> bool:
        """Log an error. Return whether it ends here."""
        if not isinstance(error, Exception) or isinstance(error, LedgerError):
            return False
        self._report(error)
        return True

    def attempt(self, action: Callable[[], Result], *, otherwise: Callable[[], Result]) -> Result:
        """Return the result of an action, or that of `otherwise` if an unexpected error ends it."""
        try:
            return action()
        except LedgerError:
            raise
        except Exception as error:
            self._report(error)
        return otherwise()

    def _report(self, error: Exception) -> None:
        log.error("%s%s", self.event, f" {self.details}" if self.details else "", exc_info=error)
        if self.record is not None:
            self.record(self.event)


@dataclass(slots=True)
class Defects:
    """The defects of one tick, by the names of their events in the log."""

    events: list[str] = field(default_factory=list)

    def clear(self) -> None:
        """Forget the defects of the tick before."""
        self.events.clear()

    def add(self, event: str) -> None:
        """Remember that something failed; it has been logged."""
        self.events.append(event)

    def contained(self, event: str, details: str = "") -> contained:
        """Return a context that logs an unexpected error and remembers it as one of this tick."""
        return contained(event, details, self.add)
