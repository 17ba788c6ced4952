"""Cards: which chores are shown, in which order, in what words."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from sillward.ledger import StoredChore
from sillward.page.cards import LATE_AFTER, LATE_SHOWN, SETTLED_SHOWN, Card, Group, cards
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, only
from tests.support.chores import a_chore
from tests.support.core import MENDOZA

SPOTS = ("pergola", "bench", "room")
NOW = datetime(2026, 5, 14, 17, 0, tzinfo=MENDOZA.zone)
HOUR = timedelta(hours=1)


def an_order(
    name: str = "a",
    due_in: timedelta = HOUR,
    kind: ChoreKind = ChoreKind.CARRY_IN,
    way: tuple[str, str] = ("bench", "room"),
    start: datetime | None = None,
) -> Chore:
    return a_chore(f"2026-05-14-{name}", NOW + due_in, kind, ("Moth", "Fern"), way, start=start)


def shown(*stored: StoredChore, now: datetime = NOW) -> list[Card]:
    chores = {kept.id: kept.chore for kept in stored}
    answers = {chore: number for number, chore in enumerate(chores, 1)}
    return cards(stored, chores, SPOTS, now, Voice(MENDOZA), answers)


def groups(*stored: StoredChore) -> dict[str, Group]:
    return {card.id.rpartition("-")[2]: card.group for card in shown(*stored)}


def test_an_order_is_shown_as_a_card_with_its_plants_each_with_its_limit() -> None:
    (card,) = shown(StoredChore(an_order()))

    assert (card.group, card.title, card.way) == (
        Group.NOW,
        "Carry in: 2 plants",
        "By 18:00, bench to room",
    )
    assert card.why == "Leaves cool to 3.0 °C by 18:00; Moth needs 8 °C"
    assert [(plant.name, plant.because) for plant in card.plants] == [
        ("Moth", "needs 8 °C (yours)"),
        ("Fern", "needs 8 °C (yours)"),
    ]
    assert (card.asks, card.can_wait, card.answer) == ("They are in", True, None)


def test_an_order_whose_hour_has_come_is_due_now_and_then_overdue_until_the_next_day() -> None:
    just = StoredChore(an_order("just", -LATE_AFTER + timedelta(minutes=1)))
    late = StoredChore(an_order("late", -LATE_AFTER))
    old = StoredChore(an_order("old", -LATE_SHOWN))

    assert groups(just, late, old) == {"just": Group.NOW, "late": Group.LATE}
    (card,) = (card for card in shown(late))
    assert card.tag == "overdue since 16:45"
    assert card.way == "Now, bench to room"
    told_late = StoredChore(replace(late.chore, overdue_since=late.before))
    assert [each.way for each in shown(told_late)] == [card.way]
    assert card.asks


def test_what_is_answered_can_be_taken_back_for_some_hours() -> None:
    done = StoredChore(an_order("done"), done_at=NOW - HOUR, done_by="Inés")
    declined = StoredChore(an_order("declined"), declined_at=NOW - HOUR)
    old = StoredChore(an_order("old"), done_at=NOW - SETTLED_SHOWN)

    found = {card.id.rpartition("-")[2]: card for card in shown(done, declined, old)}

    assert found["done"].tag == "done 16:00 by Inés"
    assert found["declined"].tag == "not needed, you said at 16:00"
    assert set(found) == {"done", "declined"}
    assert {card.group for card in found.values()} == {Group.SETTLED}
    assert {name: card.answer for name, card in found.items()} == {"done": 1, "declined": 2}
    assert {card.way for card in found.values()} == {"By 18:00, bench to room"}
    assert not any(card.asks for card in found.values())


def test_a_card_says_who_declined_it_and_until_when_it_is_put_off() -> None:
    declined = StoredChore(an_order("declined"), declined_at=NOW - HOUR, done_by="Inés")
    waiting = StoredChore(an_order("waiting"), later_until=NOW + HOUR / 2)
    late = StoredChore(an_order("late", -LATE_AFTER), later_until=NOW + HOUR / 2)
    over = StoredChore(an_order("over"), later_until=NOW)

    tags = {card.id.rpartition("-")[2]: card.tag for card in shown(declined, waiting, late, over)}

    assert tags == {
        "declined": "not needed, Inés said at 16:00",
        "waiting": "you are reminded at 17:30",
        "late": "overdue since 16:45, you are reminded at 17:30",
        "over": "",
    }


def test_what_was_called_off_is_not_shown() -> None:
    assert shown(StoredChore(an_order(), called_off_at=NOW)) == []


def test_an_order_is_never_ahead_and_never_among_what_is_over_while_nobody_answered() -> None:
    for kind in (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE):
        for minutes in range(-int(LATE_SHOWN.total_seconds() // 60) + 1, 24 * 60, 7):
            start = NOW + timedelta(minutes=minutes - 30)
            order = an_order("x", timedelta(minutes=minutes), kind, start=start)
            (card,) = shown(StoredChore(order))
            assert card.group in (Group.LATE, Group.NOW), (kind, minutes)
            assert card.asks, (kind, minutes)


def test_a_misting_is_ahead_until_its_hours_begin_and_over_when_they_end() -> None:
    def misting(name: str, starts_in: timedelta) -> StoredChore:
        start = NOW + starts_in
        return StoredChore(
            an_order(name, starts_in + HOUR, ChoreKind.MIST, ("bench", "bench"), start)
        )

    assert groups(
        misting("ahead", HOUR),
        misting("now", timedelta(minutes=-10)),
        misting("over", -2 * HOUR),
    ) == {"ahead": Group.AHEAD, "now": Group.NOW, "over": Group.SETTLED}


def test_cards_of_one_walk_stand_in_the_order_of_the_spots_and_later_ones_below() -> None:
    near, far = timedelta(minutes=41), timedelta(minutes=59)
    stored = [
        StoredChore(an_order("later", 3 * HOUR, way=("pergola", "room"))),
        StoredChore(an_order("bench", near, way=("bench", "room"))),
        StoredChore(an_order("pergola", far, way=("pergola", "room"))),
    ]

    assert [card.id.rpartition("-")[2] for card in shown(*stored)] == ["pergola", "bench", "later"]


def test_what_is_to_be_carried_in_first_is_not_said_to_keep_in() -> None:
    stay = StoredChore(an_order("stay", kind=ChoreKind.STAY_IN, way=("room", "room")))
    order = StoredChore(only(an_order("in"), ["Moth"]))
    done = StoredChore(order.chore, done_at=NOW)

    told = {card.title: [plant.name for plant in card.plants] for card in shown(stay, order)}
    assert told == {"Carry in: 1 plant": ["Moth"], "Keep in: 1 plant": ["Fern"]}
    assert groups(stay, StoredChore(an_order("in"))) == {"in": Group.NOW}
    assert groups(stay, done) == {"stay": Group.KNOW, "in": Group.SETTLED}


@pytest.mark.parametrize("kind", [ChoreKind.STOP_WETTING, ChoreKind.STAY_IN])
def test_what_asks_for_nothing_is_to_be_kept_in_mind(kind: ChoreKind) -> None:
    (card,) = shown(StoredChore(an_order("x", HOUR, kind, ("bench", "bench"))))

    assert (card.group, card.asks) == (Group.KNOW, "")


def test_a_reminder_that_was_put_off_says_when_it_comes() -> None:
    (card,) = shown(StoredChore(an_order(), later_until=NOW + HOUR / 2))

    assert card.tag == "you are reminded at 17:30"
