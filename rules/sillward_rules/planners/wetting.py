"""Films over a day: how long a wetting lasts, and the latest hour at which crowns may be wetted."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.day_films import DayFilms, DaySteps
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.plant import Rot


def stop_wetting(
    scene: Scene, steps: DaySteps, cohorts: np.ndarray, columns: Standing, leave: Array
) -> list[Errand]:
    """Return until when the crowns of these cohorts may be wetted today.

    None where the air is not known. columns, leave (cohort,) : where they are by day, and until
    when [unix s].
    """
    last = np.full(columns.shape, np.nan)
    reasons: dict[tuple[int, Rot], Reason] = {}
    keys = list(zip(columns[cohorts].tolist(), scene.traits.rot[cohorts].tolist(), strict=True))
    for column, rot in dict.fromkeys(keys):
        films = steps.films(column)
        if not films.known:
            continue
        reasons[column, rot] = _crown_reason(films, rot)
        until = films.last_wetting(rot) or steps.events.sunrise
        if until > scene.now or until <= steps.events.sunrise:
            chosen = np.array([key == (column, rot) for key in keys], dtype=bool)
            last[cohorts[chosen]] = np.minimum(until.timestamp(), leave[cohorts[chosen]])
    start = np.full(columns.shape, steps.events.sunrise.timestamp())

    def reason(cohort: int) -> Reason:
        limit = scene.traits.plants[cohort].limits.rot
        rot = scene.traits.plants[cohort].rot
        shared = reasons[int(columns[cohort]), rot]
        origin = f"rot {rot}: {limit.origin if limit else 'not known'}"
        return replace(shared, plant=scene.cohorts[cohort].names[0], origin=origin)

    chosen = cohorts[np.isfinite(last[cohorts])]
    here, times = (columns, columns), (start, last)
    return make_errands(scene, ChoreKind.STOP_WETTING, chosen, here, times, reason)


def _crown_reason(films: DayFilms, rot: Rot) -> Reason:
    hours = films.crown_drying(rot)
    # Where no wetting is possible at all, the shortest drying of the day shows it.
    in_day = films.starts < films.events.sunset.timestamp()
    shortest = films.starts_at(int(np.argmin(np.where(in_day, hours, np.inf))))
    at = films.last_wetting(rot) or shortest
    return Reason(
        plant="",
        quantity="crown drying time",
        value=_finite(films.at(hours, at)),
        unit="h",
        limit=round((films.dry_deadline(rot) - at) / timedelta(hours=1), 1),
        at=at,
    )


def _finite(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None
