"""Misting and feeding: windows in which a wetting does its work, and how often it takes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules import air, sun
from sillward_rules.chore import LEAST_WINDOW, Chore, ChoreKind, Errand, Reason
from sillward_rules.film import LEAF_FILM
from sillward_rules.planners.wetting import STEP, DayFilms
from sillward_rules.plant import Holder, Plant
from sillward_rules.rule import Firing
from sillward_rules.scene import Scene
from sillward_rules.weather import moment_of

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
    """Where a plant spends a day: spot name and column, from when and until when it is there."""

    plant: Plant
    spot: str
    column: int
    since: datetime
    until: datetime


def day_places(
    scene: Scene,
    day: date,
    out: Sequence[Chore],
    standing: Mapping[str, str],
    leaving: Mapping[str, datetime] | None = None,
) -> list[DayPlace]:
    """Where each plant is by day: carried out by these walks, or where it stands.

    leaving: plants that must go in before the day is over, with their deadlines.
    """
    sunrise = sun.day_events(scene.site, day).sunrise
    end = sun.day_events(scene.site, day + timedelta(days=1)).sunrise
    since = {
        name: chore.not_before
        for chore in out
        if chore.kind is ChoreKind.CARRY_OUT
        for name in chore.plants
    }
    places = []
    for plant in scene.plants:
        spot = plant.home if plant.name in since else standing[plant.name]
        start = since.get(plant.name) or sunrise
        until = (leaving or {}).get(plant.name, end)
        places.append(DayPlace(plant, spot, scene.climate.column(spot), start, until))
    return places


def feeds_within(mistings: Sequence[Chore], feeds: Sequence[Errand]) -> list[Errand]:
    """Feeds fitted into the walk in which their plant is misted first; without room, none."""
    fitted = []
    for feed in feeds:
        walks = [
            chore
            for chore in mistings
            if chore.kind is ChoreKind.MIST and feed.plant in chore.plants
        ]
        first = min(walks, key=lambda chore: chore.before, default=None)
        if first is None or first.not_before is None:
            continue
        last = min(feed.before, first.before)
        if first.not_before + LEAST_WINDOW <= last:
            fitted.append(replace(feed, not_before=first.not_before, before=last))
    return fitted


def mist(
    scene: Scene, day: date, places: Sequence[DayPlace], films: Mapping[int, DayFilms]
) -> list[Errand]:
    """Errands for misting (and feeding) on a day, for plants whose rules ask for it.

    films holds the day's films of every column in places.
    """
    if scene.habits.mistings_most == 0:
        return []
    columns = np.array([place.column for place in places], dtype=np.int64)
    firings = scene.rules_asking("mist", columns)
    events = sun.day_events(scene.site, day)
    rows = scene.rows(events.sunrise, events.sunset)
    errands: list[Errand] = []
    for index, place in enumerate(places):
        need = _last_need(scene, firings, rows, index)
        if need is not None and _warm(scene, rows, place.column, scene.habits.mist_from_c):
            errands.extend(_mistings(scene, place, films[place.column], need))
    return errands


def _last_need(
    scene: Scene, firings: Sequence[Firing], rows: np.ndarray, index: int
) -> datetime | None:
    """The last moment of the day at which a plant's mist rules fire; None if they never do."""
    fired = [
        rows[firing.fires[rows, firing.member[index]]]
        for firing in firings
        if firing.member[index] >= 0
    ]
    last = max((int(one.max()) for one in fired if one.size), default=None)
    return None if last is None else moment_of(scene.climate.times, last)


def _warm(scene: Scene, rows: np.ndarray, column: int, least: float) -> bool:
    temp = scene.climate.temp_c[rows, column]
    return bool(np.isfinite(temp).any() and np.nanmax(temp) >= least)


def _mistings(scene: Scene, place: DayPlace, films: DayFilms, need: datetime) -> Iterator[Errand]:
    """The first misting in its morning window, feed with it if it may be, then the repeats."""
    plant = place.plant
    last = films.last_wetting(plant.rot)
    last = None if last is None else min(last, place.until)
    start = _first_start(scene, place, films)
    if start is None or last is None or start + LEAST_WINDOW > last:
        return
    if np.isnan(films.at(films.leaf, start)):
        return
    end, takes = _window(scene, plant, films, start)
    before = min(end, last)
    # The moment that tells most: an hour after the window, or its start if it never opens.
    at = before + timedelta(hours=1) if takes else start
    yield _errand(ChoreKind.MIST, place, films, start, before, at, scene)
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
    later = films.starts > start.timestamp() - STEP.total_seconds()
    first = int(np.argmax(later))
    if not enough[first]:
        return start + TOO_DRY_WINDOW, False
    ends = np.flatnonzero(later & ~enough)
    end = films.starts_at(int(ends[0])) if ends.size else films.events.sunset
    if end < start + LEAST_WINDOW:
        return start + TOO_DRY_WINDOW, False
    return end, True


def least_minutes(scene: Scene, plant: Plant) -> float:
    """How long the film on a leaf must last [min].

    Where bare velamen does the taking up, the leaf need only stay wet until the rinse comes.
    """
    habits = scene.habits
    uptake = habits.velamen_uptake if plant.velamen else habits.leaf_uptake
    return uptake / timedelta(minutes=1)


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
        value=float(np.floor(life)) if np.isfinite(life) else None,
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
    if start + LEAST_WINDOW > last:
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
    need: datetime,
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
        if due is None or due > min(need, last):
            return
        # Not before the last one has dried, however early the walk.
        opens = max(due - REPEAT_SLACK, at + timedelta(hours=wet), scene.now)
        at = due
        closes = min(at + REPEAT_SLACK, last)
        if opens + LEAST_WINDOW > closes:
            return
        yield _errand(ChoreKind.MIST, place, films, opens, closes, at, scene)


def _dried_out(films: DayFilms, dry_from: datetime, tolerance: float) -> datetime | None:
    """When roots that are dry from this moment on have taken as much drying as they may."""
    deficit = air.vapour_pressure_deficit(films.air.temp_c, films.air.vapour_kpa)
    step_h = STEP / timedelta(hours=1)
    # An unknown step makes all that follow unknown: no misting is planned on a guess.
    dry = np.where(films.starts >= dry_from.timestamp(), deficit * step_h, 0.0)
    reached = np.flatnonzero(np.cumsum(dry) >= tolerance)
    return films.starts_at(int(reached[0])) if reached.size else None
