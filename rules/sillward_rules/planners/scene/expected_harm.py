"""The harm that a night is expected to do to plants that stay out: over all courses it may take."""

import math
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array, group_rows
from sillward_rules.physics import cold_harm
from sillward_rules.planners.scene.courses_below import CoursesBelow
from sillward_rules.planners.scene.night_risk import spread_of, start_of_rest
from sillward_rules.planners.scene.surroundings import Surroundings
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import Bound, Rule
from sillward_rules.weather.spot_doubt import doubt_factor
from sillward_rules.weather.sun import Night

_SCORES = np.arange(-3.5, 3.51, 0.25)
_WEIGHTS = np.exp(-(_SCORES**2) / 2) / np.exp(-(_SCORES**2) / 2).sum()
_FEW_SCORES = np.arange(-3.0, 3.1, 1.0)
_FEW_WEIGHTS = np.exp(-(_FEW_SCORES**2) / 2) / np.exp(-(_FEW_SCORES**2) / 2).sum()
"""Courses of a Gaussian error and how likely each is; fewer for each member of an ensemble."""

_MANY = 1_000_000
"""So many numbers are worked on at a time, to bound the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Tenderness:
    """What decides how hard a night is for a plant. Arrays are (plant,).

    - span_k: from comfort limit to limit of injury [K] (`cold_harm.span_k`).
    - carried: dose carried from the nights before; hardened: how used it is to cool nights.
    - injury_k: how far the limit of injury is below the comfort limit [K]; NaN without one, which
      makes the plant bear no dip.
    """

    span_k: Array
    carried: Array
    hardened: Array
    injury_k: Array


def is_comfort_rule(rule: Rule) -> bool:
    """Return whether a rule holds the leaf against the night limit itself."""
    return (
        rule.quantity == "leaf temperature"
        and rule.direction == "below"
        and rule.bound == Bound(limit="night_low")
        and rule.also is None
    )


def expected_harm(
    around: Surroundings,
    firing: Firing,
    night: Night,
    tenderness: Tenderness,
    alone: np.ndarray,
) -> Array:
    """(plant,) expected harm of what is left of a night to each plant where it stands (0..1).

    0 at a spot with a climate of its own, and for plants that the rule does not apply to; NaN where
    the night or its spread is not known.

    A course that is under the limit for no longer than `Habits.brief_cold` does no harm, if it
    keeps the limit of injury and the nights around it are mild.

    firing : of the rule on the comfort limit (`is_comfort_rule`). alone (class,) : whether the
    nights before and after are mild.
    """
    plants = np.flatnonzero(firing.member >= 0)
    harm = np.zeros(firing.member.shape)
    if not plants.size:
        return harm
    bears = np.isfinite(tenderness.injury_k) & alone[firing.member]
    courses = _work_out_courses(
        around, firing, night, np.unique(firing.member[plants]), dips=bool(bears[plants].any())
    )
    # Where no course is under the limit there is no harm.
    mild = (courses.degree_hours == 0.0).all(axis=1)
    plants = plants[~mild[firing.member[plants]]]
    if not plants.size:
        return harm
    keys = [
        column[plants] for column in (tenderness.span_k, tenderness.carried, tenderness.hardened)
    ]
    injury_k = np.where(bears, tenderness.injury_k, -1.0)[plants]
    first, groups = group_rows(firing.member[plants], injury_k, *keys)
    of_class = firing.member[plants][first]
    span, carried, hardened = (key[first][:, None] for key in keys)
    brief = courses.hours[of_class] <= _brief_h(around)
    borne = brief & (courses.deepest_k[of_class] <= injury_k[first][:, None])
    dose = cold_harm.dose_of(np.where(borne, 0.0, courses.degree_hours[of_class]), span)
    expected = cold_harm.night_harm(dose, carried, hardened) @ courses.weights
    itself = around.holds_itself[firing.column[of_class]]
    harm[plants] = np.where(itself, 0.0, expected)[groups]
    return harm


@dataclass(frozen=True, slots=True, eq=False)
class _Courses:
    """The courses that a night may take below a bound. Arrays are (class, course).

    - degree_hours, hours: below the bound [K h], [h]; NaN where not known.
    - deepest_k: how deep below it [K], for courses that are below it briefly.
    - weights (course,): how likely each course is; 1 together.
    """

    degree_hours: Array
    hours: Array
    deepest_k: Array
    weights: Array


def _work_out_courses(
    around: Surroundings, firing: Firing, night: Night, classes: np.ndarray, *, dips: bool
) -> _Courses:
    """Return the courses of what is left of a night.

    All zero for classes that stay above their bound in every course. dips: whether hours and depth
    are wanted; otherwise they are zero.
    """
    known = spread_of(around, night)
    rows = firing.rows(start_of_rest(around, night), night.cold_until)
    if known is None or rows.size < 2:
        unknown = np.full((firing.limit.size, 1), np.nan)
        return _Courses(unknown, unknown, unknown, np.ones(1))
    times = firing.times[rows]
    spread = around.when_decided(known[0]).at(around.climate.times, known[1], times)
    # By how much more a spot is off than is told is divided out here, and multiplied in below.
    factor = doubt_factor(around.by_night, times, spread, around.usual_k(times, when_decided=True))[
        :, firing.column
    ].T
    many = spread.deviations.shape[0] > 1
    scores, share = (_FEW_SCORES, _FEW_WEIGHTS) if many else (_SCORES, _WEIGHTS)
    weights = np.tile(share, spread.deviations.shape[0]) / spread.deviations.shape[0]
    margin = (firing.values[rows] - firing.bound[rows]).T / factor
    degree_hours = np.zeros((firing.limit.size, weights.size))
    is_known = np.isfinite(margin).all(axis=1)
    degree_hours[~is_known] = np.nan
    hours, deepest = degree_hours.copy(), degree_hours.copy()
    lowest = spread.deviations.min(axis=0) + scores[0] * spread.error_k
    under = margin + lowest < 0
    cold = classes[(under.any(axis=1) & is_known)[classes]]
    steps_s = np.diff(times)
    trapezia_s = (np.append(steps_s, 0.0) + np.append(0.0, steps_s)) / 2
    # Moments at which no course of any class is under its bound add nothing.
    moments = np.flatnonzero(under[cold].any(axis=0))
    deviations, error_k = spread.deviations[:, moments], spread.error_k[moments]
    part = max(1, math.floor(_MANY / max(deviations.size, 1)))
    for start in range(0, cold.size, part):
        some = cold[start : start + part]
        gap_k = -margin[some][:, None, moments] - deviations
        below, wider = CoursesBelow(gap_k, error_k, scores), factor[some][:, moments]
        degree_hours[some] = below.area((wider * trapezia_s[moments])[:, None]) / HOUR_S
        if dips:
            hours[some] = below.sum(trapezia_s[moments]) / HOUR_S
            brief = (hours[some] > 0.0) & (hours[some] <= _brief_h(around))
            deepest[some] = below.deepest(wider, brief)
    return _Courses(degree_hours, hours, deepest, weights)


def _brief_h(around: Surroundings) -> float:
    """Return for how long a dip may last that is borne [h]."""
    return around.habits.brief_cold / timedelta(hours=1)


def early_firing(around: Surroundings, firing: Firing) -> Firing | None:
    """Return a rule on the least leaf temperature evaluated for the early side of the forecast.

    None for other rules, and where the early side is the forecast itself.
    """
    rule = firing.rule
    plain = rule.also is None and not rule.lasting
    if not plain or rule.quantity != "leaf temperature" or rule.direction != "below":
        return None
    row = int(np.searchsorted(around.by_night.times, firing.times[0])) if firing.times.size else 0
    early_k = around.early_k[row : row + firing.times.size]
    if not early_k.any():
        return None
    follows_weather = ~around.holds_itself[firing.column]
    values = firing.values + early_k[:, firing.column] * follows_weather
    beyond = values < firing.bound
    fires = beyond & firing.counts[:, None]
    return replace(firing, values=values, beyond=beyond, fires=fires)
