"""A PostgreSQL server of the tests' own: in a temporary folder, reached by a socket file alone.

Nothing on it outlives the tests, so that it syncs nothing to the disk. It never runs as root, under
which containers often run tests.
"""

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg

from sillward.ledger import schema
from sillward.ledger.address import PostgresAddress
from tests.support.installation import wait_for

DATABASE = "sillward"

SETTINGS = {
    "autovacuum": "off",
    "fsync": "off",
    "full_page_writes": "off",
    "listen_addresses": "",
    "max_connections": "40",
    "shared_buffers": "64MB",
    "synchronous_commit": "off",
}
"""Nothing needs to survive a loss of power; `durable` has these three as they are by default."""

DURABLE = {"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on"}


class CannotRunError(Exception):
    """No server can be run here; the text says why."""


def programs() -> Path:
    """Return the folder of the server's programs. Raise CannotRunError if they are not there."""
    found = shutil.which("initdb")
    folders = [Path(found).parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "postgres").exists():
            return folder
    msg = "PostgreSQL is not installed (Debian: apt install postgresql)"
    raise CannotRunError(msg)


def owner() -> str | None:
    """Return the user to run it as; None for the one of the tests, if that is not root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            pwd.getpwnam(name)
        except KeyError:
            continue
        return name
    msg = "there is no user without privileges to run PostgreSQL as"
    raise CannotRunError(msg)


@dataclass
class PostgresServer:
    """A running server."""

    folder: Path
    user: str | None
    settings: dict[str, str]
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> PostgresAddress:
        """The address of the database for ledgers."""
        return self.address_of(DATABASE)

    def address_of(self, database: str) -> PostgresAddress:
        """Return the address of a database."""
        return PostgresAddress(f"postgresql:///{database}?host={self.folder}&user=tester")

    def _call(self, *command: str) -> list[str]:
        return [str(programs() / command[0]), *command[1:]]

    def begin(self) -> None:
        """Make its folder and start it."""
        self.folder.chmod(0o700)
        if self.user is not None:
            shutil.chown(self.folder, self.user, pwd.getpwnam(self.user).pw_gid)
        subprocess.run(
            self._call(
                "initdb", "--pgdata", str(self.folder / "data"), "--username=tester",
                "--auth=trust", "--encoding=UTF8", "--locale=C", "--no-sync", "--no-instructions",
            ),
            **self._as_owner(),
            check=True,
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        self.start()
        with psycopg.connect(self.address_of("postgres").url, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {DATABASE}".encode())

    def _as_owner(self) -> dict[str, Any]:
        if self.user is None:
            return {"cwd": self.folder}
        group = pwd.getpwnam(self.user).pw_gid
        return {"cwd": self.folder, "user": self.user, "group": group, "extra_groups": []}

    def start(self) -> None:
        """Start it, and wait until it takes connections."""
        options = [f"-c{name}={value}" for name, value in self.settings.items()]
        command = self._call("postgres", "-D", str(self.folder / "data"), f"-k{self.folder}")
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen([*command, *options], **self._as_owner(), stderr=log)
        assert wait_for(self._answers), (self.folder / "log").read_text()

    def _answers(self) -> bool:
        try:
            psycopg.connect(self.address_of("postgres").url).close()
        except psycopg.OperationalError:
            return False
        return True

    def stop(self) -> None:
        """Stop it at once, as a crash would: connections are cut, nothing is written."""
        if self.process is not None:
            self.process.send_signal(signal.SIGQUIT)
            self.process.wait()
            self.process = None

    def cut_connections(self) -> None:
        """End all connections of others."""
        with psycopg.connect(self.address.url, autocommit=True) as connection:
            connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid != pg_backend_pid()"
            )

    def emptied(self) -> PostgresAddress:
        """Return the address of the database for ledgers, after its rows were deleted."""
        with psycopg.connect(self.address.url, autocommit=True) as connection:
            if connection.execute("SELECT to_regclass('sillward_ledger')").fetchall() != [(None,)]:
                names = ", ".join((*schema.tables(), "turn"))
                connection.execute(f"TRUNCATE {names} RESTART IDENTITY".encode())
        return self.address


@contextmanager
def running(**settings: str) -> Iterator[PostgresServer]:
    """Run a server. Raise CannotRunError if none can be run here."""
    programs()
    server = PostgresServer(
        Path(tempfile.mkdtemp(prefix="sillward-pg-")), owner(), SETTINGS | settings
    )
    try:
        server.begin()
        yield server
    finally:
        server.stop()
        shutil.rmtree(server.folder, ignore_errors=True)
