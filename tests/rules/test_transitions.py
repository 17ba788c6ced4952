"""What changes the state of a plant: told, confirmed, called off, watered, and a missed morning."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.state import LONG_STAY, Declined, OpenOrder, PlantState
from sillward_rules.revision import Moved, Order, Revision
from sillward_rules.sheet import Round, Sheet
from sillward_rules.transitions import (
    acknowledged,
    after_revision,
    all_confirmed,
    answered,
    believable_states,
    called_off,
    declined,
    first_states,
    is_older,
    moved_by_hand,
    next_state,
    told_to_move,
    watered,
    with_declined,
)
from tests.support.core import MENDOZA, utc

NOW = utc("2026-05-14T20:00")
IN_BY = utc("2026-05-14T21:00")
OUT_FROM = utc("2026-05-15T13:00")
HOUR = timedelta(hours=1)

OUTSIDE = PlantState("bench", NOW - 10 * HOUR, assumed=False)
INSIDE = PlantState("room", NOW - 10 * HOUR, assumed=False)
ORDER = OpenOrder("bench", "room", IN_BY)
TOLD_IN = PlantState("room", IN_BY, came_from="bench", asked=ORDER)


def chore(
    kind: ChoreKind,
    from_spot: str = "bench",
    to_spot: str = "room",
    before: datetime = IN_BY,
    *,
    not_before: datetime | None = None,
    over_at: datetime | None = None,
) -> Chore:
    reason = Reason("a", "temperature", 9.0, "°C", 13.0, before, until=over_at)
    return Chore(
        id=f"2026-05-14-{kind.value}",
        kind=kind,
        plants=("a",),
        from_spot=from_spot,
        to_spot=to_spot,
        not_before=not_before,
        before=before,
        grounds=Grounds.of((("a",), reason)),
    )


CARRY_IN = chore(ChoreKind.CARRY_IN)
CARRY_OUT = chore(ChoreKind.CARRY_OUT, "room", "bench", OUT_FROM + HOUR, not_before=OUT_FROM)


def sheet(round_: Round, *chores: Chore, **states: PlantState) -> Sheet:
    return Sheet(
        round=round_,
        at=NOW,
        site="Test court",
        source="test",
        fetched_at=NOW,
        issued_at=None,
        chores=chores,
        warnings=(),
        assumptions=(),
        outlook=None,
        lows={},
        states=states or {"a": OUTSIDE},
    )


# -- a round was told


def test_carrying_in_that_was_told_is_assumed_and_stays_open() -> None:
    assert told_to_move(OUTSIDE, CARRY_IN) == TOLD_IN


def test_going_out_is_assumed_from_its_first_hour_and_confirms_nothing() -> None:
    after = told_to_move(replace(INSIDE, asked=ORDER), CARRY_OUT)

    assert after == PlantState("bench", OUT_FROM, came_from="room", asked=ORDER)


def test_an_order_remembers_that_the_plant_goes_out_first() -> None:
    going = told_to_move(INSIDE, CARRY_OUT)
    back = chore(ChoreKind.CARRY_IN, before=OUT_FROM + 8 * HOUR)

    told = told_to_move(going, back)
    again = told_to_move(told, replace(back, before=back.before + HOUR))

    assert told.asked == OpenOrder("bench", "room", back.before, out_of="room", out_at=OUT_FROM)
    assert again.asked is not None
    assert (again.asked.out_of, again.asked.out_at) == ("room", OUT_FROM)


@pytest.mark.parametrize(
    ("round_", "told", "spot"),
    [
        (Round.DUSK, CARRY_IN, "room"),
        (Round.MORNING, CARRY_IN, "room"),
        (Round.WEEK, CARRY_IN, "bench"),
        (Round.DUSK, chore(ChoreKind.MOVE), "bench"),
        (Round.MORNING, chore(ChoreKind.MOVE), "room"),
        (Round.MORNING, chore(ChoreKind.MOVE, over_at=IN_BY + HOUR), "bench"),
        (Round.MORNING, chore(ChoreKind.SHADE), "bench"),
        (Round.DUSK, replace(CARRY_IN, overdue_since=IN_BY), "bench"),
    ],
)
def test_a_round_moves_what_it_orders_for_now(round_: Round, told: Chore, spot: str) -> None:
    assert next_state({}, sheet(round_, told))["a"].spot == spot


def test_what_is_known_outweighs_the_state_of_the_sheet() -> None:
    known = replace(OUTSIDE, spot="shed", fed_at=NOW)

    after = next_state({"a": known}, sheet(Round.DUSK, CARRY_IN))

    assert after["a"].fed_at == NOW
    assert next_state({"a": known}, sheet(Round.DUSK))["a"] is known


def test_the_morning_takes_its_watering_as_done_and_the_dusk_does_not() -> None:
    mist = chore(ChoreKind.MIST, to_spot="bench")

    assert next_state({}, sheet(Round.MORNING, mist))["a"].misted_at == IN_BY
    assert next_state({}, sheet(Round.DUSK, mist))["a"].misted_at is None


def test_what_a_morning_presumes_is_not_remembered() -> None:
    drawn = replace(sheet(Round.MORNING, a=OUTSIDE, b=INSIDE, c=INSIDE), presumed_in=frozenset("b"))

    assert next_state({}, drawn) == {"a": OUTSIDE, "c": INSIDE}
    assert first_states({"a": TOLD_IN}, drawn) == {"c": INSIDE}


# -- a newer forecast


@pytest.mark.parametrize("kind", [ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT])
def test_a_plant_whose_order_is_off_is_back_where_it_was(kind: ChoreKind) -> None:
    after = called_off(TOLD_IN, kind, NOW)

    assert after.spot == "bench"
    assert after.asked == (None if kind is ChoreKind.CARRY_IN else ORDER)


def test_of_a_day_out_either_half_may_be_called_off() -> None:
    order = OpenOrder("bench", "room", IN_BY, out_of="room", out_at=NOW + HOUR / 2)
    told = PlantState("room", IN_BY, came_from="bench", asked=order)

    out = called_off(told, ChoreKind.CARRY_IN, NOW)

    assert (out.spot, out.since, out.came_from, out.asked) == ("bench", order.out_at, "room", None)
    assert called_off(told, ChoreKind.CARRY_OUT, NOW) is told


def test_a_change_adds_moves_and_calls_off() -> None:
    later = replace(CARRY_IN, before=IN_BY + HOUR)
    off = Order("o", ChoreKind.CARRY_IN, ("b",), "bench", "room", IN_BY)
    shade = Order("s", ChoreKind.SHADE, ("a",), "bench", "bench", IN_BY)
    drawn = sheet(Round.DUSK, a=OUTSIDE, b=OUTSIDE, c=OUTSIDE)
    change = Revision(
        added=(replace(CARRY_IN, plants=("c",)),),
        moved=(Moved(later, IN_BY),),
        called_off=(off, shade),
    )

    after = after_revision({"a": TOLD_IN, "b": TOLD_IN}, drawn, change)

    assert after["a"].since == IN_BY + HOUR
    assert after["b"] == PlantState("bench", IN_BY)
    assert after["c"] == TOLD_IN


# -- what the grower says


@pytest.mark.parametrize(
    ("kind", "misted", "fed", "rinsed"),
    [
        (ChoreKind.MIST, NOW, None, None),
        (ChoreKind.FEED, NOW, NOW, None),
        (ChoreKind.FLUSH, NOW, None, NOW),
    ],
)
def test_water_is_remembered_by_what_it_was(
    kind: ChoreKind, misted: datetime, fed: datetime | None, rinsed: datetime | None
) -> None:
    after = acknowledged(OUTSIDE, kind, "bench", NOW)

    wetting = Wetting(kind, NOW, confirmed=True)
    care = Care((wetting,))
    assert after == replace(OUTSIDE, misted_at=misted, fed_at=fed, rinsed_at=rinsed, care=care)
    assert after == watered(OUTSIDE, wetting)


@pytest.mark.parametrize("kind", [ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.STAY_IN])
def test_a_plant_that_was_carried_is_known_to_be_there(kind: ChoreKind) -> None:
    after = acknowledged(TOLD_IN, kind, "shed", NOW)

    assert after == PlantState("shed", NOW, assumed=False)


@pytest.mark.parametrize("kind", [ChoreKind.STAY_IN, ChoreKind.MOVE])
def test_a_plant_confirmed_where_it_stands_has_not_moved(kind: ChoreKind) -> None:
    assert acknowledged(TOLD_IN, kind, "room", NOW) == PlantState("room", IN_BY, assumed=False)


@pytest.mark.parametrize(
    ("kind", "to_spot"), [(ChoreKind.MOVE, "shed"), (ChoreKind.SHADE, "bench")]
)
def test_what_moves_nothing_for_good_changes_nothing(kind: ChoreKind, to_spot: str) -> None:
    assert acknowledged(TOLD_IN, kind, to_spot, NOW) is TOLD_IN


@pytest.mark.parametrize(("stay", "brighter"), [(LONG_STAY, NOW), (LONG_STAY - HOUR, None)])
def test_a_long_stay_under_cover_is_remembered(stay: timedelta, brighter: datetime | None) -> None:
    inside = replace(INSIDE, since=NOW - stay)

    assert acknowledged(inside, ChoreKind.CARRY_OUT, "bench", NOW).brighter_since == brighter


@pytest.mark.parametrize(
    ("kind", "before", "older"),
    [
        (ChoreKind.CARRY_IN, NOW - 11 * HOUR, True),
        (ChoreKind.CARRY_IN, NOW, False),
        (ChoreKind.MIST, NOW - 11 * HOUR, False),
    ],
)
def test_a_chore_from_before_the_last_move_is_older(
    kind: ChoreKind, before: datetime, older: bool
) -> None:
    assert is_older(OUTSIDE, kind, before) is older


@pytest.mark.parametrize(
    ("deadline", "left"), [(NOW - 12 * HOUR, None), (NOW - 11 * HOUR, None), (IN_BY, ORDER)]
)
def test_an_older_chore_moves_nothing_and_confirms_no_newer_order(
    deadline: datetime, left: OpenOrder | None
) -> None:
    order = ORDER if left else replace(ORDER, before=deadline)
    state = replace(OUTSIDE, asked=order)

    after = answered(state, ChoreKind.CARRY_IN, "room", NOW - 11 * HOUR, NOW)

    assert after == replace(state, asked=left)


def test_a_chore_of_now_is_acknowledged() -> None:
    assert answered(TOLD_IN, ChoreKind.CARRY_IN, "room", IN_BY, IN_BY) == PlantState(
        "room", IN_BY, assumed=False
    )


def test_once_all_is_confirmed_nothing_is_open() -> None:
    assert all_confirmed({"a": TOLD_IN})["a"] == replace(TOLD_IN, asked=None)


# -- a morning that reached nobody


@pytest.mark.parametrize(
    ("state", "at", "believed"),
    [
        (TOLD_IN, "2026-05-15T09:00", True),
        (TOLD_IN, "2026-05-15T20:00", False),
        (replace(TOLD_IN, assumed=False), "2026-05-15T20:00", True),
        (replace(TOLD_IN, since=utc("2026-05-15T19:00")), "2026-05-15T20:00", True),
        (replace(TOLD_IN, since=None), "2026-05-15T20:00", True),
    ],
)
def test_what_is_only_assumed_is_not_believed_after_a_missed_morning(
    state: PlantState, at: str, believed: bool
) -> None:
    assert ("a" in believable_states({"a": state}, MENDOZA, utc(at))) is believed


@pytest.mark.parametrize(
    "change",
    [
        lambda state: told_to_move(state, CARRY_IN),
        lambda state: acknowledged(state, ChoreKind.CARRY_IN, "room", NOW),
        lambda state: called_off(state, ChoreKind.CARRY_IN, NOW),
    ],
)
def test_moves_leave_the_water_alone(change: Callable[[PlantState], PlantState]) -> None:
    wetted = watered(watered(TOLD_IN, Wetting(ChoreKind.FEED, NOW)), Wetting(ChoreKind.FLUSH, NOW))

    after = change(wetted)

    assert (after.misted_at, after.fed_at, after.rinsed_at) == (NOW, NOW, NOW)


# -- not needed, or moved by hand


def not_needed(
    kind: ChoreKind = ChoreKind.CARRY_IN,
    way: tuple[str, str] = ("bench", "room"),
    before: datetime = IN_BY,
    *,
    day: date = date(2026, 5, 14),
) -> Declined:
    return Declined(kind, day, *way, before, NOW)


def test_a_plant_whose_order_is_declined_stays_where_it_was_known_to_be() -> None:
    after = declined(TOLD_IN, not_needed())

    assert (after.spot, after.since, after.came_from, after.asked) == ("bench", None, None, None)
    assert after.declined == (not_needed(),)
    assert after.at(IN_BY + 10 * HOUR).spot == "bench"


def test_what_is_declined_of_last_night_takes_nothing_back_that_was_moved_since() -> None:
    out_since = PlantState("bench", NOW, came_from="room")
    before = not_needed(before=NOW - 10 * HOUR, day=date(2026, 5, 13))

    assert declined(out_since, before) == replace(out_since, declined=(before,))


def test_a_plant_that_is_not_to_go_out_stays_in_and_has_no_order_to_come_back() -> None:
    asked = OpenOrder("bench", "room", IN_BY, out_of="room", out_at=NOW + HOUR / 2)
    going = PlantState("room", IN_BY, came_from="bench", asked=asked)

    stays = declined(going, not_needed(ChoreKind.CARRY_OUT, ("room", "bench"), NOW + 2 * HOUR))
    remains_out = declined(going, not_needed())

    assert (stays.at(IN_BY + HOUR).spot, stays.asked) == ("room", None)
    assert (remains_out.at(NOW).spot, remains_out.at(IN_BY + HOUR).spot) == ("room", "bench")
    assert remains_out.asked is None


@pytest.mark.parametrize("kind", [ChoreKind.MIST, ChoreKind.FEED, ChoreKind.FLUSH])
def test_a_watering_that_is_declined_did_not_happen(kind: ChoreKind) -> None:
    assumed = watered(OUTSIDE, Wetting(kind, IN_BY, due=IN_BY))
    after = declined(assumed, not_needed(kind, ("bench", "bench")))
    assert (after.misted_at, after.fed_at, after.rinsed_at) == (None, None, None)


def test_a_chore_is_declined_once_and_forgotten_after_a_day() -> None:
    first = not_needed()
    again = replace(first, at=NOW + HOUR)
    later = not_needed(day=date(2026, 5, 16), before=IN_BY + 48 * HOUR)

    assert declined(declined(OUTSIDE, first), again).declined == (again,)
    assert declined(declined(OUTSIDE, first), later).declined == (later,)


def test_what_is_done_after_all_is_not_declined_any_more() -> None:
    after = acknowledged(declined(TOLD_IN, not_needed()), ChoreKind.CARRY_IN, "room", NOW)
    assert (after.spot, after.declined) == ("room", ())


@pytest.mark.parametrize(
    ("spot", "is_safe", "is_open"),
    [("room", True, False), ("hall", True, False), ("room", False, False), ("yard", False, True)],
)
def test_a_move_by_hand_closes_an_order_only_where_the_plant_is_safe(
    spot: str, is_safe: bool, is_open: bool
) -> None:
    after = moved_by_hand(TOLD_IN, spot, NOW, is_safe=is_safe)

    assert (after.spot, after.since, after.assumed, after.came_from) == (spot, NOW, False, None)
    assert after.asked == (replace(ORDER, from_spot=spot) if is_open else None)


def test_a_state_worked_out_before_an_answer_takes_it_over_and_one_taken_back_goes() -> None:
    said = not_needed()
    old = not_needed(ChoreKind.SECURE, ("bench", "bench"))
    drawn_up_before = replace(TOLD_IN, declined=(old,))

    after = with_declined(drawn_up_before, [said], [said])

    assert after.declined == (said,)
    assert (after.spot, after.asked) == ("bench", None)
    assert with_declined(drawn_up_before, [old], []) == drawn_up_before
