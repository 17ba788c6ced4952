"""`sillward demo`: play the packaged example through three rounds."""

from dataclasses import replace
from datetime import timedelta

import click

from sillward.assembly import read_only
from sillward.assembly.examples import DEMOS, looked_at_pots
from sillward.assembly.examples import demo as packaged_example
from sillward.cli.printing import say
from sillward.text import terminal
from sillward.wording import full_sheet, short_sheet
from sillward_rules.sheet import Round, draw_up
from sillward_rules.transitions import all_confirmed, next_state


@click.command()
@click.argument("weather", type=click.Choice(list(DEMOS)), default="cold-snap")
def demo(weather: str) -> None:
    """Show the packaged example in a recorded WEATHER: three rounds, nothing sent, no network.

    Example: sillward demo dry-summer
    """
    example = packaged_example(weather)
    states = looked_at_pots(example)
    dusk = example.clock()
    forecast = read_only.fetched_weather(example, dusk)
    columns = terminal.sheet_columns()
    household, rounds = example.household, example.household.rounds
    tomorrow = example.site.local_date(dusk) + timedelta(days=1)
    for round_, at in (
        (Round.DUSK, dusk),
        (Round.MORNING, rounds.morning.on(example.site, tomorrow)),
        (Round.WEEK, rounds.week.moment.on(example.site, tomorrow)),
    ):
        weather_then = replace(forecast, fetched_at=at)
        drawn = draw_up(round_, household.collection, weather_then, states, at)
        states = all_confirmed(next_state(states, drawn))
        push = short_sheet.message(drawn, household.voice)
        click.echo(f"{'=' * columns}\nThe {round_.value} push, as a phone shows it\n")
        for line in (push.title, *push.body.splitlines()):
            say(f"  {line}")
        click.echo(f"\n{'-' * columns}\n")
        credit = read_only.attribution(example, forecast)
        click.echo(full_sheet.text(drawn, household.voice, credit, columns=columns))
    others = ", ".join(f"sillward demo {name}" for name in DEMOS if name != weather)
    say(f"Other weather: {others}")
