"""`sillward plant`: a plant as it is now, and its years."""

from contextlib import closing

import click

from sillward.assembly.app import Options
from sillward.cli import completion, plant_names, shared
from sillward.cli.printing import print_json
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.reports import plant as report
from sillward.text import terminal


@click.command()
@click.argument("plant", nargs=-1, required=True, shell_complete=completion.plants)
@shared.options(recorded=False)
def plant(options: Options, as_json: bool, plant: tuple[str, ...]) -> None:
    """Show a PLANT: where it stands, its limits, and its years.

    Flowers, growth, repotting and damage come from its diary; water and feed are what somebody
    has confirmed; nights of which nothing is known are left out.

    Example: sillward plant blue basket
    """
    app = shared.build(options)
    household, now = app.household, app.clock()
    with closing(app.open_ledger() if app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        name = plant_names.one_name(plant_names.names_with_past(app, ledger), " ".join(plant))
        plants = {each.name: each for each in household.collection.plants}
        made = report.report_of(ledger, app.site, name, plants.get(name), now)
    if as_json:
        print_json(report.document(made, app.site))
    else:
        click.echo(report.text(made, household.voice, terminal.screen()))
