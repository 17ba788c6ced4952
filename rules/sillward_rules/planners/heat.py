"""Heat of the air: plants moved to a cooler spot by day, plants that nothing helps, warm nights.

Shade, damp floors and mistings against heat are rules of their own (standard_rules.toml), planned
with all other shade and mist. This module plans the moves out of the heat for the day: to the
shelter or to another spot that is known to be cooler in those hours, and back when it is over.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, split_by_keys
from sillward_rules.chore import Chore, ChoreKind, Errand, Reason
from sillward_rules.planners.first_hours import (
    LEAD,
    FirstHours,
    find_first_hours,
    next_hours,
    worst_reason,
)
from sillward_rules.planners.protect import plan_protection
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.remark import HeatAhead, HeatUnrelieved, Remark, WarmNights
from sillward_rules.trips import round_up
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.sun import Night

COOLER_BY_K = 3.0
"""A spot is worth a move if plants are this much cooler there at the worst hour [K]. Judgement:
more than a spot's correction is usually off, and enough to be worth two trips."""

NEAR_ENOUGH_K = 1.0
"""A plant's own shelter is taken if the best spot is no more than this cooler [K]. Judgement."""

# The next three repeat the standard rules "hot dry air" and "hot dry floor" (standard_rules.toml).
# A grower may replace those rules, but a remark on plants that nothing helps is due in any case.
# tests/rules/planners/test_heat.py fails if they differ.
COOLS_FROM_K = 5.0
"""How far the wet bulb must be below the air for water to cool [K]."""

TOO_HOT_K = 2.0
"""A plant needs help this far above its limit [K]. Judgement: limits are known to a degree or
two."""

MIN_HOT_HOURS = 2
"""A plant needs help if it is that much too hot for this many hours."""

LATEST_BACK = timedelta(hours=2)
"""Back no later than this after sunset; otherwise it stays where it is cool. Judgement."""

AGAINST_HEAT = (ChoreKind.MOVE, ChoreKind.SHADE, ChoreKind.DAMP_DOWN)
"""What the heat of a day may ask for, besides water."""

_A_DAY = timedelta(hours=24)


@dataclass(frozen=True, slots=True, eq=False)
class HeatMoves:
    """The moves out of the heat of a day. Arrays are (cohort,).

    - to: the spot to which plants are moved; `NO_SPOT` for those not moved.
    - due: by when they go [unix s]; infinite for never.
    - back: from when on they may come back [unix s]; infinite if they stay there.
    - chosen: the position among the firings of the rule that moves them; -1 for none.
    - firings, rows: the rules that fire, and the rows of the climate that were looked at.
    """

    to: Standing
    due: Array
    back: Array
    chosen: np.ndarray
    firings: tuple[Firing, ...]
    rows: np.ndarray

    @property
    def moved(self) -> np.ndarray:
        """(cohort,) whether plants are moved."""
        return np.asarray(self.to != NO_SPOT)

    def leaving(self, places: Places) -> Places:
        """Return the places of a day, until these moves."""
        return replace(places, until=np.minimum(places.until, self.due))


def plan_guards(scene: Scene, places: Places, end: datetime) -> tuple[HeatMoves, list[Errand]]:
    """Plan what guards plants by day: moves out of the heat; shade, cover and so on for others.

    A move comes before the shade that it makes needless, and also gives the reason for that shade.
    """
    shade = find_first_hours(scene, "shade", places, end)
    moves = plan_moves(scene, places, end)
    due = np.where(moves.moved, np.minimum(moves.due, shade.due), np.inf)
    moves = replace(moves, due=due)
    others = plan_protection(scene, places, end, moved=moves.moved)
    return moves, [*_move_errands(scene, places.column, moves, shade), *others]


def plan_moves(scene: Scene, places: Places, end: datetime) -> HeatMoves:
    """Plan the moves that rules ask for, for plants while they stand in their places, until `end`.

    Plants move only to spots that are known to be cooler. There are no moves on a forecast that is
    too old.
    """
    standing = places.column
    hours = find_first_hours(scene, "move", places, end)
    rows, begin = hours.rows, hours.begin
    to = np.full(standing.shape, NO_SPOT, dtype=np.int64)
    chosen = np.full(standing.shape, -1, dtype=np.int64)
    due, back = np.full(standing.shape, np.inf), np.full(standing.shape, np.inf)
    for number, firing in enumerate(hours.firings):
        candidates = np.flatnonzero((chosen < 0) & np.isfinite(hours.hours[number]))
        if not candidates.size:
            continue
        goals = _cooler_spots(scene, firing, rows, candidates)
        cohorts = candidates[goals != NO_SPOT]
        to[cohorts], chosen[cohorts] = goals[goals != NO_SPOT], number
        # It goes before it is too hot at all, not only before it is far too hot.
        warm = firing.values[rows] > _own_limit(firing)
        at = next_hours(scene.climate.times[rows], warm, firing, begin)
        due[cohorts] = np.maximum(at - LEAD.total_seconds(), begin)[cohorts]
        back[cohorts] = _cool_again(scene, firing, rows)[firing.member[cohorts]]
    # Only a plant under cover is sent home by the next morning round.
    outside = (to != NO_SPOT) & ~scene.is_under_cover(to)
    back[outside] = np.minimum(back, end.timestamp())[outside]
    return HeatMoves(to, due, back, chosen, hours.firings, rows)


def reason(scene: Scene, moves: HeatMoves, cohort: int) -> Reason:
    """Return why a cohort is moved: the heat against its own limit, and what it meets there."""
    firing = moves.firings[int(moves.chosen[cohort])]
    worst = worst_reason(scene, firing, cohort, moves.rows)
    fired = moves.rows[firing.fires[moves.rows, firing.member[cohort]]]
    back = float(moves.back[cohort])
    return replace(
        worst,
        until=round_up(moment(back), scene.site) if np.isfinite(back) else None,
        there=round(float(scene.climate.temp_c[fired, moves.to[cohort]].max()), 1),
    )


def _move_errands(
    scene: Scene, standing: Standing, moves: HeatMoves, shade: FirstHours
) -> list[Errand]:
    """Return the errands of moves, with what the leaf in the sun adds to their reason."""

    def reason_with_sun(cohort: int) -> Reason:
        of_move = reason(scene, moves, cohort)
        if not np.isfinite(shade.due[cohort]):
            return of_move
        of_sun = shade.reason(cohort)
        others = (replace(other, also=()) for other in (of_sun, *of_sun.also))
        also = tuple(other for other in others if other.quantity != of_move.quantity)
        return replace(of_move, also=also)

    cohorts = np.flatnonzero(moves.moved)
    places, times = (standing, moves.to), (None, moves.due)
    return make_errands(scene, ChoreKind.MOVE, cohorts, places, times, reason_with_sun)


# -- where to


def _own_limit(firing: Firing) -> Array:
    """(class,) the plants' own limit, without what the rule adds to it."""
    return np.asarray(firing.limit - firing.rule.bound.more)


def _cooler_spots(scene: Scene, firing: Firing, rows: np.ndarray, cohorts: np.ndarray) -> Standing:
    """Return the spot where each of these cohorts is cooler; `NO_SPOT` where none is known to be.

    It is the plant's own shelter if that is within its limit, or about as good as any; otherwise
    the warmest spot within its limit, where the change is least; otherwise the coolest spot. Spots
    that are too cold for the plant by night are left out.
    """
    member = firing.member[cohorts]
    peak = _peaks(scene, firing, rows)[member]
    low = scene.traits.limits["night_low"][cohorts]
    peak = np.where(_lows_of_next_day(scene, rows) < low[:, None], np.inf, peak)
    fits = peak <= _own_limit(firing)[member][:, None]
    best = np.argmin(peak, axis=1)
    best = np.where(fits.any(axis=1), np.argmax(np.where(fits, peak, -np.inf), axis=1), best)
    own = scene.shelter[cohorts]
    peak_own, peak_best = (at_columns(peak, spots, otherwise=np.nan) for spots in (own, best))
    own_is_near = at_columns(fits, own, otherwise=False) | (peak_own <= peak_best + NEAR_ENOUGH_K)
    goals = np.where(own_is_near, own, best)
    helps = np.isfinite(at_columns(peak, goals, otherwise=np.nan))
    return np.where(helps, goals, NO_SPOT)


def _lows_of_next_day(scene: Scene, rows: np.ndarray) -> Array:
    """(spot,) how cold it gets at each spot in the 24 hours from the first of these rows [°C]."""
    start = moment(scene.climate.times[rows[0]])
    return np.asarray(scene.climate.temp_c[scene.rows(start, start + _A_DAY)].min(axis=0))


def _peaks(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class, spot) how warm a leaf gets at each spot in the hours that fire [°C].

    Infinite where the spot is not known to help. A spot with warmer air does not.
    """
    fires, temp = firing.fires[rows], scene.climate.temp_c[rows]
    known = np.array([_known_by_day(spot) for spot in scene.climate.spots], dtype=bool)
    there = _highest(np.fmax(temp, scene.climate.leaf_c[rows]), fires)
    air = _highest(temp, fires)
    classes = np.arange(firing.column.size)
    here, air_here = there[classes, firing.column], air[classes, firing.column]
    helps = known & (there <= here[:, None] - COOLER_BY_K) & (air <= air_here[:, None])
    return np.where(helps & fires.any(axis=0)[:, None], there, np.inf)


def _highest(series: Array, fires: np.ndarray) -> Array:
    """(class, spot) the highest of a series (time, spot) in the hours (time, class) that fire."""
    of_spots = [np.where(fires, column[:, None], -np.inf).max(axis=0) for column in series.T]
    return np.stack(of_spots, axis=1)  # NaN if an hour is


def _known_by_day(spot: Spot) -> bool:
    """Return whether it is known how warm a spot gets by day.

    For that either the temperature that it holds is given, or how it follows the weather; outdoors
    also from where the sun reaches it.
    """
    if spot.holds_itself:
        return spot.holds_by_day_c is not None
    return spot.day_offset_k is not None if spot.indoors else spot.sunlit


def _cool_again(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class,) when the place that plants left is within their limit again [unix s].

    Infinite if that is too late for a trip.
    """
    times = scene.climate.times
    later = scene.rows(moment(times[rows[0]]), moment(times[rows[-1]]) + LATEST_BACK)
    fires = firing.fires[later]
    last = later.size - 1 - np.argmax(fires[::-1], axis=0)
    cool = firing.values[later] <= _own_limit(firing)
    cool &= np.arange(later.size)[:, None] > last
    return np.where(cool.any(axis=0), times[later[np.argmax(cool, axis=0)]], np.inf)


# -- remarks


def unrelieved(
    scene: Scene, places: Places, end: datetime, chores: Sequence[Chore]
) -> list[Remark]:
    """Return remarks on plants that get too hot where they stand and that no chore of a day helps.

    There is one for each spot and limit. A misting helps where water cools.
    """
    limit, column = scene.traits.limits["day_high"], places.column
    if scene.forecast_expired or not column.size:
        return []
    rows = scene.rows(max(scene.now, moment(float(places.since.min()))), end)
    temp = np.nan_to_num(scene.climate.temp_c[rows], nan=-np.inf)
    if not rows.size:
        return []
    # At least this many hours are above a bound if the hour of that rank is.
    ranked = np.sort(temp, axis=0)[-min(MIN_HOT_HOURS, rows.size)]
    worst = rows[np.argmax(temp, axis=0)]
    cools = scene.climate.wet_bulb_k[worst, np.arange(worst.size)] >= COOLS_FROM_K
    helped = _have_chore(scene, chores, *AGAINST_HEAT)
    helped |= _have_chore(scene, chores, ChoreKind.MIST) & cools[column]
    there = places.since <= scene.climate.times[worst][column]
    left = np.flatnonzero((ranked[column] > limit + TOO_HOT_K) & there & ~helped)
    remarks: list[Remark] = []
    for cohorts in split_by_keys(left, column[left], limit[left]):
        spot, bound = int(column[cohorts[0]]), float(limit[cohorts[0]])
        at = moment(scene.climate.times[worst[spot]]).astimezone(scene.site.zone)
        names, high = scene.names(cohorts.tolist()), float(temp[:, spot].max())
        name, dry = scene.spot_name(spot), bool(cools[spot])
        remarks.append(HeatUnrelieved(names, name, high, bound, at, dry))
    return remarks


def _have_chore(scene: Scene, chores: Sequence[Chore], *kinds: ChoreKind) -> np.ndarray:
    """(cohort,) whether there is a chore of one of these kinds for it."""
    found = np.zeros(len(scene.cohorts), dtype=bool)
    for chore in chores:
        if chore.kind in kinds:
            found[scene.cohorts_of(chore.grounds)] = True
    return found


def ahead(chores: Sequence[Chore], morning: datetime) -> list[Remark]:
    """Return a remark on what the heat of a day asks for before its morning round.

    chores : all that guards plants on that day. morning : when that round is told.
    """
    early = [chore for chore in chores if chore.kind in AGAINST_HEAT and chore.before <= morning]
    known = [
        reason
        for chore in early
        for reason in chore.because
        if reason.quantity == "temperature"
        and reason.value is not None
        and reason.limit is not None
    ]
    if not known:
        return []
    worst = max(known, key=lambda reason: reason.value or 0.0)
    first = min(early, key=lambda chore: chore.before)
    plants = tuple(dict.fromkeys(reason.plant for reason in known))
    return [
        HeatAhead(plants, first.kind.value, worst.value or 0.0, worst.limit or 0.0, first.before)
    ]


def warm_nights(scene: Scene, nights: Sequence[tuple[Night, Standing]]) -> list[Remark]:
    """Return remarks on nights that stay warmer than cool growers want; they order nothing.

    There is one for all plants of a limit, with the low of the warmest night, the first of these
    nights, and their number. nights : each with where the cohorts spend it.
    """
    limit = scene.traits.limits["night_high"]
    cohorts = np.flatnonzero(np.isfinite(limit))
    if scene.forecast_expired or not cohorts.size:
        return []
    lows = np.full((len(nights), cohorts.size), np.nan)
    for number, (night, standing) in enumerate(nights):
        rows = scene.steps(night.start, night.end)
        if rows.size:
            lows[number] = scene.by_night.temp_c[rows].min(axis=0)[standing[cohorts]]
    warm = lows > limit[cohorts]
    remarks: list[Remark] = []
    some = np.flatnonzero(warm.any(axis=0))
    for members in split_by_keys(some, limit[cohorts[some]]):
        on = np.flatnonzero(warm[:, members].any(axis=1))
        low = float(np.max(lows[:, members], where=warm[:, members], initial=-np.inf))
        first, bound = nights[int(on[0])][0].day, float(limit[cohorts[members[0]]])
        names = scene.names(cohorts[members].tolist())
        remarks.append(WarmNights(names, low, bound, first, int(on.size)))
    return remarks
