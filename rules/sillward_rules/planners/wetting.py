"""The latest hour at which crowns may be wetted, so that they are dry in time."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from sillward_rules.arrays import Array, finite_or_none
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.day_films import DayFilms, SpotFilms
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.limits import Rot


def stop_wetting(
    scene: Scene, films: DayFilms, cohorts: np.ndarray, columns: Standing, leave: Array
) -> list[Errand]:
    """Return errands that say until when the crowns of these cohorts may be wetted today.

    There are none where the air is not known. columns, leave (cohort,) : where they are by day, and
    until when [unix s].
    """
    last = np.full(columns.shape, np.nan)
    reasons: dict[tuple[int, Rot], Reason] = {}
    keys = list(zip(columns[cohorts].tolist(), scene.traits.rot[cohorts].tolist(), strict=True))
    for column, rot in dict.fromkeys(keys):
        at_spot = films.at_spot(column)
        if not at_spot.known:
            continue
        reasons[column, rot] = _crown_reason(at_spot, rot)
        until = at_spot.last_wetting(rot) or films.events.sunrise
        if until > scene.now or until <= films.events.sunrise:
            chosen = np.array([key == (column, rot) for key in keys], dtype=bool)
            last[cohorts[chosen]] = np.minimum(until.timestamp(), leave[cohorts[chosen]])
    start = np.full(columns.shape, films.events.sunrise.timestamp())

    def reason(cohort: int) -> Reason:
        limit = scene.traits.plants[cohort].limits.rot
        rot = scene.traits.plants[cohort].rot
        shared = reasons[int(columns[cohort]), rot]
        origin = f"rot {rot}: {limit.origin if limit else 'not known'}"
        return replace(shared, plant=scene.cohorts[cohort].names[0], origin=origin)

    chosen = cohorts[np.isfinite(last[cohorts])]
    here, times = (columns, columns), (start, last)
    return make_errands(scene, ChoreKind.STOP_WETTING, chosen, here, times, reason)


def _crown_reason(films: SpotFilms, rot: Rot) -> Reason:
    hours = films.crown_drying(rot)
    # Where no wetting is possible at all, the shortest drying of the day shows it.
    in_day = films.starts < films.events.sunset.timestamp()
    shortest = films.starts_at(int(np.argmin(np.where(in_day, hours, np.inf))))
    at = films.last_wetting(rot) or shortest
    return Reason(
        plant="",
        quantity="crown drying time",
        value=finite_or_none(films.at(hours, at), 1),
        unit="h",
        limit=round((films.dry_deadline(rot) - at) / timedelta(hours=1), 1),
        at=at,
    )
