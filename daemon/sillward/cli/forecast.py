"""`sillward forecast`: which forecasts are stored, and tonight's lows."""

from contextlib import closing

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.cli import shared
from sillward.cli.printing import print_json
from sillward.errors import SourceError
from sillward.reports import forecast as report
from sillward.text import terminal


@click.command()
@shared.options()
def forecast(options: Options, as_json: bool) -> None:
    """Show which forecasts are held, how far to trust them, and tonight's low at each spot."""
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    with closing(read_only.ledger_of_forecasts(app)) as ledger:
        updater = read_only.forecast_updater(app, ledger)
        if options.recorded is not None:
            updater.fetch_now()
        if updater.store.best(app.site) is None and not updater.store.doubted(app.site):
            msg = "no forecast is held yet; `sillward run` and `sillward send` keep what they fetch"
            raise SourceError(msg)
        voice = shared.voice_for(app, as_json=as_json)
        document = report.document(read_only.with_readings(app).household, updater, now, voice)
    if as_json:
        print_json(document)
    else:
        click.echo(report.text(document, app.household, terminal.screen()))
