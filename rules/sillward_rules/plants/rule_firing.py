"""Where rules fire: bounds held against the climate at the spots, for classes of plants."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from sillward_rules.arrays import HOUR_S, Array, group_rows
from sillward_rules.plants.plant import Traits
from sillward_rules.plants.rules import QUANTITIES, Bound, Direction, Rule
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import rows_from_to
from sillward_rules.weather.season import Season
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot_columns import NO_SPOT, SpotColumns


@dataclass(frozen=True, slots=True, eq=False)
class Classes:
    """The plants a rule applies to, in classes: plants at one spot that share a bound.

    member (plant,) : class of each plant, -1 where the rule does not apply to it.
    column, limit, other, rots (class,) : spot column of the class, its bound as the rule gives it,
    the bound of the second condition, and whether its plants rot easily.
    """

    rule: Rule
    member: np.ndarray
    column: np.ndarray
    limit: Array
    other: Array
    rots: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Firing:
    """Where a rule fires, for the classes of plants that it applies to (`Classes`).

    times (time,) : the moments [unix s].
    bound, values (time, class) : the bound, raised where crowns are wet, and the quantity.
    beyond, fires (time, class) : whether the quantity is beyond its bound at that moment (NaN is
    not), and whether the rule fires.
    known (time, class) : whether it is known if the rule fires at that moment.
    counts (time,) : whether the moment is in the rule's hours.
    """

    classes: Classes
    times: np.ndarray
    bound: Array
    values: Array
    beyond: np.ndarray
    fires: np.ndarray
    known: np.ndarray
    counts: np.ndarray

    @property
    def rule(self) -> Rule:
        """The rule."""
        return self.classes.rule

    @property
    def member(self) -> np.ndarray:
        """(plant,) class of each plant, -1 where the rule does not apply to it."""
        return self.classes.member

    @property
    def column(self) -> np.ndarray:
        """(class,) spot column of the class."""
        return self.classes.column

    @property
    def limit(self) -> Array:
        """(class,) its bound as the rule gives it."""
        return self.classes.limit

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Return the rows of the moments from start to end, both included."""
        return rows_from_to(self.times, start, end)

    def part(self, rows: slice) -> "Firing":
        """Return the same in some of its rows."""
        return Firing(
            self.classes,
            self.times[rows],
            self.bound[rows],
            self.values[rows],
            self.beyond[rows],
            self.fires[rows],
            self.known[rows],
            self.counts[rows],
        )

    def by_plant(self, per_class: np.ndarray) -> np.ndarray:
        """(plant,) from (class,) booleans; False for plants that the rule does not apply to."""
        result = np.zeros(self.member.shape, dtype=bool)
        members = self.member >= 0
        result[members] = per_class[self.member[members]]
        return result


def evaluate_rule(
    rule: Rule,
    traits: Traits,
    columns: SpotColumns,
    site: Site,
    climate: Climate,
    *,
    wet_margin_k: float = 0.0,
) -> Firing:
    """Evaluate a rule for the climate at the spots where plants stand.

    columns (plant,) : spot column of each plant; `NO_SPOT` leaves it out. wet_margin_k : by how
    much a lower bound on temperature rises for plants that rot easily, while crowns at their spot
    are wet or are not known to be dry [K].
    """
    classes = classify(rule, traits, columns, climate)
    return evaluate(classes, site, climate, slice(None), wet_margin_k=wet_margin_k)


def classify(
    rule: Rule,
    traits: Traits,
    columns: SpotColumns,
    climate: Climate,
    seasons: NDArray[np.object_] | None = None,
) -> Classes:
    """Return the classes of the plants that a rule applies to where they stand.

    seasons (plant,) : the `Season` of each, None where nothing is remembered of it: then that of
    the spot counts. None for no memory of any.
    """
    in_season = None
    if rule.season:
        counts = {season: season.value in rule.season for season in Season}
        at_spots = np.array([[counts[season] for season in row] for row in climate.season.tolist()])
        in_season = at_spots[traits.grows, columns]
        if seasons is not None:
            own = zip(seasons.tolist(), in_season.tolist(), strict=True)
            in_season = np.array([counts.get(season, there) for season, there in own], dtype=bool)
    # The same plants stand where they stood at most sheets. A rule is known by its identity, which
    # is its own as long as the classes, which hold it, are kept.
    key = (id(rule), columns.tobytes(), None if in_season is None else in_season.tobytes())
    return traits.memo.of(key, lambda: _classify(rule, traits, columns, in_season))


def _classify(
    rule: Rule, traits: Traits, columns: SpotColumns, in_season: np.ndarray | None
) -> Classes:
    """Return the classes of a rule. in_season (plant,): None for a rule of all seasons."""
    bounds = _bounds_of(rule, traits)
    applies = bounds.applies & (columns != NO_SPOT)
    if in_season is not None:
        applies &= in_season
    members = np.flatnonzero(applies)
    first, of_class = group_rows(columns[members], bounds.alike[members])
    member = np.full(len(traits.plants), -1, dtype=np.int64)
    member[members] = of_class
    of_first = members[first]
    return Classes(
        rule,
        member,
        columns[of_first],
        bounds.limit[of_first],
        bounds.other[of_first],
        bounds.rots[of_first],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Bounds:
    """The bounds of a rule for plants, wherever they stand. Arrays are (plant,).

    - applies: whether the rule is for the plant, and it has the limits.
    - limit, other, rots: as in `Classes`; alike: one number for all that agree in these, in their
      order.
    - lowest: the lowest limit that applies to any plant; infinite for none.
    """

    rule: Rule
    applies: np.ndarray
    limit: Array
    other: Array
    rots: np.ndarray
    alike: np.ndarray
    lowest: float


def _bounds_of(rule: Rule, traits: Traits) -> _Bounds:
    return traits.bounds.of(id(rule), lambda: _work_out_bounds(rule, traits))


def _work_out_bounds(rule: Rule, traits: Traits) -> _Bounds:
    limit = _bounds(rule.bound, traits)
    other = np.zeros(limit.shape) if rule.also is None else _bounds(rule.also.bound, traits)
    rots = traits.rot == "high"
    applies = np.isfinite(limit) & np.isfinite(other) & rule.plants.among(traits)
    alike = group_rows(limit, rots, other)[1]
    lowest = float(limit[applies].min(initial=math.inf))
    return _Bounds(rule, applies, limit, other, rots, alike, lowest)


def evaluate(
    classes: Classes, site: Site, climate: Climate, rows: slice, *, wet_margin_k: float = 0.0
) -> Firing:
    """Evaluate a rule for some rows of a climate, as `evaluate_rule` does for all.

    How long it lasts is counted within the rows.
    """
    rule, column = classes.rule, classes.column
    times = climate.times[rows]
    values = _series(climate, rule.quantity)[rows][:, column]
    bound = np.broadcast_to(classes.limit, values.shape)
    if rule.direction == "below" and QUANTITIES[rule.quantity].unit == "°C" and wet_margin_k:
        wet = ~(climate.crown_wet_h[rows] == 0.0)
        bound = bound + wet_margin_k * (wet[:, column] & classes.rots)
    beyond = _beyond(values, rule.direction, bound)
    known = np.isfinite(values)
    if rule.also is not None:
        second = _series(climate, rule.also.quantity)[rows][:, column]
        holds = _beyond(second, rule.also.direction, classes.other)
        known = (known & np.isfinite(second)) | (np.isfinite(second) & ~holds)
        beyond = beyond & holds
    counts = rule.hours.mask(site, times, climate.night[rows])
    fires = _lasting(beyond & counts[:, None], times, rule.lasting)
    return Firing(classes, times, bound, values, beyond, fires, known, counts)


def reaches_bound(
    rule: Rule, traits: Traits, columns: SpotColumns, climate: Climate, rows: slice
) -> bool:
    """Return whether the quantity of a rule is beyond its bound in some of these rows of a climate,
    where plants stand. A rule fires in no others, however long it must last.

    columns (plant,) : as in `evaluate_rule`. A lower bound on temperature may be raised for wet
    crowns, and counts as reached. Seasons and a second condition are not looked at.
    """
    bounds = _bounds_of(rule, traits)
    series = _series(climate, rule.quantity)[rows]
    if not series.size or not bounds.applies.any():
        return False
    if rule.direction == "above":
        extreme = np.fmax.reduce(series, axis=0)
        if not np.fmax.reduce(extreme) > bounds.lowest:
            return False
        beyond = extreme[columns] > bounds.limit
    elif QUANTITIES[rule.quantity].unit == "°C":
        return True
    else:
        beyond = np.fmin.reduce(series, axis=0)[columns] < bounds.limit
    return bool((beyond & bounds.applies & (columns != NO_SPOT)).any())


def _series(climate: Climate, quantity: str) -> Array:
    series: Array = getattr(climate, QUANTITIES[quantity].series)
    return series


def _beyond(values: Array, direction: Direction, bound: Array) -> np.ndarray:
    return np.asarray(values < bound if direction == "below" else values > bound)


def _bounds(bound: Bound, traits: Traits) -> Array:
    """(plant,) the bound for each plant; NaN where it has no such limit."""
    if bound.limit is None:
        return np.full(len(traits.plants), math.nan if bound.value is None else bound.value)
    return np.asarray(traits.limits[bound.limit] + bound.more)


def _lasting(mask: np.ndarray, times: np.ndarray, lasting: timedelta) -> np.ndarray:
    """Keep only runs along axis 0 that last long enough.

    Each value stands for the time since the one before it, but for an hour at most.
    """
    lasting_s = lasting.total_seconds()
    if lasting_s == 0 or not mask.any():
        return mask
    steps = np.minimum(np.diff(times, prepend=times[0] - HOUR_S), HOUR_S)
    until = np.concatenate([[0.0], np.cumsum(steps)])
    rows = np.arange(mask.shape[0])[:, None]
    last_off = np.maximum.accumulate(np.where(mask, -1, rows), axis=0)
    next_off = np.minimum.accumulate(np.where(mask, mask.shape[0], rows)[::-1], axis=0)[::-1]
    return np.asarray(mask & (until[next_off] - until[last_off + 1] >= lasting_s))
