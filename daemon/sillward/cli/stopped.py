"""`sillward stopped`: tell the channels that the service has stopped."""

import click

from sillward.cli.printing import say
from sillward.config.stopped_notice_settings import read_stopped_notice_settings
from sillward.errors import ConfigError
from sillward.service import stopped_notice


@click.command()
@click.option("--why", default="", metavar="TEXT", help="The reason, in a few words.")
def stopped(why: str) -> None:
    """Tell the channels that sillward has stopped; run by a service manager.

    It reads only settings and credentials, neither the collection nor the ledger.
    """
    outcomes = stopped_notice.send(read_stopped_notice_settings(), why)
    for name, outcome in outcomes:
        say(f"{name}: {outcome}")
    if not outcomes:
        msg = "nobody can be told: no channel's url is in the environment or a credential"
        raise ConfigError([msg])
    if not any(outcome.startswith(("told", "perhaps told")) for _, outcome in outcomes):
        click.get_current_context().exit(1)
