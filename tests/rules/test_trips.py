"""Trips: which errands go together, in which window, and by which id."""

from datetime import date

import pytest

from sillward_rules.chore import ChoreKind, Errand, Grounds, Reason
from sillward_rules.trips import MIN_WINDOW, make_chores
from tests.support.core import (
    MENDOZA,
    utc,
)

MORNING = utc("2026-05-14T08:00")


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


def test_errands_of_one_way_and_time_are_one_trip_by_the_earliest_deadline() -> None:
    chores = make_chores(
        [errand("b", "2026-05-14T21:40"), errand("a", "2026-05-14T21:03")],
        MENDOZA,
        date(2026, 5, 14),
        MORNING,
    )

    (chore,) = chores
    assert chore.plants == ("a", "b")
    assert chore.before == utc("2026-05-14T21:00")
    assert chore.id == "2026-05-14-carry-in-bench-to-room"


def test_errands_hours_apart_are_two_trips_with_ids_of_their_own() -> None:
    chores = make_chores(
        [errand("a", "2026-05-14T15:00"), errand("b", "2026-05-14T21:00")],
        MENDOZA,
        date(2026, 5, 14),
        MORNING,
    )

    assert [chore.id for chore in chores] == [
        "2026-05-14-carry-in-bench-to-room",
        "2026-05-14-carry-in-bench-to-room-2",
    ]


def test_a_cloth_is_hung_once_by_the_earliest_hour() -> None:
    hours = {"a": "2026-01-20T12:00", "b": "2026-01-20T14:00", "c": "2026-01-20T18:00"}
    chores = make_chores(
        [errand(name, hour, kind=ChoreKind.SHADE) for name, hour in hours.items()],
        MENDOZA,
        date(2026, 1, 20),
        utc("2026-01-20T10:00"),
    )

    assert [(tuple(chore.plants), chore.before) for chore in chores] == [
        (("a", "b", "c"), utc("2026-01-20T12:00"))
    ]


def test_windows_that_never_meet_are_two_trips() -> None:
    mist = ChoreKind.MIST
    chores = make_chores(
        [
            errand("a", "2026-05-14T11:00", kind=mist, start="2026-05-14T10:00"),
            errand("b", "2026-05-14T12:00", kind=mist, start="2026-05-14T11:30"),
            errand("c", "2026-05-14T18:00", kind=mist, start="2026-05-14T10:30"),
        ],
        MENDOZA,
        date(2026, 5, 14),
        MORNING,
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

    chores = make_chores(asked, MENDOZA, day, MORNING)

    assert {(chore.plants, chore.not_before, chore.before) for chore in chores} == {
        (("c", "a"), utc("2026-05-14T10:30"), utc("2026-05-14T17:30")),
        (("b", "a"), utc("2026-05-14T16:00"), utc("2026-05-14T17:00")),
    }


@pytest.mark.parametrize(("start", "trips"), [("11:30", 1), ("11:35", 2)])
def test_a_misting_waits_for_others_ninety_minutes_and_no_more(start: str, trips: int) -> None:
    asked = [
        errand("a", "2026-05-14T18:00", kind=ChoreKind.MIST, start="2026-05-14T10:00"),
        errand("b", "2026-05-14T18:00", kind=ChoreKind.MIST, start=f"2026-05-14T{start}"),
    ]

    chores = make_chores(asked, MENDOZA, date(2026, 5, 14), MORNING)

    assert len(chores) == trips


def test_rounding_leaves_a_misting_time_for_the_trip() -> None:
    asked = errand("a", "2026-05-14T15:11", kind=ChoreKind.MIST, start="2026-05-14T15:01")

    (chore,) = make_chores([asked], MENDOZA, date(2026, 5, 14), MORNING)

    assert chore.not_before is not None
    assert chore.before <= utc("2026-05-14T15:11")
    assert chore.before - chore.not_before >= MIN_WINDOW
