"""Verdicts in odd places: other spots, other rules, unknown hours, cold by day, weeks ahead."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Limit, Limits, Rot, RotClass
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.rules import Rule
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import (
    ColdBorne,
    ForecastElsewhere,
    NightUnjudged,
    Note,
    ShelterTooCold,
    WateringIncomplete,
)
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.core import (
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
    warned,
    weather,
)

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")  # 17:00 at the site; the sun sets at 18:42
MORNING = utc("2026-05-14T11:33")  # 08:33; the sun rose at 08:17
WALL = Spot("wall", sky_view=0.0, wind=1.0, night_offset_k=0.0, day_offset_k=0.0)
PORCH = Spot("porch", indoors=True, night_offset_k=3.0)
BENCH_ROOM = (OPEN_BENCH, WARM_ROOM)


def a_rule(**table: object) -> Rule:
    rule, problems = read_rule({"name": "own", **table})
    assert rule is not None, problems
    return rule


def told(
    round_: Round,
    temp: np.ndarray,
    *plants: Plant,
    spots: tuple[Spot, ...] = BENCH_ROOM,
    rules: tuple[Rule, ...] | None = None,
    habits: Habits | None = None,
    state: dict[str, PlantState] | None = None,
    **series: object,
) -> Sheet:
    now = DUSK if round_ is Round.DUSK else MORNING
    household = collection(*plants, spots=spots, rules=rules, habits=habits)
    sky = fetched(weather(START, temp, **series), now)
    return draw_up(round_, household, sky, state or {}, now)


def of(sheet: Sheet, kind: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is kind]


COLD = daily_curve(-5.0, 15.0, 96)


# -- where it stands


def test_without_any_rain_in_the_forecast_a_mild_dry_night_is_spent_outside() -> None:
    """But where an hour of it is missing in the evening, it may have rained."""
    hardy = plant(night_low=14.0, rot="low")
    evening = np.where(np.arange(96) == 47, np.nan, 0.0)

    def inside(rain_mm: object) -> bool:
        sheet = told(Round.DUSK, np.full(96, 16.0), hardy, rain_mm=rain_mm, dew_point_c=4.0)
        return any(chore.kind is ChoreKind.CARRY_IN for chore in sheet.chores)

    assert not inside(0.0)
    assert not inside(np.nan)
    assert inside(evening)


@pytest.mark.parametrize("spot", [WALL, PORCH])
def test_a_plant_at_another_spot_that_is_too_cold_goes_on_to_its_shelter(spot: Spot) -> None:
    sheet = told(
        Round.DUSK,
        COLD,
        spots=(OPEN_BENCH, WARM_ROOM, spot),
        state={"Test strap": PlantState(spot.name)},
    )

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert (chore.from_spot, chore.to_spot) == (spot.name, "room")


def test_a_plant_without_shelter_comes_out_of_where_it_was_carried() -> None:
    sheet = told(Round.DUSK, daily_curve(5.0, 22.0, 96), plant(shelter=None))

    (out,) = of(sheet, ChoreKind.CARRY_OUT)
    assert (out.from_spot, out.to_spot) == ("room", "bench")


def test_a_room_that_holds_itself_is_known_whatever_the_forecast_reaches() -> None:
    sheet = told(Round.DUSK, np.full(50, 15.0))

    assert of(sheet, ChoreKind.CARRY_IN)
    assert sheet.warnings == (NightUnjudged(("bench",)),), "and not a word about the room"


# -- other rules


def test_an_unknown_night_counts_for_a_rule_with_a_bound_of_its_own() -> None:
    rule = a_rule(watch="leaf temperature", below="12 °C", hours="night", asks="carry in")

    sheet = told(Round.DUSK, np.full(96, np.nan), plant(night_low=None), rules=(rule,))

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert chore.because[0].value is None


def test_unknown_gusts_count_as_unknown_for_a_rule_about_gusts() -> None:
    rule = a_rule(watch="gust", above="10 m/s", asks="carry in")

    sheet = told(Round.DUSK, np.full(96, 20.0), rules=(rule,), gust_m_s=np.nan)

    assert of(sheet, ChoreKind.CARRY_IN)[0].because[0].quantity == "gust"


def test_an_unknown_wind_is_not_a_calm_one_for_rules_and_films() -> None:
    rule = a_rule(watch="wind", below="0.5 m/s", asks="note")

    sheet = told(Round.MORNING, np.full(96, 25.0), rules=(rule,), wind_m_s=np.nan)

    assert not warned(sheet, Note)
    assert not of(sheet, ChoreKind.STOP_WETTING)
    assert WateringIncomplete() in sheet.warnings


def test_a_rule_about_wind_does_not_hide_a_shelter_that_is_too_cold() -> None:
    shed = Spot("room", indoors=True, night_low_c=5.0)
    gust = np.full(96, 2.0)
    gust[46:48] = 30.0
    rules = (
        a_rule(watch="leaf temperature", below="limit", hours="night", asks="carry in"),
        a_rule(watch="gust", above="10 m/s", asks="carry in"),
    )

    sheet = told(Round.DUSK, COLD, spots=(OPEN_BENCH, shed), rules=rules, gust_m_s=gust)

    assert sheet.warnings == (ShelterTooCold(("Test strap",), "room", 5.0, 13.0, None, None),)


def test_a_plant_without_night_limit_comes_out_again_too() -> None:
    rule = a_rule(watch="leaf temperature", below="12 °C", hours="night", asks="carry in")

    sheet = told(
        Round.MORNING,
        daily_curve(14.0, 22.0, 96),
        plant(night_low=None),
        rules=(rule,),
        state={"Test strap": PlantState("room")},
    )

    assert of(sheet, ChoreKind.CARRY_OUT)


def test_a_rule_for_any_hour_does_not_take_last_nights_cold_for_tonights() -> None:
    rule = a_rule(watch="leaf temperature", below="limit", asks="carry in")

    sheet = told(
        Round.MORNING,
        daily_curve(8.0, 30.0, 96),
        rules=(rule,),
        state={"Test strap": PlantState("room")},
    )

    assert of(sheet, ChoreKind.CARRY_OUT)
    assert not of(sheet, ChoreKind.STAY_IN)


def test_a_cold_morning_that_ends_is_no_reason_to_stay_in() -> None:
    rule = a_rule(watch="leaf temperature", below="limit", asks="carry in")
    temp = np.full(96, 20.0)
    temp[24:38] = 8.0  # until 13:00 UTC, two hours after sunrise

    sheet = told(Round.MORNING, temp, rules=(rule,), state={"Test strap": PlantState("room")})

    (out,) = of(sheet, ChoreKind.CARRY_OUT)
    assert out.not_before is not None
    assert out.not_before > utc("2026-05-14T14:00")


# -- cold by day


def test_a_cold_front_by_day_is_told_in_the_morning() -> None:
    temp = np.full(96, 20.0)
    temp[39:] = 5.0  # from 15:00 UTC, noon at the site

    sheet = told(Round.MORNING, temp)

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    # 13 °C is crossed at 14:28 UTC.
    assert chore.before == utc("2026-05-14T13:40")
    assert all(misting.before <= chore.before for misting in of(sheet, ChoreKind.MIST))


def test_a_cold_spell_by_day_is_no_day_to_go_out() -> None:
    temp = np.full(96, 20.0)
    temp[39:42] = 3.0

    sheet = told(Round.MORNING, temp, state={"Test strap": PlantState("room")})

    assert of(sheet, ChoreKind.STAY_IN)


INJURED = replace(plant(), limits=Limits(brief_low=Limit(5.0, "test")))


def test_no_plant_goes_out_into_a_day_that_injures_it() -> None:
    sheet = told(Round.MORNING, np.full(96, 2.0), INJURED, state={"Test strap": PlantState("room")})

    assert not of(sheet, ChoreKind.CARRY_OUT)


def test_injury_that_goes_on_since_the_night_is_told_in_the_morning() -> None:
    state = {"Test strap": PlantState("bench")}

    sheet = told(Round.MORNING, np.full(96, 2.0), INJURED, state=state)

    assert of(sheet, ChoreKind.CARRY_IN)


def test_no_plant_goes_out_into_a_gale_that_goes_on_since_the_night() -> None:
    gust = np.full(96, 20.0)
    gust[46:] = 3.0  # until 22:00 UTC, after sunset
    gale = a_rule(watch="gust", above="15 m/s", asks="carry in")
    state = {"Test strap": PlantState("room")}

    def morning(gust_m_s: np.ndarray) -> Sheet:
        rules = (*standard_rules(), gale)
        return told(Round.MORNING, np.full(96, 20.0), rules=rules, state=state, gust_m_s=gust_m_s)

    assert of(morning(np.full(96, 3.0)), ChoreKind.CARRY_OUT), "but for the gale it would"
    assert not of(morning(gust), ChoreKind.CARRY_OUT)


def test_out_an_hour_after_the_leaf_is_warm_even_just_after_sunrise() -> None:
    # 2 °C at 11:00 UTC, 14 °C (limit and margin) at 12:00; the sun rises at 11:17.
    temp = np.full(96, 2.0)
    temp[36:48] = 25.0
    temp[36] = 14.0

    sheet = told(Round.MORNING, temp, state={"Test strap": PlantState("room")})

    (out,) = of(sheet, ChoreKind.CARRY_OUT)
    assert out.not_before == utc("2026-05-14T13:00")


# -- doubt


def test_a_stale_forecast_lets_nothing_out() -> None:
    sky = fetched(weather(START, np.full(96, 20.0)), MORNING - timedelta(hours=30))

    sheet = draw_up(Round.MORNING, collection(), sky, {"Test strap": PlantState("room")}, MORNING)

    (stay,) = of(sheet, ChoreKind.STAY_IN)
    assert stay.because[0].value is None


def test_a_gap_before_the_cold_is_taken_as_cold() -> None:
    temp = np.full(96, 20.0)
    temp[44:48] = np.nan  # 20:00 to 23:00 UTC
    temp[48:] = 5.0
    habits = Habits(in_by=parse_moment("23:00"), latest_after_sunset=timedelta(hours=6))

    sheet = told(Round.DUSK, temp, habits=habits)

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert chore.before == DUSK
    assert sheet.warnings == (NightUnjudged(("bench",)),)


def test_an_unknown_night_is_cold_from_its_start() -> None:
    habits = Habits(in_by=parse_moment("sunset+1h"))

    (unknown,) = of(told(Round.DUSK, np.full(96, np.nan), habits=habits), ChoreKind.CARRY_IN)

    assert unknown.before <= utc("2026-05-14T21:00")


def test_unsaid_sky_is_no_excuse_to_wet_crowns_later() -> None:
    stops = {}
    for sky in (0.2, 0.5, None):
        bench = replace(OPEN_BENCH, sky_view=sky, wind=0.3)
        sheet = told(
            Round.MORNING,
            daily_curve(9.0, 24.0, 96),
            spots=(bench, WARM_ROOM),
            state={"Test strap": PlantState("bench")},
            diffuse_w_m2=100.0,
            dew_point_c=8.0,
        )
        (stops[sky],) = of(sheet, ChoreKind.STOP_WETTING)

    assert stops[None].before == stops[0.5].before


ROOF = replace(OPEN_BENCH, rain=0.0, sun_windows=())
DRAUGHTY_PORCH = Spot("bench", indoors=True, night_offset_k=0.0)


@pytest.mark.parametrize(
    ("spot", "series"),
    [
        (ROOF, {"rain_mm": np.nan}),
        (DRAUGHTY_PORCH, {"rain_mm": np.nan}),
        (DRAUGHTY_PORCH, {"wind_m_s": np.nan}),
    ],
    ids=["rain under a roof", "rain in a porch", "wind in a porch"],
)
def test_what_cannot_reach_a_spot_need_not_be_known(spot: Spot, series: dict[str, Any]) -> None:
    spots = (spot, WARM_ROOM)

    sheet = told(Round.DUSK, np.full(96, 14.0), plant(night_low=12.0), spots=spots, **series)

    assert not of(sheet, ChoreKind.CARRY_IN)


def test_at_night_unknown_light_of_the_sky_is_none() -> None:
    hours = np.arange(96) % 24
    by_day = np.where((hours >= 12) & (hours < 22), 100.0, np.nan)

    sheet = told(Round.DUSK, np.full(96, 14.0), plant(night_low=12.0), diffuse_w_m2=by_day)

    assert not of(sheet, ChoreKind.CARRY_IN)


# -- habits


def test_a_usual_hour_that_is_past_means_now() -> None:
    habits = Habits(in_by=parse_moment("16:30"))

    (chore,) = of(told(Round.DUSK, COLD, habits=habits), ChoreKind.CARRY_IN)

    assert chore.before == DUSK


def test_a_usual_hour_after_midnight_is_of_the_same_night() -> None:
    habits = Habits(in_by=parse_moment("00:30"))
    temp = np.full(96, 20.0)
    temp[54:60] = 5.0  # after 06:00 UTC, three at night

    (chore,) = of(told(Round.DUSK, temp, habits=habits), ChoreKind.CARRY_IN)

    assert chore.before > utc("2026-05-14T22:00")


def test_a_grower_who_mists_nothing_is_told_to_mist_nothing() -> None:
    sheet = told(Round.MORNING, daily_curve(20.0, 36.0, 96), habits=Habits(mistings_most=0))

    assert not of(sheet, ChoreKind.MIST)


# -- weeks, and nothing at all


def test_a_week_inside_is_no_trip() -> None:
    sheet = told(Round.WEEK, daily_curve(-5.0, 9.0, 240), state={"Test strap": PlantState("room")})

    assert sheet.outlook is not None
    assert sheet.outlook.trips == 0
    assert all(night.plants_in for night in sheet.outlook.nights)


def test_a_week_of_going_out_each_day_is_a_trip_each_way() -> None:
    sheet = told(Round.WEEK, daily_curve(8.0, 22.0, 240))

    assert sheet.outlook is not None
    nights = len(sheet.outlook.nights)
    assert sheet.outlook.trips == 2 * nights
    deadlines = [chore.before for chore in of(sheet, ChoreKind.CARRY_IN)]
    assert len({at.date() for at in deadlines}) == nights


@pytest.mark.parametrize("round_", list(Round))
def test_no_hours_at_all_are_survived_and_named(round_: Round) -> None:
    sheet = told(round_, np.empty(0))

    assert sheet.warnings[0] == ForecastElsewhere()


def test_half_hours_are_no_hours() -> None:
    with pytest.raises(ValueError, match="full hours"):
        weather(START + timedelta(minutes=30), np.full(5, 10.0))


def test_advice_for_a_later_hour_has_not_been_followed_yet() -> None:
    moved = PlantState("room", DUSK + timedelta(hours=1), came_from="bench")

    before = told(Round.DUSK, COLD, state={"Test strap": moved})
    after = told(
        Round.DUSK, COLD, state={"Test strap": replace(moved, since=DUSK - timedelta(hours=1))}
    )

    assert of(before, ChoreKind.CARRY_IN)
    assert not of(after, ChoreKind.CARRY_IN)


def test_names_that_differ_by_a_blank_make_ids_that_differ() -> None:
    spots = tuple(
        Spot(name, sky_view=0.0, wind=1.0, night_offset_k=0.0) for name in ("a", "a b", "b c", "c")
    )
    plants = (
        plant("one", home="a", shelter="b c"),
        plant("two", home="a b", shelter="c"),
    )

    sheet = told(Round.DUSK, COLD, *plants, spots=spots)

    ids = [chore.id for chore in sheet.chores]
    assert len(ids) == len(set(ids))
    assert len(of(sheet, ChoreKind.CARRY_IN)) == 2


@pytest.mark.parametrize("micros", [0, 1, 4_000, 999_999])
def test_a_fraction_of_a_second_after_the_full_hour_is_an_hour_like_any(micros: int) -> None:
    now = DUSK + timedelta(microseconds=micros)
    sky = fetched(weather(START, COLD), now)

    sheet = draw_up(Round.DUSK, collection(), sky, {}, now)

    assert of(sheet, ChoreKind.CARRY_IN)


# -- short dips


TENDER = Limits(night_low=Limit(13.0, "comfort"), brief_low=Limit(8.0, "injury"))


def tender(name: str = "Test strap", *, rot: Rot = "low", brief_low: float | None = 8.0) -> Plant:
    """A plant of the bench that stands less than 13 °C for a while, if it has a `brief_low`."""
    limits = replace(TENDER, rot=RotClass(rot, "test"))
    if brief_low is None:
        limits = replace(limits, brief_low=None)
    return replace(plant(name), limits=limits)


def dips(*valleys: tuple[str, float]) -> np.ndarray:
    """20 °C, and a straight fall to a depth at some hours and straight up again within one."""
    temp = np.full(96, 20.0)
    for at, depth in valleys:
        temp[int((utc(at) - START).total_seconds() // 3600)] = depth
    return temp


def test_a_short_shallow_dip_is_borne_and_told() -> None:
    # From 20 °C by 28/3 K to 10 2/3 and back: under 13 for the lower quarter of each hour.
    dip = dips(("2026-05-15T05:00", 32 / 3))
    sheet = told(Round.DUSK, dip, tender(), habits=Habits(caution=20.0))

    assert sheet.chores == ()
    at = utc("2026-05-15T05:00")
    half_an_hour: Any = pytest.approx(0.5, abs=0.01)
    assert sheet.warnings == (ColdBorne(("Test strap",), 10.67, at, half_an_hour, 13.0),)
    assert warned(sheet, ColdBorne)[0].at.hour == 2, "by the site's clock"


@pytest.mark.parametrize(
    "temp",
    [
        dips(("2026-05-15T05:00", 12.0), ("2026-05-14T05:00", 12.9)),
        dips(("2026-05-15T05:00", 12.0), ("2026-05-16T05:00", 12.9)),
    ],
    ids=["last night too", "tomorrow too"],
)
def test_two_nights_in_a_row_are_an_order(temp: np.ndarray) -> None:
    sheet = told(Round.DUSK, temp, tender())

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert (chore.because[0].rule, chore.because[0].limit) == ("cold night", 13.0)
    assert not warned(sheet, ColdBorne)


@pytest.mark.parametrize(
    ("last_hour", "carried"), [(3, False), (4, True)], ids=["within an hour", "longer"]
)
def test_an_hour_under_the_limit_is_borne_and_no_more(last_hour: int, carried: bool) -> None:
    # At 03:00 (and 04:00) UTC 12.5 °C, else 20: 1/15 h before and after, and an hour between two.
    temp = dips(("2026-05-15T03:00", 12.5), (f"2026-05-15T0{last_hour}:00", 12.5))

    assert bool(of(told(Round.DUSK, temp, tender()), ChoreKind.CARRY_IN)) == carried


def test_the_hours_told_are_those_under_the_limit() -> None:
    # From 20 °C by 8 K to 12 and back within an hour each: under 13 for 1/8 of either.
    sheet = told(Round.DUSK, dips(("2026-05-15T05:00", 12.0)), tender())

    (borne,) = warned(sheet, ColdBorne)
    assert (borne.low_c, borne.limit_c) == (12.0, 13.0)
    assert borne.hours == pytest.approx(0.25, abs=0.01)


def test_a_plant_that_bore_last_night_outside_was_not_carried_in() -> None:
    first, yesterday = START - timedelta(days=1), DUSK - timedelta(days=1)
    temp = np.concatenate([np.full(24, 20.0), dips(("2026-05-14T05:00", 12.0))])

    def at(round_: Round, now: datetime) -> Sheet:
        return draw_up(round_, collection(tender()), fetched(weather(first, temp), now), {}, now)

    assert not at(Round.DUSK, yesterday).chores
    assert at(Round.MORNING, MORNING).states["Test strap"].spot == "bench"


def test_how_long_a_dip_is_borne_is_the_growers_to_say() -> None:
    temp = dips(("2026-05-15T05:00", 12.0))

    strict = told(Round.DUSK, temp, tender(), habits=Habits(brief_cold=timedelta(minutes=10)))

    assert of(strict, ChoreKind.CARRY_IN)


def test_a_short_dip_under_the_limit_of_injury_is_an_order() -> None:
    sheet = told(Round.DUSK, dips(("2026-05-15T05:00", 7.9)), tender())

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    (reason,) = chore.because
    assert reason.value == 7.9
    assert not warned(sheet, ColdBorne)


def test_a_plant_of_which_no_injury_is_known_bears_nothing() -> None:
    sheet = told(Round.DUSK, dips(("2026-05-15T05:00", 12.0)), tender(brief_low=None))

    assert of(sheet, ChoreKind.CARRY_IN)
    assert not warned(sheet, ColdBorne)


def test_a_dip_in_a_night_next_to_one_of_which_nothing_is_known_is_no_dip_alone() -> None:
    temp = dips(("2026-05-15T05:00", 12.0))
    gap = temp.copy()
    gap[72:78] = np.nan  # of the night after, whose cold goes on until row 85

    assert not of(told(Round.DUSK, temp[:86], tender()), ChoreKind.CARRY_IN)
    assert of(told(Round.DUSK, temp[:85], tender()), ChoreKind.CARRY_IN)
    assert of(told(Round.DUSK, gap, tender()), ChoreKind.CARRY_IN)


def test_injury_counts_by_day_and_comfort_does_not() -> None:
    cool, cold = dips(("2026-05-14T15:00", 9.0)), dips(("2026-05-14T15:00", 7.0))

    assert not of(told(Round.MORNING, cool, tender()), ChoreKind.CARRY_IN)
    (chore,) = of(told(Round.MORNING, cold, tender()), ChoreKind.CARRY_IN)
    # 8 °C is crossed 12/13 of an hour after 14:00 UTC; 45 minutes before that is 14:10.
    assert chore.before == utc("2026-05-14T14:10")
    assert chore.because[0].rule == "injury by cold"


def beside_a_delicate_one(caution: float) -> Sheet:
    return told(
        Round.DUSK,
        dips(("2026-05-15T05:00", 12.0)),
        tender("hardy"),
        tender("delicate", brief_low=None),
        tender("inside"),
        state={"inside": PlantState("room")},
        habits=Habits(caution=caution),
    )


def test_those_who_bear_it_and_those_who_do_not_are_told_apart() -> None:
    sheet = beside_a_delicate_one(caution=0.0)

    assert [chore.plants for chore in of(sheet, ChoreKind.CARRY_IN)] == [("delicate",)]
    assert [remark.plants for remark in warned(sheet, ColdBorne)] == [("hardy",)]
    assert len(sheet.warnings) == 1


def test_a_dip_that_is_borne_is_no_harm_to_weigh() -> None:
    """Not even on a walk that is made anyway."""
    sheet = beside_a_delicate_one(caution=60.0)

    assert [chore.plants for chore in of(sheet, ChoreKind.CARRY_IN)] == [("delicate",)]
    assert [remark.plants for remark in warned(sheet, ColdBorne)] == [("hardy",)]


# -- wet crowns


WET: dict[str, Any] = {
    "rain_mm": np.where(np.arange(96) >= 40, 0.5, 0.0),
    "dew_point_c": 10.0,
    "cloud": 1.0,
}
"""Rain from 16:00 UTC of the 14th on without an end."""


@pytest.mark.parametrize(("rot", "carried"), [("high", True), ("medium", False), ("low", False)])
def test_a_wet_crown_stands_less_cold(rot: Rot, carried: bool) -> None:
    """Under 10 + 1.5 °C in the rain is cold for plants that rot; the wet-crown rule is left out."""
    cold_alone = tuple(rule for rule in standard_rules() if rule.name == "cold night")

    sheet = told(
        Round.DUSK,
        np.full(96, 11.4),
        plant(night_low=10.0, rot=rot),
        rules=cold_alone,
        **WET,
    )

    carries = of(sheet, ChoreKind.CARRY_IN)
    assert bool(carries) == carried
    for chore in carries:
        (reason,) = chore.because
        assert reason.limit == 11.5
        assert reason.origin == "test; 1.5 K more while the crown is wet"


def test_a_dry_crown_does_not() -> None:
    sheet = told(Round.DUSK, np.full(96, 11.4), plant(night_low=10.0, rot="high"))

    assert not of(sheet, ChoreKind.CARRY_IN)


def test_by_how_much_is_the_growers_to_say() -> None:
    cold_alone = tuple(rule for rule in standard_rules() if rule.name == "cold night")
    kinder = Habits(wet_margin_k=0.0)

    sheet = told(
        Round.DUSK, np.full(96, 11.4), plant(night_low=10.0), rules=cold_alone, habits=kinder, **WET
    )

    assert not of(sheet, ChoreKind.CARRY_IN)


STILL: dict[str, Any] = {"dew_point_c": 13.0, "wind_m_s": 0.3, "cloud": 1.0}


def rain_at(first: str, last: str, mm: float = 2.0) -> np.ndarray:
    rows = START.timestamp() + 3600 * np.arange(96)
    return np.where((rows >= utc(first).timestamp()) & (rows <= utc(last).timestamp()), mm, 0.0)


EVENING = rain_at("2026-05-14T22:00", "2026-05-15T00:00")
"""Rain in the three hours to 00:00 UTC: from 18:00 to 21:00 at the site."""


def test_a_rainy_evening_before_a_cool_still_night_carries_in_before_the_rain() -> None:
    sheet = told(Round.DUSK, np.full(96, 14.0), plant(night_low=12.0), rain_mm=EVENING, **STILL)

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    # The first rain falls after 21:00 UTC; the lead is 45 minutes.
    assert chore.before == utc("2026-05-14T20:15")
    (reason,) = chore.because
    assert (reason.rule, reason.unit, reason.above) == ("wet crown overnight", "h", True)
    assert reason.value is not None
    assert reason.value > 8.0


@pytest.mark.parametrize(
    ("temp", "rot", "series"),
    [
        (22.0, "high", STILL),
        (14.0, "low", STILL),
        (14.0, "medium", STILL),
        (24.0, "high", {"dew_point_c": 10.0, "wind_m_s": 8.0, "cloud": 1.0}),
    ],
    ids=["warm night", "crown that stands it", "crown in between", "dry wind"],
)
def test_without_a_long_cool_wetness_a_plant_stays_out(
    temp: float, rot: Rot, series: dict[str, Any]
) -> None:
    sheet = told(
        Round.DUSK, np.full(96, temp), plant(night_low=12.0, rot=rot), rain_mm=EVENING, **series
    )

    assert not of(sheet, ChoreKind.CARRY_IN)


def test_dew_alone_is_no_rainy_evening() -> None:
    open_sky = Spot("bench", sky_view=1.0, wind=0.2, night_offset_k=0.0, sun_windows=())
    temp = daily_curve(14.0, 24.0, 96)

    sheet = told(
        Round.DUSK, temp, plant(night_low=9.0), spots=(open_sky, WARM_ROOM), dew_point_c=14.0
    )

    assert not of(sheet, ChoreKind.CARRY_IN)


def test_unknown_rain_is_taken_for_rain_where_crowns_rot() -> None:
    unknown = np.where(EVENING > 0, np.nan, 0.0)
    plants = (plant("rots", night_low=12.0), plant("does not", night_low=12.0, rot="low"))

    sheet = told(Round.DUSK, np.full(96, 15.0), *plants, rain_mm=unknown, **STILL)

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert chore.plants == ("rots",)
    assert chore.because[0].value is None


def test_unknown_rain_in_a_warm_night_is_no_matter() -> None:
    sheet = told(Round.DUSK, np.full(96, 22.0), plant(night_low=12.0), rain_mm=np.nan, **STILL)

    assert not of(sheet, ChoreKind.CARRY_IN)


AFTERNOON = rain_at("2026-05-14T17:00", "2026-05-14T20:00")


@pytest.mark.parametrize(
    "rain",
    [
        AFTERNOON,
        np.where(AFTERNOON > 0, np.nan, AFTERNOON),
        rain_at("2026-05-14T17:00", "2026-05-15T04:00", 0.19),
    ],
    ids=["rain", "rain that nobody knows of", "twelve hours of drizzle"],
)
def test_crowns_that_rain_wetted_in_the_afternoon_are_wet_overnight(rain: np.ndarray) -> None:
    sheet = told(Round.DUSK, np.full(96, 14.0), plant(night_low=12.0), rain_mm=rain, **STILL)

    assert of(sheet, ChoreKind.CARRY_IN)


# -- a grower's own rule about the night limit by day


def test_cold_by_day_under_a_growers_own_rule_is_an_order() -> None:
    own = a_rule(watch="temperature", below="night_low", hours="any", asks="carry in")
    temp = dips(("2026-05-14T17:00", 11.0))  # 14:00 at the site, for under an hour

    sheet = told(
        Round.MORNING,
        temp,
        tender(),
        rules=(*standard_rules(), own),
        state={"Test strap": PlantState("bench")},
    )

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    assert (chore.because[0].rule, chore.because[0].limit) == ("own", 13.0)
    assert chore.before < utc("2026-05-14T17:00")
    assert not warned(sheet, ColdBorne)


def test_at_dusk_too_it_is_no_dip_that_is_borne() -> None:
    own = a_rule(watch="temperature", below="night_low", hours="any", asks="carry in")
    temp = dips(("2026-05-15T05:00", 12.0))

    borne = told(Round.DUSK, temp, tender())
    ordered = told(Round.DUSK, temp, tender(), rules=(*standard_rules(), own))

    assert not borne.chores
    assert of(ordered, ChoreKind.CARRY_IN)
    assert warned(borne, ColdBorne)
    assert not warned(ordered, ColdBorne)
