"""Which pots are watered, by when and how much, on a hot dry summer day."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.scene.pot_levels import levels_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotLook, PotWater, PotWord
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.sightings import looked_at
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import PotsUnknown, RootsHot, WaterUnlessHeavy
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import answered, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from sillward_rules.weather.spot import SunWindow
from tests.support.core import daily_curve, plant, utc, warned
from tests.support.summer import (
    BENCH,
    DAY,
    HOT,
    HOURS,
    NOW,
    START,
    at_home,
    free,
    garden,
    limited,
    raining,
    sky,
)

YESTERDAY = NOW - timedelta(days=1)


def potted(
    name: str = "Hibiscus",
    *,
    litres: float = 5.0,
    group: str = "hibiscus",
    span_cm: float | None = 50.0,
    dark: bool = False,
) -> Plant:
    bare = plant(name, holder="pot", velamen=False, rot="low", night_low=5.0)
    return replace(bare, groups=(group,), pot=Pot(litres, "peat", dark), span_cm=span_cm)


def kept(share: float, at: datetime = YESTERDAY, sd: float = 0.06, **changes: object) -> PlantState:
    """A state at home with so much water in the pot."""
    return at_home(care=Care(water=PotWater(at, share, sd)), **changes)


def morning(
    of: Collection, states: dict[str, PlantState], air: Weather | None = None, now: datetime = NOW
) -> Sheet:
    return draw_up(Round.MORNING, of, air or sky(), states, now)


def waterings(sheet: Sheet) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is ChoreKind.WATER]


def share_left(
    of: Collection, state: PlantState, air: Weather | None = None, now: datetime = NOW
) -> tuple[float, float]:
    """What is left in the only pot, and the standard deviation of that."""
    (name,) = (one.name for one in of.plants)
    levels = levels_of(Scene(of, air or sky(), {name: state}, now))
    assert levels is not None
    return float(levels.now.share[0]), float(levels.now.sd[0])


# -- who is watered


def test_a_thirsty_plant_that_was_watered_yesterday_is_watered_by_the_hour_it_may_be_low() -> None:
    sheet = morning(garden(potted(litres=10.0)), {"Hibiscus": kept(1.0)})

    (chore,) = waterings(sheet)
    (reason,) = chore.because
    assert chore.not_before == NOW
    assert NOW < chore.before <= reason.at < NOW + timedelta(hours=12)
    assert reason.quantity == "pot water"
    assert reason.value is not None
    assert 60 < reason.value < 90
    assert reason.limit == 65
    assert reason.litres is not None
    missing_l = 10.0 * 0.3 * (1 - reason.value / 100)
    assert missing_l < reason.litres < 1.3 * missing_l


def test_a_pot_that_is_low_already_is_watered_within_two_hours() -> None:
    sheet = morning(garden(potted()), {"Hibiscus": kept(0.4)})

    (chore,) = waterings(sheet)
    assert chore.before == NOW + timedelta(hours=2)


def test_a_big_pot_is_left_alone_the_day_after() -> None:
    sheet = morning(garden(potted(litres=60.0)), {"Hibiscus": kept(1.0)})

    assert not waterings(sheet)
    assert not warned(sheet, PotsUnknown)


def test_without_a_pot_nothing_is_told_and_nothing_kept() -> None:
    sheet = morning(garden(replace(potted(), pot=None)), {"Hibiscus": at_home()})

    assert not waterings(sheet)
    assert sheet.states["Hibiscus"].care.water is None


def test_a_pot_of_which_nothing_is_known_is_asked_about_and_not_taken_to_be_full() -> None:
    sheet = morning(garden(potted(), potted("Lime", group="citrus tender")), {})

    assert not waterings(sheet)
    assert warned(sheet, PotsUnknown) == [PotsUnknown(("Hibiscus", "Lime"))]
    water = sheet.states["Hibiscus"].care.water
    assert water is not None
    assert water.lost


def test_on_a_hot_day_a_pot_of_unknown_wetness_is_watered_unless_it_is_heavy() -> None:
    """38 °C takes half of what it can lose and more; 14 °C under cloud takes little."""
    small, big = potted("Small", litres=5.0), potted("Big", litres=60.0)
    hot = sky(daily_curve(22.0, 38.0, 96))
    cool = sky(daily_curve(8.0, 14.0, 96), dew=7.0, direct_w_m2=0.0)

    assert warned(morning(garden(small, big), {}, hot), WaterUnlessHeavy) == [
        WaterUnlessHeavy(("Small",))
    ]
    assert not warned(morning(garden(small, big), {}, cool), WaterUnlessHeavy)
    known = {"Small": kept(1.0)}
    assert not warned(morning(garden(small), known, hot), WaterUnlessHeavy)


def test_a_pot_that_stays_unknown_is_asked_about_for_three_mornings_and_then_once_a_week() -> None:
    of, state = garden(potted()), at_home()
    asked = []
    for day in range(6):
        now = NOW + timedelta(days=day)
        sheet = morning(of, {"Hibiscus": state}, sky(now=now, start=now - timedelta(days=1)), now)
        asked.append(bool(warned(sheet, PotsUnknown)))
        state = sheet.states["Hibiscus"]

    assert asked == [True, True, True, False, False, False]
    week = draw_up(Round.WEEK, of, sky(now=now, start=START + timedelta(days=5)), sheet.states, now)
    assert week.outlook is not None
    assert PotsUnknown(("Hibiscus",), 5) in week.outlook.warnings


def test_a_pot_whose_waterings_nobody_answers_is_not_known_by_the_third_morning() -> None:
    """Neither a share that was worked out nor an order is told of it, but it is asked about."""
    of, states = garden(potted()), {"Hibiscus": kept(0.4)}
    told, asked = [], []
    for day in range(4):
        now = NOW + timedelta(days=day)
        sheet = morning(of, states, sky(now=now, start=START + timedelta(days=day)), now)
        told.append(bool(waterings(sheet)))
        asked.append(bool(warned(sheet, PotsUnknown)))
        states = next_state(states, sheet)

    assert told == [True, True, False, False]
    assert asked == [False, False, True, True]
    look = PotLook("moist", now, now)
    share, _ = share_left(of, looked_at(states["Hibiscus"], look), sky(now=now, start=now), now)
    assert share == pytest.approx(0.55)


def test_plants_in_their_dry_rest_get_no_water_and_are_not_asked_about() -> None:
    cold = sky(HOT - 18.0)
    resting = limited(potted(), rest=True)

    sheet = morning(garden(resting), {"Hibiscus": kept(0.1)}, cold)

    assert not waterings(sheet)
    assert waterings(morning(garden(resting), {"Hibiscus": kept(0.1)}))


def test_after_a_dry_rest_a_plant_is_given_a_little_and_dries_again() -> None:
    """Roots that have not grown yet rot in a pot that is full."""
    of = garden(limited(potted(litres=12.0), rest=True))
    memory = SeasonMemory(Season.SLOWING, DAY, DAY, Season.REST, woke=DAY)
    dry = kept(0.0)
    woken = replace(dry, care=replace(dry.care, season=memory))

    (chore,) = waterings(morning(of, {"Hibiscus": woken}))
    (reason,) = chore.because
    assert reason.litres == pytest.approx(0.25 * 12.0 * 0.3 * 1.15, abs=0.1)
    at = NOW + timedelta(hours=2)
    watered = answered(woken, ChoreKind.WATER, "bench", chore.before, at)
    assert share_left(of, watered, sky(now=at), at)[0] == pytest.approx(0.25, abs=0.01)
    half = replace(kept(0.3), care=replace(kept(0.3).care, season=memory))
    assert not waterings(morning(of, {"Hibiscus": half}))
    rooted = replace(half, care=replace(half.care, season=replace(memory, woke=None)))
    assert waterings(morning(of, {"Hibiscus": rooted}))


def test_a_plant_that_slows_down_dries_further() -> None:
    of = garden(potted(litres=20.0, group="citrus tender"))

    def told(season: Season) -> bool:
        memory = SeasonMemory(season, DAY - timedelta(days=40), DAY)
        state = kept(0.5)
        after = replace(state, care=replace(state.care, season=memory))
        return bool(waterings(morning(of, {"Hibiscus": after}, sky(HOT - 8.0))))

    assert told(Season.GROWING)
    assert not told(Season.REST)


# -- when and how


def test_only_in_the_hours_of_the_grower() -> None:
    habits = free("18:00-20:00")

    sheet = morning(garden(potted(), habits=habits), {"Hibiscus": kept(0.4)})

    (chore,) = waterings(sheet)
    assert chore.not_before == utc("2026-01-20T21:00")


def test_not_before_a_cold_morning_has_warmed_up() -> None:
    cold = sky(HOT - 16.0)  # 3 to 18 °C

    (chore,) = waterings(morning(garden(potted()), {"Hibiscus": kept(0.2)}, cold))

    assert chore.not_before is not None
    warm = cold.temp_c[cold.times == chore.not_before.timestamp()]
    assert warm >= 8.0
    assert chore.before > chore.not_before


def test_not_before_a_plant_is_out_where_it_spends_the_day() -> None:
    """It went in for a cold night: until it is carried out it is watered nowhere."""
    chilly = daily_curve(4.0, 26.0, HOURS)
    of = garden(limited(potted(), night_low=10.0))
    indoors = replace(kept(0.2), spot="room", since=NOW - timedelta(hours=12), came_from="bench")

    sheet = morning(of, {"Hibiscus": indoors}, sky(chilly))

    (out,) = (chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT)
    (water,) = waterings(sheet)
    assert out.not_before is not None
    assert out.not_before > NOW
    assert water.from_spot == "bench"
    assert water.not_before is not None
    assert water.not_before >= out.not_before


def test_a_pot_that_can_wait_for_the_next_morning_is_not_topped_up() -> None:
    """It is watered when it needs it, and then through."""
    of = garden(potted(litres=12.0, group="citrus tender"))
    days = []
    state = kept(1.0, NOW)
    for day in range(5):
        now = NOW + timedelta(days=day)
        sheet = morning(
            of, {"Hibiscus": state}, sky(now=now, start=START + timedelta(days=day)), now
        )
        state = sheet.states["Hibiscus"]
        for chore in waterings(sheet):
            days.append(day)
            (reason,) = chore.because
            assert reason.value is not None
            assert reason.value <= 60
            state = answered(state, ChoreKind.WATER, "bench", chore.before, chore.before)

    assert 1 <= len(days) <= 2


def test_on_doubt_alone_a_moist_pot_is_looked_at() -> None:
    of = garden(replace(potted(litres=3.0, group="agave"), home="room"))

    sheet = morning(of, {"Hibiscus": kept(0.4, sd=0.34, spot="room")})
    sure = morning(of, {"Hibiscus": kept(0.4, spot="room")})

    assert not waterings(sheet)
    assert warned(sheet, PotsUnknown) == [PotsUnknown(("Hibiscus",))]
    assert not waterings(sure)
    assert not warned(sure, PotsUnknown)


def test_nothing_is_watered_on_a_day_of_frost() -> None:
    assert not waterings(
        morning(garden(potted()), {"Hibiscus": kept(0.2)}, sky(np.full(HOURS, -2.0)))
    )


# -- told is not done


def test_what_was_told_and_not_confirmed_is_told_again_as_in_doubt() -> None:
    of = garden(potted())
    told = morning(of, {"Hibiscus": kept(0.4)})
    (first,) = waterings(told)

    after = next_state({"Hibiscus": kept(0.4)}, told)
    later = NOW + timedelta(days=1)
    again = morning(of, after, sky(now=later), later)

    (second,) = waterings(again)
    assert second.unconfirmed == ("Hibiscus",)
    assert not first.unconfirmed
    water = after["Hibiscus"].care.water
    assert water is not None
    assert water.share < 0.4


def test_what_is_confirmed_fills_the_pot_from_that_hour_on() -> None:
    of, at = garden(potted()), NOW + timedelta(hours=1)
    told = morning(of, {"Hibiscus": kept(0.4)})
    (chore,) = waterings(told)

    after = next_state({"Hibiscus": kept(0.4)}, told)["Hibiscus"]
    done = answered(after, ChoreKind.WATER, "bench", chore.before, at)

    share, sd = share_left(of, done, sky(now=at), at + timedelta(hours=1))
    assert 0.85 < share < 1.0
    assert sd < 0.1
    assert done.misted_at is None
    later = NOW + timedelta(days=1)
    assert not any(
        chore.unconfirmed
        for chore in waterings(morning(of, {"Hibiscus": done}, sky(now=later), later))
    )


@pytest.mark.parametrize(("word", "needs"), [("dry", True), ("wet", False)])
def test_a_look_decides(word: PotWord, needs: bool) -> None:
    of = garden(potted(litres=20.0))
    look = PotLook(word, NOW, NOW)

    for state in (at_home(), kept(0.6, sd=0.3)):
        sheet = morning(of, {"Hibiscus": looked_at(state, look)})

        assert bool(waterings(sheet)) is needs
        assert not warned(sheet, PotsUnknown)
        assert sheet.states["Hibiscus"].care.looks == ()


def test_a_look_that_is_told_only_after_a_morning_counts_still() -> None:
    of = garden(potted(litres=20.0))
    counted = kept(0.9, NOW - timedelta(hours=1), sd=0.3)
    late = looked_at(counted, PotLook("dry", NOW - timedelta(hours=3), NOW))
    old = looked_at(counted, PotLook("dry", NOW - timedelta(hours=3), NOW - timedelta(hours=2)))

    assert share_left(of, late)[0] < 0.8
    assert share_left(of, old) == share_left(of, counted)


def test_a_watering_that_is_told_only_after_a_morning_has_dried_since_its_deadline() -> None:
    of, by = garden(potted(litres=20.0)), NOW - timedelta(hours=20)
    counted = kept(0.3, NOW - timedelta(hours=1), sd=0.1)

    late = answered(counted, ChoreKind.WATER, "bench", by, NOW)
    in_time = answered(kept(0.5, by - timedelta(hours=9)), ChoreKind.WATER, "bench", by, by)

    assert share_left(of, late) == share_left(of, in_time)
    assert 0.3 < share_left(of, late)[0] < 0.95
    after = morning(of, {"Hibiscus": late}).states["Hibiscus"]
    assert after.care.water is not None
    tomorrow = NOW + timedelta(days=1)
    again = replace(after, care=replace(after.care, wettings=()))  # it is counted once
    assert share_left(of, after, now=tomorrow) == share_left(of, again, now=tomorrow)


def test_a_look_of_long_ago_changes_nothing() -> None:
    """It is for the diary; so is one of a pot of which nothing is known."""
    of = garden(potted(litres=20.0))
    old = PotLook("wet", NOW - timedelta(days=30), NOW)

    empty = kept(0.1, NOW - timedelta(hours=1), sd=0.3)
    assert share_left(of, looked_at(empty, old)) == share_left(of, empty)
    sheet = morning(of, {"Hibiscus": looked_at(at_home(), old)})
    assert warned(sheet, PotsUnknown) == [PotsUnknown(("Hibiscus",))]
    assert sheet.states["Hibiscus"].care.looks == ()


@pytest.mark.parametrize(("days", "known"), [(2, True), (19, False)])
def test_a_pot_dries_from_a_watering_before_the_weather_begins(days: int, known: bool) -> None:
    """No morning was counted since: it was not full when the weather began."""
    of, ago = garden(potted(litres=20.0)), START - timedelta(days=days)
    before = kept(0.5, ago - timedelta(hours=20))
    done = Wetting(ChoreKind.WATER, ago, confirmed=True)
    watered = replace(before, care=replace(before.care, wettings=(done,)))

    share, sd = share_left(of, watered)

    assert np.isfinite(share) == known
    if known:
        full, surer = share_left(of, kept(1.0, START))
        assert share < full - 0.1
        assert sd > surer


@pytest.mark.parametrize("confirmed", [True, False])
def test_a_moist_pot_teaches_only_if_no_watering_is_in_doubt(*, confirmed: bool) -> None:
    of = garden(potted(litres=20.0))
    before = PotWater(YESTERDAY, 0.4, 0.15, covariance=-0.04)
    told = Wetting(ChoreKind.WATER, YESTERDAY - timedelta(hours=20), confirmed)
    care = Care(water=before, wettings=(told,), looks=(PotLook("moist", NOW, NOW),))

    levels = levels_of(Scene(of, sky(), {"Hibiscus": at_home(care=care)}, NOW))

    assert levels is not None
    assert levels.now.share[0] > 0.3
    assert bool(levels.now.factor[0] < 1.0) is confirmed


# -- the loss


def test_sun_wind_a_smaller_pot_and_thirst_cost_water() -> None:
    of, state = garden(potted(litres=20.0)), kept(1.0)
    left = share_left(of, state)[0]

    assert share_left(of, state, sky(wind_m_s=5.0))[0] < left
    shaded = garden(potted(litres=20.0), bench=replace(BENCH, shade=0.7))
    assert share_left(shaded, state)[0] > left
    assert share_left(garden(potted(litres=20.0, group="agave")), state)[0] > left
    assert share_left(garden(potted(litres=10.0)), state)[0] < left


def test_rain_waters_pots_in_the_open_and_none_under_a_roof() -> None:
    rain = sky(rain_mm=raining("2026-01-20T02:00", mm=15.0))
    state = kept(0.5)
    roofed = garden(potted(litres=20.0), bench=replace(BENCH, rain=0.0))

    wet, doubt = share_left(garden(potted(litres=20.0)), state, rain)
    dry, sure = share_left(roofed, state, rain)

    assert wet > dry + 0.03
    assert doubt > sure
    assert dry == share_left(roofed, state)[0]


def test_a_pot_that_was_under_cover_last_night_is_credited_with_no_rain() -> None:
    out_since = PlantState("bench", NOW, assumed=False, came_from="room", care=kept(0.5).care)
    rain = sky(rain_mm=raining("2026-01-20T02:00", mm=15.0))

    assert share_left(garden(potted(litres=20.0)), out_since, rain)[0] < 0.5


def test_before_the_weather_begins_doubt_grows_fast_and_after_days_nothing_is_known() -> None:
    of = garden(potted(litres=60.0))
    ago = START - timedelta(days=2)

    share, sd = share_left(of, kept(1.0, ago))
    assert share < 0.95
    assert sd > share_left(of, kept(1.0, START))[1]
    assert np.isnan(share_left(of, kept(1.0, START - timedelta(days=5)))[0])


def test_without_weather_a_pot_is_not_taken_to_stay_full() -> None:
    """A forecast of other days tells nothing; what is lost is guessed, and told by caution."""
    of, later = garden(potted(litres=8.0)), NOW + timedelta(days=30)

    sheet = morning(of, {"Hibiscus": kept(1.0, later - timedelta(hours=20))}, sky(), later)

    (chore,) = waterings(sheet)
    assert later <= chore.before <= later + timedelta(hours=14)
    (reason,) = chore.because
    assert reason.value is not None
    assert reason.value < 90


def test_doubt_alone_asks_for_water_at_last() -> None:
    """A pot in a cool room loses little, but nobody has looked at it for long."""
    of = garden(replace(potted(litres=3.0, group="agave"), home="room"))

    asked = [
        bool(waterings(morning(of, {"Hibiscus": kept(0.24, sd=sd, spot="room")})))
        for sd in (0.06, 0.3)
    ]

    assert asked == [False, True]


# -- the week, the sun on the pot, why


def test_the_week_tells_on_which_days_pots_want_water() -> None:
    of = garden(potted(), potted("Big", litres=60.0), potted("Unknown"))
    states = {"Hibiscus": kept(1.0), "Big": kept(1.0)}

    outlook = draw_up(Round.WEEK, of, sky(), states, NOW).outlook

    assert outlook is not None
    days = {name: on for plants, on in outlook.watering for name in plants}
    tomorrow = DAY + timedelta(days=1)
    assert days["Hibiscus"]
    assert min(days["Hibiscus"]) >= tomorrow
    assert "Unknown" not in days
    assert PotsUnknown(("Unknown",)) in outlook.warnings
    assert len(days.get("Big", ())) < 2


def test_roots_in_a_dark_pot_in_full_sun_are_told_of() -> None:
    open_ = replace(BENCH, sky_view=1.0, sun_windows=(SunWindow(0.0, 360.0),))
    bright = sky(direct_w_m2=900.0 * np.tile(np.r_[np.zeros(13), np.ones(10), 0.0], 4))

    def told(*, dark: bool, air: Weather) -> list[RootsHot]:
        of = garden(potted(dark=dark), bench=open_)
        return warned(morning(of, {"Hibiscus": kept(1.0)}, air), RootsHot)

    (hot,) = told(dark=True, air=bright)
    assert hot.plants == ("Hibiscus",)
    assert 46.0 < hot.root_c < 52.0
    assert not told(dark=False, air=bright)
    assert not told(dark=True, air=sky(HOT - 15.0))


def test_plants_that_went_through_the_same_stay_one_cohort() -> None:
    plants = [potted(f"Twin {number}") for number in range(40)]
    of = garden(*plants)
    states = {one.name: kept(1.0) for one in plants}

    after = morning(of, states).states

    assert len({state.care for state in after.values()}) == 1
    assert len(Scene(of, sky(), dict(after), NOW).cohorts) == 1


def test_a_pot_that_does_not_last_the_day_is_watered_twice() -> None:
    tiny = potted(litres=2.0, span_cm=50.0)

    first, second = waterings(morning(garden(tiny), {"Hibiscus": kept(0.3)}))

    assert first.before == NOW + timedelta(hours=2)
    assert second.not_before is not None
    assert second.not_before >= NOW + timedelta(hours=5)
    assert first.before < second.before
    (reason,) = second.because
    assert reason.litres is not None
    assert reason.litres == pytest.approx(2.0 * 0.3 * 0.68 * 1.15, abs=0.03)
