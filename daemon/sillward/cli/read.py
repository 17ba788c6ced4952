"""`sillward read`: note what a thermometer or hygrometer at a spot shows."""

from contextlib import closing

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.cli import completion, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError
from sillward.readings import by_hand
from sillward.readings.forecast_here import ForecastHere
from sillward.readings.lessons import Lessons
from sillward.reports import cold_reading
from sillward.reports import reading_noted as report
from sillward.service.plant_states import states_at
from sillward_rules.readings.hourly_readings import Quantity


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument(
    "words", nargs=-1, required=True, metavar="SPOT VALUE", shell_complete=completion.spots
)
@click.option("--humidity", is_flag=True, help="VALUE is a relative humidity in %.")
@click.option(
    "--on", "--at", "at_text", metavar="TIME", help="When it was read: 06:40, or an ISO time."
)
@click.option("--lowest", is_flag=True, help="VALUE is the lowest of the last night.")
@click.option("--night", metavar="DATE", help="... or of the night that began on this date.")
@shared.options(at=False, recorded=False)
def read(
    options: Options,
    as_json: bool,
    words: tuple[str, ...],
    humidity: bool,
    at_text: str | None,
    lowest: bool,
    night: str | None,
) -> None:
    """Note what the thermometer at a SPOT shows: now, or at another time.

    VALUE is in your units unless it has a unit: 11.4, 11,4, 52F, "11.4 °C", 61%. With --lowest
    it is the lowest of the night, as a minimum thermometer keeps it.

    Example: sillward read pergola 11.4 --on 06:40
    """
    app = shared.build(options)
    now, site, voice = app.clock(), app.site, app.household.voice
    names = [spot.name for spot in app.household.collection.spots]
    spot_text, value_text = by_hand.spot_and_value(" ".join(words), names)
    spot = app.household.collection.spot(shared.spot_named(app, spot_text))
    value = by_hand.measured(value_text, voice.units.temperature, humidity=humidity)
    of_night = lowest or night is not None
    if of_night and (at_text is not None or value.quantity is Quantity.HUMIDITY):
        msg = (
            "--lowest is a temperature of a whole night: leave --on and --humidity out; another"
            " night is --night and the date of its evening"
        )
        raise UsageError(msg)
    asked = by_hand.night_told(night, site, now) if of_night else None
    if asked is not None:
        at = min(asked.end, now)
    else:
        at = now if at_text is None else by_hand.moment_told(at_text, site, now)
    with closing(app.open_ledger()) as ledger:
        store = read_only.forecast_updater(app, ledger).store
        taught = Lessons(ledger, store).applied(app.household.collection, now)
        here = ForecastHere(site, taught.spot(spot.name), store.weather(site))
        told = here.expected(value.quantity, at, asked)
        by_hand.check_unit(value, told, voice)
        noted = by_hand.note(ledger, site, spot.name, value, at, asked, now)
        states = states_at(ledger, site, now)
    if as_json:
        print_json(report.document(noted, told, site))
    else:
        said = [report.text(noted, told, spot, site, now, voice)]
        plants = app.household.collection.plants
        in_need = cold_reading.in_need(noted.reading, told, plants, states, now, voice)
        if in_need:
            said += [cold_reading.do_not_wait(in_need, voice)]
        say(". ".join(said))
