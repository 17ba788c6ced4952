"""Orders to carry in that were told and not confirmed: being told is not being done."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.nights import Judgement
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.remark import NotConfirmed
from sillward_rules.trips import round_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.sun import Night

MILD_K = 1.0
"""An overdue order is dropped from the sheet when what is left of the night stays above the limit
by this [K]: following it would help nobody. Judgement: the margin for calling an order off."""

NEW_AFTER = timedelta(hours=2)
"""An order by day whose plants, by the newest forecast, need not be in for this long yet is a new
one: what it was told for is over. Judgement."""


def with_open_orders(scene: Scene, night: Night, judged: Judgement) -> Judgement:
    """Return the judgement of a night in which what was asked and not confirmed is needed still.

    An overdue order keeps the deadline that was told. One that the night no longer asks for stays
    until it is called off, or is overdue and of no use.
    """
    asked = scene.asked_for(night)
    if not asked.any():
        return judged
    now, needs = scene.now.timestamp(), judged.needs
    late = asked & (scene.asked_before <= now)
    is_new = now < night.start.timestamp() and judged.deadline > now + NEW_AFTER.total_seconds()
    asked &= needs | ~late | ~_is_mild(scene, night)

    def reason(cohort: int) -> Reason:
        if needs[cohort] or not asked[cohort]:  # what is borne has a reason of its own, too
            return judged.reason(cohort)
        return _coldest(scene, night, cohort)

    keeps_deadline = asked & ((late & ~(needs & is_new)) | ~needs)
    return replace(
        judged,
        needs=needs | asked,
        borne=judged.borne & ~asked,
        deadline=np.where(keeps_deadline, scene.asked_before, judged.deadline),
        reason=reason,
    )


def overdue(scene: Scene, night: Night, judged: Judgement) -> np.ndarray:
    """(cohort,) whether its order is not confirmed and its deadline over.

    judged : as of `with_open_orders`.
    """
    late = scene.asked_before <= scene.now.timestamp()
    stands = judged.needs & (judged.deadline == scene.asked_before)
    return np.asarray(scene.asked_for(night) & late & stands)


def open_errands(scene: Scene, night: Night, cohorts: np.ndarray) -> list[Errand]:
    """Return the errands of these cohorts' orders for a night, as they were told."""
    way, times = (scene.asked_from, scene.asked_to), (None, scene.asked_before)

    def reason(cohort: int) -> Reason:
        return _coldest(scene, night, cohort)

    return [
        replace(errand, unconfirmed=True, overdue=errand.before <= scene.now)
        for errand in make_errands(scene, ChoreKind.CARRY_IN, cohorts, way, times, reason)
    ]


def still_useful(scene: Scene, night: Night) -> np.ndarray:
    """(cohort,) whether its order for a night is not confirmed, and following it would help still.

    It does until the leaf where the plant stood is back above its limit after sunrise.
    """
    until = np.maximum(warm_again(scene, night), night.end.timestamp())
    return np.asarray(scene.asked_for(night) & (scene.now.timestamp() < until))


def unsure(scene: Scene, day: date) -> np.ndarray:
    """(cohort,) whether it matters on a day that carrying it in was not confirmed.

    It does where the leaf fell, or may have fallen, under its limit in the night before, and while
    that night goes on.
    """
    night = sun.night_of(scene.site, day - timedelta(days=1))
    asked = scene.asked_for(night)
    if not asked.any():
        return asked
    if scene.now < night.end:
        return asked
    low = _lows(scene, night)
    return np.asarray(asked & ~(low >= scene.lowest_limit_c))


def not_confirmed(scene: Scene, day: date, unsure: np.ndarray) -> list[NotConfirmed]:
    """Return the question about these plants, in one remark for all.

    unsure (cohort,) : as of that day.
    """
    cohorts = np.flatnonzero(unsure)
    if not cohorts.size:
        return []
    night = sun.night_of(scene.site, day - timedelta(days=1))
    low = _lows(scene, night)
    short = np.nan_to_num(scene.lowest_limit_c[cohorts] - low[cohorts], nan=np.inf)
    tenderest_first = cohorts[np.lexsort((scene.rank_by_name[cohorts], -short))]
    worst = int(tenderest_first[0])
    until = max(warm_again(scene, night)[cohorts].max(), night.end.timestamp())
    cold = until > scene.now.timestamp()
    known = bool(np.isfinite(low[worst]))
    return [
        NotConfirmed(
            plants=scene.names(tenderest_first.tolist()),
            low_c=float(low[worst]) if known else None,
            until=round_up(moment(until), scene.site) if cold else None,
        )
    ]


def warm_again(scene: Scene, night: Night) -> Array:
    """(cohort,) when the leaf where it stood is back above its limit [unix s].

    Searched from sunrise until noon; -inf where it was not under it. What is not known may be
    under it.
    """
    noon = scene.site.middle_of_day(night.day + timedelta(days=1))
    rows = scene.steps(night.end, noon)
    found = np.full(len(scene.cohorts), -np.inf)
    cohorts = np.flatnonzero(scene.asked_from >= 0)
    if rows.size < 2 or scene.stale:
        found[cohorts] = noon.timestamp()
        return found
    if not cohorts.size:
        return found
    times = scene.by_night.times[rows].astype(np.float64)
    limit = scene.lowest_limit_c[cohorts]
    gap = scene.by_night.leaf_c[np.ix_(rows, scene.asked_from[cohorts])] - limit
    gap[:, np.isnan(limit)] = 0.0  # without a limit it is not under it
    under = ~(gap >= 0)
    first = np.argmin(under, axis=0)  # the first row that is not under it
    last = np.clip(first - 1, 0, None)
    column = np.arange(cohorts.size)
    below, above = gap[last, column], gap[first, column]
    # What is not known on the way is taken to be under it until the row that is.
    share = np.where(above > below, -below / np.where(above > below, above - below, 1.0), 1.0)
    step = times[first] - times[last]
    crossing = times[last] + np.clip(share, 0.0, 1.0) * step
    found[cohorts] = np.where(under.all(axis=0), times[-1], np.where(under[0], crossing, -np.inf))
    return found


def _is_mild(scene: Scene, night: Night) -> np.ndarray:
    """(cohort,) whether what is left of a night is known to stay clear of the limit."""
    rows = scene.steps(scene.now - timedelta(hours=1), night.cold_until)
    if scene.stale or not rows.size:
        return np.zeros(len(scene.cohorts), dtype=bool)
    low = scene.by_night.leaf_c[rows].min(axis=0)[scene.asked_from]
    return np.asarray(np.isfinite(low) & ~(low < scene.lowest_limit_c + MILD_K))


def _lows(scene: Scene, night: Night) -> Array:
    """(cohort,) lowest leaf temperature of a night where it stood [°C]; NaN where not known."""
    rows = scene.steps(night.start, night.cold_until)
    if scene.stale or not rows.size:
        return np.full(len(scene.cohorts), np.nan)
    low = scene.by_night.leaf_c[rows].min(axis=0)[scene.asked_from]
    return np.where(scene.asked_from >= 0, low, np.nan)


def _coldest(scene: Scene, night: Night, cohort: int) -> Reason:
    """Return the lowest leaf temperature that lies ahead of a plant still where it stood.

    Without a value where that is not known.
    """
    plant = scene.traits.plants[cohort]
    limit = plant.limits.night_low or plant.limits.brief_low
    warm = moment(max(warm_again(scene, night)[cohort], night.end.timestamp()))
    rows = scene.steps(scene.now - timedelta(hours=1), warm)
    value, at = None, max(night.start, scene.now)
    if rows.size and not scene.stale:
        leaf = scene.by_night.leaf_c[rows, scene.asked_from[cohort]]
        if np.isfinite(leaf).all():
            coldest = int(np.argmin(leaf))
            value, at = round(float(leaf[coldest]), 2), moment(scene.by_night.times[rows][coldest])
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity="leaf temperature",
        value=value,
        unit="°C",
        limit=None if limit is None else limit.value,
        at=at,
        origin="" if limit is None else limit.origin,
        until=warm if value is not None else None,
    )
