"""What only whole hours show of a sensor that lives: that it is stuck, in the sun, or a twin.

Such hours are taken out of the ledger again, and set aside with their reason.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

import numpy as np

from sillward.config.household import TopicSensor
from sillward.readings.forecast_here import UNITS
from sillward.readings.intake import Intake, Source
from sillward_rules.arrays import HOUR_S
from sillward_rules.readings.hourly_readings import HourlyReadings
from sillward_rules.weather.hourly import moment

LOOK_BACK = timedelta(hours=36)
"""How far back hours are looked at again. Judgement: a twin shows itself within a day, a sensor
that is stuck when the weather has moved."""

_HOUR = timedelta(seconds=HOUR_S)


def review(intake: Intake, sensors: Iterable[TopicSensor], until: datetime) -> None:
    """Set aside the hours of these sensors that are in doubt. Raise LedgerError.

    until: the end of the last hour that is over and written.
    """
    table, site = intake.ledger.readings, intake.site.name
    for sensor in sensors:
        place = site, sensor.spot, sensor.quantity
        hours = table.of_spot(*place, until - LOOK_BACK, until - _HOUR).get(sensor.name)
        if hours is None:
            continue
        source = Source(intake.collection.spot(sensor.spot), sensor.quantity, sensor.name)
        in_doubt = np.zeros(len(hours), bool)
        with intake.ledger.database.transaction():
            for reason, rows in intake.doubts(source, hours):
                for row in np.flatnonzero(rows & ~in_doubt):
                    _set_aside(intake, source, hours, int(row), reason)
                in_doubt |= rows


def _set_aside(
    intake: Intake, source: Source, hours: HourlyReadings, row: int, reason: str
) -> None:
    """Take one hour out, and note its readings, whose times within it are not known any more."""
    place = intake.site.name, source.spot.name, source.quantity, source.sensor
    first, last, count = hours.first_at[row], hours.last_at[row], hours.count[row]
    times = [moment(second) for second in np.linspace(first, last, count)]
    example = f"{hours.last[row]:.4g} {UNITS[source.quantity]}"
    table = intake.ledger.readings
    table.set_aside(*place, reason, times, example)
    hour = moment(hours.hour[row])
    table.forget(*place, hour, hour)
