"""The sheet of a round: what to do, why, and what to beware of.

    draw_up(round, collection, weather, state, now) -> Sheet

It holds data only; the wording is the shell's.
"""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.chore import Chore
from sillward_rules.planners import grower_decisions, leaching, shelter
from sillward_rules.planners.dusk_round import plan_dusk
from sillward_rules.planners.morning_round import plan_morning
from sillward_rules.planners.outlook import Outlook, look_ahead
from sillward_rules.planners.past_day import states_after
from sillward_rules.planners.scene.night_risk import spread_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.spray_volume import with_spray
from sillward_rules.planners.walk_time import with_loads
from sillward_rules.plants.collection import Collection, Recipe
from sillward_rules.plants.feeds import WEAK_FEED, Course, Feed
from sillward_rules.plants.fertiliser import Element, ppm
from sillward_rules.plants.state import PlantState, State
from sillward_rules.remark import (
    ForecastDoubted,
    ForecastElsewhere,
    ForecastOld,
    ForecastUndated,
    NightRead,
    NightUnjudged,
    OnNights,
    Remark,
    WateringIncomplete,
    nothing_known,
)
from sillward_rules.round import Round as Round
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness, Weather
from sillward_rules.weather.spot_columns import NO_SPOT


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """What the grower has not said of a spot, and what is assumed instead, in words."""

    spot: str
    question: str

    def __str__(self) -> str:
        """Return the spot and its question in one line."""
        return f"{self.spot}: {self.question}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The chores of a round at a moment, with what they rest on.

    chores are in the order of their deadlines. warnings are for the grower, most urgent first.
    assumptions are what the collection leaves open. states is the completed state that was used, in
    the morning with the night before.
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
    spot_lows: dict[str, float | None] = field(default_factory=dict)
    """The same for every spot; for one with a climate of its own, what it holds [°C]."""
    states: Mapping[str, PlantState] = field(default_factory=dict)
    presumed_in: frozenset[str] = frozenset()
    """Plants that are taken to be in on this morning only, although nobody ever said so."""
    feed: str | None = None
    """The feed of all plants that have no other: what to weigh out, and how strong it is."""
    mixes: Mapping[str, str] = field(default_factory=dict)
    """The same of each feed and course that has a name."""
    salts: frozenset[str] = frozenset()
    """The names of the courses."""
    notes: tuple[str, ...] = ()
    """What the source does not give, and how that was made up for."""
    learned: Mapping[str, str] = field(default_factory=dict)
    """What readings have taught about the nights of each home and shelter, in words."""
    spread: str | None = None
    """Where the chances of the coming night come from; None where they are not known."""
    next_round_at: datetime | None = None
    """When the next daily round is told; None for a week."""
    last_night: tuple[NightRead, ...] = ()
    """In the morning, what was read of the night at each spot, the furthest below what was told
    first. It is no reason for a message."""

    def mix_of(self, chore: Chore) -> str | None:
        """Return what to weigh out for a feed or a course; None if it is not known."""
        unnamed = self.feed if chore.what in ("", WEAK_FEED) else None
        return self.mixes.get(chore.what, unnamed)

    @property
    def age(self) -> timedelta:
        """How old the forecast was."""
        return self.at - (self.issued_at or self.fetched_at)


def draw_up(
    round_: Round, collection: Collection, weather: Weather, state: State, now: datetime
) -> Sheet:
    """Work out the sheet of a round. Pure: the same arguments give the same sheet."""
    scene = _scene_of(round_, collection, weather, state, now)
    chores, warnings, outlook = _plan(round_, scene)
    chores, declined = grower_decisions.without_declined(scene, chores)
    in_use = _spots_in_use(scene)
    if round_ is not Round.WEEK:
        chores = with_spray(collection, with_loads(collection, chores))
    return replace(
        _sheet_of_orders(round_, scene, chores),
        warnings=_worth_saying(
            [
                *_coverage_warnings(scene),
                *warnings,
                *declined,
                *_questions(round_, scene),
                *weather.remarks,
            ]
        ),
        assumptions=_assumptions(collection, in_use),
        outlook=outlook,
        states=states_after(scene) if round_ is Round.MORNING else scene.states,
        feed=describe_feed(collection.feed) if collection.feed else None,
        mixes=describe_mixes(collection),
        salts=frozenset(course.name for course in collection.courses),
        spread=_spread_origin(scene),
        notes=weather.notes,
        learned=_learned(collection, in_use),
    )


def draw_up_orders(
    round_: Round,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    *,
    goes_out: bool = True,
) -> Sheet:
    """Work out the orders of a daily round that a newer forecast may correct, and nothing else.

    They are those of `draw_up`, in a quarter of the time: enough to find out whether anything has
    changed. No warnings, and no chores that are told once.

    goes_out: whether an order to go out is open. Without one, plants stay where they are: going out
    is never newly ordered, and neither is coming back from it.
    """
    scene = _scene_of(round_, collection, weather, state, now)
    if round_ is Round.DUSK:
        chores, _ = plan_dusk(scene, orders_only=True)
    else:
        chores, _ = plan_morning(scene, orders_only=True, going_out=goes_out)
    chores, _ = grower_decisions.without_declined(scene, chores)
    return _sheet_of_orders(round_, scene, with_loads(collection, chores))


def _sheet_of_orders(round_: Round, scene: Scene, chores: tuple[Chore, ...]) -> Sheet:
    """Return a sheet with these chores, and with nothing that is told besides them."""
    weather, lows = scene.weather, _spot_lows(scene)
    return Sheet(
        round=round_,
        at=scene.now,
        site=scene.site.label,
        source=weather.source,
        fetched_at=weather.fetched_at,
        issued_at=weather.issued_at,
        chores=chores,
        warnings=(),
        assumptions=(),
        outlook=None,
        lows=_outdoor_lows(scene, lows),
        spot_lows=lows,
        states=scene.states,
        presumed_in=scene.presumed_in,
        next_round_at=_next_round_at(scene, round_),
    )


def _scene_of(
    round_: Round, collection: Collection, weather: Weather, state: State, now: datetime
) -> Scene:
    # The morning is planned on the assumption that last night's advice was followed; a night never
    # is.
    obeyed = round_ is Round.MORNING
    for scene in _last_scene:
        if scene.is_of(collection, weather, state, now, assume_obeyed=obeyed):
            return scene
    scene = Scene(collection, weather, state, now, assume_obeyed=obeyed)
    _last_scene[:] = [scene]
    return scene


_last_scene: list[Scene] = []
"""The scene that was looked at last. Where a newer forecast changes the orders of a round, its
sheet is drawn up after them on the same scene: its nights need not be worked out again. No more
than one is kept, as a daemon holds it for as long as it runs."""


def _plan(
    round_: Round, scene: Scene
) -> tuple[tuple[Chore, ...], Sequence[Remark], Outlook | None]:
    """Return the chores of a round, what to beware of, and the outlook of the week."""
    if round_ is Round.DUSK:
        return *plan_dusk(scene), None
    if round_ is Round.MORNING:
        return *plan_morning(scene), None
    outlook = look_ahead(scene)
    return outlook.chores, [*outlook.warnings, *leaching.near_limit(scene)], outlook


def describe_feed(recipe: Recipe) -> str:
    """Return a feed in words.

    "0.25 g/L 20-20-20 (0.38 g in 1.5 L): 50 ppm N, about 0.6 mS/cm".
    """
    mix = recipe.mix
    weighed = ", ".join(
        f"{grams:.2g} g/L {name} ({grams * recipe.litres:.2g} g in {recipe.litres:g} L)"
        for name, grams in ((name, float(grams)) for name, grams in mix.weights())
    )
    return f"{weighed}: {float(mix.ppm('N')):.0f} ppm N, about {float(mix.ec):.1f} mS/cm"


def describe_mixes(collection: Collection) -> dict[str, str]:
    """Return the feeds and courses that have names, each in words."""
    feeds = {
        feed.name: describe_feed(feed.recipe)
        for feed in collection.feeds
        if feed.recipe is not None
    }
    courses = {
        course.name: f"{describe_course(course)}{_never_with(course, collection)}"
        for course in collection.courses
    }
    return feeds | courses


def _never_with(course: Course, collection: Collection) -> str:
    others = not_to_be_mixed(course, collection)
    return f"; never mix it with {', '.join(others)}" if others else ""


def not_to_be_mixed(course: Course, collection: Collection) -> list[str]:
    """Return what a course must not be mixed with: what the grower names, and what settles."""
    others: list[Feed | Course] = [*collection.all_feeds, *collection.courses]
    settling = [
        other.name or "the feed"
        for other in others
        if other.name != course.name and course.clouds_with(other)
    ]
    return [*course.never_with, *settling]


def describe_course(course: Course) -> str:
    """Return the mix of a course in words.

    "0.5 g/L Epsom salt (0.75 g in 1.5 L): 49 ppm Mg, about 0.7 mS/cm".
    """
    grams, salt = course.grams_per_litre, course.salt
    held = ((element, float(ppm(grams, salt.pct(element)))) for element in SHOWN)
    gives = ", ".join(f"{amount:.0f} ppm {element}" for element, amount in held if amount > 0)
    weighed = f"{grams:.2g} g/L {salt.name} ({grams * course.litres:.2g} g in {course.litres:g} L)"
    return f"{weighed}: {gives}, about {course.ec:.1f} mS/cm"


SHOWN: tuple[Element, ...] = ("Mg", "Ca", "K", "N", "P")
"""What a salt is given for; sulphate only comes with it."""


def _assumptions(collection: Collection, used: AbstractSet[str]) -> tuple[OpenQuestion, ...]:
    """Return what the collection leaves open about the spots in use."""
    return tuple(
        OpenQuestion(spot.name, question)
        for spot in collection.spots
        if spot.name in used
        for question in spot.open_questions()
    )


def _learned(collection: Collection, used: AbstractSet[str]) -> dict[str, str]:
    """Return what readings have taught about the spots in use, in words."""
    return {
        spot.name: spot.taught
        for spot in collection.spots
        if spot.name in used and spot.taught is not None
    }


def _spots_in_use(scene: Scene) -> set[str]:
    """Return the homes and shelters of all plants."""
    columns = np.union1d(scene.home, scene.shelter).tolist()
    return {scene.spot_name(column) for column in columns if column != NO_SPOT}


def _questions(round_: Round, scene: Scene) -> list[Remark]:
    """Return what is asked about thermometers; nothing in the morning, when there is much to do."""
    if round_ is Round.MORNING:
        return []
    asked = (spot.question for spot in scene.collection.spots)
    return [question for question in asked if question is not None]


def _next_round_at(scene: Scene, round_: Round) -> datetime | None:
    """Return when the next daily round is told; None after a morning whose dusk is over."""
    if round_ is Round.WEEK:
        return None
    if round_ is Round.MORNING:
        dusk = scene.habits.told_at.on(scene.site, scene.site.local_date(scene.now))
        return dusk if dusk > scene.now else None
    night = sun.night_at_or_after(scene.site, scene.now)
    return scene.habits.morning_at.on(scene.site, night.day + timedelta(days=1))


def _spot_lows(scene: Scene) -> dict[str, float | None]:
    lows = shelter.spot_lows(scene, sun.night_at_or_after(scene.site, scene.now)).tolist()
    return {
        scene.spot_name(column): low if np.isfinite(low) else None
        for column, low in enumerate(lows)
    }


def _outdoor_lows(scene: Scene, lows: Mapping[str, float | None]) -> dict[str, float | None]:
    homes = np.unique(scene.home)
    return {
        name: lows[name]
        for name in map(scene.spot_name, homes[~scene.holds_itself[homes]].tolist())
    }


def _spread_origin(scene: Scene) -> str | None:
    known = spread_of(scene, sun.night_at_or_after(scene.site, scene.now))
    return None if known is None else known[0].origin


# -- what the forecast as a whole cannot tell


def _coverage_warnings(scene: Scene) -> list[Remark]:
    """Return that the forecast is too old, or is for other days."""
    if not scene.weather.reaches(scene.now):
        return [ForecastElsewhere()]
    hours = scene.weather.age(scene.now) / timedelta(hours=1)
    freshness = scene.weather.freshness(scene.now)
    if freshness is Freshness.FRESH:
        return []
    if hours < 0:
        return [ForecastUndated()]
    return [ForecastOld(hours, expired=freshness is Freshness.EXPIRED)]


_FOLLOWS = NightUnjudged | WateringIncomplete
"""Remarks that follow from a missing forecast, and need not be made besides the one on that."""


def _worth_saying(warnings: Sequence[Remark]) -> tuple[Remark, ...]:
    """Return the warnings without those that follow from a missing or doubted forecast."""
    no_forecast = any(
        isinstance(warning, ForecastElsewhere)
        or nothing_known(warning)
        or (isinstance(warning, ForecastOld) and warning.expired)
        for warning in warnings
    )
    if any(isinstance(warning, ForecastDoubted) and warning.colder for warning in warnings):
        warnings = [
            warning for warning in warnings if not isinstance(_content(warning), NightUnjudged)
        ]
    if not no_forecast:
        return tuple(warnings)
    return tuple(warning for warning in warnings if not isinstance(_content(warning), _FOLLOWS))


def _content(remark: Remark) -> Remark:
    """Return the remark itself, or what one on several nights says."""
    return remark.about if isinstance(remark, OnNights) else remark
