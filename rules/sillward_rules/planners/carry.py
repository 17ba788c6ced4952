"""Carry in, carry out, stay in: errands from a night's judgement and from what the day allows."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners import heat, open_orders, shelter
from sillward_rules.planners.days_out import DaysOut
from sillward_rules.planners.nights import Judgement, judge_night, tail_ends
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import CloseCall, ColdBorne, NightUnjudged, Remark, Threat
from sillward_rules.weather import sun
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
    judged: Judgement,
    lows: Array,
    standing: Standing,
    *,
    staying: bool = True,
) -> CarryPlan:
    """Plan a night: what stands outside goes in, what is under cover stays in.

    A plant under cover that does not hold its limit goes on to where that is held, in its own
    shelter or another. A plant for which there is no shelter at all gets no errand; the warnings
    name it.

    lows : (spot,) as of `shelter.spot_lows`. standing : where the cohorts stand before.
    staying : whether errands to stay in are wanted.
    """
    told = scene.asked_for(night)
    overdue = open_orders.overdue(scene, night, judged)
    to = shelter.shelter_for(scene, night, lows)
    stands = shelter.stays_told(scene, night, lows, scene.asked_to, to)
    stands |= overdue & ~shelter.holds(scene, lows, to)
    to = np.where(told & stands, scene.asked_to, to)
    well = shelter.stays_told(scene, night, lows, standing, to)
    stays = judged.needs & scene.covered(standing) & well & ~overdue
    goes = judged.needs & ~stays & (to >= 0) & (to != standing)
    end = np.full(standing.shape, night.end.timestamp())
    stay = np.flatnonzero(stays & staying)
    errands: list[Errand] = []
    for unconfirmed in (True, False):
        cohorts = stay[scene.assumed[stay] == unconfirmed]
        here = (standing, standing)
        made = make_errands(scene, ChoreKind.STAY_IN, cohorts, here, (None, end), judged.reason)
        errands += [replace(errand, unconfirmed=unconfirmed) for errand in made]
    # What was told before comes first, so that it keeps its id.
    for unconfirmed, late in ((True, True), (True, False), (False, False)):
        cohorts = np.flatnonzero(goes & (told == unconfirmed) & (overdue == late))
        way, times = (standing, to), (None, judged.deadline)
        made = make_errands(scene, ChoreKind.CARRY_IN, cohorts, way, times, judged.reason)
        errands += [replace(errand, unconfirmed=unconfirmed, overdue=late) for errand in made]
    return CarryPlan(errands, np.where(goes, to, standing))


# -- out


def carry_out(
    scene: Scene,
    day: date,
    standing: Standing,
    unsure: np.ndarray | None = None,
    *,
    staying: bool = True,
) -> CarryPlan:
    """Plan a day: what is under cover goes out, or stays in if the day is not worth it.

    standing : where the cohorts stand that morning; those not under cover are left alone.
    unsure (cohort,) : whether it matters that carrying them in was not confirmed.
    staying : as in `carry_in`.
    """
    events = sun.day_events(scene.site, day)
    inside = np.flatnonzero(scene.covered(standing))
    if scene.now >= events.sunset or not inside.size:
        return CarryPlan([], standing)
    outing = _plan_outing(scene, events, standing, inside)
    unsure = np.zeros(standing.shape, dtype=bool) if unsure is None else unsure
    errands: list[Errand] = []
    for unconfirmed in (False, True):
        cohorts = outing.goes[unsure[outing.goes] == unconfirmed]
        way, times = (standing, scene.home), (outing.start, outing.latest)
        made = make_errands(scene, ChoreKind.CARRY_OUT, cohorts, way, times, outing.days.warmest)
        errands += [replace(errand, unconfirmed=unconfirmed) for errand in made]
    stays = np.setdiff1d(inside, outing.goes) if staying else inside[:0]
    all_day = (
        np.full(standing.shape, events.sunrise.timestamp()),
        np.full(standing.shape, events.sunset.timestamp()),
    )
    here, reason = (standing, standing), _reason_to_stay(scene, standing, outing)
    errands += make_errands(scene, ChoreKind.STAY_IN, stays, here, all_day, reason)
    after = standing.copy()
    after[outing.goes] = scene.home[outing.goes]
    return CarryPlan(errands, after)


@dataclass(frozen=True, slots=True, eq=False)
class _Outing:
    """Which cohorts go out on a day, and when.

    goes : their indices. start, latest (cohort,) : from when on, and until when it is worth going
    [unix s]. hot : the moves out of the heat that those who go would meet.
    """

    goes: np.ndarray
    start: Array
    latest: Array
    days: DaysOut
    hot: heat.HeatMoves
    tonight: Judgement


def _plan_outing(
    scene: Scene, events: DayEvents, standing: Standing, inside: np.ndarray
) -> _Outing:
    """Find which of the cohorts inside go out, and when; not those that heat would send back."""
    tonight = judge_night(scene, sun.night_of(scene.site, events.day))
    days = DaysOut(scene, events.day)
    sunrise, sunset = events.sunrise.timestamp(), events.sunset.timestamp()
    out_from, cold_again = days.hours_of(inside)
    out_from = np.maximum(out_from, tail_ends(scene, events)[inside])
    back = np.where(tonight.needs[inside], tonight.deadline[inside], sunset)
    back = np.minimum(back, cold_again - scene.habits.lead.total_seconds())
    latest = np.full(standing.shape, np.nan)
    latest[inside] = days.latest(inside, np.minimum(back, sunset))
    start = np.full(standing.shape, sunrise)
    start[inside] = out_from
    goes = inside[out_from <= latest[inside]]
    away = np.full(standing.shape, -1, dtype=np.int64)
    away[goes] = scene.home[goes]
    since = np.where(away >= 0, start, sunrise)
    until = np.full(standing.shape, np.inf)
    until[inside] = back
    hot = heat.plan_moves(scene, Places(away, since, until), events.sunset)
    goes = goes[hot.to[goes] != standing[goes]]
    return _Outing(goes, start, latest, days, hot, tonight)


def _reason_to_stay(scene: Scene, standing: Standing, outing: _Outing) -> Callable[[int], Reason]:
    """Return what tells why a cohort stays in: heat, another need, or a day that is too cold."""

    def reason(cohort: int) -> Reason:
        if outing.hot.to[cohort] == standing[cohort]:
            return heat.reason(scene, outing.hot, cohort)
        # On a day that is warm enough, a need other than warmth is what keeps it in.
        if outing.tonight.needs[cohort] and np.isfinite(outing.start[cohort]):
            tonight = outing.tonight.reason(cohort)
            if tonight.quantity != "leaf temperature":
                return tonight
        return outing.days.warmest(cohort)

    return reason


# -- remarks about the night


def night_warnings(
    scene: Scene, lows: Array, judged: Judgement, standing: Standing
) -> list[Remark]:
    """Return what is wrong with a night: spots that are not known, shelters that do not hold.

    standing : where the cohorts spend the night, if the advice is followed.
    """
    homes = np.unique(scene.home[judged.needs & ~judged.judged])
    unjudged = sorted(scene.spot_name(int(column)) for column in homes)
    nights_at = np.where(standing == scene.home, -1, standing)
    # Plants that are known to stand where their limit is held need no word on other shelters.
    settled = ~scene.assumed & (scene.standing == nights_at) & shelter.holds(scene, lows, nights_at)
    return [
        *([NightUnjudged(tuple(unjudged))] if unjudged else []),
        *shelter.warnings(scene, lows, judged.cohorts[~settled[judged.cohorts]], nights_at),
    ]


def borne_cold(scene: Scene, judged: Judgement, standing: Standing) -> list[Remark]:
    """Return the plants that stay out although the night dips under their limit for a while.

    One remark for all that go through the same, the deepest dip first.
    """
    by_dip: dict[tuple[float, datetime, float, float], list[int]] = {}
    for cohort in np.flatnonzero(judged.borne & ~scene.covered(standing)).tolist():
        reason = judged.reason(cohort)
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


def close_calls(scene: Scene, night: Night, judged: Judgement, standing: Standing) -> list[Remark]:
    """Return the spots where plants stay out narrowly: it may well get too cold for them.

    standing : where the cohorts spend the night. Plants that must go in, bear a dip, or could not
    be judged are named elsewhere.
    """
    limits = scene.traits.limits["night_low"]
    stays = judged.judged & ~judged.needs & ~judged.borne & np.isfinite(limits)
    stays &= ~scene.covered(standing) & ~scene.holds_itself[standing]
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
