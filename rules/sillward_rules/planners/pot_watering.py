"""Watering pots: which, by when and how much; and what is not known of them."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.pot_levels import PotLevels, levels_of
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.pot import RUN_THROUGH
from sillward_rules.plants.pot_water import Buckets
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.remark import PotsUnknown, Remark, WaterUnlessHeavy
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

WAITS_SHARE = 0.8
"""A pot that is low waits for the next morning if it has this share left by then of what it is kept
above. Judgement: below what it is kept above a plant slows down by as much (FAO-56 eq. 84), a fifth
for some hours; pots that are watered a day too soon each time never dry, and their roots rot."""

HARM_SHARE = 0.5
"""A pot that has only this share left of what it is kept above harms its plant; one that would fall
so far on the day on which it was watered is watered twice. Judgement: halfway to wilting."""

DOUBT_FROM = 0.1
"""A pot that may be so dry, but is expected to be above what it is kept above by more than this, is
looked at and not watered. Judgement: to water it on doubt alone would keep it wet."""

SECOND_WITHIN = timedelta(hours=3)
"""A second watering of a day is not done longer than this before it is needed. Judgement."""

LOWEST_WAKING = 0.1
"""A plant that has come out of a dry rest is watered again once its pot is as dry as this.
Judgement: less than half of the little that it is given (`WAKING_SHARE`): it dries in between."""

ASKED_MORNINGS = 3
"""On so many mornings running it is asked how wet a pot is, then once a week. Judgement: who has
not looked by then will not be moved by a question that is there every day."""

ASKED_AGAIN = timedelta(hours=36)
"""A watering that was told no longer ago than this and is not confirmed may have been done."""


@dataclass(frozen=True, slots=True, eq=False)
class PotNeeds:
    """Which pots need water in the coming day; arrays (pot,).

    - crosses: when it may be low [unix s]; infinite for not in that time.
    - again: when it will want water once more (`HARM_SHARE`) after that; infinite as above.
    """

    crosses: Array
    again: Array


def lowest_share(levels: PotLevels) -> Array:
    """(pot,) the share of its water below which a pot is watered; minus infinity for never.

    That is what a plant of its kind stands; less while it slows down or rests, little when it comes
    out of a dry rest, and nothing in one. Worked out once: each hour is held against it.
    """
    lowest: Array = levels.scene.memo.of("lowest share", lambda: _lowest_share(levels))
    return lowest


def _lowest_share(levels: PotLevels) -> Array:
    scene, cohorts = levels.scene, levels.cohorts
    kept = kept_moist(scene.seasons[cohorts], scene.traits.rest[cohorts] == "dry")
    lowest = np.where(levels.waking, LOWEST_WAKING, kept * levels.lowest)
    return np.where(kept > 0, lowest, -np.inf)


def may_be_low(levels: PotLevels, buckets: Buckets, share: float = 1.0) -> np.ndarray:
    """(pot,) whether pots are down to a share of what they are kept above, or may be far below.

    What is expected decides. Doubt alone counts once a pot may be so dry that the plant is harmed
    (`HARM_SHARE`), and is expected to be low before long (`DOUBT_FROM`): sooner, it is asked about.
    """
    lowest = lowest_share(levels)
    doubtful = levels.early(buckets) <= HARM_SHARE * lowest
    return np.asarray(
        (buckets.share <= share * lowest) | (doubtful & (buckets.share <= lowest + DOUBT_FROM))
    )


def to_look_at(levels: PotLevels) -> np.ndarray:
    """(pot,) whether a look is wanted: nothing is known, or too little to say that it is moist."""
    lowest = lowest_share(levels)
    doubtful = (levels.early(levels.now) <= HARM_SHARE * lowest) & ~may_be_low(levels, levels.now)
    return np.asarray((~levels.known | doubtful) & np.isfinite(lowest))


def pots_unknown(scene: Scene, *, daily: bool) -> list[Remark]:
    """Return which pots are to be looked at.

    daily: only those of which that is not said on `ASKED_MORNINGS` already.
    """
    levels = levels_of(scene)
    if levels is None:
        return []
    now = scene.site.local_date(scene.now)
    since = [scene.now if one is None else one for one in levels.unknown_since]
    days = np.array([(now - scene.site.local_date(one)).days for one in since])
    wanted = to_look_at(levels) & ((days < ASKED_MORNINGS) | (not daily))
    if not wanted.any():
        return []
    names = sorted(scene.names(levels.cohorts[wanted].tolist()))
    return [PotsUnknown(tuple(names), int(days[wanted].max()))]


def find_needs(levels: PotLevels, columns: Standing, until: datetime) -> PotNeeds:
    """Return which pots must be watered before a moment, at the spots (pot,) where they stand.

    Those that would be so low by then that they cannot wait for the next time (`WAITS_SHARE`).
    """
    crosses = np.full(columns.shape, np.inf)
    again, needed = crosses.copy(), np.zeros(columns.shape, dtype=bool)
    lowest, both = lowest_share(levels), levels.now.twice()

    def look_for_low(at: float) -> None:
        nonlocal needed
        dries, watered = both.way(0), both.way(1)
        empties = watered.share <= HARM_SHARE * lowest
        again[empties & np.isfinite(crosses) & np.isinf(again)] = at
        first = may_be_low(levels, dries) & np.isinf(crosses)
        crosses[first] = at
        levels.water(watered, np.flatnonzero(first))
        needed |= may_be_low(levels, dries, WAITS_SHARE)

    now = levels.scene.now.timestamp()
    look_for_low(now)
    for at, _ in levels.between(columns, now, until.timestamp(), both):
        look_for_low(at)
    return PotNeeds(np.where(needed, crosses, np.inf), np.where(needed, again, np.inf))


def water_pots(scene: Scene, places: Places, day: date) -> tuple[list[Errand], list[Remark]]:
    """Return what must be watered on a day, and what is not known of the water in pots.

    A pot is watered if it cannot wait for the next morning round: by when it is low, or by sunset
    if that comes first, in warm hours in which the grower can, where it stands by day.
    """
    levels = levels_of(scene)
    if levels is None:
        return [], []
    stay = _stay(levels, places)
    columns = stay.column
    tomorrow = scene.habits.morning_at.on(scene.site, day + timedelta(days=1))
    needs = find_needs(levels, columns, tomorrow)
    first, second = (
        _hours(levels, stay, needs.crosses, scene.now, day),
        _second_hours(levels, stay, needs, day),
    )
    errands = [
        errand
        for turn, window in enumerate((first, second))
        for errand in _errands(levels, needs, columns, window, turn)
    ]
    dry = dry_before(levels, columns, tomorrow)
    return errands, [*dry, *pots_unknown(scene, daily=True)]


def dry_before(levels: PotLevels, columns: Standing, until: datetime) -> list[Remark]:
    """Return the pots of unknown wetness that will be low by then unless they are rather wet.

    That is if one that is halfway between full and low would be. On a cool day, which takes little,
    they are only asked about: to water them on doubt would keep them wet.

    columns (pot,) : where they stand.
    """
    lowest = lowest_share(levels)
    unknown = ~levels.known & np.isfinite(lowest)
    if not unknown.any() or levels.scene.forecast_expired:
        return []
    scene, buckets = levels.scene, levels.now.copy()
    pots = np.flatnonzero(unknown)
    buckets.fill(pots)
    buckets.share[pots] = (1.0 + lowest[pots]) / 2
    low = buckets.share <= lowest
    for _ in levels.between(columns, scene.now.timestamp(), until.timestamp(), buckets):
        low |= buckets.share <= lowest
    if not (low & unknown).any():
        return []
    return [WaterUnlessHeavy(tuple(sorted(scene.names(levels.cohorts[low & unknown].tolist()))))]


def _stay(levels: PotLevels, places: Places) -> Places:
    """Return where the pots spend the day, (pot,)."""
    cohorts = levels.cohorts
    column = places.column[cohorts]
    column = np.where(column == NO_SPOT, levels.scene.home[cohorts], column)
    return Places(column, places.since[cohorts], places.until[cohorts])


def _hours(
    levels: PotLevels, stay: Places, crosses: Array, earliest: datetime, day: date
) -> tuple[Array, Array]:
    """Return from when and until when pots (pot,) are watered [unix s]; NaN for not on this day.

    stay: where the pots are by day, and from when on. crosses (pot,) : when they may be low
    [unix s].
    """
    scene = levels.scene
    events = sun.day_events(scene.site, day)
    sunset = events.sunset.timestamp()
    begin = max(earliest, events.sunrise)
    rows = scene.rows(begin, events.sunset)
    since = np.maximum(stay.since, begin.timestamp())
    start = since
    if rows.size:
        first = _first_good_hour(scene, rows, stay.column, since)
        start = np.maximum(first, since)
    soon = start + SOON.total_seconds()
    end = np.where(crosses <= start, soon, np.minimum(crosses, max(sunset, begin.timestamp())))
    end = np.where(stay.until > start, np.minimum(end, stay.until), end)
    start = np.where(np.isfinite(crosses), start, np.nan)
    return start, np.maximum(end, start)


def _second_hours(
    levels: PotLevels, stay: Places, needs: PotNeeds, day: date
) -> tuple[Array, Array]:
    """Return the same for a second watering, of pots that do not last the day after the first.

    There is none before noon, or where the pot lasts into the night, when little is lost.
    """
    scene = levels.scene
    noon, sunset = scene.site.middle_of_day(day), sun.day_events(scene.site, day).sunset
    again = np.where(needs.again < sunset.timestamp(), needs.again, np.inf)
    if not np.isfinite(again).any() or scene.now > sunset:
        empty = np.full(stay.column.shape, np.nan)
        return empty, empty
    start, end = _hours(levels, stay, again, max(scene.now, noon), day)
    later = again - start > SECOND_WITHIN.total_seconds()
    return np.where(later, again - SECOND_WITHIN.total_seconds(), start), end


def _first_good_hour(scene: Scene, rows: np.ndarray, columns: Standing, since: Array) -> Array:
    """(pot,) the end of the first hour of these rows in which pots can be watered [unix s].

    That is in the first of them, or from when on they are there; outside of the grower's hours if
    none of these is warm enough, and in the warmest hour of a cold day. NaN where that is no warmer
    than `NO_FROST_C`, or where they are not there in any of these hours.

    since (pot,) : from when on they stand in these spots [unix s].
    """
    times, temp = scene.climate.times[rows], scene.climate.temp_c[rows][:, columns]
    there = times[:, None] > since
    warm = ~(temp < WARM_ENOUGH_C) & there  # a room of which nothing is known is no cold one
    allowed = _grower_can(scene, times)[:, None]
    good = np.where((warm & allowed).any(axis=0), warm & allowed, warm)
    known = np.where(np.isfinite(temp) & there, temp, -np.inf)
    warmest = known == known.max(axis=0)
    good = np.where(good.any(axis=0), good, warmest & (known > NO_FROST_C))
    first = times[np.argmax(good, axis=0)]
    # The hour in which it comes to stand there counts from then on.
    first = np.where(first - HOUR_S <= since, since, first)
    return np.asarray(np.where(good.any(axis=0), first, np.nan))


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
        share = float(HARM_SHARE * lowest[pot] if turn else levels.now.share[pot])
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
        errands += make_errands(
            scene,
            ChoreKind.WATER,
            cohorts,
            (spots, spots),
            times,
            reason,
            turn=turn,
            unconfirmed=unconfirmed and not turn,
        )
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
