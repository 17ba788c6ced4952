"""Readings of the last days looked at again: what can be seen only by the hour is set aside.

A sensor that lives is sifted reading by reading as it comes. That it is stuck, has sun on it or
shows what another one shows takes hours to see.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

import numpy as np

from sillward.ledger import Ledger
from sillward.ledger.tables.readings import Sensor
from sillward.readings.forecast_here import UNITS, ForecastHere
from sillward.readings.intake import Intake, Source
from sillward_rules.arrays import HOUR_S
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity
from sillward_rules.readings.quality import OTHER_UNIT_H, Reason, in_another_unit
from sillward_rules.weather.hourly import Weather, moment

LOOK_BACK = timedelta(hours=48)
"""So much is looked at. Judgement: a night and the days around it."""

SUN_AFTER = timedelta(hours=24)
"""Hours with sun on a sensor are set aside this long after. Judgement: they harm nothing, since
nights alone teach, and a sensor that shows nothing new would look as if it had gone quiet."""

GOES_ON = timedelta(hours=2)
"""What follows on a stuck hour within this time, with the same value, is stuck too."""


def lately_heard(ledger: Ledger, collection: Collection, now: datetime) -> list[Sensor]:
    """Return the sensors at spots of a collection that have readings of the last days."""
    spots = {spot.name for spot in collection.spots}
    return [
        sensor
        for sensor in ledger.readings.sensors(collection.site.name)
        if sensor.spot in spots and now - sensor.last_at <= LOOK_BACK
    ]


def review(ledger: Ledger, collection: Collection, weather: Weather | None, now: datetime) -> int:
    """Set aside what is seen to be wrong by now. Return how many readings that is."""
    intake = Intake(ledger, collection, weather)
    # Of two that show the same the one that came later is not used.
    sensors = lately_heard(ledger, collection, now)
    sensors.sort(key=lambda sensor: sensor.first_at, reverse=True)
    with ledger.database.transaction():
        return sum(_review_sensor(intake, sensor, now) for sensor in sensors)


def _review_sensor(intake: Intake, sensor: Sensor, now: datetime) -> int:
    site, readings = intake.site.name, intake.ledger.readings
    source = Source(intake.collection.spot(sensor.spot), sensor.quantity, sensor.name)
    hours = readings.of_spot(site, sensor.spot, sensor.quantity, now - LOOK_BACK).get(sensor.name)
    if hours is None:
        return 0
    place = (site, sensor.spot, sensor.quantity, sensor.name)
    left, count = np.ones(len(hours), bool), 0
    for reason, rows in _doubts(intake, source, hours, now):
        for row in np.flatnonzero(rows & left).tolist():
            left[row] = False
            hour = moment(hours.hour[row])
            count += readings.forget(*place, hour, hour)
            readings.set_aside(
                *place,
                reason,
                [moment(hours.first_at[row])]
                + [moment(hours.last_at[row])] * int(hours.count[row] - 1),
                [_shown(hours, row, source)] * int(hours.count[row]),
                now,
            )
    return count


def _doubts(
    intake: Intake, source: Source, hours: HourlyReadings, now: datetime
) -> Iterator[tuple[str, np.ndarray]]:
    """Yield why some hours are not used, and which (hour,)."""
    yield Reason.STUCK, _still_stuck(intake, source, hours)
    yield Reason.UNIT, _in_another_unit(intake, source, hours)
    for reason, rows in intake.doubts(source, hours):
        if reason == Reason.SUN:
            rows = rows & (hours.hour + HOUR_S <= (now - SUN_AFTER).timestamp())
        yield reason, rows


def _in_another_unit(intake: Intake, source: Source, hours: HourlyReadings) -> np.ndarray:
    """Return the hours (hour,) that are likely in another unit than the sensor is said to have.

    A file is asked about when it is read; nobody is there when a sensor sends its first values.
    """
    if source.quantity is not Quantity.TEMPERATURE or intake.weather is None:
        return np.zeros(len(hours), bool)
    here = ForecastHere(intake.site, source.spot, intake.weather)
    told = intake.weather.times, here.course(Quantity.TEMPERATURE)
    last = moment(hours.hour[-1])
    past = intake.set_aside_before(source, last - LOOK_BACK, last)
    is_known = any(one.reason == Reason.UNIT for one in past)
    return in_another_unit(hours, *told, 1 if is_known else OTHER_UNIT_H)


def _still_stuck(intake: Intake, source: Source, hours: HourlyReadings) -> np.ndarray:
    """Return the hours (hour,) that go on from some that were found stuck before."""
    found = np.zeros(len(hours), bool)
    since, until = moment(hours.hour[0]) - GOES_ON, moment(hours.hour[-1])
    for past in intake.set_aside_before(source, since, until):
        if past.reason != Reason.STUCK:
            continue
        last = past.last_at.timestamp()
        for row in np.flatnonzero(hours.first_at > last).tolist():
            is_next = hours.first_at[row] - last <= GOES_ON.total_seconds()
            is_same = hours.low[row] == hours.high[row]
            if not (is_next and is_same and _shown(hours, row, source) == past.example):
                break
            found[row], last = True, float(hours.last_at[row])
    return found


def _shown(hours: HourlyReadings, row: int, source: Source) -> str:
    return f"{hours.last[row]:g} {UNITS[source.quantity]}"
