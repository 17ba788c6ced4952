"""What a night does to plants under a rule: time and depth beyond its bound, and the chance of it.

Arrays are (class,): plants that stand alike and share a bound.
"""

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.physics.exposure import exposure
from sillward_rules.planners.scene.surroundings import Surroundings
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES, Bound
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import covers_hours
from sillward_rules.weather.spot_doubt import doubt_factor
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import Spread, chance_under


def exposure_of(firing: Firing, night: Night) -> tuple[Array, Array]:
    """(class,) hours [h] and degree-hours [K h] below a bound on temperature.

    From sunset until the night's cold no longer counts. NaN for other bounds, and where the night
    is not wholly known.
    """
    times = firing.times
    edges = np.array([night.start.timestamp(), night.cold_until.timestamp()])
    cold = firing.rule.direction == "below" and QUANTITIES[firing.rule.quantity].unit == "°C"
    if not cold or times.size < 2 or edges[0] < times[0] or edges[1] > times[-1]:
        unknown = np.full(firing.limit.shape, np.nan)
        return unknown, unknown
    rows = firing.rows(night.start, night.cold_until)
    return exposure(firing.values[rows], firing.bound[rows], np.diff(times[rows]) / HOUR_S)


def is_borne(
    around: Surroundings,
    firing: Firing,
    night: Night,
    hours: Array,
    firing_in: Callable[[Night], Firing],
) -> np.ndarray:
    """(class,) whether a dip under the comfort limit is short, and the nights around it are mild.

    hours (class,) : the time below the limit [h]. firing_in : returns the same rule evaluated for
    another night.
    """
    brief = np.asarray(hours <= around.habits.brief_cold / timedelta(hours=1))
    return brief & is_alone(around, firing, night, firing_in) if brief.any() else brief


def is_alone(
    around: Surroundings, firing: Firing, night: Night, firing_in: Callable[[Night], Firing]
) -> np.ndarray:
    """(class,) whether the nights before and after one are known to be mild; firing_in as above.

    False for all bounds but the comfort limit.
    """
    rule, alone = firing.rule, np.ones(firing.limit.shape, dtype=bool)
    comfort = rule.bound == Bound(limit="night_low") and rule.hours.of_night(around.site, night)
    if not comfort or rule.also is not None:
        return ~alone
    for days in (-1, 1):
        other = sun.night_of(around.site, night.day + timedelta(days=days))
        neighbour = firing_in(other)
        rows = neighbour.rows(other.start, other.cold_until)
        whole = covers_hours(around.climate.times, other.start, other.cold_until)
        mild = neighbour.known[rows].all(axis=0) & ~neighbour.fires[rows].any(axis=0)
        alone &= mild & whole
    return alone


def spread_of(around: Surroundings, night: Night) -> tuple[Spread, np.ndarray] | None:
    """Return how far off the forecast of what is left of a night may be, by the hour, and its rows.

    None where its hours are not all there, or the forecast is too old.
    """
    start = start_of_rest(around, night)
    rows = around.rows(start, night.cold_until)
    if (
        around.forecast_expired
        or not rows.size
        or not covers_hours(around.climate.times, start, night.cold_until)
    ):
        return None
    return around.weather.spread_in(rows), rows


def chance_in(around: Surroundings, night: Night, columns: np.ndarray, limit: Array) -> Array:
    """(class,) chance that a leaf falls below its limit in what is left of a night, 0 to 1.

    columns, limit (class,) : the spot column, and the limit [°C]. NaN where it is not known.
    """
    rows = around.steps(start_of_rest(around, night), night.cold_until)
    leaf = around.by_night.leaf_c[rows]
    at = around.by_night.times[rows]
    return _chance(around, night, at, columns, leaf[:, columns] - limit)


def chance_of(around: Surroundings, firing: Firing, night: Night) -> Array:
    """(class,) chance that a leaf falls below the bound of a rule in what is left of a night.

    NaN for bounds of other kinds, at spots that have a climate of their own, and where it is not
    known.
    """
    rule = firing.rule
    if rule.quantity != "leaf temperature" or rule.direction != "below":
        return np.full(firing.limit.shape, np.nan)
    rows = firing.rows(start_of_rest(around, night), night.cold_until)
    margin = firing.values[rows] - firing.bound[rows]
    chances = _chance(around, night, firing.times[rows], firing.column, margin)
    return np.where(around.holds_itself[firing.column], np.nan, chances)


def _chance(
    around: Surroundings, night: Night, at: Array, columns: np.ndarray, margin_k: Array
) -> Array:
    known = spread_of(around, night)
    if known is None or not at.size:
        return np.full(margin_k.shape[1], np.nan)
    spread = known[0].at(around.climate.times, known[1], at)
    factor = doubt_factor(around.by_night, at, spread, around.usual_k(at))[:, columns]
    return chance_under(margin_k / factor, spread, np.arange(at.size))


def start_of_rest(around: Surroundings, night: Night) -> datetime:
    """Return the start of what is left of a night, the present hour included."""
    return max(night.start, around.now - timedelta(hours=1))
