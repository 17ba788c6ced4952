"""Verdicts: which plants a night (or the day before it) drives under cover, why, and by when."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from sillward_rules import sun
from sillward_rules.chore import Reason
from sillward_rules.plant import Plant
from sillward_rules.rule import QUANTITIES, Firing
from sillward_rules.scene import Scene, full_hours
from sillward_rules.sun import Night
from sillward_rules.weather import HOUR_S

STALE = timedelta(hours=24)
"""A forecast older than this judges no night any more. Judgement."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Why a plant must be under cover, and before when.

    judged: every hour that counts is known. Where not even a known hour asks for it, the reason
    has no value, and caution decides.
    """

    plant: Plant
    deadline: datetime
    reason: Reason
    judged: bool


@dataclass(frozen=True, slots=True, eq=False)
class _ClassVerdict:
    """Per class of a firing: does it fire, from when on is the bound crossed, the worst value."""

    fired: np.ndarray
    crossing: np.ndarray
    worst: np.ndarray
    worst_row: np.ndarray


def judge_night(scene: Scene, night: Night) -> list[Verdict]:
    """Judge a night, and what is left of the day before it, for every plant where it stands.

    Hours before now and before that day's sunrise do not count. A plant goes in if a rule that
    asks for it fires, and for caution also if an hour of such a rule is not known: a gap of more
    than two hours (shorter ones have been bridged), a forecast that does not reach so far or is
    too old. What an indoor spot holds is no matter of the weather: `open_questions` asks for it.
    """
    morning = sun.day_events(scene.site, night.day).sunrise
    start = max(morning, scene.now - timedelta(hours=1))
    rows = scene.rows(start, night.end)
    verdicts: dict[str, Verdict] = {}
    for firing in scene.carry_firings:
        found = _judge(firing, scene.climate.times, rows, skip_tail=start == morning)
        unknown = _unknown(scene, firing, start, night.end)
        for index in np.flatnonzero(firing.by_plant(found.fired | unknown)):
            of_class = int(firing.member[index])
            plant = scene.plants[index]
            known = bool(found.fired[of_class])
            crossing = max(_moment(found.crossing[of_class]), start) if known else night.start
            verdict = Verdict(
                plant,
                _deadline(scene, night, crossing),
                _reason(scene, night, firing, plant, of_class, found if known else None),
                judged=not unknown[of_class],
            )
            verdicts[plant.name] = _sterner(verdicts.get(plant.name), verdict)
    return [verdicts[plant.name] for plant in scene.plants if plant.name in verdicts]


def _sterner(one: Verdict | None, other: Verdict) -> Verdict:
    """Of two verdicts on a plant the earlier one; it is judged if both are."""
    if one is None:
        return other
    first = other if other.deadline < one.deadline else one
    return replace(first, judged=one.judged and other.judged)


def _judge(
    firing: Firing, times: np.ndarray, rows: np.ndarray, *, skip_tail: bool
) -> _ClassVerdict:
    """First crossing and worst value of every class within the rows.

    skip_tail: what goes on at the first row is the tail of the night before and no new need.
    """
    size = firing.bound.size
    if rows.size == 0 or size == 0:
        nothing = np.zeros(size, dtype=bool)
        return _ClassVerdict(nothing, np.zeros(size), np.zeros(size), np.zeros(size, dtype=int))
    fires = firing.fires[rows]
    if skip_tail:
        fires = fires & np.maximum.accumulate(~fires, axis=0)
    first = rows[np.argmax(fires, axis=0)]
    sign = 1.0 if firing.rule.direction == "below" else -1.0
    signed = np.where(fires, sign * firing.values[rows], np.inf)
    worst_row = rows[np.argmin(signed, axis=0)]
    return _ClassVerdict(
        fired=fires.any(axis=0),
        crossing=_crossings(firing, times, first),
        worst=firing.values[worst_row, np.arange(size)],
        worst_row=worst_row,
    )


def _crossings(firing: Firing, times: np.ndarray, first: np.ndarray) -> np.ndarray:
    """When [unix s] each class crossed its bound on the way to the row where the rule fires.

    The bound may have been crossed before the rule's own hours begin: walk back while the
    quantity stays beyond it (or is unknown: then it may have been), and interpolate within the
    hour of the crossing.
    """
    classes = np.arange(first.size)
    rows = np.arange(times.size)[:, None]
    within = np.where(firing.beyond | np.isnan(firing.values), -1, rows)
    last_within = np.maximum.accumulate(within, axis=0)[first, classes]
    after = np.clip(last_within + 1, 0, times.size - 1)
    before = np.clip(last_within, 0, times.size - 1)
    value_before = firing.values[before, classes]
    step = firing.values[after, classes] - value_before
    known = np.isfinite(step) & (step != 0)
    share = np.where(known, (firing.bound - value_before) / np.where(known, step, 1.0), 0.0)
    crossing = times[before] + np.clip(share, 0.0, 1.0) * HOUR_S
    return np.asarray(np.where(last_within >= 0, crossing, times[0]))


def _unknown(scene: Scene, firing: Firing, start: datetime, end: datetime) -> np.ndarray:
    """(class,) whether an hour of the rule from start to end is not known where it stands."""
    weathered = np.array(
        [not scene.climate.spots[int(column)].holds_itself for column in firing.column], dtype=bool
    )
    if scene.weather.age(scene.now) > STALE:
        return weathered
    first = int(-(-start.timestamp() // HOUR_S)) * HOUR_S
    hours = first + HOUR_S * np.arange(full_hours(start, end), dtype=np.int64)
    counts = firing.rule.hours.mask(scene.site, hours, sun.is_night(scene.site, hours))
    known = np.zeros((hours.size, firing.bound.size), dtype=bool)
    rows = scene.rows(start, end)
    if rows.size:
        places = (scene.climate.times[rows] - first) // HOUR_S
        known[places] = np.isfinite(firing.values[rows])
    return np.asarray(weathered & (counts[:, None] & ~known).any(axis=0))


def _reason(
    scene: Scene,
    night: Night,
    firing: Firing,
    plant: Plant,
    of_class: int,
    found: _ClassVerdict | None,
) -> Reason:
    limit_name = firing.rule.bound.limit
    limit = getattr(plant.limits, limit_name) if limit_name else None
    value, at = None, max(night.start, scene.now)
    if found is not None:
        value = round(float(found.worst[of_class]), 2)
        at = _moment(scene.climate.times[found.worst_row[of_class]])
    return Reason(
        plant=plant.name,
        quantity=firing.rule.quantity,
        value=value,
        unit=QUANTITIES[firing.rule.quantity].unit,
        limit=float(firing.bound[of_class]),
        at=at,
        origin=limit.origin if limit else f'rule "{firing.rule.name}"',
    )


def _deadline(scene: Scene, night: Night, crossing: datetime) -> datetime:
    """The lead before the crossing, but by the usual hour and while there is light.

    Never in the past: what is overdue is due now.
    """
    habits, noon = scene.habits, scene.site.middle_of_day(night.day)
    usual = habits.in_by.on(scene.site, night.day)
    if usual < noon:  # "00:30" is the hour after midnight of this night
        usual = habits.in_by.on(scene.site, night.day + timedelta(days=1))
    due = min(crossing - habits.lead, night.start + habits.latest_after_sunset, usual)
    return max(due, scene.now)


def _moment(second: float) -> datetime:
    return datetime.fromtimestamp(float(second), UTC)
