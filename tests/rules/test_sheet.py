"""Sheets, walks and the state that follows."""

from datetime import date, timedelta

import numpy as np
import pytest

from sillward_rules.chore import (
    LEAST_WINDOW,
    ChoreKind,
    Errand,
    Grounds,
    Reason,
    into_chores,
)
from sillward_rules.collection import PlantState
from sillward_rules.sheet import Round, draw_up, next_state
from sillward_rules.spot import Spot
from tests.rules.support import (
    MENDOZA,
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


def errand(
    name: str,
    before: str,
    *,
    kind: ChoreKind = ChoreKind.CARRY_IN,
    start: str = "",
    turn: int = 0,
) -> Errand:
    at = utc(before)
    reason = Reason(name, "leaf temperature", 8.0, "°C", 13.0, at)
    return Errand(
        kind,
        "bench",
        "room",
        utc(start) if start else None,
        at,
        Grounds.of(((name,), reason)),
        turn,
    )


def test_errands_of_one_way_and_time_are_one_walk_by_the_earliest_deadline() -> None:
    chores = into_chores(
        [errand("b", "2026-05-14T21:40"), errand("a", "2026-05-14T21:03")],
        MENDOZA,
        date(2026, 5, 14),
        EVENING - timedelta(hours=12),
    )

    (chore,) = chores
    assert chore.plants == ("a", "b")
    assert chore.before == utc("2026-05-14T21:00")
    assert chore.id == "2026-05-14-carry-in-bench-to-room"


def test_errands_hours_apart_are_two_walks_with_ids_of_their_own() -> None:
    chores = into_chores(
        [errand("a", "2026-05-14T15:00"), errand("b", "2026-05-14T21:00")],
        MENDOZA,
        date(2026, 5, 14),
        EVENING - timedelta(hours=12),
    )

    assert [chore.id for chore in chores] == [
        "2026-05-14-carry-in-bench-to-room",
        "2026-05-14-carry-in-bench-to-room-2",
    ]


def test_windows_that_never_meet_are_two_walks() -> None:
    mist = ChoreKind.MIST
    chores = into_chores(
        [
            errand("a", "2026-05-14T11:00", kind=mist, start="2026-05-14T10:00"),
            errand("b", "2026-05-14T12:00", kind=mist, start="2026-05-14T11:30"),
            errand("c", "2026-05-14T18:00", kind=mist, start="2026-05-14T10:30"),
        ],
        MENDOZA,
        date(2026, 5, 14),
        EVENING - timedelta(hours=12),
    )

    assert [chore.plants for chore in chores] == [("a",), ("b", "c")]
    assert all(
        chore.not_before is not None and chore.not_before <= chore.before for chore in chores
    )


def test_a_misting_goes_with_others_of_its_turn_only() -> None:
    mist, day = ChoreKind.MIST, date(2026, 5, 14)
    asked = [
        errand("a", "2026-05-14T18:00", kind=mist, start="2026-05-14T10:00"),
        errand("a", "2026-05-14T18:00", kind=mist, start="2026-05-14T16:00", turn=1),
        errand("b", "2026-05-14T17:00", kind=mist, start="2026-05-14T15:00", turn=1),
        errand("c", "2026-05-14T17:30", kind=mist, start="2026-05-14T10:30"),
    ]

    chores = into_chores(asked, MENDOZA, day, EVENING - timedelta(hours=12))

    assert {(chore.plants, chore.not_before, chore.before) for chore in chores} == {
        (("c", "a"), utc("2026-05-14T10:30"), utc("2026-05-14T17:30")),
        (("b", "a"), utc("2026-05-14T16:00"), utc("2026-05-14T17:00")),
    }


@pytest.mark.parametrize(("start", "walks"), [("11:30", 1), ("11:35", 2)])
def test_a_misting_waits_for_others_ninety_minutes_and_no_more(start: str, walks: int) -> None:
    asked = [
        errand("a", "2026-05-14T18:00", kind=ChoreKind.MIST, start="2026-05-14T10:00"),
        errand("b", "2026-05-14T18:00", kind=ChoreKind.MIST, start=f"2026-05-14T{start}"),
    ]

    chores = into_chores(asked, MENDOZA, date(2026, 5, 14), EVENING - timedelta(hours=12))

    assert len(chores) == walks


def test_rounding_leaves_a_misting_time_to_walk() -> None:
    asked = errand("a", "2026-05-14T15:11", kind=ChoreKind.MIST, start="2026-05-14T15:01")

    (chore,) = into_chores([asked], MENDOZA, date(2026, 5, 14), EVENING - timedelta(hours=12))

    assert chore.not_before is not None
    assert chore.before <= utc("2026-05-14T15:11")
    assert chore.before - chore.not_before >= LEAST_WINDOW


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
    assert sheet.outlook.turn is not None
    assert sheet.outlook.turn.startswith("no carry needed from Sat 16 May")


def test_week_names_the_first_night_that_needs_a_carry() -> None:
    cooling = daily_curve(16.0, 26.0, 9 * 24) - np.repeat(np.arange(9) * 0.9, 24)
    household = collection(plant("a"))

    sheet = draw_up(Round.WEEK, household, fetched(weather(START, cooling), EVENING), {}, EVENING)

    assert sheet.outlook is not None
    assert sheet.outlook.turn is not None
    assert sheet.outlook.turn.startswith("first night that needs a carry:")


def test_hot_and_dry_spells_are_told() -> None:
    household = collection(plant("a", holder="mount"))
    sky = fetched(weather(START, daily_curve(20.0, 38.0, 9 * 24), dew_point_c=6.0), EVENING)

    sheet = draw_up(Round.WEEK, household, sky, {}, EVENING)

    assert sheet.outlook is not None
    assert {text.split()[0] for text in sheet.outlook.spells} == {"hot", "dry"}


def test_an_old_forecast_is_named_as_old() -> None:
    sky = fetched(weather(START, COLD), EVENING - timedelta(hours=8))

    sheet = draw_up(Round.DUSK, collection(plant("a")), sky, {}, EVENING)

    assert sheet.warnings[0] == "the forecast is 8 h old"


def test_open_questions_of_used_spots_are_named() -> None:

    vague = Spot("bench")
    household = collection(plant("a"), spots=(vague, WARM_ROOM, Spot("unused")))

    sheet = draw_up(Round.DUSK, household, fetched(weather(START, COLD), EVENING), {}, EVENING)

    assert any(text.startswith("bench: sky_view is not given") for text in sheet.assumptions)
    assert not any(text.startswith("unused") for text in sheet.assumptions)
