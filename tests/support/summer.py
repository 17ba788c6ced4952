"""A hot dry summer day at the test site, and plants with limits of their own, for planner tests."""

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date, datetime

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.planners import mist, mist_day
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.scene.places import Places, places_of_day
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection, Habits, Recipe
from sillward_rules.plants.limits import Limit, Limits, RestClass
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_rule
from sillward_rules.plants.rules import Rule
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.core import (
    MENDOZA,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
    weather,
)

START = utc("2026-01-19T00:00")
NOW = utc("2026-01-20T10:00")  # 07:00 at the site; the sun rose at 06:48
DAY = date(2026, 1, 20)
BENCH = Spot("bench", sky_view=0.3, wind=0.3, night_offset_k=0.0, day_offset_k=0.0)
HOURS = 96
HOT = daily_curve(19.0, 34.0, HOURS)


def limited(of: Plant, *, rest: bool = False, **values: float | None) -> Plant:
    """The plant with these limits changed; rest: it takes a dry rest."""
    known = {field.name for field in fields(Limits)}
    assert known.issuperset(values), values
    changed = {name: None if v is None else Limit(v, "test") for name, v in values.items()}
    limits = replace(of.limits, **changed)  # type: ignore[arg-type]
    if rest:
        limits = replace(limits, rest=RestClass("dry", "test"))
    return replace(of, limits=limits)


def rule(text: str, **changes: object) -> Rule:
    """A rule "watch above|below bound", asking for what `asks` says."""
    watch, direction, bound = text.split(maxsplit=2)
    table = {"name": text, "watch": watch, direction: bound, **changes}
    made, problems = read_rule(table)
    assert made is not None, problems
    return made


def sky(
    temp: Array = HOT,
    *,
    dew: float = 9.0,
    start: datetime = START,
    now: datetime = NOW,
    **series: object,
) -> Weather:
    """Weather with the sun of a clear day; fetched now."""
    hours = np.arange(temp.size) % 24
    sun_up = np.maximum(np.sin((hours - 10) / 14 * np.pi), 0.0)
    made = weather(start, temp, **{"dew_point_c": dew, "direct_w_m2": 500.0 * sun_up, **series})
    return fetched(made, now)


def raining(*hours: str, mm: float = 2.0, start: datetime = START) -> Array:
    """Rain that falls in the hours that end at these times (UTC)."""
    rain = np.zeros(HOURS)
    for hour in hours:
        rain[round((utc(hour) - start).total_seconds() / 3600)] = mm
    return rain


def garden(
    *plants: Plant,
    habits: Habits | None = None,
    feed: Recipe | None = None,
    rules: Sequence[Rule] | None = None,
    bench: Spot = BENCH,
    site: Site = MENDOZA,
) -> Collection:
    """Plants on the bench, a warm room as shelter."""
    spots = (bench, WARM_ROOM)
    of = collection(*(plants or (plant(),)), spots=spots, site=site, habits=habits, rules=rules)
    return replace(of, feed=feed)


def free(*texts: str, most: int = 3) -> Habits:
    """Habits of a grower who can water in these hours only."""
    return Habits(hours=tuple(parse_hours(text) for text in texts), mistings_most=most)


def planned(
    of: Collection, air: Weather, *, state: State | None = None, now: datetime = NOW
) -> tuple[Scene, Places, list[mist_day.Plan], DayFilms]:
    """The mist plans of the day for plants where they stand, one for each cohort."""
    scene = Scene(of, air, state or {}, now)
    day = scene.site.local_date(now)
    places = places_of_day(scene, day, scene.standing, ())
    day_films = DayFilms(scene, day)
    return scene, places, each_plan(scene, places, day_films), day_films


def each_plan(scene: Scene, places: Places, day_films: DayFilms) -> list[mist_day.Plan]:
    """The plan that each cohort follows."""
    made = mist.plan_mistings(scene, places, day_films)
    return [made.plans[which] if which >= 0 else mist_day.Plan() for which in made.which.tolist()]


def at_home(**changes: object) -> PlantState:
    """A state at home that the grower has acknowledged."""
    return replace(PlantState("bench", START, assumed=False), **changes)  # type: ignore[arg-type]
