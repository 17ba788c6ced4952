"""`sillward try-channel`: send a trial message."""

from collections.abc import Sequence
from contextlib import closing

import click

from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.assembly.desk_setup import page_links, require_channels
from sillward.channels import channel_trial
from sillward.channels.apprise_sender import ways_to_answer
from sillward.channels.sender_process import SenderProcess
from sillward.cli import completion, shared
from sillward.cli.printing import say
from sillward.config.channel import Channel
from sillward.errors import UsageError
from sillward.service.answer_links import trial_links
from sillward.text import terminal


@click.command()
@click.argument("name", required=False, shell_complete=completion.channels)
@shared.options(at=False, recorded=False, as_json=False)
def try_channel(options: Options, name: str | None) -> None:
    """Send a test message to the channel called NAME, or to all.

    It is sent like a real message but not remembered. The exit status is 0 if every channel took
    it, 1 if one did not or may not have, 78 if a channel's url is wrong.

    Example: sillward try-channel phone
    """
    app, outcomes = shared.build(options), []
    with closing(SenderProcess()) as sender:
        chosen = _channels_to_try(app, name, sender)
        now = app.clock()
        drawn = (
            read_only.stored_sheet(app, now)
            if any(channel.full_length for channel in chosen)
            else None
        )
        page, voice = page_links(app), app.household.voice
        links = None if page is None else trial_links(page, voice, now)
        ways = [None] * len(chosen) if links is None else ways_to_answer(chosen)
        for channel, way in zip(chosen, ways, strict=True):
            message = channel_trial.message(channel, voice, now, drawn, links)
            with terminal.patience(f"sending to {channel.name} ..."):
                outcomes.append(channel_trial.send_trial(channel, message, sender))
            click.echo(channel_trial.line(outcomes[-1], chosen, terminal.screen()))
            if way is not None:
                say(f"{channel.name} is answered by {way.value}")
    if any(outcome.state is channel_trial.State.SENT for outcome in outcomes):
        say("sent means that the service took it: check that it has arrived")
    if any(outcome.state is not channel_trial.State.SENT for outcome in outcomes):
        click.get_current_context().exit(1)


def _channels_to_try(app: App, name: str | None, sender: SenderProcess) -> list[Channel]:
    """Return the channel of this name, or all channels.

    Raise UsageError for an unknown name, ConfigError for a url that is wrong.
    """
    channels = app.household.channels
    known = [channel.name for channel in channels]
    if channels and name is not None and name not in known:
        msg = f'"{name}" is not one of your channels ({", ".join(known)})'
        raise UsageError(msg)
    chosen = [channel for channel in channels if name in (None, channel.name)]

    def problems_of_chosen(channels: Sequence[Channel]) -> list[str | None]:
        return [
            problem if channel in chosen else None
            for channel, problem in zip(channels, sender.problems(channels), strict=True)
        ]

    require_channels(app, problems_of_chosen)
    return chosen
