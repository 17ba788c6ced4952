"""`sillward read-file`: take in what a logger has recorded at a spot."""

from contextlib import closing
from pathlib import Path

import click

from sillward.archive.csv_times import ORDERS
from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.cli import completion, shared
from sillward.cli.printing import print_json, say
from sillward.cli.progress import Progress
from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.readings.file_unit import check_unit
from sillward.readings.forecast_here import ForecastHere
from sillward.readings.intake import Intake, Source, sensor_name
from sillward.readings.lessons import Lessons
from sillward.readings.logger_file import Choice, read_logger_file, zone_told
from sillward.reports import readings_taken as report
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot

_QUANTITIES = click.Choice([quantity.value for quantity in Quantity])


@click.command("read-file")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("more", nargs=-1, metavar="")
@click.option("--spot", shell_complete=completion.spot, help="Where it hung.")
@click.option("--sensor", metavar="NAME", help="Its name, if there is more than one there.")
@click.option("--column", metavar="HEAD", help="The column to read, by part of its heading.")
@click.option(
    "--columns", metavar="NAMES", help="Headings for a file that has none, separated by ;."
)
@click.option("--quantity", type=_QUANTITIES, help="Read only this.")
@click.option(
    "--unit",
    type=click.Choice(["C", "F", "%", "share"], case_sensitive=False),
    help="Unit of the column; overrides its heading.",
)
@click.option("--dates", type=click.Choice(ORDERS), help="Order of day, month, year.")
@click.option("--zone", metavar="ZONE", help="Zone of the times: local, UTC, +02:00.")
@shared.options(at=False, recorded=False)
def read_file(
    options: Options,
    as_json: bool,
    file: Path,
    more: tuple[str, ...],
    spot: str | None,
    sensor: str | None,
    zone: str | None,
    column: str | None,
    columns: str | None,
    quantity: str | None,
    unit: str | None,
    dates: str | None,
) -> None:
    """Import the readings in a FILE from a logger: CSV, with or without headings.

    What the file leaves open is asked for, never guessed: the unit, the time zone, the order of day
    and month. Reading a file twice adds nothing.

    Example: sillward read-file april.csv --spot pergola
    """
    app = shared.build(options)
    now, site = app.clock(), app.site
    where = _spot(app, spot, more)
    choice = Choice(
        column,
        columns,
        None if quantity is None else Quantity(quantity),
        None if unit is None else unit.lower(),
        dates,
        None if zone is None else zone_told(zone, site),
    )
    if zone is not None and choice.zone is None:
        shown = one_line(zone, 40)
        msg = f'--zone "{shown}" is not a time zone; write local, UTC, +02:00 or Europe/Madrid'
        raise UsageError(msg)
    progress = Progress("percent of the file read", 100)
    found = read_logger_file(file, site, choice, progress.share)
    name = sensor_name(sensor, found.serial)
    with closing(app.open_ledger()) as ledger, ledger.database.transaction():
        intake = _intake(app, ledger)
        if unit is None:
            here = ForecastHere(site, intake.collection.spot(where.name), intake.weather)
            for part in found.series:
                check_unit(found.name, part, here)
        taken = [
            intake.take(Source(where, part.quantity, name), part.times, part.values, now)
            for part in found.series
        ]
        first_told = ledger.nights.first(site.name)
    if as_json:
        print_json(report.document(found, taken, site))
    else:
        for line in report.lines(found, taken, first_told, app.household.voice):
            say(line)


def _spot(app: App, told: str | None, more: tuple[str, ...]) -> Spot:
    """Return the spot that is meant, whose name may have come in several words. UsageError."""
    if told is None:
        spots = [spot.name for spot in app.household.collection.spots]
        example = f'"{spots[0]}"' if " " in spots[0] else spots[0]
        msg = f"say where it hung: --spot {example} ({', '.join(spots)})"
        raise UsageError(msg)
    return app.household.collection.spot(shared.spot_named(app, " ".join([told, *more])))


def _intake(app: App, ledger: Ledger) -> Intake:
    store = read_only.forecast_updater(app, ledger).store
    collection = Lessons(ledger, store).applied(app.household.collection, app.clock())
    return Intake(ledger, collection, store.weather(app.site))
