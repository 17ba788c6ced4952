"""Flushing with plain water, before the salts that stay with the roots pass a plant's limit."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import Chore, ChoreKind, Errand, Reason
from sillward_rules.planners.day_films import DayFilms, SpotFilms
from sillward_rules.planners.mist import resting
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.salts import Salts, given_ec, salts_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.salt_balance import (
    FLUSH_PAUSE,
    FLUSH_POTS,
    SOFT_WATER,
    Given,
    days_within,
)
from sillward_rules.remark import FlushWaits, Remark, SaltsNear, WaterTooSalty
from sillward_rules.weather.hourly import moment

SALT = "salt at the roots"
"""The quantity of a flush's reason."""

AHEAD_DAYS = 3
"""The balance is looked at so many days ahead. Judgement: a flush waits for a day that suits."""

NEEDED_AT_REST = 1.5
"""A plant in its dry rest is flushed only beyond so many times its limit. Judgement: water rots
roots that rest sooner than salts do that nothing dissolves."""

TIME_FOR_IT = timedelta(minutes=30)
"""A flush needs a window at least this long. Judgement: it runs through twice."""

WITHIN = timedelta(hours=5)
"""A flush is done so soon from when it can be. Judgement: in the morning it is on the way of the
misting, and roots and crowns have the day to dry."""

NEAR_SHARE = 0.85
"""Salts are near the limit from this share of it on. Judgement: what is not known begins at 0.8."""

BLEND_LASTS_DAYS, BLEND_STEP = 28, 0.1
"""So much rain is proposed in the water that a flush lasts four weeks, in steps of a tenth.
Judgement: a flush a month is no burden."""


def flush_litres(pot: Pot | None) -> float | None:
    """Return the water for a flush of a pot [L]; None where its volume is not known."""
    return None if pot is None else round(FLUSH_POTS * pot.litres, 1 if pot.litres > 1 else 2)


@dataclass(frozen=True, slots=True, eq=False)
class FlushPlan:
    """What is flushed on a day.

    - held (cohort,): whether the salts are so strong that nothing may add to them.
    - errands, remarks: what to flush, and what hinders it.
    """

    held: np.ndarray
    errands: list[Errand]
    remarks: list[Remark]


def plan_flushes(
    scene: Scene, places: Places, films: DayFilms, given: Sequence[Chore]
) -> FlushPlan:
    """Return what is flushed on a day; nothing where the water in use is not known.

    A plant whose flush would not last a week with that water is flushed with rain or the like
    instead. That has to be got first: it is told once a week, with what would mend it for good.

    given: what the plants are to be misted and fed with that day, and the pots watered with.
    """
    salts = salts_of(scene)
    if salts is None:
        return FlushPlan(np.zeros(len(scene.cohorts), dtype=bool), [], [])
    today, expected = ahead(scene, salts, given)
    over, lasts = _beyond(scene, salts, expected), _lasts(scene, salts)
    now = scene.now
    paused = np.array(
        [
            cohort.state.care.is_flushed(now, counts_told=not of)
            for cohort, of in zip(scene.cohorts, lasts.tolist(), strict=True)
        ]
    )
    times = _windows(scene, places, films, np.flatnonzero(over & ~paused))
    flushed = np.isfinite(times[0])
    errands = [
        replace(errand, what=what)
        for what, of in (("", lasts), (SOFT_WATER, ~lasts))
        for errand in _errands(scene, places, salts, expected, np.flatnonzero(flushed & of), times)
    ]
    # Where the misting alone leads there, what is given today is all that can be judged.
    held = np.where(lasts, over, _beyond(scene, salts, today)) | flushed
    remarks = _waiting(scene, given, over & lasts & ~paused & ~flushed)
    return FlushPlan(held, errands, remarks + _too_salty(scene, salts, flushed & ~lasts))


def _waiting(scene: Scene, given: Sequence[Chore], waits: np.ndarray) -> list[Remark]:
    """Return the plants that are not fed today, as they would have been, and cannot be flushed.

    waits (cohort,): whether it has too much salt and is not flushed. Those that are not due to be
    fed are named once a week (`near_limit`).
    """
    fed = [chore for chore in given if chore.what or chore.kind is ChoreKind.FEED]
    due = np.zeros(waits.shape, dtype=bool)
    for chore in fed:
        due[scene.cohorts_of(chore.grounds)] = True
    names = _by_name(scene, np.flatnonzero(waits & due))
    return [FlushWaits(names)] if names else []


def _lasts(scene: Scene, salts: Salts) -> np.ndarray:
    """(cohort,) whether a flush with the water in use lasts, if that is used on."""
    ec = given_ec(scene.collection, ChoreKind.LEACH)
    days = days_within(NEAR_SHARE * salts.limit, ec, ec, salts.holdings)
    return np.asarray(days >= FLUSH_PAUSE / timedelta(days=1))


def _too_salty(scene: Scene, salts: Salts, chosen: np.ndarray) -> list[Remark]:
    """Return the plants for which the water in use is too strong, by limit and by what helps."""
    if not chosen.any():
        return []
    ec = given_ec(scene.collection, ChoreKind.LEACH)
    shares = _rain_shares(scene, salts)
    alike: dict[tuple[float, float], list[int]] = {}
    for cohort in np.flatnonzero(chosen).tolist():
        alike.setdefault((float(salts.limit[cohort]), float(shares[cohort])), []).append(cohort)
    return [
        WaterTooSalty(_by_name(scene, np.array(cohorts)), ec, limit, share)
        for (limit, share), cohorts in sorted(alike.items())
    ]


def _rain_shares(scene: Scene, salts: Salts) -> Array:
    """(cohort,) the share of rain with which the water of this place is weak enough; 1 at most."""
    shares, own = np.ones(salts.limit.shape), scene.collection.water
    if own is None:
        return shares
    for step in range(round(1 / BLEND_STEP) - 1, -1, -1):
        ec = (1.0 - step * BLEND_STEP) * own.ec
        days = days_within(NEAR_SHARE * salts.limit, ec, ec, salts.holdings)
        shares = np.where(days >= BLEND_LASTS_DAYS, step * BLEND_STEP, shares)
    return np.round(shares, 2)


def ahead(scene: Scene, salts: Salts, given: Sequence[Chore]) -> tuple[Array, Array]:
    """(cohort,) the highest EC of the water in the roots, today and in the coming days [mS/cm].

    With what is given today, its mistings repeated on each day. Its doubt is in it, as caution has
    it.
    """
    more: list[list[Given]] = [[] for _ in scene.cohorts]
    for chore in given:
        if chore.kind in _GIVEN:
            ec = given_ec(scene.collection, chore.kind, chore.what)
            one = Given(chore.before, chore.kind, ec)
            for cohort in scene.cohorts_of(chore.grounds).tolist():
                more[cohort].append(one)
    daily = [[one for one in today if one.kind is ChoreKind.MIST] for today in more]
    highest = [salts.ec + salts.doubt]
    for days in (1, AHEAD_DAYS):  # what is given daily brings it nearer to one end, day by day
        course = salts.after(more, scene.now + timedelta(days=days))
        highest.append(np.maximum(highest[-1], course.ec + course.doubt))
        for cohort, mistings in enumerate(daily if days < AHEAD_DAYS else ()):
            for later in map(timedelta, range(1, AHEAD_DAYS)):
                more[cohort] += [replace(one, at=one.at + later) for one in mistings]
    return highest[1], highest[2]


_GIVEN = frozenset({ChoreKind.MIST, ChoreKind.FEED, ChoreKind.COURSE, ChoreKind.WATER})


def near_limit(scene: Scene) -> list[Remark]:
    """Return the plants whose salts, with their doubt, are near the limit or beyond it now."""
    salts = salts_of(scene)
    if salts is None:
        return []
    near, lasts = salts.ec + salts.doubt > NEAR_SHARE * salts.limit, _lasts(scene, salts)
    names = _by_name(scene, np.flatnonzero(near & lasts))
    found: list[Remark] = [SaltsNear(names)] if names else []
    return found + _too_salty(scene, salts, near & ~lasts)


def _beyond(scene: Scene, salts: Salts, expected: Array) -> np.ndarray:
    """(cohort,) whether the salts would pass the limit; at dry rest only far beyond it."""
    bound = np.where(resting(scene), NEEDED_AT_REST * salts.limit, salts.limit)
    return np.asarray(expected > bound)


def _errands(
    scene: Scene,
    places: Places,
    salts: Salts,
    expected: Array,
    chosen: np.ndarray,
    times: tuple[Array, Array],
) -> list[Errand]:
    """Return the errands of what is flushed. times (cohort,) : from when and until when."""

    def reason(cohort: int) -> Reason:
        return Reason(
            plant=scene.cohorts[cohort].names[0],
            quantity=SALT,
            value=round(float(expected[cohort]), 2),
            unit="mS/cm",
            limit=float(salts.limit[cohort]),
            at=moment(times[1][cohort]),
            origin=salts.origin(cohort),
            above=True,
            litres=flush_litres(scene.traits.plants[cohort].pot),
        )

    here = (places.column, places.column)
    return make_errands(scene, ChoreKind.LEACH, chosen, here, times, reason)


def _by_name(scene: Scene, cohorts: np.ndarray) -> tuple[str, ...]:
    return scene.names(cohorts[np.argsort(scene.rank_by_name[cohorts])].tolist())


def _windows(
    scene: Scene, places: Places, films: DayFilms, cohorts: np.ndarray
) -> tuple[Array, Array]:
    """(cohort,) from when and until when these may be flushed today [unix s]; else NaN."""
    opens, closes = np.full(places.since.shape, np.nan), np.full(places.since.shape, np.nan)
    if not cohorts.size:
        return opens, closes
    root_from_c = scene.min_warmth(lambda warmth: warmth.root_from_c)
    keys = (places.column, scene.traits.rot, places.since, places.until, root_from_c)
    first, groups = group_rows(*(key[cohorts] for key in keys))
    for number, index in enumerate(cohorts[first].tolist()):
        at_spot = films.at_spot(int(places.column[index]))
        window = _window(scene, at_spot, places, index, float(root_from_c[index]))
        if window is not None:
            of_group = cohorts[groups == number]
            opens[of_group], closes[of_group] = (at.timestamp() for at in window)
    return opens, closes


def _window(
    scene: Scene, films: SpotFilms, places: Places, cohort: int, root_from_c: float
) -> tuple[datetime, datetime] | None:
    """Return from when and until when a cohort may be flushed that day; None if it may not."""
    last = films.last_wetting(scene.traits.plants[cohort].rot)
    if not films.known or last is None:
        return None
    begin = max(
        scene.now.timestamp(), films.events.sunrise.timestamp(), float(places.since[cohort])
    )
    end = min(last.timestamp(), float(places.until[cohort]))
    fits = (films.temp_c >= root_from_c) & films.day_air.free
    fits &= (films.starts >= begin) & (films.starts < end)
    usable = np.flatnonzero(fits)
    if not usable.size:
        return None
    run = usable[np.cumsum(np.diff(usable, prepend=usable[0] - 1) > 1) == 0]
    opens = films.starts_at(int(run[0]))
    closes = min(films.starts_at(int(run[-1])), moment(end), opens + WITHIN)
    return (opens, closes) if opens + TIME_FOR_IT <= closes else None
