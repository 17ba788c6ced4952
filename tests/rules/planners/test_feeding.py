"""Feeding: on which mornings, to which plants, how soon the rinse; and the state that follows."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.physics.water_film import LEAF_FILM, VELAMEN_FILM
from sillward_rules.planners import feeding, mist
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.solutions import last_given
from sillward_rules.plants.collection import Habits, Recipe
from sillward_rules.plants.fertiliser import Fertiliser, Mix, concentration_factor
from sillward_rules.plants.plant import Holder, Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import FeedTooStrong
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import acknowledged, next_state
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.season import Season
from tests.support.core import daily_curve, fetched, plant, uncertain, utc, warned
from tests.support.summer import (
    DAY,
    HOURS,
    NOW,
    at_home,
    free,
    garden,
    limited,
    planned,
    raining,
    sky,
)

DAY_LONG = timedelta(days=1)
EASY = Habits(feed_from_c=10.0, mist_from_c=10.0)
"""Feeds and mists in cooler weather too: what stays is the season."""

MILDER = sky(daily_curve(14.0, 30.0, HOURS), dew=13.5, wind_m_s=0.3)
"""A morning on which even what is fed through its leaves may be fed."""

WINTER = utc("2026-06-19T00:00")
WINTER_NOW = utc("2026-06-20T12:00")  # 09:00 at the site; the sun rose at 08:33


def recipe(ec_per_100_ppm_n: float = 0.4, water_ec: float = 0.1) -> Recipe:
    """0.25 g/L of 20-20-20: 50 ppm N, so half of ec_per_100_ppm_n above the water's EC."""
    return Recipe(Mix(Fertiliser(20, 20, 20, ec_per_100_ppm_n=ec_per_100_ppm_n), 0.25, water_ec))


EC: Any = pytest.approx(0.3)
"""Of that feed [mS/cm]."""


def morning(
    *plants: Plant,
    air: Weather | None = None,
    habits: Habits | None = None,
    feed: Recipe | None = None,
    state: dict[str, PlantState] | None = None,
    now: datetime = NOW,
) -> Sheet:
    made = garden(*plants, habits=habits, feed=feed)
    return draw_up(Round.MORNING, made, air or sky(now=now), state or {}, now)


def week(*plants: Plant, feed: Recipe, air: Weather = MILDER) -> list[FeedTooStrong]:
    """What the week sheet says of it."""
    made = garden(*plants, feed=feed)
    return warned(draw_up(Round.WEEK, made, air, {}, NOW), FeedTooStrong)


def of(sheet: Sheet, kind: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is kind]


def starts(chore: Chore) -> datetime:
    assert chore.not_before is not None
    return chore.not_before


def season_of(air: Weather, now: datetime = NOW) -> Season:
    season: Season = Scene(garden(), air, {}, now).seasons[0]
    return season


# -- which mornings


def test_feed_goes_with_the_first_misting_and_within_its_window() -> None:
    sheet = morning()

    (feed,) = of(sheet, ChoreKind.FEED)
    first = of(sheet, ChoreKind.MIST)[0]
    assert feed.goes_with(first)
    assert feed.not_before is not None
    assert first.not_before is not None
    assert first.not_before <= feed.not_before < feed.before <= first.before


def test_no_feed_where_no_film_is_taken_up() -> None:
    parched = sky(daily_curve(27.0, 41.0, HOURS), dew=-5.0, wind_m_s=8.0)
    sheet = morning(air=parched)

    assert of(sheet, ChoreKind.MIST)
    assert not of(sheet, ChoreKind.FEED)
    assert not of(sheet, ChoreKind.FLUSH)


def test_no_feed_where_rain_does_the_first_misting() -> None:
    assert of(morning(), ChoreKind.FEED)
    assert not of(morning(air=sky(rain_mm=raining("2026-01-20T11:00"))), ChoreKind.FEED)


def test_no_feed_without_a_misting() -> None:
    assert not of(morning(air=sky(daily_curve(20.0, 25.0, HOURS), dew=19.8)), ChoreKind.FEED)


def fed_ago(since: timedelta, air: Weather, now: datetime = NOW) -> bool:
    sheet = morning(
        air=air, habits=EASY, now=now, state={"Test strap": at_home(fed_at=now - since)}
    )
    assert of(sheet, ChoreKind.MIST), "or the test tells nothing"
    return bool(of(sheet, ChoreKind.FEED))


@pytest.mark.parametrize(("days", "due"), [(1, False), (6, False), (7, True), (30, True)])
def test_growing_plants_are_fed_every_week(days: int, due: bool) -> None:
    air = sky()
    assert season_of(air) is Season.GROWING

    assert fed_ago(timedelta(days=days), air) is due


@pytest.mark.parametrize(("days", "due"), [(7, False), (13, False), (14, True)])
def test_slowing_plants_are_fed_every_other_week(days: int, due: bool) -> None:
    warm_short_days = sky(dew=6.0, start=WINTER, now=WINTER_NOW)
    assert season_of(warm_short_days, WINTER_NOW) is Season.SLOWING

    assert fed_ago(timedelta(days=days), warm_short_days, WINTER_NOW) is due


def test_plants_at_rest_are_never_fed() -> None:
    cool = sky(daily_curve(13.0, 22.0, HOURS), dew=-3.0, start=WINTER, now=WINTER_NOW)
    assert season_of(cool, WINTER_NOW) is Season.REST

    assert not fed_ago(timedelta(days=60), cool, WINTER_NOW)
    assert not of(morning(air=cool, habits=EASY, now=WINTER_NOW), ChoreKind.FEED)


def test_an_earlier_morning_a_week_later_is_a_week_later() -> None:
    assert fed_ago(timedelta(days=7) - timedelta(hours=2), sky())


def test_the_growers_own_pause_counts() -> None:
    every_day = Habits(feed_every=DAY_LONG)
    state = {"Test strap": at_home(fed_at=NOW - DAY_LONG)}

    assert of(morning(habits=every_day, state=state), ChoreKind.FEED)
    assert not of(morning(state=state), ChoreKind.FEED)


def test_no_feed_in_weather_that_is_cool_on_average() -> None:
    air = sky(daily_curve(9.0, 25.0, HOURS), dew=0.0)
    warmth = plant(night_low=5.0)

    assert of(morning(warmth, air=air), ChoreKind.MIST)
    assert not of(morning(warmth, air=air), ChoreKind.FEED)
    assert of(morning(warmth, air=air, habits=EASY), ChoreKind.FEED)


def test_no_feed_while_the_morning_is_cold() -> None:
    air = sky(daily_curve(5.0, 33.0, HOURS), dew=-3.0)
    scene, places, plans, day_films = planned(garden(plant(night_low=1.0)), air)
    made = mist.plan_mistings(scene, places, day_films)
    plan = feeding.plan_feeds(scene, places, made, day_films, last_given(scene))
    (errand,) = feeding.feed(scene, places, plan)

    def temp_c(at: datetime) -> float:
        return float(np.interp(at.timestamp(), air.times, air.temp_c))

    assert temp_c(plans[0].mistings[0].opens) < 10.0
    assert errand.not_before is not None
    assert 11.5 <= temp_c(errand.not_before) <= 12.5


def test_the_sheet_too_waits_with_feed_until_the_morning_is_warm() -> None:
    air = sky(daily_curve(5.0, 33.0, HOURS), dew=-3.0)

    (feed,) = of(morning(plant(night_low=1.0), air=air), ChoreKind.FEED)

    assert np.interp(starts(feed).timestamp(), air.times, air.temp_c) >= 11.5


def test_a_plant_is_not_fed_late_because_another_one_is_misted_later() -> None:
    grey = plant("Grey curls", velamen=False, holder="mount")

    sheet = morning(grey, plant(), air=MILDER)

    feed = next(chore for chore in of(sheet, ChoreKind.FEED) if "Test strap" in chore.plants)
    assert starts(feed) < NOW + timedelta(hours=1)


# -- how strong


def test_a_plant_whose_limit_the_feed_exceeds_is_not_fed_and_named() -> None:
    tender = limited(plant("tender"), salt_high=0.25)
    hardy = limited(plant("hardy"), salt_high=1.0)
    sheet = morning(tender, hardy, feed=recipe())

    (feed,) = of(sheet, ChoreKind.FEED)
    assert feed.plants == ("hardy",)
    assert not warned(sheet, FeedTooStrong), "the week sheet tells it, and `check`"
    assert [one.plants for one in week(tender, hardy, feed=recipe())] == [("tender",)]
    assert {"tender", "hardy"} == {
        name for chore in of(sheet, ChoreKind.MIST) for name in chore.plants
    }


def test_without_a_feed_or_a_limit_nothing_is_too_strong() -> None:
    tender = limited(plant("tender"), salt_high=0.05)

    assert of(morning(tender), ChoreKind.FEED)
    assert of(morning(plant(), feed=recipe(5.0)), ChoreKind.FEED)


def test_the_rinse_comes_before_the_salts_reach_the_limit() -> None:
    made = garden(limited(plant(), salt_high=0.45), feed=recipe())  # the feed has 0.3
    sheet = draw_up(Round.MORNING, made, sky(), {}, NOW)

    (feed,) = of(sheet, ChoreKind.FEED)
    (reason,) = feed.because
    assert reason.value is not None
    films = DayFilms(Scene(made, sky(), {}, NOW), DAY).at_spot(0)
    at = feed.before - timedelta(minutes=10)
    lost = films.at(films.root_rate, at) * (reason.value / 60) / VELAMEN_FILM.depth_mm
    # Mass balance: what stays is 1 / (1 - lost) as strong.
    assert 0.3 * float(concentration_factor(lost)) == pytest.approx(0.45, rel=0.08)


def test_a_lower_limit_wants_an_earlier_rinse() -> None:
    minutes = {}
    for limit in (0.42, 0.5, 0.6, 5.0):
        (feed,) = of(morning(limited(plant(), salt_high=limit), feed=recipe()), ChoreKind.FEED)
        made = garden(limited(plant(), salt_high=limit), feed=recipe())
        times = feeding.strongest(Scene(made, sky(), {}, NOW), 0.3)[0]
        assert times is not None
        films = DayFilms(Scene(made, sky(), {}, NOW), DAY).at_spot(0)
        share = 1 - 1 / times
        minutes[limit] = 60 * films.at(films.velamen_lasting(share), NOW)
        assert feed.because[0].origin.endswith(f"{times:.2g} times as strong")

    assert minutes[0.42] < minutes[0.5] < minutes[0.6]
    assert minutes[0.6] == pytest.approx(minutes[5.0])


def test_so_little_room_that_no_rinse_can_follow_means_no_feed() -> None:
    barely = limited(plant(), salt_high=0.31)  # the feed has 0.3

    sheet = morning(barely, feed=recipe())

    assert of(sheet, ChoreKind.MIST)
    assert not of(sheet, ChoreKind.FEED)


# -- the rinse


@pytest.mark.parametrize("holder", ["mount", "basket", "moss"])
def test_a_rinse_follows_each_feed_after_the_uptake_time(holder: str) -> None:
    strap = replace(plant(), holder=holder)  # type: ignore[arg-type]
    sheet = morning(strap, replace(strap, name="other"), feed=recipe())

    feeds, rinses = of(sheet, ChoreKind.FEED), of(sheet, ChoreKind.FLUSH)
    fed = sorted(name for chore in feeds for name in chore.plants)
    assert (
        fed == sorted(name for chore in rinses for name in chore.plants) == ["Test strap", "other"]
    )
    for feed in feeds:
        for name in feed.plants:
            rinse = next(chore for chore in rinses if name in chore.plants)
            assert feed.not_before is not None
            assert rinse.not_before is not None
            assert rinse.not_before >= feed.not_before + Habits().velamen_uptake
            assert rinse.before > feed.before
            assert rinse.before > rinse.not_before


def test_a_plant_without_velamen_is_fed_while_the_film_on_its_leaves_lasts() -> None:
    grey = plant("Grey curls", velamen=False, holder="mount")
    made = garden(grey)
    sheet = draw_up(Round.MORNING, made, MILDER, {}, NOW)
    films = DayFilms(Scene(made, MILDER, {}, NOW), DAY).at_spot(0)

    (feed,) = of(sheet, ChoreKind.FEED)
    assert feed.not_before is not None
    half = films.lasting(LEAF_FILM.depth_mm / 2)
    at = feed.not_before
    while at < feed.before:
        assert films.at(half, at) >= 0.75, "wet for the uptake time when half of it is gone"
        at += timedelta(minutes=5)
    assert films.at(half, feed.before + timedelta(minutes=10)) < 0.75
    assert not of(morning(grey), ChoreKind.FEED), "a hot morning: gone too soon"


def test_a_leaf_is_rinsed_no_sooner_than_it_has_taken_up() -> None:
    sheet = morning(plant("Grey curls", velamen=False, holder="mount"), air=MILDER)

    (feed,), (rinse,) = of(sheet, ChoreKind.FEED), of(sheet, ChoreKind.FLUSH)
    assert starts(rinse) - starts(feed) >= Habits().leaf_uptake


def test_the_rinse_keeps_to_the_growers_hours() -> None:
    sheet = morning(habits=free("06:50-08:30", "12:30-13:30", "15:00-16:30"))

    (rinse,) = of(sheet, ChoreKind.FLUSH)
    assert NOW <= starts(rinse) < rinse.before <= utc("2026-01-20T11:30")  # 08:30 at the site


# -- the state that follows


def test_a_second_look_still_feeds_what_was_told_for_later() -> None:
    made = garden(plant())
    told = draw_up(Round.MORNING, made, sky(), {}, NOW)
    later = NOW + timedelta(minutes=20)
    assert of(told, ChoreKind.FEED)[0].before > later, "or the test tells nothing"

    again = draw_up(Round.MORNING, made, sky(now=later), next_state({}, told), later)

    assert of(again, ChoreKind.FEED)


def test_a_fed_plant_is_not_fed_again_the_next_morning_but_a_week_later() -> None:
    made = garden(plant())
    long = daily_curve(19.0, 34.0, 16 * 24)
    state: dict[str, PlantState] = {}
    fed = []
    for day in range(8):
        now = NOW + DAY_LONG * day
        sheet = draw_up(Round.MORNING, made, sky(long, now=now), state, now)
        assert of(sheet, ChoreKind.MIST)
        state = next_state(state, sheet)
        if of(sheet, ChoreKind.FEED):
            fed.append(day)
            assert state["Test strap"].fed_at == of(sheet, ChoreKind.FEED)[0].before
            assert state["Test strap"].rinsed_at == of(sheet, ChoreKind.FLUSH)[0].before

    assert fed == [0, 7]


def test_the_state_remembers_the_last_misting() -> None:
    sheet = morning()

    state = next_state({}, sheet)

    last = max(chore.before for chore in of(sheet, ChoreKind.MIST))
    assert state["Test strap"].misted_at == last
    assert state["Test strap"].spot == "bench"


def test_a_dusk_or_week_sheet_feeds_nobody() -> None:
    made = garden(plant())
    for round_ in (Round.DUSK, Round.WEEK):
        state = next_state({}, draw_up(round_, made, sky(), {}, NOW))
        assert state["Test strap"].fed_at is None


@pytest.mark.parametrize(
    ("kind", "changed"),
    [
        (ChoreKind.MIST, {"misted_at"}),
        (ChoreKind.FEED, {"misted_at", "fed_at"}),
        (ChoreKind.FLUSH, {"misted_at", "rinsed_at"}),
        (ChoreKind.SHADE, set()),
        (ChoreKind.COVER, set()),
        (ChoreKind.SECURE, set()),
        (ChoreKind.DAMP_DOWN, set()),
        (ChoreKind.STOP_WETTING, set()),
    ],
)
def test_what_is_acknowledged_is_put_down_and_moves_nothing(
    kind: ChoreKind, changed: set[str]
) -> None:
    before = at_home()

    after = acknowledged(before, kind, "bench", NOW)

    for name in ("spot", "since", "assumed", "misted_at", "fed_at", "rinsed_at", "brighter_since"):
        expected = NOW if name in changed else getattr(before, name)
        assert getattr(after, name) == expected, name


# -- what is not known, and crowns that must dry


@pytest.mark.parametrize(
    ("known_to", "fed"), [("2026-01-21T10:00", True), ("2026-01-21T02:00", False)]
)
def test_no_feed_unless_all_24_hours_of_its_warmth_are_known(known_to: str, fed: bool) -> None:
    # Warm enough by far, whatever the hours that are not known may be.
    whole = sky(daily_curve(19.0, 34.0, HOURS))
    keep = whole.times < utc(known_to).timestamp()
    series = {name: getattr(whole, name)[keep] for name in (*SERIES, "times")}

    sheet = morning(air=replace(uncertain(whole), **series))

    assert of(sheet, ChoreKind.MIST)
    assert bool(of(sheet, ChoreKind.FEED)) is fed


@pytest.mark.parametrize("holder", ["basket", "mount"])
@pytest.mark.parametrize("dry_by_h", [0, 2, 3, 4, 5])
def test_no_rinse_after_the_last_wetting_hour_of_its_plant(dry_by_h: int, holder: Holder) -> None:
    habits = Habits(dry_by=timedelta(hours=dry_by_h))
    made = garden(plant(holder=holder), habits=habits, feed=recipe())
    sheet = draw_up(Round.MORNING, made, MILDER, {}, NOW)
    last = DayFilms(Scene(made, MILDER, {}, NOW), DAY).at_spot(0).last_wetting("high")

    assert last is not None
    assert all(chore.before <= last for chore in of(sheet, ChoreKind.FLUSH))
    assert len(of(sheet, ChoreKind.FEED)) == len(of(sheet, ChoreKind.FLUSH))
    assert of(sheet, ChoreKind.FLUSH), "or the test tells nothing"


def test_a_feed_that_is_too_strong_for_all_is_named_too() -> None:
    sheet = morning(limited(plant(), salt_high=0.1), feed=recipe())

    assert not of(sheet, ChoreKind.FEED)
    (said,) = week(limited(plant(), salt_high=0.1), feed=recipe())
    assert (said.plants, said.ec_ms_cm, said.limit_ms_cm) == (("Test strap",), EC, 0.1)
    assert said.most_g_l == 0, "the water alone has that"


@pytest.mark.parametrize("every", [timedelta(days=2), timedelta(days=3), timedelta(days=7)])
def test_the_week_feeds_on_the_days_on_which_its_mornings_will(every: timedelta) -> None:
    """Each morning drawn up by itself, with the advice of those before it followed."""
    long = 10 * 24
    air = sky(daily_curve(14.0, 30.0, long), dew=13.5, wind_m_s=0.3)
    two = (plant("Left pot", holder="mount"), plant("Right pot", holder="basket"))
    made = garden(*two, habits=replace(EASY, feed_every=every), feed=recipe())
    fed_before = {"Left pot": at_home(fed_at=NOW - DAY_LONG), "Right pot": at_home()}

    week = draw_up(Round.WEEK, made, air, fed_before, NOW).outlook
    assert week is not None
    told, state = {}, dict(fed_before)
    for number in range(8):
        now = NOW + number * DAY_LONG
        sheet = draw_up(Round.MORNING, made, fetched(air, now), state, now)
        feeds = [chore for chore in sheet.chores if chore.kind is ChoreKind.FEED]
        told[DAY + number * DAY_LONG] = sum(len(chore.plants) for chore in feeds)
        state = next_state(state, sheet)

    assert [(day.day, day.fed) for day in week.days] == [
        (day.day, told[day.day]) for day in week.days
    ]
    assert sum(day.fed for day in week.days) >= 2
