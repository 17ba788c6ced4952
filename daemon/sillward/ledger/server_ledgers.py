"""The ledgers of many households on a server: one database, one connection, each its own rows."""

from collections.abc import Callable
from datetime import datetime

from sillward.ledger import moving
from sillward.ledger.address import ON_SERVER, PostgresAddress
from sillward.ledger.ledger import Ledger
from sillward.ledger.postgres import PostgresPlace
from sillward.ledger.tables.turns import TurnTable


class ServerLedgers:
    """Ledgers that share one connection; all are used from one thread."""

    def __init__(self, address: PostgresAddress, clock: Callable[[], datetime]) -> None:
        """Connect now or, if that fails, at the next use. Raise NewerLedgerError, NotOursError."""
        self._place = PostgresPlace(address, ON_SERVER, resilient=True)
        self._clock = clock
        self._shared = Ledger(self._place, clock=clock)
        self.turns = TurnTable(self._shared.database)

    def of_household(self, name: str, *, calls: bool = False) -> Ledger:
        """Return the ledger of a household; it is never in memory.

        calls: whether a write gives the household its turn at once, as an answer does.
        """
        ledger = Ledger(self._place.of_household(name, calls=calls), clock=self._clock)
        ledger.share(self._shared)
        return ledger

    def shared(self) -> Ledger:
        """Return the ledger that all households share."""
        return self._shared

    def forget(self, name: str) -> int:
        """Delete everything that is kept of a household. Return how many rows. Raise
        LedgerError."""
        database = self.of_household(name).database
        with database.transaction():
            count = moving.remove(database, moving.of_household(name, on_server=True))
            return count + self.turns.forget(name)

    def wake(self, ledger: Ledger) -> None:
        """Do nothing: the connection is open between turns, or made anew."""

    def rest(self, ledger: Ledger) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Close the connection."""
        self._place.close()
