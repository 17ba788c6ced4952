"""Sheets, walks and the state that follows."""

import gc
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import (
    CarryBegins,
    CarryEnds,
    ForecastOld,
    NoShelter,
    Remark,
    Spell,
    WateringUnplanned,
)
from sillward_rules.revision import CORRECTED
from sillward_rules.sheet import Round, draw_up, draw_up_orders
from sillward_rules.transitions import next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_moment
from tests.bench import invented
from tests.support.core import (
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
EVENING = utc("2026-05-14T20:00")
MORNING = utc("2026-05-15T11:30")
COLD = daily_curve(8.0, 19.0, 9 * 24)


def test_the_same_arguments_give_the_same_sheet() -> None:
    household = collection(plant("a"), plant("b", night_low=10.0))
    sky = fetched(weather(START, COLD), EVENING)

    assert draw_up(Round.DUSK, household, sky, {}, EVENING) == draw_up(
        Round.DUSK, household, sky, {}, EVENING
    )


def test_state_follows_the_advice_and_says_assumed() -> None:
    household = collection(plant("a"))
    dusk = draw_up(Round.DUSK, household, fetched(weather(START, COLD), EVENING), {}, EVENING)

    state = next_state({}, dusk)

    assert state["a"].spot == "room"
    assert state["a"].assumed
    morning = draw_up(
        Round.MORNING, household, fetched(weather(START, COLD), MORNING), state, MORNING
    )
    assert next_state(state, morning)["a"].spot == "bench"


@pytest.mark.parametrize("round_", Round)
def test_what_a_sheet_was_drawn_from_goes_with_the_next_one_at_once(round_: Round) -> None:
    """In a circle it would wait for the collector of garbage, with all its hours: a daemon that
    draws up sheets day and night would take some MB more. Only the last is kept."""
    household = collection(plant("a"), plant("b", shelter=None))
    sky = fetched(weather(START, COLD), EVENING)
    gc.collect()
    before = _scenes()  # of other tests
    enabled = gc.isenabled()
    gc.disable()
    try:
        sheet = draw_up(round_, household, sky, {}, EVENING)
        orders = len(sheet.chores)
        del sheet  # it works out some things when asked
        newer = fetched(weather(START, COLD), EVENING)
        draw_up(round_, household, newer, {}, EVENING)
        left = [scene.weather for scene in _scenes() if scene not in before]
    finally:
        if enabled:
            gc.enable()

    assert orders or round_ is not Round.DUSK
    assert left == [newer]


def test_orders_on_the_same_scene_are_those_on_one_of_their_own() -> None:
    household = collection(plant("a"), plant("b", night_low=10.0))
    sky, known = fetched(weather(START, COLD), EVENING), {"a": PlantState("room", EVENING)}

    def orders(state: dict[str, PlantState]) -> list[Chore]:
        return list(draw_up_orders(Round.DUSK, household, sky, state, EVENING).chores)

    alone = orders({}), orders(known)
    draw_up(Round.DUSK, household, sky, {}, EVENING)
    state = dict[str, PlantState]()
    assert orders(state) == alone[0]
    state |= known  # the caller's own, changed since
    assert orders(state) == alone[1] != alone[0]


def _scenes() -> list[Scene]:
    return [found for found in gc.get_objects() if isinstance(found, Scene)]


def test_what_is_said_of_tomorrow_moves_nothing_yet() -> None:
    household = collection(plant("a"))
    state = {"a": PlantState("room", EVENING, assumed=False)}

    dusk = draw_up(Round.DUSK, household, fetched(weather(START, COLD), EVENING), state, EVENING)

    assert any(chore.kind is ChoreKind.CARRY_OUT for chore in dusk.chores)
    assert next_state(state, dusk)["a"] == state["a"]


def test_without_history_a_cold_night_is_taken_as_carried_in_only_that_morning() -> None:
    household = collection(plant("a"))
    sky = fetched(weather(START, COLD), MORNING)

    at_dawn = draw_up(Round.MORNING, household, sky, {}, MORNING)
    in_the_night = draw_up(Round.DUSK, household, sky, {}, utc("2026-05-15T04:00"))

    assert at_dawn.states["a"].spot == "room"
    assert in_the_night.states["a"].spot == "bench"


def test_a_plant_recorded_at_a_spot_that_is_gone_has_no_history() -> None:
    household = collection(plant("a"))
    sky = fetched(weather(START, COLD), EVENING)

    sheet = draw_up(Round.DUSK, household, sky, {"a": PlantState("old shed")}, EVENING)

    assert sheet.states["a"].spot == "bench"


def test_week_counts_nights_trips_and_the_turn_of_the_season() -> None:
    warming = COLD + np.repeat(np.arange(9) * 1.5, 24)
    household = collection(plant("a"))

    sheet = draw_up(Round.WEEK, household, fetched(weather(START, warming), EVENING), {}, EVENING)

    assert sheet.outlook is not None
    cold = [night for night in sheet.outlook.nights if night.plants_in]
    assert len(cold) == 2
    assert sheet.outlook.trips == 4
    assert sheet.outlook.turn == CarryEnds(date(2026, 5, 16))


def test_week_names_the_first_night_that_needs_a_carry() -> None:
    cooling = daily_curve(16.0, 26.0, 9 * 24) - np.repeat(np.arange(9) * 0.9, 24)
    household = collection(plant("a"))

    sheet = draw_up(Round.WEEK, household, fetched(weather(START, cooling), EVENING), {}, EVENING)

    assert sheet.outlook is not None
    first = next(night.day for night in sheet.outlook.nights if night.plants_in)
    assert sheet.outlook.turn == CarryBegins(first)


def test_hot_and_dry_spells_are_told() -> None:
    household = collection(plant("a", holder="mount"))
    sky = fetched(weather(START, daily_curve(20.0, 38.0, 9 * 24), dew_point_c=6.0), EVENING)

    sheet = draw_up(Round.WEEK, household, sky, {}, EVENING)

    assert sheet.outlook is not None
    first, days = sheet.outlook.days[0].day, len(sheet.outlook.days)
    assert sheet.outlook.spells == (Spell("hot", first, days, 1), Spell("dry", first, days, 1))


def test_an_old_forecast_is_named_as_old() -> None:
    sky = fetched(weather(START, COLD), EVENING - timedelta(hours=8))

    sheet = draw_up(Round.DUSK, collection(plant("a")), sky, {}, EVENING)

    assert sheet.warnings[0] == ForecastOld(8.0, expired=False)


def test_open_questions_of_used_spots_are_named() -> None:

    vague = Spot("bench")
    household = collection(plant("a"), spots=(vague, WARM_ROOM, Spot("unused")))

    sheet = draw_up(Round.DUSK, household, fetched(weather(START, COLD), EVENING), {}, EVENING)

    assert any(
        str(question).startswith("bench: sky_view is not given") for question in sheet.assumptions
    )
    assert not any(question.spot == "unused" for question in sheet.assumptions)


# -- what goes out in the morning, and is due back before the dusk round


SUNNY_DAY = daily_curve(14.0, 26.0, 9 * 24)


def with_hour(series: np.ndarray, hour: str, value: float, *, onward: bool = False) -> np.ndarray:
    """The series with another value at this hour (UTC), or from it on."""
    changed = series.copy()
    row = int((utc(hour) - START).total_seconds() // 3600)
    changed[row : None if onward else row + 1] = value
    return changed


STORM, _ = read_rule({"name": "storm", "watch": "gust", "above": "15 m/s", "asks": "carry in"})
FRONT_AT = "2026-05-15T19:00"  # 16:00 at the site, the sun sets at 18:40


@pytest.mark.parametrize(
    ("temp", "gust", "habits", "quantity", "latest"),
    [
        (
            with_hour(daily_curve(8.0, 24.0, 9 * 24), FRONT_AT, 3.0, onward=True),
            np.full(9 * 24, 2.0),
            Habits(),
            "leaf temperature",
            "2026-05-15T18:00",
        ),
        (
            daily_curve(8.0, 26.0, 9 * 24),
            np.full(9 * 24, 2.0),
            Habits(in_by=parse_moment("16:00")),
            "leaf temperature",
            "2026-05-15T19:00",
        ),
        (
            SUNNY_DAY,
            with_hour(np.full(9 * 24, 2.0), FRONT_AT, 25.0),
            Habits(),
            "gust",
            "2026-05-15T18:00",
        ),
    ],
    ids=["a cold front", "in by 16:00", "a rule about gusts"],
)
def test_what_goes_out_in_the_morning_is_told_when_it_is_due_back(
    temp: np.ndarray, gust: np.ndarray, habits: Habits, quantity: str, latest: str
) -> None:
    assert STORM is not None
    tender = plant("a")
    tender = replace(tender, limits=replace(tender.limits, brief_low=Limit(8.0, "test")))
    household = collection(tender, rules=[*standard_rules(), STORM], habits=habits)
    sky = fetched(weather(START, temp, gust_m_s=gust), MORNING)
    state = {"a": PlantState("room", utc("2026-05-14T21:00"))}

    sheet = draw_up(Round.MORNING, household, sky, state, MORNING)

    (out,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT]
    (back,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert back.because[0].quantity == quantity
    assert (back.from_spot, back.to_spot) == ("bench", "room")
    assert out.before < back.before <= utc(latest)
    mists = [chore for chore in sheet.chores if chore.kind is ChoreKind.MIST]
    assert mists
    assert all(chore.before <= back.before for chore in mists)


# -- the tail of the night, and nights that are not known


@pytest.mark.parametrize("warmest_utc", [19, 22])
def test_the_cold_tail_of_a_night_is_not_counted_against_the_next(warmest_utc: int) -> None:
    # The sun rises at 08:17 on the 15th, the leaf stays cold for some hours; the nights after
    # that are mild.
    cold = daily_curve(5.0, 25.0, 9 * 24, warmest_utc=warmest_utc)
    noon = int((utc("2026-05-15T15:00") - START).total_seconds() // 3600)
    temp = np.where(np.arange(9 * 24) > noon, np.maximum(cold, 16.0), cold)
    tender = plant("a")
    tender = replace(tender, limits=replace(tender.limits, brief_low=Limit(10.0, "test")))
    sky = fetched(weather(START, temp), EVENING)

    dusk = draw_up(Round.DUSK, collection(tender), sky, {}, EVENING)
    week = draw_up(Round.WEEK, collection(tender), sky, {}, EVENING)

    assert [chore.kind for chore in dusk.chores] == [ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT]
    assert week.outlook is not None
    assert [night.day.day for night in week.outlook.nights if night.plants_in] == [14]
    assert [chore.before.day for chore in week.chores if chore.kind is ChoreKind.CARRY_OUT] == [15]


def test_no_first_night_that_needs_a_carry_after_a_night_that_is_not_known() -> None:
    afternoon = utc("2026-05-14T16:00")
    sky = fetched(weather(START, daily_curve(8.0, 24.0, 9 * 24)), afternoon)
    # Of last night, which ended at 11:17 UTC, nothing is known; of the nights to come all is.
    before = sky.times < utc("2026-05-14T15:00").timestamp()
    unknown = replace(sky, temp_c=np.where(before, np.nan, sky.temp_c))
    mild = replace(sky, temp_c=np.where(before, 20.0, sky.temp_c))

    def turn(of: Weather) -> Remark | None:
        sheet = draw_up(Round.WEEK, collection(plant("a")), of, {}, afternoon)
        assert sheet.outlook is not None
        assert sheet.outlook.nights[0].plants_in
        return sheet.outlook.turn

    assert turn(unknown) is None
    assert turn(mild) == CarryBegins(date(2026, 5, 14))


# -- states of what is gone


@pytest.mark.parametrize("round_", list(Round))
def test_a_plant_that_came_from_a_spot_that_is_gone_raises_nothing(round_: Round) -> None:
    state = {"a": PlantState("room", utc("2026-05-14T21:00"), came_from="old bench")}
    sky = fetched(weather(START, COLD), EVENING)

    sheet = draw_up(round_, collection(plant("a")), sky, state, EVENING)

    assert {chore.from_spot for chore in sheet.chores} <= {"bench", "room"}
    assert sheet.states["a"].spot == "bench", "no history: at home"


def test_states_of_plants_that_left_do_not_make_a_new_plant_known() -> None:
    sky = fetched(weather(START, COLD), MORNING)
    gone = {"gone": PlantState("room"), "gone too": PlantState("bench")}

    with_gone = draw_up(Round.MORNING, collection(plant("a")), sky, gone, MORNING)
    without = draw_up(Round.MORNING, collection(plant("a")), sky, {}, MORNING)

    assert with_gone.states["a"].spot == "room"
    assert with_gone.chores == without.chores
    assert any(chore.kind is ChoreKind.CARRY_OUT for chore in with_gone.chores)


# -- an old forecast


WATERING = {ChoreKind.MIST, ChoreKind.FEED, ChoreKind.FLUSH, ChoreKind.STOP_WETTING}


@pytest.mark.parametrize(("hours", "waters"), [(24, True), (25, False)])
def test_nothing_is_watered_on_a_forecast_older_than_a_day_and_the_sheet_says_so(
    hours: int, waters: bool
) -> None:
    sky = fetched(weather(START, SUNNY_DAY), MORNING - timedelta(hours=hours))

    sheet = draw_up(Round.MORNING, collection(plant("a", night_low=5.0)), sky, {}, MORNING)

    assert bool(WATERING & {chore.kind for chore in sheet.chores}) is waters
    assert (WateringUnplanned() in sheet.warnings) is not waters


# -- the order of chores


def hour_of(chore: Chore) -> datetime:
    """When to begin with carrying out, when to be done with all else."""
    carried_out = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return chore.not_before if carried_out and chore.not_before else chore.before


def test_chores_of_the_week_are_in_the_order_of_their_hours() -> None:
    # On the 15th one plant must be in before the storm of 11:00, and another goes out at noon.
    storm, _ = read_rule(
        {
            "name": "storm",
            "watch": "gust",
            "above": "15 m/s",
            "asks": "carry in",
            "plants": {"name": ["b"]},
        }
    )
    assert storm is not None
    household = collection(
        plant("a", night_low=15.0),
        plant("b", night_low=2.0),
        rules=[*standard_rules(), storm],
        habits=Habits(worth_going_out=timedelta(hours=3)),
    )
    gust = with_hour(np.full(9 * 24, 2.0), "2026-05-15T14:00", 30.0)
    sky = fetched(weather(START, COLD, gust_m_s=gust), EVENING)

    sheet = draw_up(Round.WEEK, household, sky, {}, EVENING)

    carried = [(chore.kind, chore.plants) for chore in sheet.chores]
    storm_at, out_at = (ChoreKind.CARRY_IN, ("b",)), (ChoreKind.CARRY_OUT, ("a",))
    assert carried.index(storm_at) < carried.index(out_at)
    hours = [hour_of(chore) for chore in sheet.chores]
    assert hours == sorted(hours)


def test_the_morning_warns_of_what_goes_out_and_has_nowhere_to_go_back_to() -> None:
    now = utc("2026-05-15T11:30")
    room = Spot("room", indoors=True)  # nobody knows what it holds
    made = collection(
        plant(shelter=None), spots=(OPEN_BENCH, room), habits=Habits(in_by=parse_moment("16:00"))
    )
    sky = fetched(weather(utc("2026-05-13T00:00"), daily_curve(8.0, 26.0, 9 * 24)), now)

    sheet = draw_up(Round.MORNING, made, sky, {"Test strap": PlantState("room")}, now)

    assert any(chore.kind is ChoreKind.CARRY_OUT for chore in sheet.chores)
    assert NoShelter(("Test strap",)) in sheet.warnings


@pytest.mark.parametrize("round_", [Round.DUSK, Round.MORNING])
@pytest.mark.parametrize("seed", range(6))
def test_orders_alone_are_those_of_the_whole_sheet(round_: Round, seed: int) -> None:
    """What a newer forecast is compared by is what it would be on the sheet, but for what the next
    round tells again."""
    now = invented.MOMENTS[round_] + timedelta(days=seed)
    garden, forecast = invented.collection(40, seed), invented.weather(now)
    before = draw_up(Round.MORNING, garden, forecast, {}, now - timedelta(hours=3))
    states = next_state({}, before)

    whole = draw_up(round_, garden, forecast, states, now)
    orders = draw_up_orders(round_, garden, forecast, states, now)

    def is_compared(chore: Chore) -> bool:
        if chore.kind is ChoreKind.CARRY_OUT:
            return round_ is Round.MORNING
        by_day = chore.kind is ChoreKind.STAY_IN and chore.not_before is not None
        return chore.kind in CORRECTED or (by_day and round_ is Round.MORNING)

    assert orders.chores == tuple(filter(is_compared, whole.chores))
    assert orders.chores
    assert (orders.spot_lows, orders.lows) == (whole.spot_lows, whole.lows)
    assert dict(orders.states) == dict(whole.states)


def test_plants_that_were_not_told_to_go_out_are_not_told_to_come_back() -> None:
    """A newer forecast may find a day worth going out for; nobody is sent out by it, so nobody has
    to be in again before dusk either."""
    now = invented.MOMENTS[Round.MORNING]
    garden, forecast = invented.collection(40, 2), invented.weather(now)
    inside = {
        one.name: PlantState(one.shelter, now - timedelta(hours=12), assumed=False)
        for one in garden.plants
        if one.shelter
    }

    asked = draw_up_orders(Round.MORNING, garden, forecast, inside, now)
    nothing = draw_up_orders(Round.MORNING, garden, forecast, inside, now, goes_out=False)

    assert ChoreKind.CARRY_OUT in {chore.kind for chore in asked.chores}
    assert nothing.chores == ()
