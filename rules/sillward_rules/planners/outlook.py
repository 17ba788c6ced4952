"""The week ahead: nights against limits, trips, mistings, spells, the turn of the season."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sillward_rules import sun
from sillward_rules.chore import Chore, ChoreKind, into_chores
from sillward_rules.planners import carry, mist, shelter
from sillward_rules.planners.nights import Verdict, judge_night
from sillward_rules.planners.wetting import DayFilms
from sillward_rules.scene import Scene
from sillward_rules.sun import Night

NIGHTS = 7

SPELL_DAYS = 3
"""Days in a row that make a spell. Judgement."""


@dataclass(frozen=True, slots=True)
class NightAhead:
    """One night: the lowest leaf temperature at each outdoor spot [°C], and who must be in."""

    day: date
    lows: dict[str, float | None]
    plants_in: tuple[str, ...]
    judged: bool


@dataclass(frozen=True, slots=True)
class DayAhead:
    """One day: highest temperature [°C], lowest humidity [%], most mistings a plant asks for."""

    day: date
    high_c: float | None
    humidity_low_pct: float | None
    mistings: int
    misted_plants: int
    too_hot_for: int


@dataclass(frozen=True, slots=True)
class Outlook:
    """The week ahead and what is worth saying about it, in plain facts.

    chores: the carrying expected, both ways, if the advice of each day is followed.
    """

    nights: tuple[NightAhead, ...]
    days: tuple[DayAhead, ...]
    spells: tuple[str, ...]
    turn: str | None
    chores: tuple[Chore, ...]
    warnings: tuple[str, ...]

    @property
    def trips(self) -> int:
        """Walks expected, in and out."""
        return len(self.chores)


def look_ahead(scene: Scene) -> Outlook:
    """Follow the advice through the coming days and nights, as far as the forecast goes."""
    nights: list[NightAhead] = []
    days: list[DayAhead] = []
    chores: tuple[Chore, ...] = ()
    warnings: dict[str, None] = {}
    standing = dict(scene.standing)
    first = sun.night_at_or_after(scene.site, scene.now)
    for offset in range(NIGHTS):
        night = sun.night_of(scene.site, first.day + timedelta(days=offset))
        if not _covered(scene, night):
            break
        if offset or scene.now < night.start:
            out, day = _day(scene, night.day, standing)
            chores += out
            days += [day] if offset else []
        verdicts = judge_night(scene, night)
        lows = shelter.spot_lows(scene, night)
        errands = carry.carry_in(scene, night, verdicts, lows, standing)
        carried = [errand for errand in errands if errand.kind is ChoreKind.CARRY_IN]
        walks = into_chores(carried, scene.site, night.day, scene.now)
        chores += walks
        standing |= {errand.plant: errand.to_spot for errand in carried}
        warnings |= dict.fromkeys(carry.night_warnings(lows, verdicts, standing))
        nights.append(_night_ahead(scene, night, lows, verdicts))
    if nights:
        days.append(_day(scene, nights[-1].day + timedelta(days=1), standing)[1])
    known = [day for day in days if day.high_c is not None]
    return Outlook(
        nights=tuple(nights),
        days=tuple(known),
        spells=tuple(_spells(known)),
        turn=_turn(scene, first, nights),
        chores=chores,
        warnings=tuple(warnings),
    )


def _day(scene: Scene, day: date, standing: dict[str, str]) -> tuple[tuple[Chore, ...], DayAhead]:
    """A day's walks out and its account; standing is where the plants are, and is moved on."""
    covered = {
        plant.name: standing[plant.name]
        for plant in scene.plants
        if scene.covers(plant, standing[plant.name])
    }
    errands = [
        errand
        for errand in carry.carry_out(scene, day, covered)
        if errand.kind is ChoreKind.CARRY_OUT
    ]
    out = into_chores(errands, scene.site, day, scene.now)
    standing |= {name: chore.to_spot for chore in out for name in chore.plants}
    return out, _day_ahead(scene, day, mist.day_places(scene, day, out, standing))


def _covered(scene: Scene, night: Night) -> bool:
    """Whether the forecast reaches to the end of the night at all."""
    times = scene.climate.times
    return bool(times.size) and float(times[-1]) >= night.end.timestamp() - 3600


def _outdoor_columns(scene: Scene) -> list[int]:
    homes = {int(column) for column in scene.home}
    return [
        column
        for column, spot in enumerate(scene.climate.spots)
        if column in homes and not spot.holds_itself
    ]


def _night_ahead(
    scene: Scene, night: Night, lows: shelter.Lows, verdicts: Sequence[Verdict]
) -> NightAhead:
    outdoor = {scene.climate.spots[column].name for column in _outdoor_columns(scene)}
    return NightAhead(
        day=night.day,
        lows={name: low for name, low in lows.items() if name in outdoor},
        plants_in=tuple(verdict.plant.name for verdict in verdicts),
        judged=all(verdict.judged for verdict in verdicts),
    )


def _day_ahead(scene: Scene, day: date, places: Sequence[mist.DayPlace]) -> DayAhead:
    events = sun.day_events(scene.site, day)
    rows = scene.rows(events.sunrise, events.sunset)
    outdoor = _outdoor_columns(scene)
    films = {column: DayFilms(scene, day, column) for column in {place.column for place in places}}
    mistings: dict[str, int] = {}
    for errand in mist.mist(scene, day, places, films):
        if errand.kind is ChoreKind.MIST:
            mistings[errand.plant] = mistings.get(errand.plant, 0) + 1
    return DayAhead(
        day=day,
        high_c=_extreme(scene.climate.temp_c[rows][:, outdoor], np.nanmax),
        humidity_low_pct=_extreme(scene.climate.rh_pct[rows][:, outdoor], np.nanmin),
        mistings=max(mistings.values(), default=0),
        misted_plants=len(mistings),
        too_hot_for=_beyond_day_high(scene, rows),
    )


def _extreme(values: np.ndarray, of: object) -> float | None:
    if values.size == 0 or not np.isfinite(values).any():
        return None
    return float(of(values))  # type: ignore[operator]


def _beyond_day_high(scene: Scene, rows: np.ndarray) -> int:
    count = 0
    for plant, column in zip(scene.plants, scene.home, strict=True):
        temp = scene.climate.temp_c[rows, column]
        limit = plant.limits.day_high
        if limit is not None and np.isfinite(temp).any() and np.nanmax(temp) > limit.value:
            count += 1
    return count


def _spells(days: Sequence[DayAhead]) -> list[str]:
    """Hot and dry spells: days in a row on which some plants are beyond their day or air limits."""
    spells = []
    for word, counts in (
        ("hot", [day.too_hot_for for day in days]),
        ("dry", [day.misted_plants if day.mistings > 1 else 0 for day in days]),
    ):
        start = 0
        for index in range(len(days) + 1):
            if index < len(days) and counts[index]:
                continue
            if index - start >= SPELL_DAYS:
                most = max(counts[start:index])
                beyond = (
                    "1 plant beyond its limit" if most == 1 else f"{most} plants beyond their limit"
                )
                spells.append(
                    f"{word} spell from {days[start].day:%a %d %b}, {index - start} days ({beyond})"
                )
            start = index + 1
    return spells


def _turn(scene: Scene, first: Night, nights: Sequence[NightAhead]) -> str | None:
    """The first night that needs a carry after one that did not, or needs none any more."""
    before = sun.night_of(scene.site, first.day - timedelta(days=1))
    rows = scene.rows(before.start, before.end)
    needed = any(
        bool(firing.by_plant(firing.fires[rows].any(axis=0)).any())
        for firing in scene.carry_firings
    )
    needs = [bool(night.plants_in) for night in nights]
    if not nights or not rows.size:
        return None
    if not needed and any(needs):
        return f"first night that needs a carry: {nights[needs.index(True)].day:%a %d %b}"
    if needed and not needs[-1]:
        last = len(needs) - needs[::-1].index(True) if any(needs) else 0
        return f"no carry needed from {nights[last].day:%a %d %b} on, as far as the forecast goes"
    return None
