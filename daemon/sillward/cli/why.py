"""`sillward why`: print the numbers behind today's decisions for a plant."""

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.cli import completion, shared
from sillward.cli.printing import print_json
from sillward.reports import why as report
from sillward.text import terminal
from sillward_rules.explanation import explain_plant
from sillward_rules.sheet import Round, draw_up


@click.command()
@click.argument("plant", nargs=-1, required=True, shell_complete=completion.plants)
@shared.options()
def why(options: Options, as_json: bool, plant: tuple[str, ...]) -> None:
    """Show the numbers behind today's decisions for a PLANT, hour by hour.

    Give its name, with or without quotes, or as much of it as makes it clear.

    Example: sillward why blue basket
    """
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    app = read_only.with_readings(app)
    chosen = shared.plant_named(app, " ".join(plant))
    collection = app.household.collection
    weather, states = read_only.fetched_weather(app, now), read_only.stored_states(app)
    explanation = explain_plant(chosen, collection, weather, states, now)
    decided = [
        draw_up(round_, collection, weather, states, now) for round_ in (Round.MORNING, Round.DUSK)
    ]
    if as_json:
        print_json(report.document(explanation, decided, app.site))
    else:
        columns = terminal.sheet_columns()
        click.echo(report.text(explanation, decided, app.household.voice, columns))
