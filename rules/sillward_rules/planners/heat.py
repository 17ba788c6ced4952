"""Heat of the air: who is moved to a cooler spot by day, whom nothing helps, nights too warm.

Shade, damp floors and mistings for heat are rules of their own (standard_rules.toml), planned
where all shade and mist is. What lives here is the move: out of the heat for the day,
to the shelter or to another spot that is known to be cooler in those hours, and back when it is
over.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, split_by_keys
from sillward_rules.chore import Chore, ChoreKind, Errand, Reason
from sillward_rules.planners.errands import make_errands
from sillward_rules.planners.places import Places
from sillward_rules.planners.protect import (
    AHEAD,
    FirstHours,
    first_hours,
    next_hours,
    protect,
    reason_of,
)
from sillward_rules.planners.scene import Scene, Standing
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.remark import HeatAhead, HeatUnrelieved, Remark, WarmNights
from sillward_rules.trips import round_up
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

COOLER_BY_K = 3.0
"""A spot is worth a move if plants are this much cooler there at the worst hour [K]. Judgement:
more than a spot's correction is usually off, and two walks ask for something in return."""

NEAR_ENOUGH_K = 1.0
"""A plant's own shelter is taken if the best spot is no more than this cooler [K]. Judgement."""

COOLS_FROM_K = 5.0
"""How far the wet bulb is under the air where water still cools [K], as the rules have it."""

TOO_HOT_K, LEAST_HOT = 2.0, 2
"""So far above its limit [K], and for so many hours, a plant is in want of help, as the rules in
standard_rules.toml have it for water. Judgement: limits are known to a degree or two."""

LATEST_BACK = timedelta(hours=2)
"""Back no later than this after sunset: else it stays where it is cool. Judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Who is moved out of the heat of a day.

    All (cohort,). to: spot column, -1 for who is not moved; due, back: by when it goes, from when
    on it may come back [unix s], infinite for never; chosen: place of its rule among firings.
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
        """The places of a day, until these moves."""
        return replace(places, until=np.minimum(places.until, self.due))


def guards_of_day(scene: Scene, places: Places, end: datetime) -> tuple[Moves, list[Errand]]:
    """All that guards plants by day: the moves out of the heat; shade, cover and the like for what
    stays. A move comes before the shade that it makes needless, and tells its reason too."""
    shade = first_hours(scene, "shade", places, end)
    made = moves(scene, places, end)
    made = replace(made, due=np.where(made.moved, np.minimum(made.due, shade.due), np.inf))
    others = protect(scene, places, end, moved=made.moved)
    return made, [*_errands(scene, places.column, made, shade), *others]


def moves(scene: Scene, places: Places, end: datetime) -> Moves:
    """The moves that rules ask for, for plants while they stand in their places, until the end.

    Only to spots that are known to be cooler; nothing on a forecast that is too old.
    """
    standing = places.column
    hours = first_hours(scene, "move", places, end)
    rows, begin = hours.rows, hours.begin
    to = np.full(standing.shape, -1, dtype=np.int64)
    chosen = np.full(standing.shape, -1, dtype=np.int64)
    due, back = np.full(standing.shape, np.inf), np.full(standing.shape, np.inf)
    for number, firing in enumerate(hours.firings):
        spoken = np.flatnonzero((chosen < 0) & np.isfinite(hours.hours[number]))
        target = _target(scene, firing, rows, spoken)
        which = spoken[target >= 0]
        to[which], chosen[which] = target[target >= 0], number
        # Gone before it is too hot for it at all, not only when it is far too hot.
        warm = firing.values[rows] > _own_limit(firing)
        at = next_hours(scene.climate.times[rows], warm, firing, begin)
        due[which] = np.maximum(at - AHEAD.total_seconds(), begin)[which]
        back[which] = _cool_again(scene, firing, rows)[firing.member[which]]
    # Only under cover is there a next morning round that sends it home.
    outside = (to >= 0) & ~scene.covered(to)
    back[outside] = np.minimum(back, end.timestamp())[outside]
    return Moves(to, due, back, chosen, hours.firings, rows)


def _own_limit(firing: Firing) -> Array:
    """(class,) the plants' own limit, whatever the rule asks for beyond it."""
    return np.asarray(firing.limit - firing.rule.bound.more)


def _target(scene: Scene, firing: Firing, rows: np.ndarray, cohorts: np.ndarray) -> Standing:
    """(of these cohorts) where each is cooler; -1 where no spot is known to help.

    Its own shelter if that is within its limit, or about as good as any; else the warmest spot
    within its limit, as the change is least; else the coolest. None that is too cold by night.
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
    own, places = scene.shelter[cohorts], np.arange(cohorts.size)
    near = fits[places, own] | (peak[places, own] <= peak[places, best] + NEAR_ENOUGH_K)
    target = np.where((own >= 0) & near, own, best)
    return np.asarray(np.where(np.isfinite(peak[places, target]), target, -1))


def _lows(scene: Scene, rows: np.ndarray) -> Array:
    """(spot,) how cold it gets at each spot from these rows to the next morning [°C]."""
    start = moment(scene.climate.times[rows[0]])
    return np.asarray(scene.climate.temp_c[scene.rows(start, start + _A_DAY)].min(axis=0))


_A_DAY = timedelta(hours=24)


def _peaks(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class, spot) how warm a leaf gets at each spot in the hours that fire [°C].

    Infinite where it is not known that this helps; where the air is warmer it does not.
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
    of_spots = [np.where(fires, one[:, None], -np.inf).max(axis=0) for one in series.T]
    return np.stack(of_spots, axis=1)  # NaN if an hour is


def _known_by_day(spot: Spot) -> bool:
    """Whether it is known how warm a spot gets by day: what it holds, or how it follows the
    weather; outdoors also where the sun comes in."""
    if spot.holds_itself:
        return spot.day_low_c is not None
    return spot.day_offset_k is not None if spot.indoors else spot.sunlit


def _cool_again(scene: Scene, firing: Firing, rows: np.ndarray) -> Array:
    """(class,) when home is within the plants' limit again [unix s]; infinite if that is too late
    for a walk."""
    times = scene.climate.times
    later = scene.rows(moment(times[rows[0]]), moment(times[rows[-1]]) + LATEST_BACK)
    fires = firing.fires[later]
    last = later.size - 1 - np.argmax(fires[::-1], axis=0)
    cool = firing.values[later] <= _own_limit(firing)
    cool &= np.arange(later.size)[:, None] > last
    return np.where(cool.any(axis=0), times[later[np.argmax(cool, axis=0)]], np.inf)


def reason(scene: Scene, made: Moves, cohort: int) -> Reason:
    """Why a cohort is moved: the heat against its own limit, and what it meets where it goes."""
    firing = made.firings[int(made.chosen[cohort])]
    told = reason_of(scene, firing, cohort, made.rows)
    fired = made.rows[firing.fires[made.rows, firing.member[cohort]]]
    back = float(made.back[cohort])
    return replace(
        told,
        until=round_up(moment(back), scene.site) if np.isfinite(back) else None,
        there=round(float(scene.climate.temp_c[fired, made.to[cohort]].max()), 1),
    )


def _errands(scene: Scene, standing: Standing, made: Moves, shade: FirstHours) -> list[Errand]:
    """The errands of these moves, with what the leaf in the sun adds to their reason."""

    def why(cohort: int) -> Reason:
        told = reason(scene, made, cohort)
        if not np.isfinite(shade.due[cohort]):
            return told
        sun = shade.reason(cohort)
        other = (replace(one, also=()) for one in (sun, *sun.also))
        return replace(told, also=tuple(one for one in other if one.quantity != told.quantity))

    cohorts = np.flatnonzero(made.moved)
    return make_errands(scene, ChoreKind.MOVE, cohorts, (standing, made.to), (None, made.due), why)


def unrelieved(
    scene: Scene, places: Places, end: datetime, chores: Sequence[Chore]
) -> list[Remark]:
    """Who gets too hot where it stands, and none of a day's chores helps against it.

    A misting helps where water cools. One remark for each spot and limit.
    """
    limit, column = scene.traits.limits["day_high"], places.column
    if scene.stale or not column.size:
        return []
    rows = scene.rows(max(scene.now, moment(float(places.since.min()))), end)
    temp = np.nan_to_num(scene.climate.temp_c[rows], nan=-np.inf)
    if not rows.size:
        return []
    # So many hours are beyond a bound if the one of that rank is.
    ranked = np.sort(temp, axis=0)[-min(LEAST_HOT, rows.size)]
    worst = rows[np.argmax(temp, axis=0)]
    cools = scene.climate.wet_bulb_k[worst, np.arange(worst.size)] >= COOLS_FROM_K
    helped = _done_for(scene, chores, *AGAINST_HEAT)
    helped |= _done_for(scene, chores, ChoreKind.MIST) & cools[column]
    there = places.since <= scene.climate.times[worst][column]
    left = np.flatnonzero((ranked[column] > limit + TOO_HOT_K) & there & ~helped)
    said: list[Remark] = []
    for cohorts in split_by_keys(left, column[left], limit[left]):
        spot, bound = int(column[cohorts[0]]), float(limit[cohorts[0]])
        at = moment(scene.climate.times[worst[spot]]).astimezone(scene.site.zone)
        names, high = scene.names(cohorts.tolist()), float(temp[:, spot].max())
        name, dry = scene.spot_name(spot), bool(cools[spot])
        said.append(HeatUnrelieved(names, name, high, bound, at, dry))
    return said


def _done_for(scene: Scene, chores: Sequence[Chore], *kinds: ChoreKind) -> np.ndarray:
    """(cohort,) who has a chore of one of these kinds."""
    done = np.zeros(len(scene.cohorts), dtype=bool)
    for one in chores:
        if one.kind in kinds:
            done[[scene.cohort_of[names[0]] for names in one.grounds.groups]] = True
    return done


def ahead(chores: Sequence[Chore], morning: datetime) -> list[Remark]:
    """What the heat of a day asks for before its morning round can say so.

    chores : all that guards plants on that day. morning : when the round is told.
    """
    early = [one for one in chores if one.kind in AGAINST_HEAT and one.before <= morning]
    reasons = [one for chore in early for one in chore.because if one.quantity == "temperature"]
    known = [one for one in reasons if one.value is not None and one.limit is not None]
    if not known:
        return []
    worst = max(known, key=lambda one: one.value or 0.0)
    first = min(early, key=lambda one: one.before)
    plants = tuple(dict.fromkeys(one.plant for one in known))
    return [
        HeatAhead(plants, first.kind.value, worst.value or 0.0, worst.limit or 0.0, first.before)
    ]


AGAINST_HEAT = (ChoreKind.MOVE, ChoreKind.SHADE, ChoreKind.DAMP_DOWN)
"""What the heat of a day may ask for, beside water."""


def warm_nights(scene: Scene, nights: Sequence[tuple[Night, Standing]]) -> list[Remark]:
    """Nights that stay warmer than cool growers want: a remark, no order.

    nights : each with where the cohorts spend it. One remark for those of one limit, with the low
    of the warmest night, the first of these nights, and how many they are.
    """
    limit = scene.traits.limits["night_high"]
    asked = np.flatnonzero(np.isfinite(limit))
    if scene.stale or not asked.size:
        return []
    lows = np.full((len(nights), asked.size), np.nan)
    for number, (night, standing) in enumerate(nights):
        rows = scene.steps(night.start, night.end)
        if rows.size:
            lows[number] = scene.by_night.temp_c[rows].min(axis=0)[standing[asked]]
    warm = lows > limit[asked]
    said: list[Remark] = []
    some = np.flatnonzero(warm.any(axis=0))
    for which in split_by_keys(some, limit[asked[some]]):
        on = np.flatnonzero(warm[:, which].any(axis=1))
        low = float(np.max(lows[:, which], where=warm[:, which], initial=-np.inf))
        first, bound = nights[int(on[0])][0].day, float(limit[asked[which[0]]])
        names = scene.names(asked[which].tolist())
        said.append(WarmNights(names, low, bound, first, int(on.size)))
    return said
