"""Feeds and courses that pots are given with their watering."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.scene.salts import given_ec
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.feeds import WEAK_FEED, Course, Feed
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot_water import PotLook
from sillward_rules.plants.salt_balance import SaltBalance
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.sightings import looked_at
from sillward_rules.plants.state import PlantState
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.remark import FeedTooStrong
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import answered, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from tests.rules.planners.test_courses import course, feed
from tests.rules.planners.test_pot_watering import kept, potted
from tests.support.core import daily_curve
from tests.support.summer import DAY, HOURS, NOW, garden, limited, sky

POT_FEED = feed("pot feed", "Hibiscus")
WEEKLY = timedelta(days=7)


def pots(*feeds: Feed, courses: tuple[Course, ...] = (), of: Plant | None = None) -> Collection:
    """A hibiscus in a pot, which no rule mists, with what it is given."""
    made = garden(of or potted(), rules=[])
    return replace(made, feeds=feeds, courses=courses)


def morning(of: Collection, state: PlantState | None = None, air: Weather | None = None) -> Sheet:
    states = {plant.name: state or kept(0.8) for plant in of.plants}
    return draw_up(Round.MORNING, of, air or sky(), states, NOW)


def waterings(sheet: Sheet) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is ChoreKind.WATER]


def whats(sheet: Sheet) -> list[str]:
    return [chore.what for chore in waterings(sheet)]


# -- when


def test_a_pot_that_is_watered_gets_the_feed_that_is_due_with_its_water_and_no_rinse() -> None:
    sheet = morning(pots(POT_FEED))

    (chore,) = waterings(sheet)
    assert chore.what == "pot feed"
    assert chore.id.endswith("water-bench-pot-feed")
    assert {one.kind for one in sheet.chores} == {ChoreKind.WATER}


def test_the_feed_of_all_plants_counts_for_pots_too_and_has_a_name_there() -> None:
    of = replace(pots(), feed=POT_FEED.recipe)

    sheet = morning(of)

    assert whats(sheet) == [WEAK_FEED]
    (chore,) = waterings(sheet)
    assert sheet.mix_of(chore) == sheet.feed is not None


def test_without_a_feed_in_the_collection_pots_get_plain_water() -> None:
    assert whats(morning(pots())) == [""]


def test_pots_of_one_spot_are_told_apart_by_what_they_are_given() -> None:
    of = replace(garden(potted(), potted("Rose"), rules=[]), feeds=(POT_FEED,))

    sheet = morning(of)

    given = {chore.what: tuple(chore.plants) for chore in waterings(sheet)}
    assert given == {"pot feed": ("Hibiscus",), "": ("Rose",)}


@pytest.mark.parametrize(("days", "what"), [(3, ""), (7, "pot feed")])
def test_it_keeps_the_pause_of_its_feed(days: int, what: str) -> None:
    state = kept(0.8, fed_at=NOW - timedelta(days=days))

    assert whats(morning(pots(POT_FEED), state)) == [what]


def test_a_pot_that_needs_no_water_is_not_fed() -> None:
    of = pots(POT_FEED, of=potted(litres=60.0))

    assert not waterings(morning(of, kept(1.0)))


def test_a_plant_at_rest_gets_plain_water() -> None:
    rest = SeasonMemory(Season.REST, DAY, DAY)
    state = kept(0.45)
    state = replace(state, care=replace(state.care, season=rest))

    assert whats(morning(pots(POT_FEED), state)) == [""]


def test_cool_days_get_plain_water() -> None:
    air = sky(daily_curve(9.0, 14.0, HOURS))

    assert whats(morning(pots(POT_FEED), kept(0.35), air)) == [""]


def test_a_pot_that_is_dry_gets_plain_water_first_and_its_feed_the_next_time() -> None:
    assert whats(morning(pots(POT_FEED), kept(0.5))) == [""]

    seen = looked_at(kept(0.8), PotLook("dry", NOW - timedelta(minutes=5), NOW))
    assert whats(morning(pots(POT_FEED), seen)) == [""]


def test_a_feed_beyond_the_limit_of_the_plant_is_not_given_and_said_to_be_too_strong() -> None:
    of = pots(POT_FEED, of=limited(potted(), salt_high=0.2))

    sheet = morning(of)

    assert whats(sheet) == [""]
    (remark,) = too_strong_for(of, DAY)
    assert isinstance(remark, FeedTooStrong)
    assert remark.plants == ("Hibiscus",)
    assert not remark.dries


def test_salts_near_the_limit_are_flushed_in_place_of_water_with_feed() -> None:
    of = replace(pots(feed("pot feed", "Hibiscus", ec=1.5)), water=Water(ec=0.1))
    state = kept(0.8)
    full = SaltBalance(NOW - timedelta(days=1), 4.5, 0.2)
    state = replace(state, care=replace(state.care, salt=full))

    sheet = morning(of, state)

    kinds = [chore.kind for chore in sheet.chores]
    assert kinds == [ChoreKind.LEACH]


# -- told and done


def told(of: Collection) -> tuple[PlantState, Chore]:
    """The state once a morning was told, and its watering."""
    sheet = morning(of)
    (chore,) = waterings(sheet)
    return next_state({"Hibiscus": kept(0.8)}, sheet)["Hibiscus"], chore


def done(state: PlantState, chore: Chore) -> PlantState:
    at = NOW + timedelta(hours=1)
    return answered(state, chore.kind, chore.to_spot, chore.before, at, of=chore.what)


def test_what_was_told_is_neither_watered_nor_fed_until_it_is_confirmed_and_then_both() -> None:
    state, chore = told(pots(POT_FEED))

    assert state.fed_at is None
    state = done(state, chore)
    assert state.fed_at is not None
    assert state.misted_at is None
    (wetting,) = state.care.wettings
    assert (wetting.kind, wetting.of, wetting.confirmed) == (ChoreKind.WATER, "pot feed", True)


def test_water_with_feed_is_one_watering_in_the_balance_of_salts_as_strong_as_the_feed() -> None:
    of = replace(pots(POT_FEED), feed=feed("", ec=0.5).recipe, water=Water(ec=0.1))

    assert given_ec(of, ChoreKind.WATER) == 0.1
    assert given_ec(of, ChoreKind.WATER, "pot feed") == pytest.approx(0.3)
    assert given_ec(of, ChoreKind.WATER, WEAK_FEED) == pytest.approx(0.5)


def test_a_course_goes_with_the_water_too_and_a_confirmed_one_is_a_dose_but_no_feed() -> None:
    of = pots(courses=(course("Hibiscus"),))
    state, chore = told(of)

    assert chore.what == "magnesium"
    known = state.care.course("magnesium")
    assert known is not None
    assert not known.doses
    state = done(state, chore)
    known = state.care.course("magnesium")
    assert known is not None
    assert [dose.confirmed for dose in known.doses] == [True]
    assert state.fed_at is None


def test_feed_and_course_are_never_given_with_the_same_water() -> None:
    of = pots(POT_FEED, courses=(course("Hibiscus"),))
    assert whats(morning(of)) == ["pot feed"]

    fed = kept(0.8, fed_at=NOW - timedelta(days=30))
    dosed = replace(fed, care=replace(fed.care, courses=(CourseProgress("magnesium", began=DAY),)))
    assert whats(morning(of, dosed)) == ["magnesium"]
