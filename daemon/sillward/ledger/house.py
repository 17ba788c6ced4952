"""The ledgers of many households: a file for each, and one for what they share; or one database.

    FOLDER/NAME/ledger.sqlite3    what concerns one household, with its daily copies beside it
    FOLDER/shared.sqlite3         forecasts, and when their providers are called

A damaged file, or one that cannot be written, harms its own household alone; who leaves is a folder
to delete. Each household has a folder of its own because what is done beside a ledger (copies,
locks) looks through the folder.
"""

from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from sillward.ledger.address import LedgerAddress, PostgresAddress
from sillward.ledger.ledger import Ledger
from sillward.ledger.tables.turns import TurnTable

if TYPE_CHECKING:
    from sillward.ledger.server_ledgers import ServerLedgers

LEDGER = "ledger.sqlite3"
SHARED = "shared.sqlite3"


class LedgerHouse(Protocol):
    """Where the ledgers of many households come from."""

    @property
    def turns(self) -> TurnTable | None:
        """The turns, where several workers share the work."""
        ...

    def of_household(self, name: str) -> Ledger:
        """Open the ledger of a household. Raise ConfigError for what can never be one."""
        ...

    def shared(self) -> Ledger:
        """Return the ledger of what all share, which is open."""
        ...

    def wake(self, ledger: Ledger) -> None:
        """Open a household's ledger for its turn. Raise LedgerError or NotOursError."""
        ...

    def rest(self, ledger: Ledger) -> None:
        """Close it until the next."""
        ...


def ledgers_at(address: LedgerAddress, clock: Callable[[], datetime]) -> LedgerHouse:
    """Open the ledgers of a folder, or of a database. Raise ConfigError for what can be none."""
    if isinstance(address, Path):
        return FileLedgers(address, clock)
    return _on_server(address, clock)


def open_one(address: PostgresAddress, name: str) -> Ledger:
    """Open the ledger of one household in a database, with what it shares with the others.

    Raise LedgerError, NotOursError.
    """
    ledgers = _on_server(address, utc_now)
    ledger, shared = ledgers.of_household(name, calls=True), ledgers.shared()
    shared.database.rows("SELECT 1")  # a command says at once that the server is away
    ledger.share(shared, owned=True)
    return ledger


def forget(address: PostgresAddress, name: str) -> int:
    """Delete all that a database keeps of one household. Return how many rows. Raise LedgerError,
    NotOursError."""
    with closing(_on_server(address, utc_now)) as ledgers:
        return ledgers.forget(name)


def open_shared(address: LedgerAddress) -> Ledger:
    """Open what all share: a file, or a database. Raise LedgerError, NotOursError."""
    if isinstance(address, Path):
        return Ledger(address)
    return _on_server(address, utc_now).shared()


def utc_now() -> datetime:
    """Return the time in UTC."""
    return datetime.now(UTC)


def _on_server(address: PostgresAddress, clock: Callable[[], datetime]) -> "ServerLedgers":
    Ledger.require_postgres()
    from sillward.ledger.server_ledgers import ServerLedgers  # only now: few need psycopg

    return ServerLedgers(address, clock)


class FileLedgers:
    """A SQLite file for each household. All are used from one thread."""

    turns: TurnTable | None = None

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        """Open the shared one. Raise ConfigError for a place where no ledger can be."""
        self._folder, self._clock = folder, clock
        self._shared = Ledger.open_or_in_memory(folder / SHARED, clock=clock)

    def of_household(self, name: str) -> Ledger:
        """Open the ledger of a household, which goes on in memory if its file cannot be used.

        Raise ConfigError for what can never be one, NewerLedgerError for one of a newer sillward.
        """
        path = self._folder / name / LEDGER
        ledger = Ledger.open_or_in_memory(path, clock=self._clock)
        ledger.share(self._shared)
        return ledger

    def shared(self) -> Ledger:
        """Return the ledger of what all share, which is open."""
        return self._shared

    def wake(self, ledger: Ledger) -> None:
        """Open a household's ledger for its turn. Raise LedgerError or NotOursError."""
        ledger.file.wake()

    def rest(self, ledger: Ledger) -> None:
        """Close it until the next."""
        ledger.file.rest()
