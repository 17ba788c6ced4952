"""The week ahead: nights against limits, trips, mistings, spells, the turn of the season."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Literal

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import Chore, ChoreKind, Names
from sillward_rules.planners import (
    carry,
    courses,
    feeding,
    heat,
    mist,
    open_orders,
    pot_days,
    pot_watering,
    shelter,
    strength,
)
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.failing_shelters import failing_shelters
from sillward_rules.planners.nights import NightNeeds, find_night_needs
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.places import Places, places_of_day
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.planners.seasons import plants_at_rest
from sillward_rules.planners.solutions import Given, last_given, with_given
from sillward_rules.remark import (
    CarryBegins,
    CarryEnds,
    OnNights,
    Remark,
    ShelterFailing,
    ShelterTooCold,
    Spell,
    SpotDark,
)
from sillward_rules.trips import DeferredChores, make_chores, sort_chores
from sillward_rules.weather import light, sun
from sillward_rules.weather.hourly import covers_hours
from sillward_rules.weather.season import Season, day_length_h
from sillward_rules.weather.sun import Night

NIGHTS = 7

SPELL_DAYS = 3
"""How many days in a row make a spell. Judgement."""

DARK_SHARE = 0.6
"""A spot is too dark where the week brings less than this share of the need. Judgement: the limits
are for good growth, and the conversions from foot-candles are good to some 10 %."""


@dataclass(frozen=True, slots=True)
class NightAhead:
    """One night of the week, if the advice of each day before is followed.

    - lows: the lowest leaf temperature at each outdoor home [°C].
    - plants_in: the plants that must be under cover.
    - judged: whether every hour that counts for them is known.
    - chance: the chance that it gets too cold at home for the most endangered plant that lives
      outdoors (0..1).
    """

    day: date
    lows: dict[str, float | None]
    plants_in: Sequence[str]
    judged: bool
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class DayAhead:
    """One day of the week, if the advice of each day before is followed.

    - high_c, humidity_low_pct: extremes at outdoor homes [°C], [%].
    - mistings: the most that any plant needs; misted_plants: how many plants are misted.
    - too_hot_for: for how many plants the day is hotter than their limit.
    - others: other chores (shade, cover and so on), with the number of plants.
    - misting: the chores of misting. They are made when they are first read, which is rare and
      takes time in a week of many trips.
    - fed: how many plants are fed; feeds: how many with each feed, by its name.
    - courses: how many plants get the salt of each course, by its name.
    """

    day: date
    high_c: float | None
    humidity_low_pct: float | None
    mistings: int
    misted_plants: int
    too_hot_for: int
    others: tuple[tuple[ChoreKind, int], ...] = ()
    misting: Sequence[Chore] = field(default=(), compare=False, repr=False)
    fed: int = 0
    feeds: tuple[tuple[str, int], ...] = ()
    courses: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Outlook:
    """The week ahead and what is worth saying about it, as facts.

    - spells: hot or dry days in a row, and warm nights.
    - turn: when the season of carrying begins or ends.
    - season: what past years say of the coming weeks, if whoever keeps that adds it.
    - chores: the carrying expected, both ways, if the advice of each day is followed.
    - dark: spots that are too dark for the plants that live there.
    - resting: the plants that rest.
    """

    nights: tuple[NightAhead, ...]
    days: tuple[DayAhead, ...]
    spells: tuple[Remark, ...]
    turn: Remark | None
    chores: tuple[Chore, ...]
    warnings: tuple[Remark, ...]
    dark: tuple[Remark, ...] = ()
    season: Remark | None = None
    resting: tuple[Remark, ...] = ()
    watering: tuple[tuple[tuple[str, ...], tuple[date, ...]], ...] = ()
    """Plants in pots with the days on which they will want water, the soonest first."""
    not_given: Mapping[str, strength.NotGiven] = field(default_factory=dict)
    """Why feeds and courses are given on no day, by name, where more than weather is to blame."""

    @property
    def trips(self) -> int:
        """How many trips are expected, in and out."""
        return len(self.chores)


_FeedsOfWeek = tuple[list[date], list[np.ndarray], list[np.ndarray]]


def look_ahead(scene: Scene) -> Outlook:
    """Follow the advice through the coming days and nights, as far as the forecast goes."""
    nights: list[NightAhead] = []
    days: list[_PlannedDay] = []
    chores: tuple[Chore, ...] = ()
    warnings: dict[Remark, list[date]] = {}
    standing: Standing = scene.standing
    before = given = last_given(scene)
    slept: list[tuple[Night, Standing]] = []
    first = sun.night_at_or_after(scene.site, scene.now)
    for offset in range(NIGHTS):
        night = sun.night_of(scene.site, first.day + timedelta(days=offset))
        # The coming night is judged whatever is known of it: the grower relies on it.
        if offset and not forecast_reaches(scene, night):
            break
        if offset or scene.now < night.start:
            planned = _plan_day(scene, night.day, standing, given)
            standing, given = planned.standing, planned.given
            chores += planned.out
            days += [planned] if offset else []
        outside = ~scene.is_under_cover(standing)
        needs = open_orders.with_open_orders(scene, night, find_night_needs(scene, night, outside))
        lows = shelter.spot_lows(scene, night)
        plan = carry.carry_in(scene, night, needs, lows, standing, with_stay_in=False)
        chores += make_chores(plan.errands, scene.site, night.day, scene.now)
        standing = plan.standing
        slept.append((night, standing))
        for remark in carry.night_warnings(scene, night, lows, needs, standing):
            warnings.setdefault(remark, []).append(night.day)
        nights.append(_night_ahead(scene, night, lows, needs))
    if nights:
        days.append(_plan_day(scene, nights[-1].day + timedelta(days=1), standing, given))
    known = [day.summary for day in days if day.summary.high_c is not None]
    feeds = _feeds_of_week(scene, days, before)
    return Outlook(
        nights=tuple(nights),
        days=tuple(known),
        spells=(*_spells(known), *heat.warm_nights(scene, slept)),
        turn=_turn(scene, first, nights),
        chores=sort_chores(chores),
        warnings=_warnings_of_week(scene, first.day, warnings, feeds),
        dark=tuple(_dark(scene, [night.day for night in nights])),
        resting=plants_at_rest(scene),
        watering=pot_days.water_days(scene, [(day.summary.day, day.standing) for day in days]),
        not_given=strength.why_not(scene, *feeds),
    )


def _warnings_of_week(
    scene: Scene, first: date, of_nights: Mapping[Remark, Sequence[date]], feeds: _FeedsOfWeek
) -> tuple[Remark, ...]:
    """Return what to beware of, of the nights first."""
    return (
        *_night_warnings(of_nights, failing_shelters(scene, first)),
        *courses.fallen_behind(scene),
        *courses.looks_due(scene, daily=False),
        *pot_watering.pots_unknown(scene, daily=False),
        *strength.too_strong_in_week(scene, *feeds),
    )


def _night_warnings(
    by_remark: Mapping[Remark, Sequence[date]], failing: Sequence[ShelterFailing]
) -> tuple[Remark, ...]:
    """Return the warnings of all nights; a shelter that fails is told with what can be done."""
    spots = {remark.spot for remark in failing}
    others = [
        OnNights(tuple(dates), remark)
        for remark, dates in by_remark.items()
        if not (isinstance(remark, ShelterTooCold) and remark.spot in spots)
    ]
    return (*failing, *others)


@dataclass(frozen=True, slots=True, eq=False)
class _PlannedDay:
    """A day of the week ahead, if its advice is followed.

    - out: the trips out.
    - standing (cohort,): where the plants stand once these are done.
    - given: when they were last given each feed and course, that day included.
    - dried: as `strength.dry_too_strong`.
    """

    out: tuple[Chore, ...]
    standing: Standing
    given: Given
    dried: Sequence[np.ndarray]
    summary: DayAhead


def _plan_day(scene: Scene, day: date, standing: Standing, given: Given) -> _PlannedDay:
    plan = carry.carry_out(scene, day, standing, with_stay_in=False)
    out = make_chores(plan.errands, scene.site, day, scene.now)
    places = places_of_day(scene, day, plan.standing, out)
    summary, given, dried = _day_ahead(scene, day, places, given)
    return _PlannedDay(out, plan.standing, given, dried, summary)


def _feeds_of_week(scene: Scene, days: Sequence[_PlannedDay], given: Given) -> _FeedsOfWeek:
    """Return the days, and for each feed and course who is not given it as it dries too strong.

    Also who is given it on one of them. given: when each was last given before that week.
    """
    after = days[-1].given if days else given
    meant = strength.meant_for(scene.collection, scene.traits)
    fed = [
        chosen & (late[:, 0] > early[:, 0])
        for chosen, early, late in zip(meant, given, after, strict=True)
    ]
    dried = [
        np.any([day.dried[number] for day in days], axis=0) if days else np.zeros_like(one)
        for number, one in enumerate(fed)
    ]
    return [day.summary.day for day in days], dried, fed


def forecast_reaches(scene: Scene, night: Night) -> bool:
    """Return whether the forecast reaches to the last hour of the cold of a night."""
    times = scene.climate.times
    return bool(times.size) and float(times[-1]) >= night.cold_until.timestamp() - HOUR_S


def _outdoor_columns(scene: Scene) -> list[int]:
    """Return the homes that follow the weather."""
    homes: list[int] = np.unique(scene.home).tolist()
    return [column for column in homes if not scene.holds_itself[column]]


def _night_ahead(scene: Scene, night: Night, lows: Array, needs: NightNeeds) -> NightAhead:
    return NightAhead(
        day=night.day,
        lows={
            scene.spot_name(column): float(lows[column]) if np.isfinite(lows[column]) else None
            for column in _outdoor_columns(scene)
        },
        plants_in=Names([scene.names_of[cohort] for cohort in needs.cohorts.tolist()]),
        judged=bool(needs.fully_known[needs.must_be_in].all()),
        chance=_chance(scene, night),
    )


def _chance(scene: Scene, night: Night) -> float | None:
    """Return the chance for the tenderest plant, at the spot where it is the highest."""
    limit = scene.tenderest_c
    columns = np.flatnonzero(np.isfinite(limit) & ~scene.holds_itself)
    if not columns.size:
        return None
    highest = float(chance_in(scene, night, columns, limit[columns]).max())  # NaN if one is
    return round(highest, 2) if np.isfinite(highest) else None


def _day_ahead(
    scene: Scene, day: date, places: Places, given: Given
) -> tuple[DayAhead, Given, list[np.ndarray]]:
    events = sun.day_events(scene.site, day)
    rows = scene.rows(events.sunrise, events.sunset)
    outdoor = _outdoor_columns(scene)
    films = DayFilms(scene, day)
    moves, others = heat.plan_guards(scene, places, events.sunset)
    places = moves.leaving(places)
    planned = mist.plan_mistings(scene, places, films)
    plan = feeding.plan_feeds(scene, places, planned, films, given)
    fed = plan.counts(scene, ChoreKind.FEED)
    counts: dict[ChoreKind, int] = {}
    for errand in others:
        counts[errand.kind] = counts.get(errand.kind, 0) + sum(map(len, errand.grounds.groups))
    summary = DayAhead(
        day=day,
        high_c=_extreme(scene.climate.temp_c[rows][:, outdoor], np.nanmax),
        humidity_low_pct=_extreme(scene.climate.rh_pct[rows][:, outdoor], np.nanmin),
        mistings=max((len(plan.mistings) for plan in planned.plans), default=0),
        misted_plants=int(scene.sizes[planned.misted].sum()),
        too_hot_for=_beyond_day_high(scene, rows),
        others=tuple(counts.items()),
        misting=DeferredChores(
            lambda: make_chores(
                mist.misting_errands(scene, places, planned), scene.site, day, scene.now
            )
        ),
        fed=sum(count for _, count in fed),
        feeds=tuple(fed),
        courses=tuple(plan.counts(scene, ChoreKind.COURSE)),
    )
    dried = strength.dry_too_strong(scene, places, planned, films, plan)
    return summary, with_given(scene, given, plan.which, plan.opens), dried


def _extreme(values: Array, extreme: Callable[[Array], float]) -> float | None:
    """Return the extreme of what is known; None where nothing is."""
    return float(extreme(values)) if np.isfinite(values).any() else None


def _beyond_day_high(scene: Scene, rows: np.ndarray) -> int:
    """Return for how many plants the day at home is hotter than their limit."""
    if not rows.size:
        return 0
    temp = scene.climate.temp_c[rows]
    highest = np.where(np.isfinite(temp), temp, -np.inf).max(axis=0)
    return int(scene.sizes[highest[scene.home] > scene.traits.limits["day_high"]].sum())


def _dark(scene: Scene, days: Sequence[date]) -> list[Remark]:
    """Return the spots that are too dark this week for plants that live there and do not rest."""
    totals = []
    for day in days:
        rows = scene.rows_of_day(day)
        if rows.size == 24:
            totals.append(light.daily_light_integral(scene.climate.light_w_m2[rows]))
    if len(totals) < SPELL_DAYS:
        return []
    mean = np.stack(totals).mean(axis=0)
    length = day_length_h(scene.site, days[len(days) // 2])
    need = light.noon_dli(scene.traits.limits["light_low"], length)
    lacks = (mean[scene.home] < DARK_SHARE * need) & (scene.seasons != Season.REST)
    remarks: list[Remark] = []
    for column in np.unique(scene.home[lacks]).tolist():
        cohorts = np.flatnonzero(lacks & (scene.home == column))
        worst = int(cohorts[np.argmax(need[cohorts])])
        remarks.append(
            SpotDark(
                spot=scene.spot_name(column),
                light_mol_m2=float(mean[column]),
                neediest=scene.cohorts[worst].names[0],
                need_mol_m2=float(need[worst]),
                plant_count=int(scene.sizes[cohorts].sum()),
            )
        )
    return remarks


def _spells(days: Sequence[DayAhead]) -> list[Remark]:
    """Return hot and dry spells: days in a row on which plants are beyond their limits."""
    beyond: tuple[tuple[Literal["hot", "dry"], list[int]], ...] = (
        ("hot", [day.too_hot_for for day in days]),
        ("dry", [day.misted_plants if day.mistings > 1 else 0 for day in days]),
    )
    spells: list[Remark] = []
    for kind, counts in beyond:
        start = 0
        for index in range(len(days) + 1):
            if index < len(days) and counts[index]:
                continue
            if index - start >= SPELL_DAYS:
                spells.append(Spell(kind, days[start].day, index - start, max(counts[start:index])))
            start = index + 1
    return spells


def _turn(scene: Scene, first: Night, nights: Sequence[NightAhead]) -> Remark | None:
    """Return when carrying begins, or ends, compared with last night; None if neither is seen."""
    before = sun.night_of(scene.site, first.day - timedelta(days=1))
    whole = covers_hours(scene.climate.times, before.start, before.cold_until)
    needed, known = False, True
    for firing in scene.carry_firings(before):
        rows = firing.rows(before.start, before.cold_until)
        needed |= bool(firing.by_plant(firing.fires[rows].any(axis=0)).any())
        known &= bool(firing.known[rows].all())
    needs = [bool(night.plants_in) for night in nights]
    if not nights or not whole or (not known and not needed):
        return None
    if not needed and any(needs):
        return CarryBegins(nights[needs.index(True)].day)
    if needed and not needs[-1]:
        last = len(needs) - needs[::-1].index(True) if any(needs) else 0
        return CarryEnds(nights[last].day)
    return None
