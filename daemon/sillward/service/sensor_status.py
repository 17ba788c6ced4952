"""How the sensors are: what each showed last, which have gone quiet, how their broker is reached.

`sillward status` runs beside the daemon, so what it tells is in the ledger: the readings, and a
mark for the connection.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sillward.config.household import Household, TopicSensor
from sillward.ledger import Ledger
from sillward.readings.mqtt_listener import LinkState
from sillward_rules.readings.silence import LOOK_BACK, quiet_since
from sillward_rules.remark import SensorQuiet
from sillward_rules.sheet import Round, Sheet

MQTT_MARK = "mqtt"
"""The mark, with the site's name, for how the connection to the broker stands."""

TOLD_AFTER = timedelta(days=1)
"""The mail of the week tells of a sensor that has been quiet for longer. Judgement: `status` tells
it at once, and no plant is in danger for lack of a reading."""


@dataclass(frozen=True, slots=True)
class SensorState:
    """A sensor of the collection, and the newest of its readings that was kept.

    quiet_since: when it sent its last reading, if it is overdue.
    """

    sensor: TopicSensor
    last: float | None = None
    last_at: datetime | None = None
    quiet_since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """How the connection stands, as the daemon noted it, and since when."""

    state: LinkState
    since: datetime


def states(household: Household, ledger: Ledger, now: datetime) -> list[SensorState]:
    """Return how each sensor of the collection is."""
    site = household.collection.site.name
    newest = {(one.spot, one.quantity, one.name): one for one in ledger.readings.sensors(site)}
    found = []
    for sensor in household.sensors:
        place = sensor.spot, sensor.quantity
        known = newest.get((*place, sensor.name))
        if known is None:
            found.append(SensorState(sensor))
            continue
        hours = ledger.readings.of_spot(site, *place, known.last_at - LOOK_BACK).get(sensor.name)
        quiet = None if hours is None else quiet_since(hours, now)
        found.append(SensorState(sensor, known.last, known.last_at, quiet))
    return found


def note_link(ledger: Ledger, site: str, state: LinkState, now: datetime) -> None:
    """Note how the connection to the broker stands."""
    text = json.dumps({"connected": state.connected, "trouble": state.trouble})
    ledger.marks.set(f"{MQTT_MARK}, {site}", now, text)


def forget_link(ledger: Ledger, site: str) -> None:
    """Note that nothing is connected any more."""
    ledger.marks.remove(f"{MQTT_MARK}, {site}")


def link(ledger: Ledger, site: str) -> Link | None:
    """Return how the connection stands; None if nothing is connected, or ever was."""
    mark = ledger.marks.get(f"{MQTT_MARK}, {site}")
    if mark is None:
        return None
    try:
        noted = json.loads(mark.text)
        state = LinkState(bool(noted["connected"]), noted["trouble"] and str(noted["trouble"]))
    except (KeyError, TypeError, ValueError):
        return None
    return Link(state, mark.at)


def with_quiet_sensors(sheet: Sheet, household: Household, ledger: Ledger) -> Sheet:
    """Return a sheet of the week that tells of the sensors that have gone quiet."""
    if sheet.round is not Round.WEEK or not household.sensors:
        return sheet
    quiet = tuple(_quiet(household, ledger, sheet.at))
    return replace(sheet, warnings=(*sheet.warnings, *quiet))


def _quiet(household: Household, ledger: Ledger, now: datetime) -> Iterator[SensorQuiet]:
    zone = household.collection.site.zone
    for state in states(household, ledger, now):
        since, sensor = state.quiet_since, state.sensor
        if since is not None and now - since > TOLD_AFTER:
            yield SensorQuiet(sensor.spot, sensor.quantity.value, since.astimezone(zone))
