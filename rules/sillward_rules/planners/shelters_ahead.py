"""Shelters for some nights ahead: where each plant is warm enough, whatever the night.

A round chooses the shelter of one night. Who has a list on paper needs one place for each plant
that does for all of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.planners import shelter
from sillward_rules.planners.cold_places import HARDY_C
from sillward_rules.planners.outlook import NIGHTS, forecast_reaches
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot_columns import NO_SPOT
from sillward_rules.weather.sun import Night


@dataclass(frozen=True, slots=True)
class ShelterAhead:
    """Where a plant goes on a cold night.

    is_sure: whether the spot is known to hold the limit of the plant on every night that the
        forecast reaches.
    """

    spot: str
    is_sure: bool


def shelters_ahead(
    collection: Collection, weather: Weather, state: State, now: datetime, last: date
) -> Mapping[str, ShelterAhead]:
    """Return the shelter of each plant that is carried on a cold night, for the nights up to a day.

    These are the plants that have one of their own, those that live outdoors and are not hardy, and
    those whose room does not hold. It is the first spot that the nights' rounds would choose and
    that holds on all of them; if none does, the plant's own, or else the one of the coldest
    night, which are not sure then. Nights that the forecast does not reach are not judged, except
    for the coming one.
    """
    scene = Scene(collection, weather, state, now)
    lows = [(night, shelter.spot_lows(scene, night)) for night in _nights(scene, last)]
    worst = np.min([of_night for _, of_night in lows], axis=0)  # NaN if a night is not known
    spots = np.full_like(scene.shelter, NO_SPOT)
    for night, of_night in lows:
        chosen = shelter.shelter_for(scene, night, of_night)
        spots = np.where((spots == NO_SPOT) & shelter.holds(scene, worst, chosen), chosen, spots)
    is_sure = spots != NO_SPOT
    coldest = min(lows, key=lambda one: np.nan_to_num(one[1], nan=-np.inf).min())
    sought = shelter.shelter_for(scene, *coldest)
    unsure = np.where(scene.shelter == NO_SPOT, sought, scene.shelter)
    spots = np.where(is_sure, spots, unsure)
    tender = scene.lowest_limit_c > HARDY_C
    stays = np.where(scene.indoors[scene.home], shelter.holds(scene, worst, scene.home), ~tender)
    carried = (spots != NO_SPOT) & ((scene.shelter != NO_SPOT) | ~stays)
    return {
        name: ShelterAhead(scene.spot_name(int(spots[cohort])), bool(is_sure[cohort]))
        for cohort in np.flatnonzero(carried).tolist()
        for name in scene.names_of[cohort]
    }


def _nights(scene: Scene, last: date) -> list[Night]:
    """Return the nights that are judged, the coming one first."""
    first = sun.night_at_or_after(scene.site, scene.now)
    ahead = [
        sun.night_of(scene.site, first.day + timedelta(days=offset)) for offset in range(1, NIGHTS)
    ]
    return [
        first,
        *(night for night in ahead if night.day <= last and forecast_reaches(scene, night)),
    ]
