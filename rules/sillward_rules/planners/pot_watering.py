"""Watering pots: which, by when and how much; and what is not known of them."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.pot_levels import PotLevels, levels_of
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.remark import PotsUnknown, Remark
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.season import kept_moist
from sillward_rules.weather.spot_columns import NO_SPOT

WARM_ENOUGH_C = 8.0
"""Pots are watered only while the air is this warm [°C]. Judgement: cold water on cold roots is not
taken up and keeps them cold; the water of a tap is about as warm."""

NO_FROST_C = 1.0
"""Nothing is watered on a day that gets no warmer than this [°C]. Judgement: the pot is frozen, or
soon will be, and nothing drinks."""

SOON = timedelta(hours=2)
"""A pot that is low already is watered within so long from when it can be. Judgement: a morning."""

SECOND_SHARE = 0.5
"""A pot is watered twice a day only if it is expected to fall to this share of its usual lowest.
Judgement: until the next morning a plant stands some thirst, and nobody likes to water twice."""

SECOND_WITHIN = timedelta(hours=3)
"""A second watering of a day is not done longer than this before it is needed. Judgement."""

RUN_THROUGH = 0.15
"""More is given than is missing by this share of it, so that some runs through and takes salt with
it. Common practice, no source: 10 to 20 %."""

LOWEST_WAKING = 0.1
"""A plant that has come out of a dry rest is watered again once its pot is as dry as this.
Judgement: less than half of the little that it is given (`WAKING_SHARE`): it dries in between."""

ASKED_AGAIN = timedelta(hours=36)
"""A watering that was told no longer ago than this and is not confirmed may have been done."""


@dataclass(frozen=True, slots=True, eq=False)
class PotNeeds:
    """Which pots need water in the coming day; arrays (pot,).

    - crosses: when it may be low [unix s]; infinite for not in that time.
    - again: when it will want water once more (`SECOND_SHARE`) after that; infinite as above.
    """

    crosses: Array
    again: Array


def lowest_share(levels: PotLevels) -> Array:
    """(pot,) the share of its water below which a pot is watered; minus infinity for never.

    That is what a plant of its kind stands; less while it slows down or rests, little when it comes
    out of a dry rest, and nothing in one.
    """
    scene, cohorts = levels.scene, levels.cohorts
    kept = kept_moist(scene.seasons[cohorts], scene.traits.rest[cohorts] == "dry")
    lowest = np.where(levels.waking, LOWEST_WAKING, kept * levels.lowest)
    return np.where(kept > 0, lowest, -np.inf)


def find_needs(levels: PotLevels, columns: Standing, until: datetime) -> PotNeeds:
    """Return which pots need water until a moment, at the spots (pot,) where they stand."""
    lowest, buckets = lowest_share(levels), levels.now.copy()
    crosses = np.full(columns.shape, np.inf)
    again = crosses.copy()

    def look_for_low(at: float) -> None:
        empties = buckets.share <= SECOND_SHARE * lowest
        again[empties & np.isfinite(crosses) & np.isinf(again)] = at
        first = (levels.early(buckets) <= lowest) & np.isinf(crosses)
        crosses[first] = at
        buckets.fill(np.flatnonzero(first))

    now = levels.scene.now.timestamp()
    look_for_low(now)
    for at, _ in levels.between(columns, now, until.timestamp(), buckets):
        look_for_low(at)
    return PotNeeds(crosses, again)


def water_pots(scene: Scene, places: Places, day: date) -> tuple[list[Errand], list[Remark]]:
    """Return what must be watered on a day, and what is not known of the water in pots.

    A pot is watered if it may be low before the next morning round: by then, or by sunset if that
    comes first, in warm hours in which the grower can.
    """
    levels = levels_of(scene)
    if levels is None:
        return [], []
    columns = places.column[levels.cohorts]
    columns = np.where(columns == NO_SPOT, scene.home[levels.cohorts], columns)
    tomorrow = scene.habits.morning_at.on(scene.site, day + timedelta(days=1))
    needs = find_needs(levels, columns, tomorrow)
    first, second = (
        _hours(levels, columns, needs.crosses, scene.now, day),
        _second_hours(levels, columns, needs, day),
    )
    errands = [
        errand
        for turn, window in enumerate((first, second))
        for errand in _errands(levels, needs, columns, window, turn)
    ]
    unknown = np.flatnonzero(~levels.known & np.isfinite(lowest_share(levels)))
    names = tuple(sorted(scene.names(levels.cohorts[unknown].tolist())))
    return errands, [PotsUnknown(names)] if names else []


def _hours(
    levels: PotLevels, columns: Standing, crosses: Array, earliest: datetime, day: date
) -> tuple[Array, Array]:
    """Return from when and until when pots (pot,) are watered [unix s]; NaN for not on this day.

    crosses (pot,) : when they may be low [unix s].
    """
    scene = levels.scene
    events = sun.day_events(scene.site, day)
    sunset = events.sunset.timestamp()
    begin = max(earliest, events.sunrise)
    rows = scene.rows(begin, events.sunset)
    start = np.full(columns.shape, begin.timestamp())
    if rows.size:
        first = _first_good_hour(scene, rows, columns)
        start = np.where(first == scene.climate.times[rows[0]], start, first)
    soon = start + SOON.total_seconds()
    end = np.where(crosses <= start, soon, np.minimum(crosses, max(sunset, begin.timestamp())))
    start = np.where(np.isfinite(crosses), start, np.nan)
    return start, np.maximum(end, start)


def _second_hours(
    levels: PotLevels, columns: Standing, needs: PotNeeds, day: date
) -> tuple[Array, Array]:
    """Return the same for a second watering, of pots that do not last the day after the first.

    There is none before noon, or where the pot lasts into the night, when little is lost.
    """
    scene = levels.scene
    noon, sunset = scene.site.middle_of_day(day), sun.day_events(scene.site, day).sunset
    again = np.where(needs.again < sunset.timestamp(), needs.again, np.inf)
    if not np.isfinite(again).any() or scene.now > sunset:
        empty = np.full(columns.shape, np.nan)
        return empty, empty
    start, end = _hours(levels, columns, again, max(scene.now, noon), day)
    later = again - start > SECOND_WITHIN.total_seconds()
    return np.where(later, again - SECOND_WITHIN.total_seconds(), start), end


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
    window: tuple[Array, Array],
    turn: int,
) -> list[Errand]:
    """Return the errands of a turn of watering. window : from when and until when (pot,)."""
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
        capacity_l = float(levels.pots.capacity_l[pot]) * (1.0 + RUN_THROUGH)
        share = float(SECOND_SHARE * lowest[pot] if turn else levels.now.share[pot])
        at = needs.again if turn else needs.crosses
        return Reason(
            plant=scene.cohorts[cohort].names[0],
            quantity="pot water",
            value=round(100.0 * share),
            unit="%",
            limit=round(100.0 * float(lowest[pot])),
            at=moment(float(at[pot])),
            origin=f"water use {water_use_of(scene.cohorts[cohort].plant).name}",
            litres=rounded_litres(float(levels.gained(pot, share)) * capacity_l),
        )

    chosen = np.flatnonzero(levels.known & np.isfinite(window[0]))
    again = np.array([_may_be_done(scene, int(cohort)) for cohort in levels.cohorts[chosen]], bool)
    errands: list[Errand] = []
    spots = of_cohorts(columns, NO_SPOT)
    times = of_cohorts(window[0], np.nan), of_cohorts(window[1], np.nan)
    for unconfirmed in (False, True):
        cohorts = levels.cohorts[chosen[again == unconfirmed]]
        made = make_errands(scene, ChoreKind.WATER, cohorts, (spots, spots), times, reason)
        doubtful = unconfirmed and not turn
        errands += [replace(errand, turn=turn, unconfirmed=doubtful) for errand in made]
    return errands


def rounded_litres(litres: float) -> float:
    """Return an amount as it can be poured [L]: two figures at most, at least 0.05."""
    step = 0.05 if litres < 0.5 else 0.1 if litres < 3 else 0.5
    return max(round(round(litres / step) * step, 2), 0.05)


def _may_be_done(scene: Scene, cohort: int) -> bool:
    """Return whether a plant was told to be watered and nobody has said whether it was."""
    return any(
        one.kind is ChoreKind.WATER
        and not one.confirmed
        and scene.now - ASKED_AGAIN <= one.at <= scene.now
        for one in scene.cohorts[cohort].state.care.wettings
    )
