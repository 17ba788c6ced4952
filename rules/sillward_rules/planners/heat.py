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
from sillward_rules.planners.protect import (
    AHEAD,
    FirstHours,
    find_first_hours,
    next_hours,
    protect,
    worst_reason,
)
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.remark import HeatAhead, HeatUnrelieved, Remark, WarmNights
from sillward_rules.trips import round_up
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

COOLER_BY_K = 3.0
"""A spot is worth a move if plants are this much cooler there at the worst hour [K]. Judgement:
more than a spot's correction is usually off, and enough to be worth two trips."""

NEAR_ENOUGH_K = 1.0
"""A plant's own shelter is taken if the best spot is no more than this cooler [K]. Judgement."""

COOLS_FROM_K = 5.0
"""How far the wet bulb must be below the air for water to cool [K], as in the standard rules."""

TOO_HOT_K, MIN_HOT_HOURS = 2.0, 2
"""A plant needs help this far above its limit [K] for this many hours, as the standard rules have
it for water. Judgement: limits are known to a degree or two."""

LATEST_BACK = timedelta(hours=2)
"""Back no later than this after sunset; otherwise it stays where it is cool. Judgement."""

AGAINST_HEAT = (ChoreKind.MOVE, ChoreKind.SHADE, ChoreKind.DAMP_DOWN)
"""What the heat of a day may ask for, beside water."""

_A_DAY = timedelta(hours=24)


@dataclass(frozen=True, slots=True, eq=False)
class HeatMoves:
    """The moves out of the heat of a day.

    All (cohort,). to: spot column, -1 for those not moved. due, back: by when it goes, and from
    when on it may come back [unix s], infinite for never. chosen: place of its rule among firings.
    """

    to: Standing
    due: Array
    back: Array
    chosen: np.ndarray
    firings: tuple[Firing, ...]
    rows: np.ndarray

    @property
    def moved(self) -> np.ndarray:
        """(cohort,) whether it is moved."""
        return np.asarray(self.to >= 0)

    def leaving(self, places: Places) -> Places:
        """Return the places of a day, until these moves."""
        return replace(places, until=np.minimum(places.until, self.due))


def plan_guards(scene: Scene, places: Places, end: datetime) -> tuple[HeatMoves, list[Errand]]:
    """Plan all that guards plants by day: moves out of the heat; shade, cover and so on for others.

    A move comes before the shade that it makes needless, and tells the reason for that too.
    """
    shade = find_first_hours(scene, "shade", places, end)
    moves = plan_moves(scene, places, end)
    due = np.where(moves.moved, np.minimum(moves.due, shade.due), np.inf)
    moves = replace(moves, due=due)
    others = protect(scene, places, end, moved=moves.moved)
    return moves, [*_move_errands(scene, places.column, moves, shade), *others]


def plan_moves(scene: Scene, places: Places, end: datetime) -> HeatMoves:
    """Plan the moves that rules ask for, for plants while they stand in their places, until `end`.

    Only to spots that are known to be cooler; none on a forecast that is too old.
    """
    standing = places.column
    hours = find_first_hours(scene, "move", places, end)
    rows, begin = hours.rows, hours.begin
    to = np.full(standing.shape, -1, dtype=np.int64)
    chosen = np.full(standing.shape, -1, dtype=np.int64)
    due, back = np.full(standing.shape, np.inf), np.full(standing.shape, np.inf)
    for number, firing in enumerate(hours.firings):
        spoken = np.flatnonzero((chosen < 0) & np.isfinite(hours.hours[number]))
        target = _target(scene, firing, rows, spoken)
        cohorts = spoken[target >= 0]
        to[cohorts], chosen[cohorts] = target[target >= 0], number
        # It goes before it is too hot at all, not only before it is far too hot.
        warm = firing.values[rows] > _own_limit(firing)
        at = next_hours(scene.climate.times[rows], warm, firing, begin)
        due[cohorts] = np.maximum(at - AHEAD.total_seconds(), begin)[cohorts]
        back[cohorts] = _cool_again(scene, firing, rows)[firing.member[cohorts]]
    # Only a plant under cover is sent home by the next morning round.
    outside = (to >= 0) & ~scene.covered(to)
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
    way, times = (standing, moves.to), (None, moves.due)
    return make_errands(scene, ChoreKind.MOVE, cohorts, way, times, reason_with_sun)


# -- where to


def _own_limit(firing: Firing) -> Array:
    """(class,) the plants' own limit, without what the rule adds to it."""
    return np.asarray(firing.limit - firing.rule.bound.more)


def _target(scene: Scene, firing: Firing, rows: np.ndarray, cohorts: np.ndarray) -> Standing:
    """Return the spot column where each of these cohorts is cooler; -1 where none is known to help.

    Its own shelter if that is within its limit, or about as good as any. Otherwise the warmest spot
    within its limit, as the change is least; otherwise the coolest. None that is too cold by night.
    """
    member = firing.member[cohorts]
    peak = _peaks(scene, firing, rows)[member]
    if not cohorts.size:
        return cohorts
    low = scene.traits.limits["night_low"][cohorts]
    peak = np.where(_lows(scene, rows) < low[:, None], np.inf, peak)
    fits = peak <= _own_limit(firing)[member][:, None]
    best = np.argmin(peak, axis=1)
    best = np.where(fits.any(axis=1), np.argmax(np.where(fits, peak, -np.inf), axis=1), best)
    own, order = scene.shelter[cohorts], np.arange(cohorts.size)
    near = fits[order, own] | (peak[order, own] <= peak[order, best] + NEAR_ENOUGH_K)
    target = np.where((own >= 0) & near, own, best)
    return np.asarray(np.where(np.isfinite(peak[order, target]), target, -1))


def _lows(scene: Scene, rows: np.ndarray) -> Array:
    """(spot,) how cold it gets at each spot in the 24 hours from these rows on [°C]."""
    start = moment(scene.climate.times[rows[0]])
    return np.asarray(scene.climate.temp_c[scene.rows(start, start + _A_DAY)].min(axis=0))


def _peaks(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class, spot) how warm a leaf gets at each spot in the hours that fire [°C].

    Infinite where it is not known that this helps. Where the air is warmer it does not.
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
    """Whether it is known how warm a spot gets by day.

    Either what it holds or how it follows the weather must be; outdoors also where the sun comes
    in.
    """
    if spot.holds_itself:
        return spot.day_low_c is not None
    return spot.day_offset_k is not None if spot.indoors else spot.sunlit


def _cool_again(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class,) when home is within the plants' limit again [unix s].

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
    """Return the plants that get too hot where they stand and that none of a day's chores helps.

    A misting helps where water cools. One remark for each spot and limit.
    """
    limit, column = scene.traits.limits["day_high"], places.column
    if scene.stale or not column.size:
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
            found[[scene.cohort_of[names[0]] for names in chore.grounds.groups]] = True
    return found


def ahead(chores: Sequence[Chore], morning: datetime) -> list[Remark]:
    """Return what the heat of a day asks for before its morning round can say so.

    chores : all that guards plants on that day. morning : when the round is told.
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
    """Return the nights that stay warmer than cool growers want: a remark, no order.

    nights : each with where the cohorts spend it. One remark for the plants of one limit, with the
    low of the warmest night, the first of these nights, and how many they are.
    """
    limit = scene.traits.limits["night_high"]
    cohorts = np.flatnonzero(np.isfinite(limit))
    if scene.stale or not cohorts.size:
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
