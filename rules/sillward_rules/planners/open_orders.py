"""Orders to carry in that were told and not confirmed: being told is not being done."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.nights import NightNeeds, is_harmless
from sillward_rules.planners.scene.crossings import interpolate_crossing
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import NotConfirmed
from sillward_rules.trips import round_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.sun import Night

MILD_K = 1.0
"""An overdue order is dropped from the sheet when what is left of the night stays above the limit
by this [K] and no harm is to be expected: following it would help nobody. Judgement: a degree is
what a forecast of the next hours may be off."""

NEW_AFTER = timedelta(hours=2)
"""An order by day whose plants, by the newest forecast, need not be in for this long yet is a new
one: what it was told for is over. Judgement."""


def with_open_orders(scene: Scene, night: Night, needs: NightNeeds) -> NightNeeds:
    """Return the needs of a night together with the orders for it that are not confirmed.

    An overdue order keeps the deadline that was told. One that the night no longer asks for stays
    until it is called off, or is overdue and of no use.
    """
    ordered = scene.has_order_of(night)
    if not ordered.any():
        return needs
    now, must_be_in = scene.now.timestamp(), needs.must_be_in
    late = ordered & (scene.order_deadline <= now)
    is_new = now < night.start.timestamp() and needs.deadline > now + NEW_AFTER.total_seconds()
    mild = _is_mild(scene, night) & is_harmless(scene, night, needs, MILD_K)
    stands = ordered & (must_be_in | ~late | ~mild)
    only_ordered = stands & ~must_be_in

    def reason(cohort: int) -> Reason:
        return _coldest(scene, night, cohort) if only_ordered[cohort] else needs.reason(cohort)

    overdue = stands & late & ~(must_be_in & is_new)
    return replace(
        needs,
        must_be_in=must_be_in | stands,
        bears_dip=needs.bears_dip & ~stands,
        deadline=np.where(overdue | only_ordered, scene.order_deadline, needs.deadline),
        overdue=overdue,
        for_leaf_warmth=needs.for_leaf_warmth | only_ordered,
        reason=reason,
    )


def open_errands(scene: Scene, night: Night, cohorts: np.ndarray) -> list[Errand]:
    """Return the errands of these cohorts' orders for a night, as they were told."""
    places, times = (scene.order_from, scene.order_to), (None, scene.order_deadline)

    def reason(cohort: int) -> Reason:
        return _coldest(scene, night, cohort)

    return [
        replace(errand, unconfirmed=True, overdue=errand.before <= scene.now)
        for errand in make_errands(scene, ChoreKind.CARRY_IN, cohorts, places, times, reason)
    ]


def still_useful(scene: Scene, night: Night) -> np.ndarray:
    """(cohort,) whether its order for a night is not confirmed, and still worth following.

    It is until the leaf where the plant stood is back above its limit after sunrise.
    """
    until = np.maximum(warm_again(scene, night, scene.order_from), night.end.timestamp())
    return np.asarray(scene.has_order_of(night) & (scene.now.timestamp() < until))


def maybe_left_out(scene: Scene, day: date) -> np.ndarray:
    """(cohort,) whether plants may have been left out in the cold in the night before a day.

    That is, carrying them in was not confirmed, and the leaf fell, or may have fallen, under its
    limit; or the night still goes on.
    """
    night = sun.night_of(scene.site, day - timedelta(days=1))
    ordered = scene.has_order_of(night)
    if not ordered.any() or scene.now < night.end:
        return ordered
    low = lows_of_night(scene, night, scene.order_from)
    return np.asarray(ordered & ~(low >= scene.lowest_limit_c))


def ask_about_last_night(scene: Scene, day: date, left_out: np.ndarray) -> list[NotConfirmed]:
    """Return the remark that asks whether plants were carried in, one for all of them.

    left_out (cohort,) : the result of `maybe_left_out` for that day.
    """
    cohorts = np.flatnonzero(left_out)
    if not cohorts.size:
        return []
    night = sun.night_of(scene.site, day - timedelta(days=1))
    low = lows_of_night(scene, night, scene.order_from)
    short = np.nan_to_num(scene.lowest_limit_c[cohorts] - low[cohorts], nan=np.inf)
    tenderest_first = cohorts[np.lexsort((scene.rank_by_name[cohorts], -short))]
    worst = int(tenderest_first[0])
    until = max(warm_again(scene, night, scene.order_from)[cohorts].max(), night.end.timestamp())
    cold = until > scene.now.timestamp()
    known = bool(np.isfinite(low[worst]))
    return [
        NotConfirmed(
            plants=scene.names(tenderest_first.tolist()),
            low_c=float(low[worst]) if known else None,
            until=round_up(moment(until), scene.site) if cold else None,
        )
    ]


def warm_again(scene: Scene, night: Night, stood: Standing) -> Array:
    """(cohort,) when the leaf where it stood (cohort,) is back above its limit [unix s].

    Searched from sunrise until noon; -inf where it was not under it. The leaf is taken to be under
    it in hours that are not known.
    """
    noon = scene.site.middle_of_day(night.day + timedelta(days=1))
    rows = scene.steps(night.end, noon)
    found = np.full(len(scene.cohorts), -np.inf)
    cohorts = np.flatnonzero(stood != NO_SPOT)
    if rows.size < 2 or scene.forecast_expired:
        found[cohorts] = noon.timestamp()
        return found
    if not cohorts.size:
        return found
    times = scene.by_night.times[rows].astype(np.float64)
    limit = scene.lowest_limit_c[cohorts]
    gap = scene.by_night.leaf_c[np.ix_(rows, stood[cohorts])] - limit
    gap[:, np.isnan(limit)] = 0.0  # without a limit it is not under it
    under = ~(gap >= 0)
    first = np.argmin(under, axis=0)  # the first row that is not under it
    last = np.clip(first - 1, 0, None)
    each = np.arange(cohorts.size)
    # A leaf that is not known is taken to be under it until the row in which it is not.
    crossing = interpolate_crossing(
        times[last], times[first], gap[last, each], gap[first, each], otherwise=1.0
    )
    found[cohorts] = np.where(under.all(axis=0), times[-1], np.where(under[0], crossing, -np.inf))
    return found


def _is_mild(scene: Scene, night: Night) -> np.ndarray:
    """(cohort,) whether what is left of a night is known to stay clear of the limit."""
    rows = scene.steps(scene.now - timedelta(hours=1), night.cold_until)
    if scene.forecast_expired or not rows.size:
        return np.zeros(len(scene.cohorts), dtype=bool)
    low = scene.by_night.leaf_c[rows].min(axis=0)
    low = at_columns(low, scene.order_from, otherwise=np.nan)
    return np.asarray(np.isfinite(low) & ~(low < scene.lowest_limit_c + MILD_K))


def lows_of_night(scene: Scene, night: Night, stood: Standing) -> Array:
    """(cohort,) lowest leaf temperature of a night where it stood [°C]; NaN where not known."""
    rows = scene.steps(night.start, night.cold_until)
    if scene.forecast_expired or not rows.size:
        return np.full(len(scene.cohorts), np.nan)
    low = scene.by_night.leaf_c[rows].min(axis=0)
    return np.asarray(at_columns(low, stood, otherwise=np.nan))


def _coldest(scene: Scene, night: Night, cohort: int) -> Reason:
    """Return the lowest leaf temperature that lies ahead of a plant still where it stood.

    Without a value where that is not known.
    """
    plant = scene.traits.plants[cohort]
    limit = plant.limits.night_low or plant.limits.brief_low
    warm = moment(max(warm_again(scene, night, scene.order_from)[cohort], night.end.timestamp()))
    rows = scene.steps(scene.now - timedelta(hours=1), warm)
    value, at = None, max(night.start, scene.now)
    if rows.size and not scene.forecast_expired:
        leaf = scene.by_night.leaf_c[rows, scene.order_from[cohort]]
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
