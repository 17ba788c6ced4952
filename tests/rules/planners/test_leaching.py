"""Flushing: before the limit, on a day that suits, with what the grower has said since."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from sillward_rules.chore import WETTINGS, ChoreKind
from sillward_rules.explanation import explain_plant
from sillward_rules.planners import leaching
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.scene.places import places_of_day
from sillward_rules.planners.scene.salts import given_ec, salts_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.care import Care
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.fertiliser import SALTS
from sillward_rules.plants.limits import Limit, RestClass
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.salt_balance import SOFT_WATER, SaltBalance
from sillward_rules.plants.state import Declined, PlantState
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.remark import FlushWaits, SaltsNear, WaterTooSalty
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import answered, declined, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from sillward_rules.weather.time_expressions import parse_hours
from tests.rules.planners.test_feeding import WINTER_NOW, of, recipe
from tests.support.core import MENDOZA, daily_curve, plant, utc, warned
from tests.support.summer import HOURS, NOW, at_home, garden, limited, raining, sky

STRAP = limited(plant(), salt_high=0.8)  # so its roots bear 2.0
LIMIT = 2.0


def watered(*plants: Plant, ec: float = 0.15, **more: object) -> Collection:
    made = garden(*(plants or (STRAP,)), feed=recipe(water_ec=ec), **more)  # type: ignore[arg-type]
    return replace(made, water=Water(ec))


def salty(ec: float, doubt: float = 0.1) -> PlantState:
    home = at_home(fed_at=NOW - timedelta(days=8))
    return replace(home, care=Care(salt=SaltBalance(NOW - timedelta(hours=1), ec, doubt)))


def morning(
    ec: float, made: Collection | None = None, air: Weather | None = None, name: str = "Test strap"
) -> Sheet:
    return draw_up(Round.MORNING, made or watered(), air or sky(), {name: salty(ec)}, NOW)


def flushed(sheet: Sheet) -> bool:
    return bool(of(sheet, ChoreKind.LEACH))


def test_without_a_known_water_nothing_is_counted() -> None:
    made = replace(watered(), water=None)
    sheet = morning(5.0, made)

    assert not flushed(sheet)
    assert sheet.states["Test strap"].care.salt == salty(5.0).care.salt
    assert salts_of(Scene(made, sky(), {}, NOW)) is None


def test_a_flush_is_ordered_before_the_limit() -> None:
    assert not flushed(morning(1.0))
    assert flushed(morning(1.95))  # with its doubt above 2
    assert flushed(morning(3.0))


def test_a_flush_is_plain_water_in_time_for_the_crown_and_comes_before_feed() -> None:
    sheet = morning(1.95)
    (flush,) = of(sheet, ChoreKind.LEACH)
    (reason,) = flush.because

    assert of(morning(0.5), ChoreKind.FEED)
    assert not of(sheet, ChoreKind.FEED)
    (stop,) = of(sheet, ChoreKind.STOP_WETTING)
    assert flush.before <= stop.before
    assert (reason.quantity, reason.unit, reason.limit) == ("salt at the roots", "mS/cm", LIMIT)
    assert reason.value is not None
    assert reason.value > LIMIT
    assert "salt_high" in reason.origin


def test_a_flush_has_its_litres_where_the_pot_is_known() -> None:
    potted = replace(limited(plant(holder="pot", velamen=False), salt_high=0.8), pot=Pot(3, "bark"))
    (flush,) = of(morning(3.0, watered(potted)), ChoreKind.LEACH)

    assert flush.because[0].litres == 7.5  # two and a half times the pot
    assert of(morning(3.0), ChoreKind.LEACH)[0].because[0].litres is None


def test_a_flush_is_told_until_it_is_confirmed() -> None:
    potted = limited(plant(holder="pot", velamen=False), salt_high=0.8)
    made, state = watered(potted), {"Test strap": salty(3.0)}
    tomorrow = NOW + timedelta(days=1)
    air = replace(sky(now=tomorrow), times=sky().times + 86400)
    sheet = draw_up(Round.MORNING, made, sky(), state, NOW)
    told = next_state(state, sheet)
    (flush,) = of(sheet, ChoreKind.LEACH)
    done = answered(told["Test strap"], ChoreKind.LEACH, "bench", flush.before, flush.before)

    assert flushed(draw_up(Round.MORNING, made, air, told, tomorrow))
    assert not flushed(draw_up(Round.MORNING, made, air, {"Test strap": done}, tomorrow))


def test_a_morning_keeps_the_balance_and_the_rain() -> None:
    air = sky(rain_mm=raining("2026-01-20T05:00"))
    sheet = draw_up(Round.MORNING, watered(), air, {"Test strap": salty(1.0)}, NOW)
    kept = next_state({"Test strap": salty(1.0)}, sheet)["Test strap"].care.salt

    assert kept is not None
    assert kept.ec == 1.0
    assert kept.rains
    assert kept.rains[0][0] == NOW


def test_rain_that_fell_while_a_plant_was_under_cover_takes_no_salt_away() -> None:
    air = sky(rain_mm=raining("2026-01-20T05:00"))
    out = replace(salty(1.0), since=NOW - timedelta(hours=1), came_from="room")
    sheet = draw_up(Round.MORNING, watered(), air, {"Test strap": out}, NOW)
    kept = next_state({"Test strap": out}, sheet)["Test strap"].care.salt

    assert kept is not None
    assert not kept.rains


def test_a_plant_of_which_nothing_is_known_begins_in_the_middle() -> None:
    sheet = draw_up(Round.MORNING, watered(), sky(), {}, NOW)
    salt = sheet.states["Test strap"].care.salt

    assert salt is not None
    assert (salt.ec, salt.doubt, salt.assumed) == (LIMIT / 2, 0.6, True)


def test_alike_plants_stay_alike() -> None:
    twins = [replace(STRAP, name=name) for name in ("a", "b")]
    state = {"a": salty(1.23), "b": salty(1.23)}
    sheet = draw_up(Round.MORNING, watered(*twins), sky(), state, NOW)

    assert sheet.states["a"] is sheet.states["b"]


def test_a_day_that_does_not_suit_is_told_where_it_costs_a_feed() -> None:
    brief = Habits(hours=(parse_hours("07:10-07:39"),))
    cold = sky(daily_curve(3.0, 9.0, HOURS), dew=2.0)
    assert of(morning(0.5, watered(habits=brief)), ChoreKind.FEED), "or the test tells nothing"
    sheet = morning(3.0, watered(habits=brief))

    assert not flushed(sheet)
    assert warned(sheet, FlushWaits) == [FlushWaits(("Test strap",))]
    assert not of(sheet, ChoreKind.FEED)
    assert not flushed(morning(3.0, air=cold))
    assert not warned(morning(3.0, air=cold), FlushWaits)  # nothing was due


def test_only_in_the_growers_hours() -> None:
    hours = (parse_hours("10:00-11:00"),)
    (flush,) = of(morning(3.0, watered(habits=Habits(hours=hours))), ChoreKind.LEACH)

    assert flush.not_before is not None
    assert (flush.not_before.hour, flush.before.hour) == (10, 10)


def days_on(made: Collection, start: PlantState, days: int, *, answers: bool) -> list[Sheet]:
    """Return the morning sheets of as many days of the same weather, all but a flush done."""
    states, sheets = {"Test strap": start}, []
    for day in range(days):
        now = NOW + timedelta(days=day)
        air = replace(sky(now=now), times=sky().times + 86400 * day)
        sheets.append(sheet := draw_up(Round.MORNING, made, air, states, now))
        states = next_state(states, sheet)
        for chore in sheet.chores:
            if answers or (chore.kind in WETTINGS and chore.kind is not ChoreKind.LEACH):
                at = chore.before
                known = states["Test strap"]
                states["Test strap"] = answered(known, chore.kind, "bench", at, at, of=chore.what)
    return sheets


def strong_water() -> Collection:
    """Water with which misting leads to 2.3 mS/cm, for a plant whose feed would be weak enough."""
    hardy = limited(plant(), salt_high=2.0)
    own = replace(hardy.limits, medium_salt_high=Limit(LIMIT, "your own limit"))
    return watered(replace(hardy, limits=own), ec=0.9)


@pytest.mark.parametrize("answers", [True, False])
def test_with_strong_water_a_flush_with_rain_is_told_once_a_week(answers: bool) -> None:
    sheets = days_on(strong_water(), salty(3.0), 16, answers=answers)
    told = [day for day, sheet in enumerate(sheets) if flushed(sheet)]
    (flush,) = of(sheets[0], ChoreKind.LEACH)

    assert told == [0, 7, 14]
    assert flush.what == SOFT_WATER
    for day, sheet in enumerate(sheets):
        said = warned(sheet, WaterTooSalty)
        assert said == ([WaterTooSalty(("Test strap",), 0.9, LIMIT, 0.3)] if day in told else [])
        assert not warned(sheet, FlushWaits)


def test_a_flush_with_rain_takes_the_salt_away_and_with_that_share_of_rain_feed_goes_on() -> None:
    assert given_ec(strong_water(), ChoreKind.LEACH, SOFT_WATER) == 0.0
    blend = replace(strong_water(), water=Water(0.9, rain=0.3))
    sheets = days_on(blend, salty(3.0), 15, answers=True)
    fed = [day for day, sheet in enumerate(sheets) if of(sheet, ChoreKind.FEED)]

    assert [day for day, sheet in enumerate(sheets) if flushed(sheet)] == [0]
    assert fed
    assert fed[0] > 0  # the flush comes first
    unanswered = days_on(strong_water(), salty(3.0), 8, answers=False)
    assert not any(of(sheet, ChoreKind.FEED) for sheet in unanswered)


def test_a_flush_with_rain_that_is_declined_is_not_told_again_the_next_morning() -> None:
    made, tomorrow = strong_water(), NOW + timedelta(days=1)
    sheet = draw_up(Round.MORNING, made, sky(), {"Test strap": salty(3.0)}, NOW)
    (flush,) = of(sheet, ChoreKind.LEACH)
    told = next_state({"Test strap": salty(3.0)}, sheet)["Test strap"]
    day = MENDOZA.local_date(NOW)
    said = Declined(flush.kind, day, "bench", "bench", flush.before, NOW)
    state = {"Test strap": declined(told, said)}
    air = replace(sky(now=tomorrow), times=sky().times + 86400)

    assert not flushed(draw_up(Round.MORNING, made, air, state, tomorrow))


def test_no_flush_a_few_days_after_another() -> None:
    """Water of 0.55 against a limit of 1.25 used to be told day after day, and each was done."""
    curls = limited(plant(), salt_high=0.5)
    told = [
        flushed(sheet) for sheet in days_on(watered(curls, ec=0.55), salty(1.2), 15, answers=True)
    ]

    assert [day for day, flush in enumerate(told) if flush] == [0, 7, 14]


def test_plants_are_told_by_their_limit_and_by_what_helps() -> None:
    curls, strap = replace(limited(plant(), salt_high=0.5), name="Curls"), STRAP
    other = replace(STRAP, name="Other")
    states = {name: salty(3.0) for name in ("Curls", "Test strap", "Other")}
    sheet = draw_up(Round.MORNING, watered(curls, strap, other, ec=0.9), sky(), states, NOW)

    assert warned(sheet, WaterTooSalty) == [
        WaterTooSalty(("Curls",), 0.9, 1.25, 0.6),
        WaterTooSalty(("Test strap", "Other"), 0.9, LIMIT, 0.3),
    ]


@pytest.mark.parametrize(("ec", "told"), [(2.4, False), (4.0, True)])
def test_a_dry_rest_is_broken_only_for_much(ec: float, told: bool) -> None:
    resting = replace(STRAP, limits=replace(STRAP.limits, rest=RestClass("dry", "test")))
    air = replace(
        sky(daily_curve(-2.0, 17.0, HOURS), dew=1.0, now=WINTER_NOW),
        times=int(utc("2026-06-19T00:00").timestamp()) + 3600 * np.arange(HOURS),
    )
    balance = SaltBalance(WINTER_NOW - timedelta(hours=1), ec, 0.1)
    state = {"Test strap": replace(at_home(), care=Care(salt=balance))}
    scene = Scene(watered(resting), air, state, WINTER_NOW)
    day = MENDOZA.local_date(WINTER_NOW)
    places = places_of_day(scene, day, scene.standing, [])
    plan = leaching.plan_flushes(scene, places, DayFilms(scene, day), [])

    assert scene.seasons[0] is Season.REST
    assert plan.held.tolist() == [told]


def test_a_limit_of_ones_own_counts() -> None:
    own = replace(STRAP.limits, medium_salt_high=Limit(4.0, "your own limit"))

    assert not flushed(morning(3.0, watered(replace(STRAP, limits=own))))


def test_a_flush_waters_the_pot_too() -> None:
    potted = replace(limited(plant(holder="pot", velamen=False), salt_high=0.8), pot=Pot(3, "bark"))
    dry = SaltBalance(NOW - timedelta(hours=1), 3.0, 0.1)
    water = PotWater(NOW - timedelta(hours=1), 0.1, 0.05)
    state = {"Test strap": replace(at_home(), care=Care(salt=dry, water=water))}
    flush = draw_up(Round.MORNING, watered(potted), sky(), state, NOW)
    plain = draw_up(Round.MORNING, replace(watered(potted), water=None), sky(), state, NOW)

    assert of(plain, ChoreKind.WATER), "or the test tells nothing"
    assert flushed(flush)
    assert not of(flush, ChoreKind.WATER)


@pytest.mark.parametrize(("ec", "told"), [(1.5, False), (1.7, True)])
def test_the_week_tells_what_nears_its_limit(ec: float, told: bool) -> None:
    sheet = draw_up(Round.WEEK, watered(), sky(), {"Test strap": salty(ec)}, NOW)

    assert bool(warned(sheet, SaltsNear)) is told
    hard = draw_up(Round.WEEK, watered(ec=1.2), sky(), {"Test strap": salty(ec)}, NOW)
    assert bool(warned(hard, WaterTooSalty)) is told


def test_one_plant_is_explained_as_it_is_planned() -> None:
    made, state = watered(), {"Test strap": salty(1.7)}
    salts = salts_of(Scene(made, sky(), state, NOW))
    told = explain_plant(STRAP, made, sky(), state, NOW).salt

    assert salts is not None
    assert told is not None
    assert (told.ec, told.doubt) == (float(salts.ec[0]), float(salts.doubt[0]))
    assert (told.limit.value, told.root, told.assumed) == (LIMIT, "air", False)
    plain = replace(made, water=None)
    assert explain_plant(STRAP, plain, sky(), state, NOW).salt is None


def test_a_course_and_a_feed_by_its_name_have_their_own_strength() -> None:
    salt = Course("magnesium", SALTS["MgSO4.7H2O"], 0.5, 0.1, times=2)
    bloom = Feed("bloom", recipe(water_ec=0.6))
    made = replace(watered(ec=0.2), feeds=(bloom,), courses=(salt,))

    assert given_ec(made, ChoreKind.MIST) == 0.2
    assert given_ec(made, ChoreKind.FEED) == pytest.approx(0.4)
    assert given_ec(made, ChoreKind.FEED, "bloom") == pytest.approx(0.8)
    assert given_ec(made, ChoreKind.COURSE, "magnesium") == pytest.approx(salt.ec)
    # One that is not in the collection any more may have been any of them.
    assert given_ec(made, ChoreKind.FEED, "gone") == pytest.approx(0.8)
    assert given_ec(replace(made, courses=()), ChoreKind.COURSE, "gone") == 0.2
