"""`sillward check`: is the collection right, and where does each limit come from?"""

from collections.abc import Sequence

import click

from sillward.assembly import looking
from sillward.assembly.app import Options
from sillward.assembly.desks import require_places
from sillward.assembly.examples import demo
from sillward.channels import apprise_sender
from sillward.cli import shared
from sillward.cli.printing import print_json
from sillward.config.household import Channel
from sillward.ical import publisher
from sillward.reports import check as report
from sillward.reports import words as words_report
from sillward.text import terminal
from sillward_rules.sheet import Round, draw_up


@click.command()
@shared.options(at=False, recorded=False)
@click.option("--strict", is_flag=True, help="A channel without a url is an error.")
def check(options: Options, as_json: bool, strict: bool) -> None:
    """Validate collection, settings and channels; show every limit and where it comes from.

    A channel whose url is neither in the file nor in the environment nor a credential is named.

    Example: sillward check --collection yard.toml
    """
    app = shared.build(options)
    listed = app.household.channels
    apprise_sender.check_channels(
        listed, app.path.name, apprise_sender.problems if strict else _given
    )
    for channel in listed:
        if channel.url is None:
            note = f'channel "{channel.name}" {apprise_sender.problems([channel])[0]}'
            click.echo("\n".join(terminal.screen().lines(f"sillward: note: {note}")), err=True)
    require_places(app)
    if app.settings.calendar is not None:
        publisher.check_place(app.settings.calendar)
    for line in words_report.check(app.household.voice, app.path.name, _week_example):
        click.echo("\n".join(terminal.screen().lines(f"sillward: note: {line}")), err=True)
    sources = [source.name for source in app.sources]
    if as_json:
        print_json(report.document(app.household, sources))
    else:
        click.echo(report.text(app.household, app.clock(), sources, terminal.screen()))


def _given(listed: Sequence[Channel]) -> list[str | None]:
    """What is wrong with the urls that there are."""
    found = apprise_sender.problems(listed)
    return [None if one.url is None else wrong for one, wrong in zip(listed, found, strict=True)]


def _week_example() -> words_report.WeekExample:
    """The week of the packaged example in its cold snap."""
    app = demo("cold-snap")
    weather, now = looking.fetched_weather(app, app.clock()), app.clock()
    collection = app.household.collection
    sheet = draw_up(Round.WEEK, collection, weather, {}, now)
    return words_report.WeekExample(collection, sheet, looking.attribution(app, weather))
