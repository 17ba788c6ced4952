"""Situations of a night that thermometers at the spots show to be colder than told."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

import numpy as np

from sillward.text.units import Units
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather.climate import climate_of
from tests.support.collection_files import FORTY, SIX, Pot, garden
from tests.support.invented_weather import Sky
from tests.support.situations.dusk import AT, MILD
from tests.support.situations.situation import Told, changed, situation
from tests.support.staged_day import StagedDay, staged_day

NEVER = 'remind = "never"'


def told_mild(units: Units, pots: Sequence[Pot] = SIX, sky: Sky = MILD) -> StagedDay:
    """Play a dusk round that leaves plants out."""
    played = staged_day(garden(pots), "16:30", sky, units=units, notices=NEVER)
    played.play(AT)
    played.play("22:00", step=60)
    return played


def read(played: StagedDay, until: str, days: int, colder_k: Mapping[str, float]) -> Told:
    """Read thermometers every quarter of an hour until this one, and return what that brings.

    colder_k: how much colder than forecast the air is at each spot that has one.
    """
    before, told = played.chores(), len(played.pushes)
    collection, weather = played.household.collection, played.desk.context.weather()
    climate = climate_of(collection.site, collection.spots, weather)
    end = played.moment(until, days)
    while played.clock.now < end:
        played.clock.now += timedelta(minutes=15)
        at = np.array([played.clock.now.timestamp()])
        for spot, colder in colder_k.items():
            air = np.interp(at, climate.times, climate.temp_c[:, climate.column(spot)])
            played.ledger.readings.keep(
                collection.site.name, spot, Quantity.TEMPERATURE, "sensor",
                by_the_hour(at, air - colder),
            )  # fmt: skip
        played.desk.tick()
        if len(played.pushes) > told:
            break
    assert len(played.pushes) == told + 1, [push.title for push in played.pushes]
    return changed(played, before)


@situation("push-tonight", imperial=True)
def colder_than_told_at_one_spot(units: Units) -> Told:
    """The pergola is much colder than forecast."""
    return read(told_mild(units), "06:00", 1, {"pergola": 7.0})


@situation("push-tonight")
def colder_than_told_with_hours_to_spare(units: Units) -> Told:
    """It is so much colder early in the night that there is time until the limit."""
    return read(told_mild(units, sky=Sky([(15.5, 23)])), "06:00", 1, {"pergola": 4.0})


@situation("push-tonight", imperial=True)
def colder_than_told_at_two_spots(units: Units) -> Told:
    """Forty plants, and two thermometers."""
    return read(told_mild(units, FORTY), "06:00", 1, {"pergola": 9.0, "wall bench": 8.0})
