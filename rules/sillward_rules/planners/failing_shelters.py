"""Shelters that by their thermometers will not hold on a night ahead, told before it is needed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array, split_by_keys
from sillward_rules.planners import shelter
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import ShelterFailing
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import covers_hours, rows_from_to
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

NIGHTS_AHEAD = 7
"""So many nights are looked at, from the first: as the week sheet does."""


@dataclass(frozen=True, slots=True, eq=False)
class _FailingNight:
    """A night on which shelters fail plants that must be under cover.

    - lows (spot,): as in `shelter.spot_lows`.
    - shelters, goals (cohort,): the shelter that fails, `NO_SPOT` for none, and where they go.
    """

    night: Night
    lows: Array
    shelters: Standing
    goals: Standing


def failing_shelters(scene: Scene, first: date) -> list[ShelterFailing]:
    """Return the shelters that will be under the limit of plants that are to spend a night there.

    Only those whose thermometers have taught what they hold; of others it is told in the evening.
    There is one remark for each shelter and each spot to which its plants go instead, with the
    coldest of the nights concerned, the worst first.

    first : the local date of the evening of the first night that counts.
    """
    if all(spot.response is None for spot in scene.climate.spots):
        return []
    nights = []
    for offset in range(NIGHTS_AHEAD):
        night = sun.night_of(scene.site, first + timedelta(days=offset))
        if scene.forecast_expired or not covers_hours(
            scene.climate.times, night.start, night.cold_until
        ):
            break
        found = _on_night(scene, night)
        if found is not None:
            nights.append(found)
    columns = {column for each in nights for column in each.shelters.tolist()} - {NO_SPOT}
    remarks = [remark for column in sorted(columns) for remark in _of_spot(scene, nights, column)]
    return sorted(remarks, key=lambda remark: remark.low_c - remark.limit_c)


def _on_night(scene: Scene, night: Night) -> _FailingNight | None:
    """Return the shelters that fail on a night, if any does."""
    lows = shelter.spot_lows(scene, night)
    goals = shelter.shelter_for(scene, night, lows)
    known = np.array([spot.response is not None for spot in scene.climate.spots], dtype=bool)

    def fails(spots: Standing) -> np.ndarray:
        low = at_columns(np.where(known, lows, np.nan), spots, otherwise=np.nan)
        return np.asarray(low < scene.lowest_limit_c)

    # Who has no shelter is concerned if the best that there is does not hold.
    shelters = np.where(scene.shelter == NO_SPOT, goals, scene.shelter)
    failing = fails(shelters)
    if not failing.any():
        return None
    everyone = np.ones(failing.shape, dtype=bool)  # by evening they are out again
    failing &= find_night_needs(scene, night, everyone).must_be_in
    if not failing.any():
        return None
    holding = shelter.holds(scene, lows, goals)
    return _FailingNight(
        night,
        lows,
        np.where(failing, shelters, NO_SPOT),
        np.where(failing & holding, goals, NO_SPOT),
    )


def _of_spot(scene: Scene, nights: Sequence[_FailingNight], column: int) -> list[ShelterFailing]:
    """Return the remarks on one shelter."""
    concerned = [each for each in nights if (each.shelters == column).any()]
    coldest = min(concerned, key=lambda each: float(each.lows[column]))
    expected_c, sd_k = _expected(scene, coldest.night, column)
    cohorts = np.flatnonzero(np.any([each.shelters == column for each in concerned], axis=0))
    remarks = []
    for members in split_by_keys(cohorts, coldest.goals[cohorts]):
        goal = int(coldest.goals[members[0]])
        by_name = members[np.argsort(scene.rank_by_name[members])]
        remarks.append(
            ShelterFailing(
                plants=scene.names(by_name.tolist()),
                spot=scene.spot_name(column),
                nights=tuple(each.night.day for each in concerned),
                coldest=coldest.night.day,
                low_c=expected_c,
                sd_k=sd_k,
                limit_c=float(scene.lowest_limit_c[members].max()),
                better_spot=None if goal == NO_SPOT else scene.spot_name(goal),
                better_low_c=None if goal == NO_SPOT else float(coldest.lows[goal]),
            )
        )
    return remarks


def _expected(scene: Scene, night: Night, column: int) -> tuple[float, float]:
    """Return the low that is expected at a spot in a night, and its standard deviation [°C], [K].

    The forecast of a later night may be further off than those that taught what the spot holds;
    what it is off outdoors comes in by the gain.
    """
    response = scene.climate.spots[column].response
    assert response is not None
    outdoors = scene.indoor_nights.means_c[scene.indoor_nights.nights.row_of(night), column]
    mean, sd = response.predict(outdoors)
    rows = rows_from_to(scene.climate.times, night.start, night.cold_until)
    error = scene.weather.spread_in(rows).sd_k[rows].max()
    more = np.sqrt(max(error**2 - USUAL_ERROR_K[0] ** 2, 0.0)) * response.gain_tonight(outdoors)
    return float(mean), float(np.hypot(sd, more))
