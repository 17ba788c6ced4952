"""Judging nights: which plants a night, or its day, drives under cover, why, and by when."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Reason
from sillward_rules.planners.scene.crossings import find_crossings, find_returns
from sillward_rules.planners.scene.night_risk import chance_of, exposure_of, is_borne
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.scene.verdict import Finding, Verdict
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import hours_within, moment
from sillward_rules.weather.sun import DayEvents, Night

_NEEDED, _BORNE = 0, 1
"""Rows of a verdict's urgency: needs, and dips that a plant bears."""


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What a night asks for; arrays are (cohort,).

    needs: whether a cohort must be under cover; borne: whether it bears a dip under its night limit
    that is too short to carry it for. deadline: by when it must be in [unix s]. judged: every hour
    that counts is known. reason: returns that of a cohort that needs or bears something. It has no
    value where no known hour asks for it and caution decides.
    """

    needs: np.ndarray
    borne: np.ndarray
    deadline: Array
    judged: np.ndarray
    reason: Callable[[int], Reason]

    @property
    def cohorts(self) -> np.ndarray:
        """The cohorts that must be under cover."""
        return np.flatnonzero(self.needs)


def judge_night(scene: Scene, night: Night) -> Judgement:
    """Judge a night, and what is left of the day before it, for every plant where it stands.

    Hours before now and before that day's sunrise do not count. A plant goes in if a rule that
    asks for it fires. For caution it also goes in if an hour of such a rule is not known: a gap of
    more than two hours (shorter ones have been bridged), a forecast that does not reach so far or
    is too old. What an indoor spot holds does not depend on the weather; `Spot.open_questions`
    asks for it. A short dip under the night limit is borne if the nights around it are mild and
    the limit of injury is kept.
    """
    if night not in scene.judged:
        scene.judged[night] = _verdict_on(scene, night)
    verdict = scene.judged[night]
    needs = np.isfinite(verdict.urgency[_NEEDED])
    return Judgement(
        needs=needs,
        borne=np.isfinite(verdict.urgency[_BORNE]) & ~needs,
        deadline=np.where(needs, verdict.urgency[_NEEDED], verdict.urgency[_BORNE]),
        judged=verdict.judged,
        reason=partial(_reason_in, scene, night, verdict),
    )


def tail_ends(scene: Scene, events: DayEvents) -> Array:
    """(cohort,) when a need that is there at sunrise is over [unix s].

    -inf where there is none; infinite for one that does not end before sunset.
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


# -- the verdict


def _verdict_on(scene: Scene, night: Night) -> Verdict:
    """Hear every rule that asks for carrying in."""
    morning = sun.day_events(scene.site, night.day).sunrise
    start = max(morning, scene.now - timedelta(hours=1))
    # For a plant under cover, a need that is there since dawn is the tail of the night that it
    # spent there; on a day to come it is so if the night before asked for cover.
    inside = scene.covered(scene.standing) | (morning > scene.now)
    verdict = Verdict.unheard(len(scene.cohorts))
    for number, firing in enumerate(scene.carry_firings(night)):
        unknown = _unknown(scene, firing, start, night)

        def firing_in(other: Night, number: int = number) -> Firing:
            return scene.carry_firings(other)[number]

        for cohorts, dawn in ((~inside, None), (inside, morning)):
            spoken = np.flatnonzero((firing.member >= 0) & cohorts)
            if not spoken.size:
                continue
            finding = _find(scene, firing, night, start, dawn, firing_in)
            verdict.sources.append((firing, finding))
            _hear(scene, night, start, verdict, spoken, unknown)
    return verdict


def _hear(
    scene: Scene,
    night: Night,
    start: datetime,
    verdict: Verdict,
    cohorts: np.ndarray,
    unknown: np.ndarray,
) -> None:
    """Enter the last finding of a verdict for these cohorts, where it is the most urgent so far.

    unknown (class,) : whether an hour that counts is not known.
    """
    firing, finding = verdict.sources[-1]
    of_class = firing.member[cohorts]
    asks = finding.fired[of_class] | unknown[of_class]
    cohorts, of_class = cohorts[asks], of_class[asks]
    crossing = np.where(
        finding.fired, np.maximum(finding.crossing, start.timestamp()), night.start.timestamp()
    )
    due = _deadlines(scene, night, crossing)[of_class]
    # A limit of injury has a rule of its own. Without one a plant does not stand the cold.
    stands_cold = np.isfinite(scene.traits.limits["brief_low"])
    brief = finding.brief[of_class] & ~unknown[of_class] & stands_cold[cohorts]
    verdict.judged[cohorts] &= ~unknown[of_class]
    for row, chosen in ((_NEEDED, ~brief), (_BORNE, brief)):
        of_row, fired = cohorts[chosen], finding.fired[of_class[chosen]]
        # At the same hour a known number says more than an unknown one.
        first = (due[chosen] < verdict.urgency[row, of_row]) | (
            (due[chosen] == verdict.urgency[row, of_row]) & fired & ~verdict.known[row, of_row]
        )
        of_row = of_row[first]
        verdict.urgency[row, of_row] = due[chosen][first]
        verdict.source[row, of_row] = len(verdict.sources) - 1
        verdict.known[row, of_row] = fired[first]


def _deadlines(scene: Scene, night: Night, crossing: Array) -> Array:
    """Return the lead before each crossing [unix s], but by the usual hour and while it is light.

    Never in the past: what is overdue is due now.
    """
    habits, noon = scene.habits, scene.site.middle_of_day(night.day)
    usual = habits.in_by.on(scene.site, night.day)
    if usual < noon:  # "00:30" is the hour after midnight of this night
        usual = habits.in_by.on(scene.site, night.day + timedelta(days=1))
    latest = min(night.start + habits.latest_after_sunset, usual).timestamp()
    due = np.minimum(crossing - habits.lead.total_seconds(), latest)
    return np.asarray(np.maximum(due, scene.now.timestamp()))


# -- what one rule finds


def _find(
    scene: Scene,
    firing: Firing,
    night: Night,
    start: datetime,
    dawn: datetime | None,
    firing_in: Callable[[Night], Firing],
) -> Finding:
    """Return what a rule finds from a moment on until the cold of a night ends.

    dawn: given, a need that is there since then is the tail of the night before and no new one,
    unless it goes on until sunset. firing_in: returns the rule evaluated for another night.
    """
    rows, size = firing.rows(start, night.cold_until), firing.limit.size
    if rows.size == 0 or size == 0:
        return Finding.nothing(size)
    fires = _without_earlier_night(scene, firing, night)
    if dawn is not None:
        since_dawn = firing.rows(dawn, night.cold_until)
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
    return Finding(
        fired=fires.any(axis=0),
        crossing=find_crossings(firing, first),
        until=find_returns(firing, last),
        worst_row=rows[np.argmin(beyond, axis=0)],
        hours=hours,
        degree_hours=degree_hours,
        brief=is_borne(scene, firing, night, hours, firing_in),
    )


def _without_earlier_night(scene: Scene, firing: Firing, night: Night) -> np.ndarray:
    """(time, class) where a rule fires, without those of its hours that are of the night before."""
    span = firing.rule.hours.of_night(scene.site, night)
    if span is None:
        return firing.fires
    return np.asarray(firing.fires & (firing.times >= span[0].timestamp())[:, None])


def _unknown(scene: Scene, firing: Firing, start: datetime, night: Night) -> np.ndarray:
    """(class,) whether a moment of the rule, until the cold ends, is not known where it stands."""
    weathered = ~scene.holds_itself[firing.column]
    if scene.stale:
        return np.asarray(weathered)
    span = firing.rule.hours.of_night(scene.site, night)
    hours = hours_within(start, night.cold_until)
    counts = firing.rule.hours.mask(scene.site, hours, sun.is_night(scene.site, hours))
    if span is not None:
        start = max(start, span[0])
        counts &= hours >= span[0].timestamp()
    if not np.isin(hours[counts], firing.times).all():
        return np.asarray(weathered)
    rows = firing.rows(start, night.cold_until)
    missing = firing.counts[rows][:, None] & ~firing.known[rows]
    return np.asarray(weathered & missing.any(axis=0))


# -- reasons


def _reason_in(scene: Scene, night: Night, verdict: Verdict, cohort: int) -> Reason:
    """Return the reason of a cohort that needs or bears something."""
    row = _NEEDED if np.isfinite(verdict.urgency[_NEEDED, cohort]) else _BORNE
    firing, finding = verdict.sources[int(verdict.source[row, cohort])]
    if not verdict.known[row, cohort]:
        return _reason(scene, night, firing, cohort, None)
    reason = _reason(scene, night, firing, cohort, finding)
    if not night.start <= reason.at <= night.cold_until:
        return reason
    if firing not in verdict.chances:
        verdict.chances[firing] = chance_of(scene, firing, night)
    return replace(reason, chance=_finite(verdict.chances[firing][firing.member[cohort]]))


def _reason(
    scene: Scene, night: Night, firing: Firing, cohort: int, finding: Finding | None
) -> Reason:
    """Return the reason for a cohort; without a finding, that nothing is known."""
    of_class = int(firing.member[cohort])
    bound = float(firing.limit[of_class])
    value, at = None, max(night.start, scene.now)
    hours = degree_hours = until = None
    if finding is not None:
        row = int(finding.worst_row[of_class])
        value, at = round(float(firing.values[row, of_class]), 2), moment(firing.times[row])
        bound = float(firing.bound[row, of_class])
        until = moment(finding.until[of_class])
        hours = _finite(finding.hours[of_class])
        degree_hours = _finite(finding.degree_hours[of_class])
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
