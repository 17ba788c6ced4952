"""Messages beside the rounds: a trial, and that sillward has stopped."""

import webbrowser
from collections.abc import Sequence
from contextlib import closing, suppress
from pathlib import Path

import click

from sillward import files
from sillward.assembly.app import App, Options
from sillward.assembly.desks import desks_of, require_channels
from sillward.channels import trial
from sillward.channels.sender_process import SenderProcess
from sillward.cli import completion, shared
from sillward.cli.printing import say
from sillward.config.loader import Channel
from sillward.config.settings import last_resort
from sillward.errors import ChartError, ConfigError, NotOursError, SourceError, UsageError
from sillward.net.progress import patient
from sillward.service import last_word
from sillward.service.weekly_mail import PAGE_HEAD, is_page_of_ours, page_alone
from sillward.text import terminal
from sillward_rules.sheet import Round


@click.command()
@click.argument("name", required=False, shell_complete=completion.channels)
@shared.options(at=False, recorded=False, as_json=False)
def try_channel(options: Options, name: str | None) -> None:
    """Send a message that asks for nothing to the channel of this NAME, or to all.

    It goes the way of real notices; nothing of it is remembered. Exit status 0 if each channel
    took it, 1 if one did not or may not have, 78 if a channel's url is wrong.

    Example: sillward try-channel phone
    """
    app, outcomes = shared.build(options), []
    with closing(SenderProcess()) as courier:
        chosen = _channels_to_try(app, name, courier)
        now = app.clock()
        drawn = app.sheet_at_hand(now) if any(one.full_length for one in chosen) else None
        for channel in chosen:
            message = trial.message(channel, app.household.voice, now, drawn)
            with terminal.patience(f"sending to {channel.name} ..."):
                outcomes.append(trial.tried(channel, message, courier))
            click.echo(trial.line(outcomes[-1], chosen, terminal.screen()))
    if any(one.state is trial.State.SENT for one in outcomes):
        say("sent means that the other side took it: look whether it has arrived")
    if any(one.state is not trial.State.SENT for one in outcomes):
        click.get_current_context().exit(1)


def _channels_to_try(app: App, name: str | None, courier: SenderProcess) -> list[Channel]:
    """The channel of this name, or all. Raise UsageError, or ConfigError for a url."""
    listed = app.household.channels
    known = [one.name for one in listed]
    if listed and name is not None and name not in known:
        msg = f'"{name}" is not one of your channels ({", ".join(known)})'
        raise UsageError(msg)
    chosen = [one for one in listed if name in (None, one.name)]

    def problems(of: Sequence[Channel]) -> list[str | None]:
        found = courier.problems(of)
        return [one if channel in chosen else None for channel, one in zip(of, found, strict=True)]

    require_channels(app, problems)
    return chosen


@click.command()
@shared.options(as_json=False)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    default=Path("week.html"),
    help="Default: week.html in this folder.",
)
@click.option("--open", "look", is_flag=True, help="Show it in a browser.")
def digest(options: Options, out: Path, look: bool) -> None:
    """Write the week's mail as a page to look at; nothing is sent.

    Example: sillward digest --open
    """
    app = shared.build(options)
    app, _ = shared.at_moment(app, Round.WEEK)
    _place_for_page(out)  # before the work
    with closing(app.ledger_for_a_look()) as ledger:
        (desk,) = desks_of([app], ledger)
        with suppress(SourceError):  # the page says what it rests on
            desk.keeper.ask = patient(desk.keeper.ask)
            desk.keeper.fetch()
            desk.keeper.refresh_members()
        mail = desk.outbox.weekly.mail(app.site.local_date(app.clock()))
    try:
        files.fill(_place_for_page(out), page_alone(mail).encode())
    except OSError as error:
        msg = f"{out}: the page cannot be written: {error.strerror}"
        raise ChartError(msg) from None
    click.echo(f"{out}: {mail.title}")
    if look and not webbrowser.open(out.resolve().as_uri()):
        msg = f"no browser could be started; open {out} in one"
        raise ChartError(msg)


def _place_for_page(out: Path) -> files.Place:
    """Where the page goes. Raise UsageError if something else is there, ChartError."""
    try:
        return files.place_for(out, is_page_of_ours, PAGE_HEAD)
    except NotOursError as error:
        raise UsageError(str(error)) from None
    except OSError as error:
        msg = f"{out}: the page cannot be written: {error.strerror}"
        raise ChartError(msg) from None


@click.command()
@click.option("--why", default="", metavar="TEXT", help="A word about the reason.")
def stopped(why: str) -> None:
    """Tell the channels that sillward has stopped; for a service manager to run.

    It reads settings and credentials alone, neither the collection nor the ledger.
    """
    outcomes = last_word.tell(last_resort(), why)
    for name, outcome in outcomes:
        say(f"{name}: {outcome}")
    if not outcomes:
        msg = "nobody can be told: no channel's url is in the environment or a credential"
        raise ConfigError([msg])
    if not any(outcome.startswith(("told", "perhaps told")) for _, outcome in outcomes):
        click.get_current_context().exit(1)
