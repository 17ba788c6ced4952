"""`sillward sheet`: print the sheet of a round."""

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.cli import shared
from sillward.cli.printing import print_json, say
from sillward.readings.last_night import with_last_night
from sillward.reports import sheet_json
from sillward.service import due_rounds
from sillward.text import terminal
from sillward.wording import full_sheet, short_sheet
from sillward_rules.sheet import Round, draw_up


@click.command()
@shared.options()
@click.option(
    "--round", "round_name", type=shared.ROUNDS, help="Default: the round nearest in time."
)
@click.option("--short", "as_push", is_flag=True, help="As your phone would get it.")
def sheet(options: Options, as_json: bool, round_name: str | None, as_push: bool) -> None:
    """Print the sheet of a round now.

    Example: sillward sheet --round dusk
    """
    app = shared.build(options)
    app, now = shared.at_moment(app, Round(round_name) if round_name else None)
    given, app = app, read_only.with_readings(app)
    round_ = Round(round_name) if round_name else due_rounds.nearest(app.site, now)
    weather = read_only.fetched_weather(app, now)
    drawn = draw_up(round_, app.household.collection, weather, read_only.stored_states(app), now)
    drawn = read_only.with_what_is_kept(app, drawn)
    if round_ is Round.MORNING:
        lessons = read_only.lessons_of_spots(given)
        drawn = with_last_night(drawn, app.household.collection, lessons)
    if as_json:
        print_json(sheet_json.sheet_document(drawn, app.site))
    elif as_push:
        push = short_sheet.message(drawn, app.household.voice)
        for line in (push.title, *push.body.splitlines()):
            say(line)
    else:
        credit = read_only.attribution(app, weather)
        columns = terminal.sheet_columns()
        told = full_sheet.text(drawn, app.household.voice, credit, columns=columns)
        click.echo(told, nl=False)
