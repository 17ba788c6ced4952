"""`sillward calendar`: the chores as an iCalendar file."""

from contextlib import closing
from pathlib import Path

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.cli import shared
from sillward.errors import SourceError
from sillward.ical import publisher
from sillward.ical.ics import to_ics
from sillward_rules.chore import Chore


@click.command()
@shared.options(as_json=False)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write it there instead of printing it.",
)
def calendar(options: Options, out: Path | None) -> None:
    """Print an iCalendar file of the chores that were told and the trips that are expected.

    It is for viewing in a calendar program, never for alerts. `run` keeps the file
    SILLWARD_CALENDAR up to date.
    """
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    app = read_only.with_readings(app)
    collection, expected = app.household.collection, tuple[Chore, ...]()
    try:
        weather, states = read_only.fetched_weather(app, now), read_only.stored_states(app)
        expected = publisher.expected_trips(collection, weather, states, now)
    except SourceError as error:
        click.echo(f"sillward: {error}; upcoming trips are not known", err=True)
    with closing(read_only.ledger_to_read(app)) as ledger:
        base, voice = app.settings.page.link_base, app.household.voice
        page = "" if base is None else f"{base}/"
        content = to_ics([publisher.site_calendar(ledger, voice, expected, now, page)])
    if out is None:
        click.echo(content, nl=False)
    else:
        publisher.write_calendar(out, content)
