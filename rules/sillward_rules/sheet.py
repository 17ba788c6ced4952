"""The sheet of a round: what to do, why, and what to beware of. Data only; wording is the shell's.

draw_up(round, collection, weather, state, now) -> Sheet
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import Enum

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners import (
    carry,
    feeding,
    heat,
    mist,
    notes,
    open_orders,
    outlook,
    protect,
    shelter,
    wetting,
)
from sillward_rules.planners.day_films import DaySteps
from sillward_rules.planners.night_risk import spread_of
from sillward_rules.planners.nights import judge_night
from sillward_rules.planners.outlook import Outlook
from sillward_rules.planners.places import Places, places_of_day
from sillward_rules.planners.scene import Scene, Standing
from sillward_rules.plants.collection import Collection, Recipe
from sillward_rules.plants.state import PlantState, State
from sillward_rules.remark import (
    ForecastDoubted,
    ForecastElsewhere,
    ForecastOld,
    ForecastUndated,
    NightUnjudged,
    OnNights,
    Remark,
    WateringIncomplete,
    WateringUnplanned,
    nothing_known,
)
from sillward_rules.trips import make_chores, sort_chores
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness, Weather
from sillward_rules.weather.sun import Night


class Round(Enum):
    """An occasion on which the grower is told."""

    DUSK = "dusk"
    MORNING = "morning"
    WEEK = "week"


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """What the grower has not said of a spot, and what is taken in its place, in words."""

    spot: str
    question: str

    def __str__(self) -> str:
        """The spot and its question in one line."""
        return f"{self.spot}: {self.question}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The chores of a round at a moment, with what they rest on.

    chores are in the order of their deadlines. warnings are for the grower, most urgent first;
    assumptions are what the collection leaves open. states is the completed state that was used.
    """

    round: Round
    at: datetime
    site: str
    source: str
    fetched_at: datetime
    issued_at: datetime | None
    chores: tuple[Chore, ...]
    warnings: tuple[Remark, ...]
    assumptions: tuple[OpenQuestion, ...]
    outlook: Outlook | None
    lows: dict[str, float | None]
    """Lowest leaf temperature at each outdoor home in the night at or after the moment [°C]."""
    held: dict[str, float | None] = field(default_factory=dict)
    """The same of every spot, indoors too: what it holds."""
    states: Mapping[str, PlantState] = field(default_factory=dict)
    presumed: frozenset[str] = frozenset()
    """Plants of these states that are taken to be in on this morning alone: nobody ever said so."""
    feed: str | None = None
    """The feed in use: what to weigh in, and how strong it is."""
    notes: tuple[str, ...] = ()
    """What the source does not give, and how that was made up for."""
    spread: str | None = None
    """Where the chances of the coming night are from; None where they are not known."""

    @property
    def age(self) -> timedelta:
        """How old the forecast was."""
        return self.at - (self.issued_at or self.fetched_at)


def draw_up(
    round_: Round, collection: Collection, weather: Weather, state: State, now: datetime
) -> Sheet:
    """Work out the sheet of a round. Pure: the same arguments give the same sheet."""
    # What the morning plans rests on last night's advice; what the night asks for does not.
    scene = Scene(collection, weather, state, now, followed=round_ is Round.MORNING)
    if round_ is Round.DUSK:
        chores, warnings, ahead = *_dusk(scene), None
    elif round_ is Round.MORNING:
        chores, warnings, ahead = *_morning(scene), None
    else:
        chores, warnings, ahead = _week(scene)
    held = _held(scene)
    used = {spot for kind in collection.kinds for spot in (kind[0].home, kind[0].shelter)}
    assumptions = [
        OpenQuestion(spot.name, question)
        for spot in collection.spots
        if spot.name in used
        for question in spot.open_questions()
    ]
    return Sheet(
        round=round_,
        at=now,
        site=collection.site.name,
        source=weather.source,
        fetched_at=weather.fetched_at,
        issued_at=weather.issued_at,
        chores=chores,
        warnings=_worth_saying([*_coverage_warnings(scene), *warnings, *weather.remarks]),
        assumptions=tuple(assumptions),
        outlook=ahead,
        lows=_outdoor_lows(scene, held),
        held=held,
        states=scene.states,
        presumed=scene.presumed,
        feed=feed_in_words(collection.feed) if collection.feed else None,
        spread=_spread_origin(scene),
        notes=weather.notes,
    )


def feed_in_words(recipe: Recipe) -> str:
    """ "0.25 g/L 20-20-20 (0.38 g in 1.5 L), 50 ppm N, about 0.6 mS/cm"."""
    mix = recipe.mix
    weighed = ", ".join(
        f"{grams:.2g} g/L {name} ({grams * recipe.litres:.2g} g in {recipe.litres:g} L)"
        for name, grams in ((name, float(grams)) for name, grams in mix.weights())
    )
    return f"{weighed}: {float(mix.ppm('N')):.0f} ppm N, about {float(mix.ec):.1f} mS/cm"


def _held(scene: Scene) -> dict[str, float | None]:
    lows = shelter.spot_lows(scene, sun.night_at_or_after(scene.site, scene.now)).tolist()
    return {
        scene.spot_name(column): low if np.isfinite(low) else None
        for column, low in enumerate(lows)
    }


def _outdoor_lows(scene: Scene, held: dict[str, float | None]) -> dict[str, float | None]:
    homes = np.unique(scene.home)
    return {
        name: held[name]
        for name in map(scene.spot_name, homes[~scene.holds_itself[homes]].tolist())
    }


def _spread_origin(scene: Scene) -> str | None:
    known = spread_of(scene, sun.night_at_or_after(scene.site, scene.now))
    return None if known is None else known[0].origin


def _worth_saying(warnings: Sequence[Remark]) -> tuple[Remark, ...]:
    """Without what follows from there being no forecast that one can go by, or one in doubt."""
    nothing = any(
        isinstance(one, ForecastElsewhere)
        or nothing_known(one)
        or (isinstance(one, ForecastOld) and one.expired)
        for one in warnings
    )
    if any(isinstance(one, ForecastDoubted) and one.colder for one in warnings):
        warnings = [one for one in warnings if not isinstance(_said(one), NightUnjudged)]
    if not nothing:
        return tuple(warnings)
    return tuple(one for one in warnings if not isinstance(_said(one), _FOLLOWS))


_FOLLOWS = NightUnjudged | WateringIncomplete


def _said(remark: Remark) -> Remark:
    """What is said of some nights, or of this one."""
    return remark.about if isinstance(remark, OnNights) else remark


def _coverage_warnings(scene: Scene) -> list[Remark]:
    """What the forecast as a whole cannot tell: too old, or for other days."""
    if not scene.weather.reaches(scene.now):
        return [ForecastElsewhere()]
    hours = scene.weather.age(scene.now) / timedelta(hours=1)
    freshness = scene.weather.freshness(scene.now)
    if freshness is Freshness.FRESH:
        return []
    if hours < 0:
        return [ForecastUndated()]
    return [ForecastOld(hours, expired=freshness is Freshness.EXPIRED)]


def _dusk(scene: Scene) -> tuple[tuple[Chore, ...], list[Remark]]:
    """Tonight: what goes in before when, and from when on it may go out again tomorrow."""
    night = sun.night_at_or_after(scene.site, scene.now)
    judged = open_orders.insisted(scene, night, judge_night(scene, night))
    lows = shelter.spot_lows(scene, night)
    tonight = carry.carry_in(scene, night, judged, lows, scene.standing)
    tomorrow = night.day + timedelta(days=1)
    # Only what spends this night inside by this advice is told when to go out.
    sheltered = np.where(judged.needs, tonight.standing, scene.home)
    again = carry.carry_out(scene, tomorrow, sheltered)
    now, on = np.full(scene.home.shape, scene.now.timestamp()), np.full(scene.home.shape, np.inf)
    there = Places(tonight.standing, now, on)
    others = protect.protect(scene, there, night.end, protect.AT_NIGHT)
    chores = make_chores(tonight.errands, scene.site, night.day, scene.now)
    chores += make_chores(again.errands, scene.site, tomorrow, scene.now)
    chores += make_chores(others, scene.site, night.day, scene.now)
    return sort_chores(chores), [
        *carry.night_warnings(scene, lows, judged, tonight.standing),
        *carry.borne_cold(scene, judged, tonight.standing),
        *carry.close_calls(scene, night, judged, tonight.standing),
        *_heat_ahead(scene, tomorrow, again.standing),
        *heat.warm_nights(scene, [(night, tonight.standing)]),
        *notes.notes(scene, scene.now, night.end),
    ]


def _heat_ahead(scene: Scene, day: date, standing: Standing) -> list[Remark]:
    """What must be ready for a day's heat before its morning round."""
    morning = scene.habits.morning_at.on(scene.site, day)
    places = places_of_day(scene, day, standing, ())
    _, errands = heat.guards_of_day(scene, places, sun.day_events(scene.site, day).sunset)
    return heat.ahead(make_chores(errands, scene.site, day, scene.now), morning)


def _morning(scene: Scene) -> tuple[tuple[Chore, ...], list[Remark]]:
    """Today: what goes out and when, mist and feed windows, the last wetting hour, shade, cover.

    Also what must go in before the dusk round could say so.
    """
    day = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, day)
    unsure = open_orders.unsure(scene, day)
    out = carry.carry_out(scene, day, scene.standing, unsure)
    judged = open_orders.insisted(scene, night, judge_night(scene, night))
    outside = ~scene.covered(out.standing)  # what goes out this morning must know when it is due
    dusk = scene.habits.told_at.on(scene.site, day)
    told, overdue = scene.asked_for(night), open_orders.overdue(scene, night, judged)
    early = judged.needs & outside & (told | (judged.deadline < dusk.timestamp())) & ~overdue
    lows = shelter.spot_lows(scene, night)
    leaving = replace(judged, needs=early)
    back = carry.carry_in(scene, night, leaving, lows, out.standing)
    until = np.where(early, judged.deadline, np.inf)
    walks = make_chores(out.errands, scene.site, day, scene.now)
    places = places_of_day(scene, day, out.standing, walks, until)
    # What goes in by day or at dusk is guarded until then; what has nowhere to go, all the time.
    goes = judged.needs & outside & (shelter.shelter_for(scene, night, lows) >= 0)
    in_by = np.where(goes, judged.deadline, np.inf)
    inward = make_chores(back.errands, scene.site, day, scene.now)
    guarded = places_of_day(scene, day, out.standing, [*walks, *inward], in_by)
    moves, guards = heat.guards_of_day(scene, guarded, night.start)
    watering, warnings = _watering(scene, day, moves.leaving(places), places.until)
    warnings = [
        *open_orders.not_confirmed(scene, day, unsure),
        *carry.night_warnings(scene, lows, leaving, back.standing),
        *warnings,
    ]
    shaded = {
        names for one in guards if one.kind is ChoreKind.SHADE for names in one.grounds.groups
    }
    ramp = protect.get_used_to_light(scene, guarded, night.start)
    guards += [one for one in ramp if shaded.isdisjoint(one.grounds.groups)]
    chores = [
        *_still_open(scene, sun.night_of(scene.site, day - timedelta(days=1))),
        *make_chores(
            open_orders.still_open(scene, night, np.flatnonzero(overdue)),
            scene.site,
            day,
            scene.now,
        ),
        *walks,
        *inward,
        *watering,
        *make_chores(guards, scene.site, day, scene.now),
    ]
    return sort_chores(chores), [
        *warnings,
        *heat.unrelieved(scene, places, night.start, chores),
        *notes.notes(scene, scene.now, night.start),
    ]


def _still_open(scene: Scene, night: Night) -> tuple[Chore, ...]:
    """What was told for the night before, is not confirmed, and helps still."""
    helping = np.flatnonzero(open_orders.helping(scene, night))
    errands = open_orders.still_open(scene, night, helping)
    return make_chores(errands, scene.site, night.day, scene.now)


def _watering(
    scene: Scene, day: date, places: Places, in_by: Array
) -> tuple[list[Chore], list[Remark]]:
    """Misting, feeding, rinsing, and until when crowns may be wet.

    in_by (cohort,) : when they go in for the night [unix s]; a move for the day is before that.
    """
    if scene.stale:
        return [], [WateringUnplanned()]
    steps = DaySteps(scene, day)
    planned = mist.plan(scene, places, steps)
    outdoors = ~scene.holds_itself[places.column]
    rot = scene.traits.rot
    wettable = outdoors & ((rot == "high") | planned.misted) & (rot != "low")
    dry = wetting.stop_wetting(scene, steps, np.flatnonzero(wettable), places.column, in_by)
    misting = mist.misting_errands(scene, places, planned)
    chores = make_chores([*misting, *dry], scene.site, day, scene.now)
    fit = feeding.ready(scene, places, planned, steps, feeding.last_fed(scene))
    feeds = feeding.within(chores, feeding.feed(scene, places, planned, steps, fit))
    fed = make_chores(feeds, scene.site, day, scene.now)
    rinses = make_chores(feeding.rinse(scene, fed, places, steps), scene.site, day, scene.now)
    warnings = mist.missed(scene, places, planned)
    warnings += feeding.too_strong(scene, fit)
    columns = np.unique(places.column[outdoors]).tolist()
    if not all(steps.films(column).known for column in columns):
        warnings.append(WateringIncomplete())
    return [*chores, *fed, *rinses], warnings


def _week(scene: Scene) -> tuple[tuple[Chore, ...], list[Remark], Outlook]:
    """The nights and days ahead."""
    ahead = outlook.look_ahead(scene)
    return ahead.chores, list(ahead.warnings), ahead
