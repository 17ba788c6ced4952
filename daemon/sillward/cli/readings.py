"""`sillward readings`: list what was read at the spots, correct it, take it back."""

from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime

import click

from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.cli import completion, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.readings import amendments
from sillward.readings.intake import twin_of
from sillward.readings.lessons import Lessons
from sillward.reports import readings as report
from sillward.text import terminal


@click.command()
@click.argument("spot", nargs=-1, shell_complete=completion.spots)
@click.option("--correct", type=(int, str), metavar="N VALUE", help="Reading N was VALUE instead.")
@click.option("--delete", type=int, metavar="N", help="Delete reading N.")
@click.option(
    "--forget",
    metavar="SENSOR",
    shell_complete=completion.sensors,
    help="Delete all readings of a sensor, or of the files read for it.",
)
@click.option(
    "--hangs-right",
    is_flag=True,
    help="The thermometer at SPOT hangs in the right place, although it reads differently now.",
)
@click.option("--all", "whole", is_flag=True, help="All readings by hand, not only the latest.")
@shared.options(recorded=False)
def readings(
    options: Options,
    as_json: bool,
    spot: tuple[str, ...],
    correct: tuple[int, str] | None,
    delete: int | None,
    forget: str | None,
    hangs_right: bool,
    whole: bool,
) -> None:
    """List what was read at a SPOT, or at all of them, and what is not used and why.

    Readings by hand have a number, each sensor has its last value and age; then comes what was set
    aside in the last 60 days.

    Example: sillward readings --correct 7 11.6
    """
    if sum(choice is not None for choice in (correct, delete, forget, hangs_right or None)) > 1:
        msg = "--correct, --delete, --forget and --hangs-right are one at a time"
        raise UsageError(msg)
    app = shared.build(options)
    with closing(app.open_ledger() if app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        name = _spot(app, ledger, " ".join(spot)) if spot else None
        if correct is not None:
            say(amendments.correct(ledger, app.site, *correct, app.household.voice))
        elif delete is not None:
            say(amendments.delete(ledger, app.site, delete))
        elif forget is not None:
            for line in _forgotten(app, ledger, name, forget):
                say(line)
        elif hangs_right:
            say(_explained(app, ledger, name))
        else:
            document = report.document(ledger, app.site, name, app.clock(), whole=whole)
            if as_json:
                print_json(document)
            else:
                click.echo(report.text(document, app.household.voice, terminal.screen()))


def _spot(app: App, ledger: Ledger, words: str) -> str:
    """Return a spot of the collection, or one that has readings from before. Raise UsageError."""
    site = app.site.name
    others = [reading.spot for reading in ledger.readings.by_hand(site)]
    others += [sensor.spot for sensor in ledger.readings.sensors(site)]
    return shared.spot_named(app, words, others)


def _explained(app: App, ledger: Ledger, spot: str | None) -> str:
    """Note that the thermometer of a spot hangs right, and say so."""
    lessons, now = Lessons(ledger, read_only.forecast_updater(app, ledger).store), app.clock()
    spots = lessons.applied(app.household.collection, now).spots
    return amendments.note_hangs_right(lessons, spots, spot, now, app.household.voice)


def _forgotten(app: App, ledger: Ledger, spot: str | None, name: str) -> list[str]:
    """Forget a sensor, and say so, a line each. Raise UsageError unless it is the only one of this
    name."""
    known = ledger.readings.names(app.site.name)
    found = [key for key in known if key.name == name and spot in (None, key.spot)]
    places = list(dict.fromkeys(key.spot for key in found))
    if len(places) != 1:
        names = ", ".join(dict.fromkeys(key.name for key in known)) or "none"
        msg = (
            f'"{name}" is at {" and ".join(places)}; say at which: sillward readings'
            f" {places[0]} --forget ..."
            if places
            else f'"{one_line(name, 60)}" is not a sensor here ({names})'
        )
        raise UsageError(msg)
    with ledger.database.transaction():
        count = sum(
            ledger.readings.forget(app.site.name, key.spot, key.quantity, key.name) for key in found
        )
    forgotten = f"forgotten: {count:,} readings of {one_line(name, 60)} at {places[0]}"
    return [forgotten, *_usable_again(ledger, app.site.name, name, places[0])]


def _usable_again(ledger: Ledger, site: str, name: str, spot: str) -> Iterator[str]:
    """Yield what was set aside as the same as a sensor that is forgotten now, a line each."""
    reason, always = twin_of(name, spot), datetime.fromtimestamp(0, UTC)
    counts: Counter[tuple[str, str]] = Counter()
    for each in ledger.readings.set_aside_since(site, always):
        if each.reason == reason:
            counts[each.spot, each.sensor] += each.count
    for (other, sensor), count in counts.items():
        yield (
            f"{count:,} readings of {one_line(sensor, 60)} at {other} were set aside as the same as"
            " these: read their file again, and they count"
        )
