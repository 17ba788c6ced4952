"""Sheets to look at: the sheet of a round, the numbers behind it, the packaged example."""

from dataclasses import replace
from datetime import timedelta

import click

from sillward.assembly.app import DEMOS, Options
from sillward.assembly.app import demo as packaged
from sillward.cli import completion, shared
from sillward.cli.printing import print_json, say
from sillward.reports import reports, sheet_json
from sillward.service import due_rounds
from sillward.wording import full_sheet, short_sheet
from sillward_rules.account import account_for
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, draw_up
from sillward_rules.transitions import all_confirmed, next_state


@click.command()
@shared.options()
@click.option(
    "--round", "round_name", type=shared.ROUNDS, help="Default: the round nearest in time."
)
@click.option("--short", "as_push", is_flag=True, help="As a phone gets it.")
def sheet(options: Options, as_json: bool, round_name: str | None, as_push: bool) -> None:
    """Print the sheet of a round now.

    Example: sillward sheet --round dusk
    """
    app = shared.build(options)
    app, now = shared.at_moment(app, Round(round_name) if round_name else None)
    round_ = Round(round_name) if round_name else due_rounds.nearest(app.site, now)
    weather = app.weather(now)
    drawn = draw_up(round_, app.household.collection, weather, app.states(), now)
    if as_json:
        print_json(sheet_json.of_sheet(drawn, app.site))
    elif as_push:
        push = short_sheet.message(drawn, app.household.voice)
        for line in (push.title, *push.body.splitlines()):
            say(line)
    else:
        click.echo(full_sheet.text(drawn, app.household.voice, app.attribution(weather)), nl=False)


@click.command()
@click.argument("plant", nargs=-1, required=True, shell_complete=completion.plants)
@shared.options()
def why(options: Options, as_json: bool, plant: tuple[str, ...]) -> None:
    """Show hour by hour the numbers behind today's decisions for a PLANT.

    Its name, with or without quotes, or as much of it as makes it clear.

    Example: sillward why blue basket
    """
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    chosen = shared.plant_named(app, " ".join(plant))
    collection, weather, states = app.household.collection, app.weather(now), app.states()
    account = account_for(chosen, collection, weather, states, now)
    decided = [
        drawn
        for round_ in (Round.MORNING, Round.DUSK)
        for drawn in [draw_up(round_, collection, weather, states, now)]
    ]
    if as_json:
        print_json(reports.why_document(account, decided, app.site))
    else:
        click.echo(reports.why_text(account, decided, app.household.voice))


@click.command()
@click.argument("weather", type=click.Choice(list(DEMOS)), default="cold-snap")
def demo(weather: str) -> None:
    """Show the packaged example in a recorded WEATHER: three rounds, nothing sent, no network.

    Example: sillward demo dry-summer
    """
    example = packaged(weather)
    states: dict[str, PlantState] = {}
    dusk = example.clock()
    forecast = example.weather(dusk)
    household, told = example.household, example.household.rounds
    tomorrow = example.site.local_date(dusk) + timedelta(days=1)
    for round_, at in (
        (Round.DUSK, dusk),
        (Round.MORNING, told.morning.on(example.site, tomorrow)),
        (Round.WEEK, told.week.moment.on(example.site, tomorrow)),
    ):
        weather_then = replace(forecast, fetched_at=at)
        drawn = draw_up(round_, household.collection, weather_then, states, at)
        states = all_confirmed(next_state(states, drawn))
        push = short_sheet.message(drawn, household.voice)
        click.echo(f"{'=' * 78}\nThe {round_.value} push, as a phone shows it\n")
        for line in (push.title, *push.body.splitlines()):
            say(f"  {line}")
        click.echo(f"\n{'-' * 78}\n")
        click.echo(full_sheet.text(drawn, household.voice, example.attribution(forecast)))
    others = ", ".join(f"sillward demo {name}" for name in DEMOS if name != weather)
    say(f"Other weather: {others}")
