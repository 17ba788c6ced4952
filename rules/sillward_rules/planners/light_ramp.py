"""The light ramp: shade for plants that come out into more light after a long stay under cover."""

from datetime import datetime

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.first_hours import LEAD, have_begun, with_out_from
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.state import LONG_STAY
from sillward_rules.weather.hourly import moment

RAMP_DAYS = 7
"""The light may rise to what the plant stands over this many days. Common practice: a week or
two."""

RAMP_START = 0.3
"""Share of that light on the first of these days. Judgement."""


def shade_for_ramp(scene: Scene, places: Places, end: datetime) -> list[Errand]:
    """Return shade for plants that came out into more light after a long stay in a dim shelter.

    On each day of the ramp they may have some more of the light that they stand in the end. The
    shade is due before the light at their spot exceeds that.
    """
    if scene.forecast_expired:
        return []
    days = _days_of_ramp(scene, places)
    share = RAMP_START + (1 - RAMP_START) * (days - 1) / RAMP_DAYS
    allowed = share * scene.traits.limits["light_high"]
    due = np.full(days.shape, np.inf)
    for cohort in np.flatnonzero((days > 0) & np.isfinite(allowed)).tolist():
        rows = _rows_there(scene, places, end, cohort)
        light = scene.climate.ppfd[rows, places.column[cohort]]
        over = np.flatnonzero(light > allowed[cohort])
        if over.size:
            first = scene.climate.times[rows[over[0]]] - LEAD.total_seconds()
            due[cohort] = max(first, places.since[cohort], scene.now.timestamp())

    def reason(cohort: int) -> Reason:
        return _reason(scene, places, end, cohort, allowed, days)

    here = (places.column, places.column)
    cohorts = np.flatnonzero(np.isfinite(due))
    shade = make_errands(scene, ChoreKind.SHADE, cohorts, here, (None, due), reason)
    return with_out_from(scene, places, shade)


def _rows_there(scene: Scene, places: Places, end: datetime, cohort: int) -> np.ndarray:
    """Return the rows of the climate in which a cohort stands in its place."""
    rows = scene.rows(max(moment(places.since[cohort]), scene.now), end)
    return np.asarray(rows[have_begun(scene.climate.times[rows], places.until[cohort])])


def _reason(
    scene: Scene, places: Places, end: datetime, cohort: int, allowed: Array, days: np.ndarray
) -> Reason:
    rows = _rows_there(scene, places, end, cohort)
    light = scene.climate.ppfd[rows, places.column[cohort]]
    brightest = int(np.nanargmax(light))
    limit = scene.traits.plants[cohort].limits.light_high
    origin = limit.origin if limit else ""
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity="ppfd",
        value=round(float(light[brightest])),
        unit="umol m-2 s-1",
        limit=round(float(allowed[cohort])),
        at=moment(scene.climate.times[rows[brightest]]),
        origin=f"day {days[cohort]} of {RAMP_DAYS} in brighter light; {origin}",
        above=True,
    )


def _days_of_ramp(scene: Scene, places: Places) -> np.ndarray:
    """(cohort,) which day in brighter light this is, from 1; 0 for plants that are used to it."""
    inside = scene.is_under_cover(scene.standing)
    days = np.zeros(places.column.shape, dtype=np.int64)
    for cohort in scene.cohorts:
        index, state = cohort.index, cohort.state
        if places.column[index] != scene.home[index]:
            continue
        out = moment(places.since[index])
        since = state.brighter_since
        if inside[index] and state.since is not None and out - state.since >= LONG_STAY:
            since = out  # it goes out today
        if since is not None:
            passed = (scene.site.local_date(out) - scene.site.local_date(since)).days
            days[index] = passed + 1 if 0 <= passed < RAMP_DAYS else 0
    return days
