"""Carry in, carry out, stay in: errands from the needs of a night and from what the day allows."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners import heat, shelter
from sillward_rules.planners.days_out import DaysOut
from sillward_rules.planners.nights import NightNeeds, find_night_needs, tail_ends
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import CloseCall, ColdBorne, NightUnjudged, Remark, Threat
from sillward_rules.weather import sun
from sillward_rules.weather.spot_columns import NO_SPOT
from sillward_rules.weather.sun import DayEvents, Night

CLOSE_CALL = 1 / 3
"""From this chance on a plant that stays out is named. Judgement: one night in three."""


@dataclass(frozen=True, slots=True, eq=False)
class CarryPlan:
    """Errands, and where the cohorts stand once they are done."""

    errands: list[Errand]
    standing: Standing


# -- in


def carry_in(
    scene: Scene,
    night: Night,
    needs: NightNeeds,
    lows: Array,
    standing: Standing,
    *,
    with_stay_in: bool = True,
) -> CarryPlan:
    """Plan a night: what stands outside goes in, what is under cover stays in.

    A plant under cover that does not hold its limit goes on to where that is held, in its own
    shelter or another. A plant for which there is no shelter at all gets no errand; the warnings
    name it.

    - lows (spot,): as in `shelter.spot_lows`.
    - standing: where the cohorts stand before.
    - with_stay_in: whether errands to stay in are wanted too.
    """
    goals = _goals_of(scene, night, needs, lows)
    may_stay = shelter.may_stay(scene, night, lows, standing, goals)
    stays = needs.must_be_in & scene.is_under_cover(standing) & may_stay & ~needs.overdue
    goes = needs.must_be_in & ~stays & (goals != NO_SPOT) & (goals != standing)
    errands: list[Errand] = []
    if with_stay_in:
        errands += _stay_for_night(scene, night, needs, standing, np.flatnonzero(stays))
    ordered = scene.has_order_of(night)
    # What was told before comes first, so that it keeps its id. Only a told order is overdue.
    for unconfirmed, overdue in ((True, True), (True, False), (False, False)):
        cohorts = np.flatnonzero(goes & (ordered == unconfirmed) & (needs.overdue == overdue))
        errands += make_errands(
            scene,
            ChoreKind.CARRY_IN,
            cohorts,
            (standing, goals),
            (None, needs.deadline),
            needs.reason,
            unconfirmed=unconfirmed,
            overdue=overdue,
        )
    return CarryPlan(errands, np.where(goes, goals, standing))


def _goals_of(scene: Scene, night: Night, needs: NightNeeds, lows: Array) -> Standing:
    """(cohort,) the spot for the night: the one that was told, while it is good enough.

    An overdue order keeps its spot also where no other spot holds. None does where that is colder
    than home.
    """
    best = needs.goals
    keeps_told = shelter.may_stay(scene, night, lows, scene.order_to, best)
    keeps_told |= needs.overdue & ~shelter.holds(scene, lows, best)
    keeps_told &= scene.has_order_of(night)
    if keeps_told.any():
        keeps_told &= ~shelter.is_colder_than_home(scene, night, lows, scene.order_to)
    return np.where(keeps_told, scene.order_to, best)


def _stay_for_night(
    scene: Scene, night: Night, needs: NightNeeds, standing: Standing, cohorts: np.ndarray
) -> list[Errand]:
    """Return errands to stay in until the night ends; first those not confirmed to be in."""
    end = np.full(standing.shape, night.end.timestamp())
    errands: list[Errand] = []
    for unconfirmed in (True, False):
        errands += make_errands(
            scene,
            ChoreKind.STAY_IN,
            cohorts[scene.place_unconfirmed[cohorts] == unconfirmed],
            (standing, standing),
            (None, end),
            needs.reason,
            unconfirmed=unconfirmed,
        )
    return errands


# -- out


def carry_out(
    scene: Scene,
    day: date,
    standing: Standing,
    maybe_left_out: np.ndarray | None = None,
    *,
    kept_in: np.ndarray | None = None,
    with_stay_in: bool = True,
) -> CarryPlan:
    """Plan a day: what is under cover goes out, or stays in if the day is not worth it.

    - standing: where the cohorts stand that morning; those not under cover are not planned for.
    - maybe_left_out (cohort,): as in `open_orders.maybe_left_out`; None for no cohort.
    - kept_in (cohort,): those that stay in by the grower's decision: nothing is planned for them.
      None for no cohort.
    - with_stay_in: as in `carry_in`.
    """
    events = sun.day_events(scene.site, day)
    is_inside = scene.is_under_cover(standing)
    inside = np.flatnonzero(is_inside if kept_in is None else is_inside & ~kept_in)
    if scene.now >= events.sunset or not inside.size:
        return CarryPlan([], standing)
    outing = _plan_outing(scene, events, standing, inside)
    if maybe_left_out is None:
        maybe_left_out = np.zeros(standing.shape, dtype=bool)
    errands: list[Errand] = []
    for unconfirmed in (False, True):
        cohorts = outing.goes[maybe_left_out[outing.goes] == unconfirmed]
        errands += make_errands(
            scene,
            ChoreKind.CARRY_OUT,
            cohorts,
            (standing, scene.home),
            (outing.start, outing.latest),
            outing.days.warmest,
            unconfirmed=unconfirmed,
        )
    if with_stay_in:
        stays = np.setdiff1d(inside, outing.goes)
        errands += _stay_for_day(scene, events, standing, stays, outing)
    after = standing.copy()
    after[outing.goes] = scene.home[outing.goes]
    return CarryPlan(errands, after)


@dataclass(frozen=True, slots=True, eq=False)
class _Outing:
    """Which cohorts go out on a day, and when.

    - goes: the cohorts that go.
    - start, latest (cohort,): from when on it is warm enough, and until when it is worth going
      [unix s].
    - days: how warm the day is at each home.
    - hot: the moves out of the heat that those who go would need.
    - tonight: the needs of the night that follows.
    """

    goes: np.ndarray
    start: Array
    latest: Array
    days: DaysOut
    hot: heat.HeatMoves
    tonight: NightNeeds


def _plan_outing(
    scene: Scene, events: DayEvents, standing: Standing, inside: np.ndarray
) -> _Outing:
    """Find which of the cohorts inside go out, and when; not those that heat would send back."""
    everyone = np.ones(standing.shape, dtype=bool)  # what goes out is outside in the evening
    tonight = find_night_needs(scene, sun.night_of(scene.site, events.day), everyone)
    days = DaysOut(scene, events.day)
    sunrise, sunset = events.sunrise.timestamp(), events.sunset.timestamp()
    out_from, cold_again = days.hours_of(inside)
    out_from = np.maximum(out_from, tail_ends(scene, events)[inside])
    back = np.where(tonight.must_be_in[inside], tonight.deadline[inside], sunset)
    back = np.minimum(back, cold_again - scene.habits.lead.total_seconds())
    latest = np.full(standing.shape, np.nan)
    latest[inside] = days.latest(inside, np.minimum(back, sunset))
    start = np.full(standing.shape, sunrise)
    start[inside] = out_from
    goes = inside[out_from <= latest[inside]]
    outside = np.full(standing.shape, NO_SPOT, dtype=np.int64)
    outside[goes] = scene.home[goes]
    since = np.where(outside != NO_SPOT, start, sunrise)
    until = np.full(standing.shape, np.inf)
    until[inside] = back
    hot = heat.plan_moves(scene, Places(outside, since, until), events.sunset)
    goes = goes[hot.to[goes] != standing[goes]]
    return _Outing(goes, start, latest, days, hot, tonight)


def _reason_to_stay(scene: Scene, standing: Standing, outing: _Outing) -> Callable[[int], Reason]:
    """Return a function that says why a cohort stays in: heat, another need, or a cold day."""

    def reason(cohort: int) -> Reason:
        if outing.hot.to[cohort] == standing[cohort]:
            return heat.reason(scene, outing.hot, cohort)
        # On a day that is warm enough, a need other than warmth is what keeps it in.
        tonight, warm_enough = outing.tonight, bool(np.isfinite(outing.start[cohort]))
        if tonight.must_be_in[cohort] and warm_enough and not tonight.for_leaf_warmth[cohort]:
            return tonight.reason(cohort)
        return outing.days.warmest(cohort)

    return reason


def _stay_for_day(
    scene: Scene, events: DayEvents, standing: Standing, cohorts: np.ndarray, outing: _Outing
) -> list[Errand]:
    """Return errands to stay in from sunrise to sunset."""
    sunrise = np.full(standing.shape, events.sunrise.timestamp())
    sunset = np.full(standing.shape, events.sunset.timestamp())
    places, reason = (standing, standing), _reason_to_stay(scene, standing, outing)
    return make_errands(scene, ChoreKind.STAY_IN, cohorts, places, (sunrise, sunset), reason)


# -- remarks about the night


def night_warnings(
    scene: Scene, night: Night, lows: Array, needs: NightNeeds, standing: Standing
) -> list[Remark]:
    """Return remarks on a night: spots that are not known, shelters that do not hold.

    standing : where the cohorts spend the night, if the advice is followed.
    """
    homes = np.unique(scene.home[needs.must_be_in & ~needs.fully_known])
    unjudged = sorted(scene.spot_name(int(column)) for column in homes)
    nights_at = np.where(standing == scene.home, NO_SPOT, standing)
    # Plants that are known to stand where their limit is held need no word on other shelters.
    settled = (
        ~scene.place_unconfirmed
        & (scene.standing == nights_at)
        & shelter.holds(scene, lows, nights_at)
    )
    return [
        *([NightUnjudged(tuple(unjudged))] if unjudged else []),
        *shelter.warnings(scene, night, lows, needs.cohorts[~settled[needs.cohorts]], nights_at),
    ]


def borne_cold(scene: Scene, needs: NightNeeds, standing: Standing) -> list[Remark]:
    """Return the plants that stay out although the night dips under their limit for a while.

    One remark for all that go through the same, the deepest dip first.
    """
    by_dip: dict[tuple[float, datetime, float, float], list[int]] = {}
    for cohort in np.flatnonzero(needs.bears_dip & ~scene.is_under_cover(standing)).tolist():
        reason = needs.reason(cohort)
        # What is borne is a known dip under a limit.
        assert reason.value is not None
        assert reason.limit is not None
        assert reason.hours is not None
        at = reason.at.astimezone(scene.site.zone)
        dip = (reason.value, at, reason.hours, reason.limit)
        by_dip.setdefault(dip, []).append(cohort)
    remarks = [ColdBorne(scene.names(cohorts), *dip) for dip, cohorts in by_dip.items()]
    remarks.sort(key=lambda remark: remark.low_c - remark.limit_c)
    return [*remarks]


def close_calls(scene: Scene, night: Night, needs: NightNeeds, standing: Standing) -> list[Remark]:
    """Return the spots where plants stay out narrowly: it may well get too cold for them.

    standing : where the cohorts spend the night. Plants that must go in or bear a dip, and those of
    which too little is known, are named elsewhere.
    """
    limits = scene.traits.limits["night_low"]
    stays = needs.fully_known & ~needs.must_be_in & ~needs.bears_dip & np.isfinite(limits)
    stays &= ~needs.declined
    stays &= ~scene.is_under_cover(standing) & ~scene.holds_itself[standing]
    cohorts = np.flatnonzero(stays)
    if not cohorts.size:
        return []
    first, groups = group_rows(standing[cohorts], limits[cohorts])
    column, limit = standing[cohorts][first], limits[cohorts][first]
    chances = chance_in(scene, night, column, limit)
    close = np.flatnonzero(chances >= CLOSE_CALL)
    by_spot: dict[str, list[Threat]] = {}
    for number in close[np.argsort(-chances[close], kind="stable")].tolist():
        members = cohorts[groups == number]
        names = scene.names(members[np.argsort(scene.rank_by_name[members])].tolist())
        threat = Threat(float(chances[number]), float(limit[number]), names)
        by_spot.setdefault(scene.spot_name(int(column[number])), []).append(threat)
    return [CloseCall(spot, tuple(threats)) for spot, threats in by_spot.items()]
