"""Watering pots: which, by when and how much; and what is not known of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import Chore, ChoreKind, Errand, Reason
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.pot_levels import PotLevels, levels_of
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.pot_water import Buckets
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.remark import PotsUnknown, Remark
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.season import Season, water_share
from sillward_rules.weather.spot_columns import NO_SPOT

WARM_ENOUGH_C = 8.0
"""Pots are watered only while the air is this warm [°C]. Judgement: cold water on cold roots is not
taken up and keeps them cold; the water of a tap is about as warm."""

NO_FROST_C = 1.0
"""Nothing is watered on a day that gets no warmer than this [°C]. Judgement: the pot is frozen, or
soon will be, and nothing drinks."""

SOON = timedelta(hours=2)
"""A pot that is low already is watered within so long from when it can be. Judgement: a morning."""

RUN_THROUGH = 0.15
"""More is given than is missing by this share of it, so that some runs through and takes salt with
it. Common practice, no source: 10 to 20 %."""

AT_REST = 0.5
"""A plant at rest may use up this share of what it otherwise keeps back. Judgement: "sparingly"."""

DAY_S = 24.0 * HOUR_S

ASKED_AGAIN = timedelta(hours=36)
"""A watering that was told no longer ago than this and is not confirmed may have been done."""


@dataclass(frozen=True, slots=True, eq=False)
class PotNeeds:
    """Which pots need water in the coming day; arrays (pot,).

    - needed: whether it does.
    - crosses: when it may be low [unix s]; infinite for not in that time.
    - litres: how much it is given now [L].
    """

    needed: np.ndarray
    crosses: Array
    litres: Array


def lowest_share(levels: PotLevels) -> Array:
    """(pot,) the share of its water below which a pot is watered; minus infinity for never.

    That is what a plant of its kind stands; less while it rests, and nothing in a dry rest.
    """
    scene, cohorts = levels.scene, levels.cohorts
    seasons = scene.seasons[cohorts]
    given = water_share(seasons, scene.traits.rest[cohorts] == "dry")
    rests = (seasons == Season.REST) & (given > 0)
    lowest = np.where(rests, AT_REST * levels.lowest, levels.lowest)
    return np.where(given > 0, lowest, -np.inf)


def find_needs(levels: PotLevels, columns: Standing, until: datetime) -> PotNeeds:
    """Return which pots need water until a moment, at the spots (pot,) where they stand."""
    lowest, missing = lowest_share(levels), 1.0 - levels.now.share
    crosses = np.where(levels.early(levels.now) <= lowest, levels.scene.now.timestamp(), np.inf)
    for at, buckets in levels.ahead(columns, until):
        low = (levels.early(buckets) <= lowest) & np.isinf(crosses)
        crosses[low] = at
    litres = missing * levels.pots.capacity_l * (1.0 + RUN_THROUGH)
    return PotNeeds(levels.known & np.isfinite(crosses), crosses, litres)


def water_pots(
    scene: Scene, places: Places, day: date, flushed: Sequence[Chore] = ()
) -> tuple[list[Errand], list[Remark]]:
    """Return what must be watered on a day, and what is not known of the water in pots.

    A pot is watered if it may be low before the next morning round: by then, or by sunset if that
    comes first, in warm hours in which the grower can.

    flushed: what is flushed on that day, which waters it too.
    """
    levels = levels_of(scene)
    if levels is None:
        return [], []
    columns = places.column[levels.cohorts]
    columns = np.where(columns == NO_SPOT, scene.home[levels.cohorts], columns)
    tomorrow = scene.habits.morning_at.on(scene.site, day + timedelta(days=1))
    needs = find_needs(levels, columns, tomorrow)
    start, end = _hours(levels, columns, needs, day)
    wet = [cohort for chore in flushed for cohort in scene.cohorts_of(chore.grounds)]
    needed = needs.needed & ~np.isin(levels.cohorts, wet)
    chosen = np.flatnonzero(needed & np.isfinite(start))
    errands = _errands(levels, needs, columns, start, end, chosen)
    unknown = np.flatnonzero(~levels.known & np.isfinite(lowest_share(levels)))
    cohorts = levels.cohorts[unknown]
    names = scene.names(cohorts[np.argsort(scene.rank_by_name[cohorts])].tolist())
    return errands, [PotsUnknown(names)] if names else []


def _hours(levels: PotLevels, columns: Standing, needs: PotNeeds, day: date) -> tuple[Array, Array]:
    """Return from when and until when pots (pot,) are watered [unix s]; NaN for not on this day."""
    scene = levels.scene
    events = sun.day_events(scene.site, day)
    sunset = events.sunset.timestamp()
    begin = max(scene.now, events.sunrise)
    rows = scene.rows(begin, events.sunset)
    if not rows.size:
        start = np.full(columns.shape, begin.timestamp())
    else:
        start = _first_good_hour(scene, rows, columns)
        start = np.where(start == scene.climate.times[rows[0]], begin.timestamp(), start)
    soon = start + SOON.total_seconds()
    end = np.where(
        needs.crosses <= start, soon, np.minimum(needs.crosses, max(sunset, begin.timestamp()))
    )
    return start, np.maximum(end, start)


def _first_good_hour(scene: Scene, rows: np.ndarray, columns: Standing) -> Array:
    """(pot,) the first hour of these rows in which pots can be watered [unix s].

    Outside of the grower's hours if none of them is warm enough, and in the warmest hour of a cold
    day; NaN where that is no warmer than `NO_FROST_C`.
    """
    times, temp = scene.climate.times[rows], scene.climate.temp_c[rows]
    warm = ~(temp < WARM_ENOUGH_C)  # a room of which nothing is known is no cold one
    allowed = _grower_can(scene, times)[:, None]
    good = np.where((warm & allowed).any(axis=0), warm & allowed, warm)
    known = np.where(np.isfinite(temp), temp, -np.inf)
    warmest = known == known.max(axis=0)
    good = np.where(good.any(axis=0), good, warmest & (known > NO_FROST_C))
    first = np.where(good.any(axis=0), times[np.argmax(good, axis=0)], np.nan)
    return np.asarray(first[columns])


def _grower_can(scene: Scene, times: np.ndarray) -> np.ndarray:
    """(time,) whether the grower can water in these hours."""
    hours = scene.habits.hours
    if not hours:
        return np.ones(times.shape, dtype=bool)
    night = sun.is_night(scene.site, times)
    return np.asarray(np.any([one.mask(scene.site, times, night) for one in hours], axis=0))


def _errands(
    levels: PotLevels,
    needs: PotNeeds,
    columns: Standing,
    start: Array,
    end: Array,
    chosen: np.ndarray,
) -> list[Errand]:
    scene, lowest = levels.scene, lowest_share(levels)
    size = len(scene.cohorts)
    pot_of = np.full(size, -1, dtype=np.int64)
    pot_of[levels.cohorts] = np.arange(levels.cohorts.size)

    def of_cohorts(values: np.ndarray, otherwise: float) -> np.ndarray:
        spread = np.full(size, otherwise, dtype=values.dtype)
        spread[levels.cohorts] = values
        return spread

    def reason(cohort: int) -> Reason:
        pot = int(pot_of[cohort])
        plant = scene.cohorts[cohort].plant
        return Reason(
            plant=scene.cohorts[cohort].names[0],
            quantity="pot water",
            value=round(100.0 * float(levels.now.share[pot])),
            unit="%",
            limit=round(100.0 * float(lowest[pot])),
            at=moment(float(needs.crosses[pot])),
            origin=f"water use {water_use_of(plant).name}",
            litres=rounded_litres(float(needs.litres[pot])),
        )

    again = np.array([_may_be_done(scene, int(cohort)) for cohort in levels.cohorts[chosen]], bool)
    errands: list[Errand] = []
    spots = of_cohorts(columns, NO_SPOT)
    times = of_cohorts(start, np.nan), of_cohorts(end, np.nan)
    for unconfirmed in (False, True):
        cohorts = levels.cohorts[chosen[again == unconfirmed]]
        made = make_errands(scene, ChoreKind.WATER, cohorts, (spots, spots), times, reason)
        errands += [replace(errand, unconfirmed=unconfirmed) for errand in made]
    return errands


def rounded_litres(litres: float) -> float:
    """Return an amount as it can be poured [L]: two figures at most, at least 0.05."""
    step = 0.05 if litres < 1 else 0.1 if litres < 3 else 0.5
    return max(round(round(litres / step) * step, 2), 0.05)


def _may_be_done(scene: Scene, cohort: int) -> bool:
    """Return whether a plant was told to be watered and nobody has said whether it was."""
    return any(
        one.kind is ChoreKind.WATER
        and not one.confirmed
        and scene.now - ASKED_AGAIN <= one.at <= scene.now
        for one in scene.cohorts[cohort].state.care.wettings
    )


# -- the week


def water_days(
    scene: Scene, standing_by_day: Sequence[tuple[date, Standing]]
) -> tuple[tuple[tuple[str, ...], tuple[date, ...]], ...]:
    """Return on which of these days pots will be watered, if each morning's advice is followed.

    Plants with the same days are together, those that are watered soonest first. Pots of which
    nothing is known are taken to be watered on the first day.

    standing_by_day : each day with the spot of each cohort, (cohort,).
    """
    levels = levels_of(scene)
    if levels is None or not standing_by_day:
        return ()
    lowest = lowest_share(levels)
    buckets = levels.now.copy()
    watered = np.zeros((len(standing_by_day), levels.cohorts.size), dtype=bool)
    at_mornings = [
        scene.habits.morning_at.on(scene.site, day).timestamp() for day, _ in standing_by_day
    ]
    ends = [*at_mornings[1:], at_mornings[-1] + DAY_S]
    here = levels.cohorts
    for _ in levels.between(scene.standing[here], scene.now.timestamp(), at_mornings[0], buckets):
        pass
    for number, ((_, standing), end) in enumerate(zip(standing_by_day, ends, strict=True)):
        columns = np.where(standing[here] == NO_SPOT, scene.home[here], standing[here])
        begin = max(at_mornings[number], scene.now.timestamp())
        dry = _runs_low(levels, buckets, columns, begin, end, lowest)
        dry |= np.isnan(buckets.share) & np.isfinite(lowest)
        buckets.fill(np.flatnonzero(dry))
        watered[number] = dry
        for _ in levels.between(columns, begin, end, buckets):
            pass
    days = [day for day, _ in standing_by_day]
    found: dict[tuple[date, ...], list[int]] = {}
    for pot in range(levels.cohorts.size):
        on = tuple(day for day, wet in zip(days, watered[:, pot].tolist(), strict=True) if wet)
        if on:
            found.setdefault(on, []).append(int(levels.cohorts[pot]))
    return tuple(
        (scene.names(sorted(cohorts, key=lambda one: int(scene.rank_by_name[one]))), on)
        for on, cohorts in sorted(found.items())
    )


def _runs_low(
    levels: PotLevels, buckets: Buckets, columns: Standing, begin: float, end: float, lowest: Array
) -> np.ndarray:
    """(pot,) whether pots may be low at any time between two moments [unix s]."""
    low = levels.early(buckets) <= lowest
    for _, after in levels.between(columns, begin, end, buckets.copy()):
        low |= levels.early(after) <= lowest
    return np.asarray(low)
