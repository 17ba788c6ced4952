"""`sillward check`: is the collection right, and where does each limit come from?"""

import importlib.util
from collections.abc import Sequence
from contextlib import closing

import click

from sillward.assembly import page_access, read_only, web_push
from sillward.assembly.app import App, Options
from sillward.assembly.desk_setup import require_places
from sillward.assembly.examples import demo
from sillward.channels import apprise_sender
from sillward.cli import shared
from sillward.cli.printing import print_json
from sillward.config.channel import Channel
from sillward.ical import publisher
from sillward.reports import check as report
from sillward.reports import check_short
from sillward.reports import words as words_report
from sillward.reports.check_facts import MessageLinks
from sillward.service import accepted_limits, damage_questions
from sillward.text import terminal
from sillward_rules.sheet import Round, draw_up


@click.command()
@shared.options(at=False, recorded=False)
@click.option("--full", is_flag=True, help="Every limit of every plant, and where it comes from.")
@click.option("--strict", is_flag=True, help="A channel without a url is an error.")
def check(options: Options, as_json: bool, full: bool, strict: bool) -> None:
    """Validate collection, settings and channels; show briefly how they were understood.

    Mistakes are reported with their line in the file, and so are channels that have no url in the
    file, in the environment or in a credential.

    Example: sillward check --collection yard.toml
    """
    app = shared.build(options)
    channels = app.household.channels
    problems = apprise_sender.problems if strict else _problems_of_given_urls
    apprise_sender.check_channels(channels, app.path.name, problems)
    for channel in channels:
        if channel.url is None:
            _note(f'channel "{channel.name}" {apprise_sender.problems([channel])[0]}')
    require_places(app)
    if app.place is None:  # one of many households without a passphrase merely has no page
        page_access.require_passphrase(app)
    if app.household.sensors and importlib.util.find_spec("paho") is None:
        _note("sensors need paho-mqtt: `pip install '.[mqtt]'` in a checkout")
    if app.settings.calendar is not None:
        publisher.check_place(app.settings.calendar)
    for line in words_report.check(app.household.voice, app.path.name, _week_example):
        _note(line)
    for line in (*_void_limits(app), *_proposed_limits(app)):
        _note(line)
    app = read_only.with_readings(app)
    sources = [source.name for source in app.sources]
    links = _links(app)
    if as_json:
        print_json(report.document(app.household, app.clock(), sources, links))
        return
    told = report.text if full else check_short.text
    click.echo(told(app.household, app.clock(), sources, terminal.screen(), links))


def _void_limits(app: App) -> list[str]:
    """Return what is wrong with limits that were accepted and do not count any more."""
    with closing(read_only.ledger_to_read(app)) as ledger:
        void = accepted_limits.void(app.household, ledger)
    voice = app.household.voice
    return [
        f"{limit.plant}: {limit.name} {voice.bound(limit.value)}, accepted"
        f" {app.site.local_date(limit.accepted_at)}, does not count: the collection"
        f" gave {voice.bound(limit.replaced)} then and gives another value now;"
        f" `sillward damage --take-back {limit.plant}` removes it"
        for limit in void
    ]


def _proposed_limits(app: App) -> list[str]:
    """Return the limits that the nights of plants speak for changing."""
    with closing(read_only.ledger_to_read(app)) as ledger:
        found = damage_questions.proposals(ledger, app.household.collection)
    return [app.household.voice.remark(remark) for remark in found]


def _links(app: App) -> MessageLinks | None:
    """Return how messages are answered; None if no page is served."""
    page, channels = app.settings.page, app.household.channels
    standing = page_access.standing(app)
    if standing is None:
        return None
    ways = zip(channels, apprise_sender.ways_to_answer(channels), strict=True)
    return MessageLinks(
        standing,
        page.url,
        {channel.name: way.value for channel, way in ways if way is not None},
        web_push.standing(app),
    )


def _problems_of_given_urls(channels: Sequence[Channel]) -> list[str | None]:
    """Return what is wrong with each channel's url; None where it is right, or not given."""
    problems = apprise_sender.problems(channels)
    return [
        None if channel.url is None else problem
        for channel, problem in zip(channels, problems, strict=True)
    ]


def _note(text: str) -> None:
    for line in terminal.screen().lines(f"sillward: note: {text}"):
        click.echo(line, err=True)


def _week_example() -> words_report.WeekExample:
    """Return the week sheet of the packaged example in its cold snap."""
    app = demo("cold-snap")
    weather, now = read_only.fetched_weather(app, app.clock()), app.clock()
    collection = app.household.collection
    sheet = draw_up(Round.WEEK, collection, weather, {}, now)
    return words_report.WeekExample(collection, sheet, read_only.attribution(app, weather))
