"""`sillward forget`: who has left is deleted from the ledger that many households share."""

from contextlib import closing
from pathlib import Path

import click

from sillward.cli.printing import say
from sillward.config import households
from sillward.config.settings import load_settings
from sillward.errors import ConfigError, UsageError, one_line
from sillward.forecast.store import utc_now
from sillward.ledger import house
from sillward.service.households_status import keep_standing


@click.command()
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask whether you are sure.")
def forget(name: str, yes: bool) -> None:
    """Delete everything that a PostgreSQL server keeps of a household: NAME has left.

    Remove its folder first. What was told, answered, read and noted there is gone for good.

    Example: sillward forget casa-ines
    """
    settings, shown = load_settings(), one_line(name, households.MAX_NAME)
    folder = households.required_folder(settings)
    try:
        there = households.find(folder)
    except OSError as error:
        msg = f"SILLWARD_COLLECTIONS: {folder}: {error.strerror or error}"
        raise ConfigError([msg]) from None
    if name in there:
        msg = f"{folder / name}: is still there; remove this folder first"
        raise UsageError(msg)
    if not households.is_name(name):
        msg = f'"{shown}" is not a valid household name'
        raise UsageError(msg)
    if isinstance(settings.ledger, Path):
        msg = f"the ledgers of households are files here: remove {settings.ledger / name}"
        raise UsageError(msg)
    if not yes:
        click.confirm(f"Delete everything that is kept of {shown}?", abort=True, err=True)
    count = house.forget(settings.ledger, name)
    with closing(house.open_shared(settings.ledger)) as shared:
        keep_standing(shared, name, None, 0, utc_now())
    say(f"{count:,} row{'' if count == 1 else 's'} of {shown} deleted.")
