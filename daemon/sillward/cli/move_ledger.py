"""`sillward move-ledger`: a ledger from a file to a PostgreSQL server, or back."""

from pathlib import Path

import click

from sillward.cli.printing import print_json, say
from sillward.config.settings import LEDGER_CREDENTIAL, load_settings
from sillward.errors import UsageError
from sillward.forecast.store import utc_now
from sillward.ledger import places
from sillward.ledger.address import LedgerAddress, PostgresAddress


@click.command("move-ledger")
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
@click.option("--json", "as_json", is_flag=True, help="Machine-readable output.")
def move_ledger(source: str, target: str, as_json: bool) -> None:
    """Copy the contents of one ledger into another, empty one, and compare the two.

    Each is a file, a folder with the ledgers of households, the address of a database such as
    postgresql://sillward@db.example/sillward, or `ledger-url` for the one in the settings. FROM may
    also be a compressed copy of a file (.gz); it is not changed. Stop sillward first.

    Do not put a password here, where others can read it: libpq takes it from ~/.pgpass, and
    `ledger-url` stands for the address in that credential file.

    Example: sillward move-ledger ledger.sqlite3 postgresql://sillward@db.example/sillward
    """
    moved = places.move(_address(source), _address(target), utc_now)
    total = sum(moved.rows.values())
    if as_json:
        print_json({"schema": 1, "rows": moved.rows, "total": total, "digest": moved.digest})
        return
    for table, count in moved.rows.items():
        if count:
            say(f"{table.replace('_', ' '):<16} {count:>9,} rows")
    say(f"{total:,} rows copied and compared. Set SILLWARD_LEDGER to use the new ledger.")
    if (photos := Path(f"{source}.photos")).is_dir():
        say(f"Photos stay where they are: {photos}")


def _address(text: str) -> LedgerAddress:
    if text == LEDGER_CREDENTIAL:
        found = load_settings().ledger
        if not isinstance(found, PostgresAddress):
            msg = f"{LEDGER_CREDENTIAL}: the settings name no ledger on a server"
            raise UsageError(msg)
        return found
    if PostgresAddress.is_anothers(text):
        msg = "an address must begin with postgresql://"
        raise UsageError(msg)
    if not PostgresAddress.is_one(text):
        return Path(text).expanduser()
    address = PostgresAddress(text)
    if address.has_password:
        msg = (
            f"{address}: leave out the password, others can read it here; put it into ~/.pgpass, "
            f"or the address into the credential file {LEDGER_CREDENTIAL}, and write that name"
        )
        raise UsageError(msg)
    return address
