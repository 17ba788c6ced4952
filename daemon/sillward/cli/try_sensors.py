"""`sillward try-sensors`: what arrives from each sensor."""

import click

from sillward.assembly.app import App, Options
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.errors import ConfigError, UsageError
from sillward.readings import sensor_trial
from sillward.readings.forecast_here import UNITS
from sillward.readings.mqtt_listener import MqttListener
from sillward.readings.sensor_trial import Outcome
from sillward.text import terminal
from sillward.text.columns import Column, Mark, Marked, table
from sillward.wording.voice import Voice

SECONDS = 30
"""How long to wait by default [s]. Judgement: many sensors report twice a minute, and one need not
wait for those that report every quarter of an hour."""

MAX_SECONDS = 3600

_FIXED = Column(fixed=True)
_COLUMNS = (Column(), _FIXED, _FIXED, Column())


@click.command()
@click.option(
    "--seconds",
    type=int,
    default=SECONDS,
    metavar="N",
    help=f"Wait no longer than this for a value of each ({SECONDS}).",
)
@shared.options(at=False, recorded=False, as_json=False)
def try_sensors(options: Options, seconds: int) -> None:
    """Listen to the topics of the sensors for a while, and show what arrives.

    A running daemon is not disturbed, and nothing is kept. The exit status is 0 if a usable
    value came from every sensor, 1 if not or if the broker cannot be reached, 78 if there are
    no sensors.

    Example: sillward try-sensors --seconds 120
    """
    if not 1 <= seconds <= MAX_SECONDS:
        msg = f"--seconds {seconds}: must be from 1 to {MAX_SECONDS}"
        raise UsageError(msg)
    app = shared.build(options)
    household = app.household
    if household.broker is None or not household.sensors:
        msg = f"{app.path.name}: sensors: there are none; docs/readings.md has an example"
        raise ConfigError([msg])
    say(f"listening to {household.broker.address} for {seconds} s ...")
    listener = MqttListener(household.broker, household.sensors, app.clock)
    outcomes = []
    for outcome in sensor_trial.trial(listener, seconds):
        outcomes.append(outcome)
        click.echo(_line(outcome, app))
    if any(outcome.why for outcome in outcomes):
        click.get_current_context().exit(1)


def _line(outcome: Outcome, app: App) -> str:
    """Return an outcome as a row, in columns with those of the other sensors."""
    sensors, voice = app.household.sensors, app.household.voice
    row = (
        outcome.sensor.spot.ljust(max(len(sensor.spot) for sensor in sensors)),
        outcome.sensor.quantity.value.ljust(max(len(sensor.quantity.value) for sensor in sensors)),
        Marked(_value(outcome, voice), Mark.TROUBLE if outcome.why else Mark.OK),
        "; ".join(filter(None, [outcome.sensor.name, outcome.why])),
    )
    return "\n".join(table([row], _COLUMNS, terminal.screen()))


def _value(outcome: Outcome, voice: Voice) -> str:
    value, quantity = outcome.value, outcome.sensor.quantity
    return ("-" if value is None else voice.measure(value, UNITS[quantity])).rjust(len("100.0 °C"))
