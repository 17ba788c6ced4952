"""Chances in a sheet: behind reasons and chores, close calls, nights ahead, the explanation."""

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.explanation import Explanation, explain_plant
from sillward_rules.planners.carry import CLOSE_CALL
from sillward_rules.plants.collection import DEFAULT_CAUTION, Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.rules import Rule
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import CloseCall, ColdBorne, Threat
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.hourly import EXPIRED_AFTER, Weather
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import Spread, usual_error_k
from tests.support.core import (
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    warned,
    weather,
)

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")  # 17:00 at the site; the sun sets at 18:42 and rises at 08:17
HOURS = 96
COLDEST = 57  # 09:00 UTC, 13 h ahead
USUAL_K = float(usual_error_k(13.0))
WALL = replace(OPEN_BENCH, name="wall", night_offset_k=0.5)


def night(low: float, hours: int = HOURS) -> Array:
    """Mild weather whose coldest hour in the coming night is this cold, the others 3 K milder."""
    temp = np.full(hours, low + 3.0)
    temp[COLDEST] = low
    return temp


def gaussian(margin: float, sd: float) -> float:
    return 0.5 * math.erfc(margin / sd / math.sqrt(2.0))


def dusk(
    temp: Array,
    *plants: Plant,
    spread: Spread | None = None,
    state: dict[str, PlantState] | None = None,
    spots: tuple[Spot, ...] = (OPEN_BENCH, WALL, WARM_ROOM),
    rules: tuple[Rule, ...] | None = None,
    age: timedelta = timedelta(0),
    round_: Round = Round.DUSK,
    caution: float = DEFAULT_CAUTION,
    **series: object,
) -> Sheet:
    """The sheet by a forecast of this spread; without one, of the usual errors."""
    air = replace(fetched(weather(START, temp, **series), DUSK - age), spread=spread)
    made = collection(*plants, spots=spots, rules=rules, habits=Habits(caution=caution))
    return draw_up(round_, made, air, state or {}, DUSK)


def of(sheet: Sheet, kind: ChoreKind) -> Chore:
    (chore,) = [
        listed for listed in sheet.chores if listed.kind is kind and listed.not_before is None
    ]
    return chore


def members(values: Array, error_k: float = 1.0, hours: int = HOURS) -> Spread:
    """Members that err by these amounts all the time."""
    return Spread(np.tile(values[:, None], hours), np.full(hours, error_k), "members of a test")


# -- behind a chore


def test_a_carry_in_has_the_chance_that_the_leaf_goes_under_the_limit() -> None:
    chore = of(dusk(night(12.0)), ChoreKind.CARRY_IN)

    assert chore.because[0].chance == round(gaussian(-1.0, USUAL_K), 2)
    assert chore.chance == chore.because[0].chance


def test_with_members_the_chance_is_theirs() -> None:
    five = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])

    chore = of(dusk(night(12.0), spread=members(five)), ChoreKind.CARRY_IN)

    expected = np.mean([gaussian(-1.0 + deviation, 1.0) for deviation in five])
    assert chore.chance == round(float(expected), 2)


def test_members_that_do_not_know_the_whole_night_leave_the_usual_errors() -> None:
    gap = members(np.linspace(-9.0, 9.0, 7))
    gap.deviations[0, COLDEST + 1] = np.nan  # six are left

    known, unknown = dusk(night(12.0), spread=gap), members(np.linspace(-9.0, 9.0, 7))
    unknown.deviations[:, COLDEST + 1] = np.nan
    usual = dusk(night(12.0), spread=unknown)

    assert known.spread == "members of a test"
    assert usual.spread == "usual errors by lead time"
    assert of(usual, ChoreKind.CARRY_IN).chance == round(gaussian(-1.0, USUAL_K), 2)


def test_an_older_model_run_is_less_sure() -> None:
    fresh, old = (
        of(dusk(night(12.0), age=timedelta(hours=age)), ChoreKind.CARRY_IN).chance
        for age in (0, 23)
    )

    assert fresh is not None
    assert old == round(gaussian(-1.0, 1.3 + 0.4 * 18 / 24), 2)
    assert old < fresh


def test_the_chance_of_a_chore_is_that_of_its_tenderest_plant() -> None:
    plants = [plant(f"Plant {limit}", night_low=limit) for limit in (12.5, 13.2, 13.0)]

    chore = of(dusk(night(12.0), *plants), ChoreKind.CARRY_IN)

    chances = {reason.plant: reason.chance for reason in chore.because}
    assert chances == {
        f"Plant {limit}": round(gaussian(12.0 - limit, USUAL_K), 2) for limit in (12.5, 13.2, 13.0)
    }
    assert chore.chance == chances["Plant 13.2"]


def test_what_stays_in_tonight_has_the_chance_of_its_home() -> None:
    sheet = dusk(night(12.0), state={"Test strap": PlantState("room")})

    assert of(sheet, ChoreKind.STAY_IN).chance == round(gaussian(-1.0, USUAL_K), 2)


def test_going_out_and_staying_in_by_day_have_no_chance() -> None:
    mild = dusk(daily_curve(9.0, 24.0, HOURS))
    cold = dusk(daily_curve(-5.0, 10.0, HOURS))

    by_day = [
        chore
        for sheet in (mild, cold)
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_OUT or chore.not_before is not None
    ]
    assert {chore.kind for chore in by_day} == {ChoreKind.CARRY_OUT, ChoreKind.STAY_IN}
    assert all(chore.chance is None for chore in by_day)


def test_an_unknown_night_and_a_stale_forecast_have_no_chance() -> None:
    holes = night(12.0)
    holes[50:55] = np.nan

    for sheet in (dusk(holes), dusk(night(12.0), age=EXPIRED_AFTER + timedelta(minutes=1))):
        chore = of(sheet, ChoreKind.CARRY_IN)
        assert chore.because[0].chance is None
        assert chore.chance is None
    assert dusk(night(12.0), age=EXPIRED_AFTER + timedelta(minutes=1)).spread is None


def test_other_quantities_and_cold_by_day_have_no_chance() -> None:
    gusts = np.full(HOURS, 2.0)
    gusts[50:53] = 30.0
    rule, _ = read_rule({"name": "own", "watch": "gust", "above": "10 m/s", "asks": "carry in"})
    assert rule is not None
    blown = dusk(night(20.0), rules=(rule,), gust_m_s=gusts)
    afternoon = np.full(HOURS, 8.0)
    afternoon[44:46] = 3.0  # up to an hour before sunset
    afternoon[46:] = 20.0
    rule, _ = read_rule(
        {"name": "own", "watch": "leaf temperature", "below": "5 °C", "asks": "carry in"}
    )
    assert rule is not None
    by_day = of(dusk(afternoon, rules=(rule,)), ChoreKind.CARRY_IN)

    assert of(blown, ChoreKind.CARRY_IN).chance is None
    assert by_day.because[0].value == 3.0
    assert by_day.chance is None


def test_a_bound_raised_for_a_wet_crown_is_the_one_that_counts() -> None:
    rain = np.zeros(HOURS)
    rain[40:70] = 1.0
    rules = tuple(rule for rule in standard_rules() if rule.name == "cold night")
    # Saturated air at the coldest hour: the wet leaf is as warm as it.
    wet = dusk(night(13.5), rain_mm=rain, dew_point_c=13.5, rules=rules)

    (reason,) = of(wet, ChoreKind.CARRY_IN).because
    assert reason.limit is not None
    assert reason.limit > 13.5
    assert reason.chance == round(gaussian(13.5 - reason.limit, USUAL_K), 2)


# -- close calls


def threat(margin_k: float, limit_c: float, *plants: str) -> Threat:
    """Of a night whose low is forecast so far above the limit."""
    return with_chance(gaussian(margin_k, USUAL_K), limit_c, *plants)


def with_chance(chance: float, limit_c: float, *plants: str) -> Threat:
    about: Any = pytest.approx(chance)
    return Threat(about, limit_c, plants)


@pytest.mark.parametrize(("low", "told"), [(13.1, True), (13.5, True), (13.6, False), (16, False)])
def test_a_plant_that_stays_out_by_a_hair_is_named(low: float, told: bool) -> None:
    assert gaussian(0.5, USUAL_K) > CLOSE_CALL > gaussian(0.6, USUAL_K)

    sheet = dusk(night(low), caution=0.0)

    expected = [CloseCall("bench", (threat(low - 13, 13.0, "Test strap"),))] if told else []
    assert warned(sheet, CloseCall) == expected
    assert not [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]


def test_one_remark_for_a_spot_the_most_endangered_first() -> None:
    sheet = dusk(
        night(13.1),
        plant("Anemone", night_low=13.0),
        plant("Zinnober", night_low=13.0),
        plant("Boat", night_low=12.8),
        plant("Stone", night_low=5.0),
        plant("Wall aloe", night_low=13.4, home="wall"),
        caution=0.0,
    )

    assert sheet.warnings == (
        CloseCall("bench", (threat(0.1, 13.0, "Anemone", "Zinnober"), threat(0.3, 12.8, "Boat"))),
        CloseCall("wall", (threat(0.2, 13.4, "Wall aloe"),)),
    )


def test_of_many_plants_all_are_given() -> None:
    many = [f"Basket {number:02}" for number in range(80)]

    (call,) = warned(dusk(night(13.1), *map(plant, many), caution=0.0), CloseCall)

    assert [threat.plants for threat in call.threats] == [tuple(many)]


def test_who_is_carried_in_for_the_risk_is_no_close_call() -> None:
    both = plant("Anemone"), plant("Wall aloe", home="wall", night_low=13.5)

    careless, usual, careful = (
        dusk(night(13.1), *both, caution=caution) for caution in (0.0, 10.0, 1000.0)
    )

    assert [call.spot for call in warned(careless, CloseCall)] == ["bench", "wall"]
    assert [call.spot for call in warned(usual, CloseCall)] == ["bench", "wall"]
    assert not warned(careful, CloseCall)
    carried = [chore.plants for chore in careful.chores if chore.kind is ChoreKind.CARRY_IN]
    assert carried == [("Anemone",), ("Wall aloe",)]


def test_who_goes_in_is_under_cover_or_bears_a_dip_is_no_close_call() -> None:
    limits = replace(plant().limits, brief_low=Limit(8.0, "test"))
    bears = replace(plant("Bears it"), limits=limits)
    goes = plant("Goes in", night_low=14.0)
    inside = plant("Inside")

    at_home: dict[str, PlantState] = {"Inside": PlantState("room")}
    sheet = dusk(night(12.9), bears, goes, inside, state=at_home, caution=0.0)

    assert of(sheet, ChoreKind.CARRY_IN).plants == ("Goes in",)
    assert [remark.plants for remark in warned(sheet, ColdBorne)] == [("Bears it",)]
    assert not warned(sheet, CloseCall)


def test_unjudged_and_stale_nights_and_plants_without_limit_are_no_close_calls() -> None:
    holes = night(13.1)
    holes[50:55] = np.nan

    assert not warned(dusk(holes), CloseCall)
    assert not warned(dusk(night(13.1), age=EXPIRED_AFTER + timedelta(minutes=1)), CloseCall)
    assert not warned(dusk(night(13.1), plant(night_low=None)), CloseCall)
    assert not warned(dusk(night(13.1), plant(home="room", night_low=16.5)), CloseCall)


def test_wide_members_make_close_calls_of_mild_nights() -> None:
    wide = members(np.array([-6.0, -5.0, -4.0, 1.0, 2.0, 3.0, 4.0, 5.0]), 0.1)

    three_of_eight = with_chance(3 / 8, 13.0, "Test strap")
    assert warned(dusk(night(16.0), spread=wide, caution=0.0), CloseCall) == [
        CloseCall("bench", (three_of_eight,))
    ]


def test_without_the_rule_for_cold_nights_the_grower_still_hears_of_one() -> None:
    rules = tuple(rule for rule in standard_rules() if rule.name != "cold night")

    assert warned(dusk(night(12.0), rules=rules), CloseCall) == [
        CloseCall("bench", (threat(-1.0, 13.0, "Test strap"),))
    ]


# -- the week


def test_a_night_ahead_has_the_chance_of_its_most_endangered_plant() -> None:
    sheet = dusk(
        night(12.0, 9 * 24),
        plant("Tender", night_low=13.0),
        plant("Hard", night_low=5.0, home="wall"),
        plant("Indoors", night_low=15.0, home="room"),
        state={"Tender": PlantState("room")},
        round_=Round.WEEK,
    )

    assert sheet.outlook is not None
    first, second, *_ = sheet.outlook.nights
    assert first.chance == round(gaussian(-1.0, USUAL_K), 2)
    # The second night is 2 K above the limit all through; its cold ends at 10:17 at the site, and
    # the last full hour before that is 41 h ahead.
    assert second.chance == round(gaussian(2.0, 1.3 + 0.4 * (41 - 18) / 24), 2)


def test_a_night_whose_hours_are_not_known_has_no_chance_and_nothing_outdoors_neither() -> None:
    holes = night(12.0, 9 * 24)
    holes[55:60] = np.nan

    unknown = dusk(holes, round_=Round.WEEK).outlook
    indoors = dusk(night(12.0, 9 * 24), plant(home="room"), round_=Round.WEEK).outlook

    assert unknown is not None
    assert unknown.nights[0].chance is None
    assert unknown.nights[1].chance is not None
    assert indoors is not None
    assert all(night.chance is None for night in indoors.nights)


# -- the explanation, and the weather


def explanation(air: Weather) -> Explanation:
    return explain_plant(plant(), collection(), air, {}, DUSK)


def test_the_account_has_the_chance_and_where_it_is_from() -> None:
    air = uncertain(fetched(weather(START, night(13.5)), DUSK))

    usual = explanation(air)
    own = explanation(replace(air, spread=members(np.zeros(6), 0.5)))

    assert usual.cold_chance == pytest.approx(gaussian(0.5, USUAL_K))
    assert usual.spread == "usual errors by lead time"
    assert own.cold_chance == pytest.approx(gaussian(0.5, 0.5))
    assert own.spread == "members of a test"


def test_a_spread_of_other_hours_is_refused() -> None:
    with pytest.raises(ValueError, match="spread has another length"):
        replace(weather(START, night(12.0)), spread=members(np.zeros(5), hours=HOURS - 1))
