"""Shade, cover, secured baskets, damp floors: what rules ask for where a plant stands."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.mist import DayPlace
from sillward_rules.planners.nights import STALE
from sillward_rules.rule import QUANTITIES, Firing
from sillward_rules.scene import Cohort, Scene, Standing
from sillward_rules.weather import moment_of

KINDS: Mapping[str, ChoreKind] = {
    "shade": ChoreKind.SHADE,
    "secure": ChoreKind.SECURE,
    "cover": ChoreKind.COVER,
    "damp down": ChoreKind.DAMP_DOWN,
}
"""What a rule asks for, and the chore it becomes."""

AHEAD = timedelta(hours=1)
"""Done this long before the hour that fires: its value stands for the hour before it."""

LONG_STAY = timedelta(days=7)
"""After so long under cover a plant has to get used to brighter light again. Judgement."""

RAMP_DAYS = 7
"""Over so many days the light may rise to what the plant stands. Common practice: a week or two."""

RAMP_START = 0.3
"""Share of that light on the first of these days. Judgement."""


def protect(
    scene: Scene, cohorts: Sequence[Cohort], standing: Standing, start: datetime, end: datetime
) -> list[Errand]:
    """Errands for these cohorts, where they stand from start to end, in the first hour it counts.

    standing: a spot for each of the cohorts. Nothing is asked for on a forecast that is too old.
    """
    if scene.weather.age(scene.now) > STALE:
        return []
    columns = np.full(len(scene.cohorts), -1, dtype=np.int64)
    for cohort, spot in zip(cohorts, standing, strict=True):
        columns[cohort.index] = scene.columns[spot]
    rows = scene.rows(max(start, scene.now), end)
    errands: dict[tuple[int, ChoreKind], Errand] = {}
    for asks, kind in KINDS.items():
        for firing in scene.rules_asking(asks, columns):
            for index in np.flatnonzero(firing.by_plant(firing.fires[rows].any(axis=0))):
                cohort = scene.cohorts[index]
                errand = _errand(scene, kind, firing, cohort, rows)
                known = errands.get((cohort.index, kind))
                if known is None or errand.before < known.before:
                    errands[cohort.index, kind] = errand
    return list(errands.values())


def _errand(
    scene: Scene, kind: ChoreKind, firing: Firing, cohort: Cohort, rows: np.ndarray
) -> Errand:
    of_class = int(firing.member[cohort.index])
    fired = rows[firing.fires[rows, of_class]]
    values = firing.values[fired, of_class]
    worst = int(np.argmin(values) if firing.rule.direction == "below" else np.argmax(values))
    first = moment_of(scene.climate.times, int(fired[0])) - AHEAD
    spot = scene.climate.spots[int(firing.column[of_class])].name
    limit_name = firing.rule.bound.limit
    limit = getattr(cohort.plant.limits, limit_name) if limit_name else None
    reason = Reason(
        plant=cohort.names[0],
        quantity=firing.rule.quantity,
        value=round(float(values[worst]), 2),
        unit=QUANTITIES[firing.rule.quantity].unit,
        limit=float(firing.limit[of_class]),
        at=moment_of(scene.climate.times, int(fired[worst])),
        origin=limit.origin if limit else f'rule "{firing.rule.name}"',
        rule=firing.rule.name,
        above=firing.rule.direction == "above",
    )
    return Errand(kind, cohort.names, spot, spot, None, max(first, scene.now), reason)


def get_used_to_light(
    scene: Scene, places: Sequence[DayPlace], start: datetime, end: datetime
) -> list[Errand]:
    """Shade for plants that came out into more light after a long stay in a dim shelter.

    On each day of the ramp they may have some more of the light that they stand in the end; the
    shade is due before the light at their spot goes beyond that.
    """
    errands = []
    rows = scene.rows(max(start, scene.now), end)
    for place in places:
        day = _day_of_ramp(scene, place)
        high = place.cohort.plant.limits.light_high
        if day is None or high is None:
            continue
        share = RAMP_START + (1 - RAMP_START) * (day - 1) / RAMP_DAYS
        allowed = share * high.value
        light = scene.climate.ppfd[rows, place.column]
        over = np.flatnonzero(light > allowed)
        if not over.size:
            continue
        brightest = int(np.nanargmax(light))
        reason = Reason(
            plant=place.cohort.names[0],
            quantity="ppfd",
            value=round(float(light[brightest])),
            unit="umol m-2 s-1",
            limit=round(allowed),
            at=moment_of(scene.climate.times, int(rows[brightest])),
            origin=f"day {day} of {RAMP_DAYS} in brighter light; {high.origin}",
            above=True,
        )
        before = max(moment_of(scene.climate.times, int(rows[over[0]])) - AHEAD, scene.now)
        names, spot = place.cohort.names, place.spot
        errands.append(Errand(ChoreKind.SHADE, names, spot, spot, None, before, reason))
    return errands


def _day_of_ramp(scene: Scene, place: DayPlace) -> int | None:
    """Which day in brighter light this is; None: it is used to it, or the shelter is as bright."""
    cohort, state = place.cohort, place.cohort.state
    if place.spot != cohort.plant.home:
        return None
    since = state.brighter_since
    inside = scene.covers(cohort.plant, state.spot)
    if inside and state.since is not None and place.since - state.since >= LONG_STAY:
        since = place.since  # it goes out today
    if since is None:
        return None
    days = (scene.site.local_date(place.since) - scene.site.local_date(since)).days
    return days + 1 if 0 <= days < RAMP_DAYS else None
