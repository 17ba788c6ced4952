"""Misting and feeding: windows in which a wetting does its work, and how often it takes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward_rules import air, sun
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.film import LEAF_FILM
from sillward_rules.planners.wetting import STEP, DayFilms
from sillward_rules.plant import Holder, Plant
from sillward_rules.rule import Firing
from sillward_rules.scene import Scene

DRY_TOLERANCE_KPA_H: Mapping[Holder, float] = {"mount": 9.0, "basket": 12.0}
"""How much drying roots may take between two mistings: deficit times hours dry [kPa h].

Judgement: at the 3 to 4 kPa of a hot dry noon a bare root on a mount may hang dry for two and a
half hours; in milder air for as much longer as it dries more slowly. A pot holds water of its
own: one misting is enough."""

TOO_DRY_WINDOW = timedelta(hours=1)
"""Where no film lasts long enough even at dawn: mist within this time all the same."""

REPEAT_SLACK = timedelta(hours=1)
"""A repeated misting may come this much before or after its hour, so that walks can join."""

RINSE_REACH = timedelta(minutes=10)
"""Feed only while its film takes this long to lose half: time to come round with the rinse."""


@dataclass(frozen=True, slots=True)
class DayPlace:
    """Where a plant spends a day: spot name and column, and from when it is there."""

    plant: Plant
    spot: str
    column: int
    since: datetime


@dataclass(frozen=True, slots=True)
class _Need:
    """The moments at which a plant's mist rules fire first and last on a day."""

    first: datetime
    last: datetime


def mist(
    scene: Scene, day: date, places: Sequence[DayPlace], films: Mapping[int, DayFilms]
) -> list[Errand]:
    """Errands for misting (and feeding) on a day, for plants whose rules ask for it.

    films holds the day's films of every column in places.
    """
    columns = np.array([place.column for place in places], dtype=np.int64)
    firings = scene.rules_asking("mist", columns)
    events = sun.day_events(scene.site, day)
    rows = scene.rows(events.sunrise, events.sunset)
    errands: list[Errand] = []
    for index, place in enumerate(places):
        need = _need(scene, firings, rows, index)
        if need is not None and _warm(scene, rows, place.column, scene.habits.mist_from_c):
            errands.extend(_mistings(scene, place, films[place.column], need))
    return errands


def _need(scene: Scene, firings: Sequence[Firing], rows: np.ndarray, index: int) -> _Need | None:
    hit = [
        rows[firing.fires[rows, firing.member[index]]]
        for firing in firings
        if firing.member[index] >= 0
    ]
    fired = np.concatenate(hit) if hit else np.empty(0, dtype=int)
    if fired.size == 0:
        return None
    times = scene.climate.times
    return _Need(_utc(times[fired.min()]), _utc(times[fired.max()]))


def _warm(scene: Scene, rows: np.ndarray, column: int, least: float) -> bool:
    temp = scene.climate.temp_c[rows, column]
    return bool(np.isfinite(temp).any() and np.nanmax(temp) >= least)


def _mistings(scene: Scene, place: DayPlace, films: DayFilms, need: _Need) -> Iterator[Errand]:
    """The first misting in its morning window, feed with it if it may be, then the repeats."""
    plant = place.plant
    last = films.last_wetting(plant.rot)
    start = _first_start(scene, place, films)
    if start is None or last is None or start >= last or np.isnan(films.at(films.leaf, start)):
        return
    end, takes = _window(scene, plant, films, start)
    before = min(end, last)
    yield _errand(ChoreKind.MIST, place, films, start, before, _after(films, before, takes), scene)
    if takes and plant.velamen and _feeding_weather(scene, films, place.column):
        yield from _feed(place, films, start, before)
    yield from _repeats(scene, place, films, need, start, last)


def _first_start(scene: Scene, place: DayPlace, films: DayFilms) -> datetime | None:
    """Dawn, or later: not before the plant is there and the air is above its night limit."""
    earliest = max(films.events.sunrise, place.since, scene.now)
    limit = place.plant.limits.night_low
    warm = np.ones(films.starts.shape, dtype=bool)
    if limit is not None:
        warm = films.air.temp_c >= limit.value
    usable = np.flatnonzero(warm & (films.starts >= earliest.timestamp()))
    if usable.size == 0:
        return None
    return max(films.starts_at(int(usable[0])), earliest)


def _window(scene: Scene, plant: Plant, films: DayFilms, start: datetime) -> tuple[datetime, bool]:
    """Until when a misting from `start` on stays wet long enough, and whether it does at all."""
    enough = films.leaf * 60 >= least_minutes(scene, plant)
    if plant.velamen:
        enough &= films.velamen * 60 >= scene.habits.velamen_uptake / timedelta(minutes=1)
    later = films.starts >= start.timestamp() - STEP.total_seconds()
    first = int(np.argmax(later))
    if not enough[first]:
        return start + TOO_DRY_WINDOW, False
    ends = np.flatnonzero(later & ~enough)
    return (films.starts_at(int(ends[0])) if ends.size else films.events.sunset), True


def least_minutes(scene: Scene, plant: Plant) -> float:
    """How long the film on a leaf must last [min].

    Where bare velamen does the taking up, the leaf need only stay wet until the rinse comes.
    """
    habits = scene.habits
    uptake = habits.velamen_uptake if plant.velamen else habits.leaf_uptake
    return uptake / timedelta(minutes=1)


def _after(films: DayFilms, before: datetime, takes: bool) -> datetime:
    """The moment whose film life tells most: an hour after the window, or dawn if it is shut."""
    return before + timedelta(hours=1) if takes else before - TOO_DRY_WINDOW


def _errand(
    kind: ChoreKind,
    place: DayPlace,
    films: DayFilms,
    start: datetime,
    before: datetime,
    at: datetime,
    scene: Scene,
) -> Errand:
    life = films.at(films.leaf, at) * 60
    reason = Reason(
        plant=place.plant.name,
        quantity="film life",
        value=float(round(life)) if np.isfinite(life) else None,
        unit="min",
        limit=least_minutes(scene, place.plant),
        at=at,
        origin="uptake time (your habits or their defaults)",
    )
    return Errand(kind, place.plant.name, place.spot, place.spot, start, before, reason)


def _feed(place: DayPlace, films: DayFilms, start: datetime, before: datetime) -> Iterator[Errand]:
    """Feed in the misting's window, as long as the rinse can follow before half is gone."""
    half = films.drying(0.5 * LEAF_FILM.depth_mm)
    late = np.flatnonzero(
        (films.starts >= start.timestamp()) & ~(half >= RINSE_REACH / timedelta(hours=1))
    )
    last = min(before, films.starts_at(int(late[0]))) if late.size else before
    if last <= start:
        return
    minutes = films.at(half, last - STEP) * 60
    reason = Reason(
        plant=place.plant.name,
        quantity="half film",
        value=float(np.floor(minutes)) if np.isfinite(minutes) else None,
        unit="min",
        limit=None,
        at=last,
        origin="rinse when the film has lost half: its salts are then twice as strong",
    )
    yield Errand(ChoreKind.FEED, place.plant.name, place.spot, place.spot, start, last, reason)


def _feeding_weather(scene: Scene, films: DayFilms, column: int) -> bool:
    """Growing weather: the 24 hours from sunrise are warm on average."""
    rows = scene.rows(films.events.sunrise, films.events.sunrise + timedelta(hours=23))
    temp = scene.climate.temp_c[rows, column]
    return bool(temp.size and np.isfinite(temp).all() and temp.mean() >= scene.habits.feed_from_c)


def _repeats(
    scene: Scene,
    place: DayPlace,
    films: DayFilms,
    need: _Need,
    start: datetime,
    last: datetime,
) -> Iterator[Errand]:
    tolerance = DRY_TOLERANCE_KPA_H.get(place.plant.holder)
    life = films.velamen if place.plant.velamen else films.leaf
    at = start
    for _ in range(scene.habits.mistings_most - 1):
        wet = films.at(life, at)
        if tolerance is None or not np.isfinite(wet):
            return
        due = _dried_out(films, at + timedelta(hours=wet), tolerance)
        if due is None or due > min(need.last, last):
            return
        # Not before the last one has dried, however early the walk.
        opens = max(due - REPEAT_SLACK, at + timedelta(hours=wet), scene.now)
        at = due
        closes = min(at + REPEAT_SLACK, last)
        yield _errand(ChoreKind.MIST, place, films, opens, closes, at, scene)


def _dried_out(films: DayFilms, dry_from: datetime, tolerance: float) -> datetime | None:
    """When roots that are dry from this moment on have taken as much drying as they may."""
    deficit = air.vapour_pressure_deficit(films.air.temp_c, films.air.vapour_kpa)
    step_h = STEP / timedelta(hours=1)
    dry = np.where(films.starts >= dry_from.timestamp(), deficit * step_h, 0.0)
    reached = np.flatnonzero(np.cumsum(np.nan_to_num(dry)) >= tolerance)
    return films.starts_at(int(reached[0])) if reached.size else None


def _utc(second: float) -> datetime:
    return datetime.fromtimestamp(int(second), UTC)
