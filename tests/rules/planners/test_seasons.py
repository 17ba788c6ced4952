"""When a rest begins or ends is told once; which plants rest, in the week."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.chore import ChoreKind
from sillward_rules.planners.past_day import states_after
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.seasons import days_long_enough_from, plants_at_rest, rests_turned
from sillward_rules.plants.care import Care
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.season_memory import DAYS_RUNNING, SeasonMemory
from sillward_rules.plants.state import PlantState, State
from sillward_rules.remark import PlantsRest, RestBegins, RestEnds
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from tests.support.core import MENDOZA, collection, daily_curve, plant, utc, weather

WINTER = date(2024, 7, 10)
DRY, MOIST = "White frangipani", "Strap"


def of_group(name: str, group: str) -> Plant:
    known = standard_groups()[group]
    return replace(plant(name), groups=(group,), limits=known.limits)


YARD = collection(of_group(DRY, "plumeria"), of_group(MOIST, "vanda strap-leaf"))


def two_weeks(day: date, low: float) -> tuple[Weather, datetime]:
    """The same day for two weeks with this date in their middle, and a morning of it."""
    start = utc(f"{day - timedelta(days=7)}T00:00")
    now = utc(f"{day}T11:00")
    return replace(weather(start, daily_curve(low, low + 8, 15 * 24)), fetched_at=now), now


def remembered(season: Season, day: date, towards: int = 0) -> State:
    """towards: where the days have pointed for one day too few (1 growth, -1 rest, 0 nowhere)."""
    since = day - timedelta(days=DAYS_RUNNING - 2) if towards else None
    memory = SeasonMemory(season, day - timedelta(days=40), day, None, towards, since)
    return {
        name: PlantState(YARD.plants[0].home, care=Care(season=memory)) for name in (DRY, MOIST)
    }


def scene(day: date, low: float, state: State, yard: Collection = YARD) -> Scene:
    air, now = two_weeks(day, low)
    return Scene(yard, air, state, now, assume_obeyed=True)


def test_the_beginning_of_a_rest_is_told_on_the_day_it_is_reached() -> None:
    state = remembered(Season.SLOWING, WINTER - timedelta(days=1), towards=-1)
    cold = scene(WINTER, 2.0, state)

    enough = days_long_enough_from(MENDOZA, WINTER)
    assert enough is not None
    assert rests_turned(cold) == [
        RestBegins((MOIST,), dry=False, not_before=enough),
        RestBegins((DRY,), dry=True, not_before=enough),
    ]
    assert date(2024, 8, 1) < enough < date(2024, 9, 1)
    after = states_after(cold)
    assert rests_turned(scene(WINTER + timedelta(days=1), 2.0, after)) == []
    assert plants_at_rest(cold) == (
        PlantsRest((MOIST,), dry=False, not_before=enough),
        PlantsRest((DRY,), dry=True, not_before=enough),
    )


def test_nothing_is_told_of_a_rest_that_is_not_remembered() -> None:
    cold = scene(WINTER, 2.0, {})

    assert (cold.seasons == Season.REST).all()
    assert rests_turned(cold) == []
    assert plants_at_rest(cold) == ()
    begun = states_after(cold)[DRY].care.season
    assert begun == SeasonMemory(Season.REST, WINTER, WINTER)


def test_the_end_of_a_rest_is_told_too() -> None:
    spring = date(2024, 10, 20)
    warm = scene(spring, 18.0, remembered(Season.REST, spring - timedelta(days=1), towards=1))

    assert RestEnds((DRY,), dry=True) in rests_turned(warm)
    still = scene(spring, 9.0, remembered(Season.REST, spring - timedelta(days=1)))
    assert PlantsRest((DRY,), dry=True, not_before=None) in plants_at_rest(still)


def test_a_season_that_is_remembered_holds_while_the_days_waver() -> None:
    autumn = date(2024, 4, 20)
    mild = 12.5 - 4.0
    wavering = scene(autumn, mild, remembered(Season.SLOWING, autumn - timedelta(days=1)))

    assert (wavering.raw_seasons == Season.REST).all()
    assert (wavering.seasons == Season.SLOWING).all()
    assert not wavering.surely_at_rest.any()
    assert (wavering.seasons_to_feed == Season.REST).all()


def test_on_doubt_the_higher_limit_holds_and_nothing_is_fed() -> None:
    """The memory rests still, this day alone does not: the limit of rest does not hold."""
    yard = collection(of_group("Cat", "catasetum"))
    day = date(2024, 9, 20)
    memory = SeasonMemory(Season.REST, day - timedelta(days=60), day - timedelta(days=1))
    state = {"Cat": PlantState(yard.plants[0].home, care=Care(season=memory))}

    doubt = scene(day, 13.5 - 4.0 + 0.2, state, yard)

    assert doubt.seasons.tolist() == [Season.REST]
    assert doubt.raw_seasons.tolist() == [Season.SLOWING]
    assert doubt.traits.limits["night_low"].tolist() == [16.0]
    assert doubt.seasons_to_feed.tolist() == [Season.REST]


def test_the_grower_s_eye_is_no_doubt() -> None:
    day = WINTER
    memory = SeasonMemory(
        Season.GROWING, day, day - timedelta(days=1), seen_until=day + timedelta(days=50)
    )
    state = {name: PlantState(YARD.plants[0].home, care=Care(season=memory)) for name in (DRY,)}

    seen = scene(day, 2.0, state, collection(YARD.plants[0]))

    assert seen.raw_seasons.tolist() == [Season.REST]
    assert seen.seasons.tolist() == [Season.GROWING]
    assert seen.seasons_to_feed.tolist() == [Season.GROWING]


def test_a_memory_that_agrees_with_the_day_changes_no_sheet() -> None:
    air, now = two_weeks(WINTER, 2.0)
    bare = {name: PlantState(YARD.plants[0].home) for name in (DRY, MOIST)}
    known = remembered(Season.REST, WINTER - timedelta(days=1))

    for round_ in (Round.DUSK, Round.MORNING):
        without = draw_up(round_, YARD, air, bare, now)
        with_memory = draw_up(round_, YARD, air, known, now)
        assert without.chores == with_memory.chores
        assert without.warnings == with_memory.warnings


def test_an_unknown_mean_leaves_the_memory_as_it_is() -> None:
    air, now = two_weeks(WINTER, 2.0)
    unknown = replace(air, temp_c=np.full(air.times.shape, np.nan))
    known = remembered(Season.REST, WINTER - timedelta(days=3))

    of_day = Scene(YARD, unknown, known, now, assume_obeyed=True)

    assert (of_day.seasons == Season.REST).all()
    assert not of_day.surely_at_rest.any()
    assert states_after(of_day)[DRY].care.season == known[DRY].care.season


def test_a_dry_rest_waits_for_its_memory_and_ends_with_it() -> None:
    """Nothing is misted in a remembered dry rest, though the day alone would say otherwise."""
    assert DAYS_RUNNING > 1
    day = date(2024, 9, 20)
    air, now = two_weeks(day, 9.7)
    rests = remembered(Season.REST, day - timedelta(days=1))

    sheet = draw_up(Round.MORNING, YARD, air, rests, now)

    assert not any(c.kind is ChoreKind.MIST and DRY in c.plants for c in sheet.chores)
