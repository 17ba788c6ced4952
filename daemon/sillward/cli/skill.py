"""`sillward skill`: how good the forecasts have been here, against the thermometers there."""

from contextlib import closing
from pathlib import Path

import click

from sillward.assembly import demo_readings, read_only
from sillward.assembly.app import App, Options
from sillward.cli import shared
from sillward.cli.pictures import form_of, write_picture
from sillward.cli.printing import print_json
from sillward.errors import UsageError
from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward.reports import skill as report
from sillward.text import terminal


@click.command()
@shared.options(at=False, recorded=False)
@click.option("--demo", is_flag=True, help="The packaged example with a year of invented nights.")
@click.option(
    "--chart",
    type=click.Path(path_type=Path),
    metavar="FILE.png|.svg",
    help="Draw error and bias by night ahead.",
)
def skill(options: Options, as_json: bool, demo: bool, chart: Path | None) -> None:
    """Show how good each source's forecasts of the nights have been here.

    Each source's forecasts of the night are compared with the lows that were read at the
    outdoor spots, by days ahead.

    Example: sillward skill --demo
    """
    if demo and options.collection is not None:
        msg = "--demo: has its own collection; leave out the other"
        raise UsageError(msg)
    form = form_of(chart, "--chart")
    app, ledger = demo_readings.year() if demo else _app_and_ledger(options)
    with closing(ledger):
        store = ForecastStore(app.sources, ledger, app.clock)
        keys = demo_readings.KEYS if demo else _keys(app)
        found = report.report_of(app.household.collection, store, keys)
    if as_json:
        print_json(report.document(found))
    else:
        click.echo(report.text(found, app.household.voice, terminal.screen()))
    if chart is not None and found.skill.rows:
        picture = report.chart(found, app.household.voice)
        write_picture(chart, picture, form)
        click.echo(f"{chart}: {picture.title}", err=as_json)


def _app_and_ledger(options: Options) -> tuple[App, Ledger]:
    app = shared.build(options)
    return app, read_only.ledger_to_read(app)


def _keys(app: App) -> dict[str, str]:
    """Return the keys of the sources in the settings, by their names, in the grower's order."""
    names = (source.name for source in app.sources)
    return dict(zip(names, app.settings.forecast.sources, strict=True))
