"""Orders once they are told: the round that holds, and what a revision makes of its chores."""

from dataclasses import replace
from datetime import date, datetime, timedelta

from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.revision import Moved, Revision
from sillward_rules.round import MAX_MESSAGES
from sillward_rules.sheet import Round
from sillward_rules.told_orders import (
    RoundInForce,
    allowed_messages,
    order_of,
    patch_chores,
    round_in_force,
    without_messages,
)
from tests.support.core import MENDOZA, utc

HOUR = timedelta(hours=1)
IN_BY = utc("2026-05-14T21:00")
NOW = IN_BY - 2 * HOUR
DAY = date(2026, 5, 14)


def carry_in(*plants: str, before: datetime = IN_BY, number: str = "") -> Chore:
    reasons = [Reason(name, "temperature", 9.0, "°C", 13.0, before) for name in plants]
    return Chore(
        id=f"2026-05-14-carry-in{number}",
        kind=ChoreKind.CARRY_IN,
        plants=plants,
        from_spot="bench",
        to_spot="room",
        not_before=None,
        before=before,
        grounds=Grounds.of(*(((one.plant,), one) for one in reasons)),
    )


def in_force(now: datetime, *told: tuple[Round, date]) -> RoundInForce | None:
    return round_in_force(MENDOZA, now, lambda *one: one in told, lambda _: utc("2026-05-14T20:15"))


def test_dusk_holds_until_sunrise_and_the_morning_until_dusk_is_due() -> None:
    morning, dusk = (Round.MORNING, DAY), (Round.DUSK, DAY)

    by_night = in_force(utc("2026-05-15T03:00"), morning, dusk)

    assert by_night is not None
    assert (by_night.round, by_night.day) == (Round.DUSK, DAY)
    assert utc("2026-05-15T10:30") < by_night.until < utc("2026-05-15T11:30")  # sunrise
    at_noon = in_force(utc("2026-05-14T16:00"), morning)
    assert at_noon == RoundInForce(Round.MORNING, DAY, utc("2026-05-14T20:15"))
    assert in_force(utc("2026-05-14T20:15"), morning) is None
    assert in_force(utc("2026-05-14T16:00")) is None


def test_messages_are_kept_for_what_is_more_to_do() -> None:
    added, moved = carry_in("a"), Moved(carry_in("b"), IN_BY)
    off = order_of(carry_in("c"))

    assert allowed_messages(Revision(added=(added,)), MAX_MESSAGES) == MAX_MESSAGES
    assert allowed_messages(Revision(moved=(moved,)), MAX_MESSAGES) == MAX_MESSAGES - 2
    assert allowed_messages(Revision(called_off=(off,)), 1) == 1
    whole = Revision((added,), (moved,), (off,))
    assert without_messages(whole) == Revision(added=(added,))


def test_a_moved_plant_leaves_its_chore_and_joins_one_at_its_new_hour() -> None:
    told = carry_in("a", "b")
    revision = Revision(moved=(Moved(carry_in("b", before=IN_BY - HOUR), IN_BY),))

    changed, off = patch_chores({told.id: (told, None)}, set(), revision, NOW)

    assert off == []
    assert [(chore.id, tuple(chore.plants), at) for chore, at in changed] == [
        (told.id, ("a",), None),
        (f"{told.id}-2", ("b",), NOW),
    ]


def test_a_new_plant_joins_the_chore_with_its_spot_and_hour() -> None:
    told = carry_in("a")

    changed, off = patch_chores(
        {told.id: (told, None)}, set(), Revision(added=(carry_in("b"),)), NOW
    )

    assert off == []
    assert [(tuple(chore.plants), at) for chore, at in changed] == [(("a", "b"), NOW)]


def test_a_chore_that_is_done_is_not_reopened_and_an_empty_one_is_off() -> None:
    told, done = carry_in("a"), carry_in("c", number="-2")
    revision = Revision(
        added=(carry_in("b", number="-2"),),
        called_off=(replace(order_of(told), plants=("a",)),),
    )

    changed, off = patch_chores({told.id: (told, None)}, {done.id}, revision, NOW)

    assert off == [told.id]
    assert [(chore.id, tuple(chore.plants)) for chore, _ in changed] == [
        (f"{done.id}-2", ("b",)),
    ]
