"""Carry in, carry out, stay in: errands from a night's judgement and from what the day allows."""

from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners import heat, open_orders, shelter
from sillward_rules.planners.days_out import DaysOut
from sillward_rules.planners.errands import make_errands
from sillward_rules.planners.night_risk import chance_in
from sillward_rules.planners.nights import Judgement, judge_night, tail_ends
from sillward_rules.planners.places import Places
from sillward_rules.planners.scene import Scene, Standing
from sillward_rules.remark import CloseCall, ColdBorne, NightUnjudged, Remark, Threat
from sillward_rules.weather import sun
from sillward_rules.weather.sun import Night

CLOSE_CALL = 1 / 3
"""From this chance on a plant that stays out is named. Judgement: one night in three."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Errands, and where the cohorts stand once they are done."""

    errands: list[Errand]
    standing: Standing


def carry_in(
    scene: Scene,
    night: Night,
    judged: Judgement,
    lows: Array,
    standing: Standing,
    *,
    staying: bool = True,
) -> Moves:
    """Errands for a night: in with what stands outside, stay in for what is under cover.

    staying: whether those to stay in are wanted.

    A plant that stands under cover that does not hold its limit goes on to where that is held, its
    own shelter or another. One for which there is no shelter at all gets no errand; the warnings
    name it.
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
    here, reason = (standing, standing), judged.reason
    stay = np.flatnonzero(stays & staying)
    moves = [
        *(
            replace(errand, unconfirmed=unconfirmed)
            for unconfirmed in (True, False)
            for errand in make_errands(
                scene,
                ChoreKind.STAY_IN,
                stay[scene.assumed[stay] == unconfirmed],
                here,
                (None, end),
                reason,
            )
        ),
        *(
            replace(errand, unconfirmed=unconfirmed, overdue=late)
            # What was told comes first, and keeps its id.
            for unconfirmed, late in ((True, True), (True, False), (False, False))
            for errand in make_errands(
                scene,
                ChoreKind.CARRY_IN,
                np.flatnonzero(goes & (told == unconfirmed) & (overdue == late)),
                (standing, to),
                (None, judged.deadline),
                reason,
            )
        ),
    ]
    return Moves(moves, np.where(goes, to, standing))


def night_warnings(
    scene: Scene, lows: Array, judged: Judgement, standing: Standing
) -> list[Remark]:
    """What is wrong with the night: spots that are not known, shelters that do not hold.

    standing: where the cohorts spend the night, if the advice is followed.
    """
    homes = np.unique(scene.home[judged.needs & ~judged.judged])
    unjudged = sorted(scene.spot_name(int(column)) for column in homes)
    nights_at = np.where(standing == scene.home, -1, standing)
    # Who is known to be where it holds is told nothing of other shelters any more.
    settled = ~scene.assumed & (scene.standing == nights_at) & shelter.holds(scene, lows, nights_at)
    return [
        *([NightUnjudged(tuple(unjudged))] if unjudged else []),
        *shelter.warnings(scene, lows, judged.cohorts[~settled[judged.cohorts]], nights_at),
    ]


def borne_cold(scene: Scene, judged: Judgement, standing: Standing) -> list[Remark]:
    """The plants that stay out although the night dips under their limit for a while.

    One remark for all that go through the same, the deepest dip first.
    """
    said: dict[tuple[float, datetime, float, float], list[int]] = {}
    for cohort in np.flatnonzero(judged.borne & ~scene.covered(standing)).tolist():
        reason = judged.reason(cohort)
        # What is borne is a dip that is known, and under a limit.
        assert reason.value is not None
        assert reason.limit is not None
        assert reason.hours is not None
        at = reason.at.astimezone(scene.site.zone)
        dip = (reason.value, at, reason.hours, reason.limit)
        said.setdefault(dip, []).append(cohort)
    told = [ColdBorne(scene.names(which), *dip) for dip, which in said.items()]
    told.sort(key=lambda one: one.low_c - one.limit_c)
    return [*told]


def close_calls(scene: Scene, night: Night, judged: Judgement, standing: Standing) -> list[Remark]:
    """The spots where plants stay out by a hair: likely enough it gets too cold.

    standing: where the cohorts spend the night. Who must go in, bears a dip, or is not judged is
    told of elsewhere.
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
    said: dict[str, list[Threat]] = {}
    for number in close[np.argsort(-chances[close], kind="stable")].tolist():
        which = cohorts[groups == number]
        names = scene.names(which[np.argsort(scene.rank_by_name[which])].tolist())
        threat = Threat(float(chances[number]), float(limit[number]), names)
        said.setdefault(scene.spot_name(int(column[number])), []).append(threat)
    return [CloseCall(spot, tuple(threats)) for spot, threats in said.items()]


def carry_out(
    scene: Scene,
    day: date,
    standing: Standing,
    unsure: np.ndarray | None = None,
    *,
    staying: bool = True,
) -> Moves:
    """Errands for a day: out with what is under cover, or stay in if the day is not worth it.

    standing: where the cohorts stand that morning; who is not under cover is left alone.
    unsure (cohort,): of whom nobody has said that they were taken in. staying: as in `carry_in`.
    """
    events = sun.day_events(scene.site, day)
    inside = np.flatnonzero(scene.covered(standing))
    if scene.now >= events.sunset or not inside.size:
        return Moves([], standing)
    tonight = judge_night(scene, sun.night_of(scene.site, day))
    days = DaysOut(scene, day)
    out_from, cold_again = days.hours_of(inside)
    out_from = np.maximum(out_from, tail_ends(scene, events)[inside])
    sunset, lead = events.sunset.timestamp(), scene.habits.lead.total_seconds()
    back = np.where(tonight.needs[inside], tonight.deadline[inside], sunset)
    back = np.minimum(back, cold_again - lead)
    latest = np.full(standing.shape, np.nan)
    latest[inside] = days.latest(inside, np.minimum(back, sunset))
    start = np.full(standing.shape, events.sunrise.timestamp())
    start[inside] = out_from
    goes = inside[out_from <= latest[inside]]
    away = np.full(standing.shape, -1, dtype=np.int64)
    away[goes] = scene.home[goes]
    since = np.where(away >= 0, start, events.sunrise.timestamp())
    until = np.full(standing.shape, np.inf)
    until[inside] = back
    hot = heat.moves(scene, Places(away, since, until), events.sunset)
    goes = goes[hot.to[goes] != standing[goes]]  # it would come back before the heat
    stays = np.setdiff1d(inside, goes) if staying else inside[:0]
    day_start = np.full(standing.shape, events.sunrise.timestamp())
    day_end = np.full(standing.shape, sunset)

    def why_in(cohort: int) -> Reason:
        if hot.to[cohort] == standing[cohort]:
            return heat.reason(scene, hot, cohort)
        # A day warm enough, and another need than warmth: that is what keeps it in.
        if tonight.needs[cohort] and np.isfinite(start[cohort]):
            reason = tonight.reason(cohort)
            if reason.quantity != "leaf temperature":
                return reason
        return days.warmest(cohort)

    perhaps = np.zeros(standing.shape, dtype=bool) if unsure is None else unsure
    moves = [
        *(
            replace(errand, unconfirmed=open_)
            for open_ in (False, True)
            for errand in make_errands(
                scene,
                ChoreKind.CARRY_OUT,
                goes[perhaps[goes] == open_],
                (standing, scene.home),
                (start, latest),
                days.warmest,
            )
        ),
        *make_errands(
            scene, ChoreKind.STAY_IN, stays, (standing, standing), (day_start, day_end), why_in
        ),
    ]
    after = standing.copy()
    after[goes] = scene.home[goes]
    return Moves(moves, after)
