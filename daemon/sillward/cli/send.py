"""`sillward send`: one round, delivered by hand or by cron."""

import click

from sillward.assembly.app import Options
from sillward.assembly.desk_setup import desk_for_command, require_channels
from sillward.assembly.logs import start_logging
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.errors import ConfigError, SourceError
from sillward.ledger import NoticeState
from sillward.service import due_rounds
from sillward.service.daemon import on_end
from sillward_rules.sheet import Round


@click.command()
@shared.options(as_json=False)
@click.option(
    "--round", "round_name", type=shared.ROUNDS, required=True, help="Which round to send."
)
def send(options: Options, round_name: str) -> None:
    """Send one round to its channels, from cron or by hand; never the same round twice.

    Example: sillward send --round morning
    """
    app = shared.build(options)
    start_logging(app.settings.log_level)
    require_channels(app)
    round_ = Round(round_name)
    if not any(round_.value in channel.rounds for channel in app.household.channels):
        msg = f"{app.path.name}: channels: none of them is told the {round_.value} round"
        raise ConfigError([msg])
    app, now = shared.at_moment(app, round_)
    if app.pretending:
        click.echo("sillward: a trial: it is sent, and nothing of it is remembered", err=True)
    desk = desk_for_command(app)
    on_end(desk.context.run.request_stop)
    updater = desk.context.updater
    fetch_error: SourceError | None = None
    try:
        updater.fetch_now()
        updater.refresh_due_members()
    except SourceError as error:  # the round is told all the same
        fetch_error = error
    occasion = due_rounds.current(app.site, app.household.rounds, round_, now)
    if desk.tell(occasion) is None:
        click.echo(f"the {occasion.name} round of {occasion.day} has already been told", err=True)
    desk.deliver(ignore_quiet_hours=True)
    waiting = False
    for notice in desk.context.ledger.notices.of_round(app.site.name, occasion.name, occasion.day):
        at = "" if notice.sent_at is None else f" {app.household.voice.hour(notice.sent_at)}"
        say(f"{notice.channel}: {notice.state}{at}{_reason(notice.last_error)}")
        waiting = waiting or notice.state not in (NoticeState.SENT, NoticeState.NOT_NEEDED)
    desk.context.ledger.close()
    if fetch_error is not None:
        raise fetch_error
    if waiting:
        click.get_current_context().exit(1)


def _reason(error: str | None) -> str:
    return f" ({error})" if error else ""
