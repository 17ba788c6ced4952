"""Verdicts in odd places: other spots, other rules, unknown hours, cold by day, weeks ahead."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.collection import Habits, PlantState
from sillward_rules.moments import parse_moment
from sillward_rules.plant import Plant
from sillward_rules.rule import Rule, read_rule
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.spot import Spot
from tests.rules.support import (
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
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
    assert all("room" not in text for text in sheet.warnings)


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

    assert not any(text.startswith("own") for text in sheet.warnings)
    assert not of(sheet, ChoreKind.STOP_WETTING)
    assert any("too little is known" in text for text in sheet.warnings)


def test_a_rule_about_wind_does_not_hide_a_shelter_that_is_too_cold() -> None:
    shed = Spot("room", indoors=True, night_low_c=5.0)
    gust = np.full(96, 2.0)
    gust[46:48] = 30.0
    rules = (
        a_rule(watch="leaf temperature", below="limit", hours="night", asks="carry in"),
        a_rule(watch="gust", above="10 m/s", asks="carry in"),
    )

    sheet = told(Round.DUSK, COLD, spots=(OPEN_BENCH, shed), rules=rules, gust_m_s=gust)

    assert any("room holds 5 °C, limit 13" in text for text in sheet.warnings)


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


# -- cold by day


def test_a_cold_front_by_day_is_told_in_the_morning() -> None:
    temp = np.full(96, 20.0)
    temp[39:] = 5.0  # from 15:00 UTC, noon at the site

    sheet = told(Round.MORNING, temp)

    (chore,) = of(sheet, ChoreKind.CARRY_IN)
    # 13 °C is crossed at 14:28 UTC.
    assert chore.before == utc("2026-05-14T13:40")
    assert all(one.before <= chore.before for one in of(sheet, ChoreKind.MIST))


def test_a_cold_spell_by_day_is_no_day_to_go_out() -> None:
    temp = np.full(96, 20.0)
    temp[39:42] = 3.0

    sheet = told(Round.MORNING, temp, state={"Test strap": PlantState("room")})

    assert of(sheet, ChoreKind.STAY_IN)


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
    assert any("too few known hours" in text for text in sheet.warnings)


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

    assert "does not reach this hour" in sheet.warnings[0]


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
