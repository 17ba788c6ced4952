"""Verdicts: which plants a night (or the day before it) drives under cover, why, and by when."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Reason
from sillward_rules.planners.crossings import find_crossings, find_returns
from sillward_rules.planners.night_risk import chance_of, exposure_of, is_borne
from sillward_rules.planners.scene import Scene
from sillward_rules.planners.verdict import Found, Verdict
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import hours_within, moment
from sillward_rules.weather.sun import DayEvents, Night


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What a night asks for; arrays are (cohort,).

    needs: who must be under cover; borne: whose dip under the night limit is too short to carry
    for. deadline: before when [unix s]. judged: every hour that counts is known. `reason` tells
    why; where not even a known hour asks for it, it has no value, and caution decides.
    """

    needs: np.ndarray
    borne: np.ndarray
    deadline: Array
    judged: np.ndarray
    reason: Callable[[int], Reason]
    """Of a cohort that needs or bears something."""

    @property
    def cohorts(self) -> np.ndarray:
        """Who must be under cover: indices of cohorts."""
        return np.flatnonzero(self.needs)


def judge_night(scene: Scene, night: Night) -> Judgement:
    """Judge a night, and what is left of the day before it, for every plant where it stands.

    Hours before now and before that day's sunrise do not count. A plant goes in if a rule that
    asks for it fires, and for caution also if an hour of such a rule is not known: a gap of more
    than two hours (shorter ones have been bridged), a forecast that does not reach so far or is
    too old. What an indoor spot holds is no matter of the weather: `open_questions` asks for it.
    A short dip under the night limit, on one night alone and above the limit of injury, is borne.
    """
    if night not in scene.judged:
        scene.judged[night] = _judged(scene, night)
    verdict = scene.judged[night]
    needs = np.isfinite(verdict.urgency[0])
    return Judgement(
        needs=needs,
        borne=np.isfinite(verdict.urgency[1]) & ~needs,
        deadline=np.where(needs, verdict.urgency[0], verdict.urgency[1]),
        judged=verdict.judged,
        reason=partial(_why, scene, night, verdict),
    )


def _judged(scene: Scene, night: Night) -> Verdict:
    morning = sun.day_events(scene.site, night.day).sunrise
    start = max(morning, scene.now - timedelta(hours=1))
    count = len(scene.cohorts)
    urgency = np.full((2, count), np.inf)
    source = np.zeros((2, count), dtype=np.int64)
    known = np.zeros((2, count), dtype=bool)
    judged = np.ones(count, dtype=bool)
    stands_cold = np.isfinite(scene.traits.limits["brief_low"])  # injury has a rule of its own
    # For what is under cover, what goes on since dawn is the tail of the night that it spent there;
    # on a day to come it is if the night before asked for it.
    inside = scene.covered(scene.standing) | (morning > scene.now)
    sources: list[tuple[Firing, Found]] = []
    for number, firing in enumerate(scene.carry_firings(night)):
        unknown = _unknown(scene, firing, start, night)

        def others(other: Night, number: int = number) -> Firing:
            return scene.carry_firings(other)[number]

        for of_whom, tail in ((~inside, None), (inside, morning)):
            spoken = np.flatnonzero((firing.member >= 0) & of_whom)
            if not spoken.size:
                continue
            one = _judge(scene, firing, night, start, tail, others)
            sources.append((firing, one))
            of_class = firing.member[spoken]
            asks = one.fired[of_class] | unknown[of_class]
            spoken, of_class = spoken[asks], of_class[asks]
            crossing = np.where(
                one.fired, np.maximum(one.crossing, start.timestamp()), night.start.timestamp()
            )
            due = _deadlines(scene, night, crossing)[of_class]
            brief = one.brief[of_class] & ~unknown[of_class] & stands_cold[spoken]
            judged[spoken] &= ~unknown[of_class]
            for row, chosen in ((0, ~brief), (1, brief)):
                cohorts, fired = spoken[chosen], one.fired[of_class[chosen]]
                # At the same hour a number that is known tells more than one that is not.
                sooner = (due[chosen] < urgency[row, cohorts]) | (
                    (due[chosen] == urgency[row, cohorts]) & fired & ~known[row, cohorts]
                )
                cohorts = cohorts[sooner]
                urgency[row, cohorts] = due[chosen][sooner]
                source[row, cohorts], known[row, cohorts] = len(sources) - 1, fired[sooner]
    return Verdict(urgency, judged, known, source, sources)


def _why(scene: Scene, night: Night, verdict: Verdict, cohort: int) -> Reason:
    """Of a cohort that needs or bears something."""
    row = 0 if np.isfinite(verdict.urgency[0, cohort]) else 1
    firing, found = verdict.sources[int(verdict.source[row, cohort])]
    if not verdict.known[row, cohort]:
        return _reason(scene, night, firing, cohort, None)
    why = _reason(scene, night, firing, cohort, found)
    if not night.start <= why.at <= night.cold_until:
        return why
    if firing not in verdict.chances:
        verdict.chances[firing] = chance_of(scene, firing, night)
    return replace(why, chance=_finite(verdict.chances[firing][firing.member[cohort]]))


def _judge(
    scene: Scene,
    firing: Firing,
    night: Night,
    start: datetime,
    since: datetime | None,
    others: Callable[[Night], Firing],
) -> Found:
    """First crossing and worst value of every class from a moment until the cold of a night ends.

    since: the dawn; what goes on from then is the tail of the night before and no new need, unless
    it goes on until sunset. None: it is a need all the same. others: the rule in another night.
    """
    rows, size = firing.rows(start, night.cold_until), firing.limit.size
    if rows.size == 0 or size == 0:
        nothing, zero = np.zeros(size, dtype=bool), np.zeros(size)
        return Found(nothing, zero, zero, zero.astype(int), zero, zero, nothing)
    fires = _of_this_night(scene, firing, night)
    if since is not None:
        since_dawn = firing.rows(since, night.cold_until)
        over = np.maximum.accumulate(~fires[since_dawn], axis=0)
        ends = over[firing.times[since_dawn] <= night.start.timestamp()].any(axis=0)
        fires = fires[rows] & (over[-rows.size :] | ~ends)
    else:
        fires = fires[rows]
    first = rows[np.argmax(fires, axis=0)]
    last = rows[rows.size - 1 - np.argmax(fires[::-1], axis=0)]
    sign = 1.0 if firing.rule.direction == "below" else -1.0
    beyond = np.where(fires, sign * (firing.values[rows] - firing.bound[rows]), np.inf)
    hours, degree_hours = exposure_of(firing, night)
    return Found(
        fired=fires.any(axis=0),
        crossing=find_crossings(firing, first),
        until=find_returns(firing, last),
        worst_row=rows[np.argmin(beyond, axis=0)],
        hours=hours,
        degree_hours=degree_hours,
        brief=is_borne(scene, firing, night, hours, others),
    )


def _of_this_night(scene: Scene, firing: Firing, night: Night) -> np.ndarray:
    """Where a rule fires (time, class), without what its hours have of the night before."""
    span = firing.rule.hours.of_night(scene.site, night)
    if span is None:
        return firing.fires
    return np.asarray(firing.fires & (firing.times >= span[0].timestamp())[:, None])


def tail_ends(scene: Scene, events: DayEvents) -> Array:
    """(cohort,) when a need that goes on at sunrise is over [unix s]; -inf where there is none.

    What does not end before sunset never does.
    """
    ends = np.full(len(scene.cohorts), -np.inf)
    for firing in scene.carry_firings(sun.night_of(scene.site, events.day)):
        rows = firing.rows(events.sunrise, events.sunset)
        if not rows.size:
            continue
        times = np.append(firing.times[rows], np.inf)
        fires = firing.fires[rows]
        over = np.where(fires.all(axis=0), rows.size, np.argmin(fires, axis=0))
        until = np.where(over > 0, times[over], -np.inf)
        spoken = firing.member >= 0
        ends[spoken] = np.maximum(ends[spoken], until[firing.member[spoken]])
    return ends


def _unknown(scene: Scene, firing: Firing, start: datetime, night: Night) -> np.ndarray:
    """(class,) whether a moment of the rule, until the cold ends, is not known where it stands."""
    weathered = np.array(
        [not scene.climate.spots[int(column)].holds_itself for column in firing.column], dtype=bool
    )
    if scene.stale:
        return weathered
    span = firing.rule.hours.of_night(scene.site, night)
    hours = hours_within(start, night.cold_until)
    counts = firing.rule.hours.mask(scene.site, hours, sun.is_night(scene.site, hours))
    if span is not None:
        start = max(start, span[0])
        counts &= hours >= span[0].timestamp()
    if not np.isin(hours[counts], firing.times).all():
        return weathered
    rows = firing.rows(start, night.cold_until)
    asked = firing.counts[rows][:, None] & ~firing.known[rows]
    return np.asarray(weathered & asked.any(axis=0))


def _reason(scene: Scene, night: Night, firing: Firing, cohort: int, found: Found | None) -> Reason:
    of_class = int(firing.member[cohort])
    bound = float(firing.limit[of_class])
    value, at = None, max(night.start, scene.now)
    hours = degree_hours = until = None
    if found is not None:
        row = int(found.worst_row[of_class])
        value, at = round(float(firing.values[row, of_class]), 2), moment(firing.times[row])
        bound = float(firing.bound[row, of_class])
        until = moment(found.until[of_class])
        hours, degree_hours = _finite(found.hours[of_class]), _finite(found.degree_hours[of_class])
    origin = firing.rule.origin_for(scene.traits.plants[cohort])
    raised = bound - float(firing.limit[of_class])
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity=firing.rule.quantity,
        value=value,
        unit=QUANTITIES[firing.rule.quantity].unit,
        limit=bound,
        at=at,
        origin=f"{origin}; {raised:g} K more while the crown is wet" if raised else origin,
        hours=hours,
        degree_hours=degree_hours,
        rule=firing.rule.name,
        above=firing.rule.direction == "above",
        until=until,
    )


def _finite(value: float) -> float | None:
    return round(float(value), 2) if np.isfinite(value) else None


def _deadlines(scene: Scene, night: Night, crossing: Array) -> Array:
    """The lead before each crossing [unix s], but by the usual hour and while there is light.

    Never in the past: what is overdue is due now.
    """
    habits, noon = scene.habits, scene.site.middle_of_day(night.day)
    usual = habits.in_by.on(scene.site, night.day)
    if usual < noon:  # "00:30" is the hour after midnight of this night
        usual = habits.in_by.on(scene.site, night.day + timedelta(days=1))
    latest = min(night.start + habits.latest_after_sunset, usual).timestamp()
    due = np.minimum(crossing - habits.lead.total_seconds(), latest)
    return np.asarray(np.maximum(due, scene.now.timestamp()))
