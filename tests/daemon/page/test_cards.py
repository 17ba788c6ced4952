"""Cards: which chores are shown, in which order, in what words."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from sillward.ledger import StoredChore
from sillward.page.cards import LATE_AFTER, LOOKED_BACK, SETTLED_SHOWN, Card, Group, Known, cards
from sillward.page.plans import ToldRound, told_last
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Grounds, Weighing, only
from sillward_rules.planners.walks import PLANT_PRICE
from sillward_rules.plants.salt_balance import SOFT_WATER
from sillward_rules.remark import NotConfirmed
from sillward_rules.sheet import Round
from tests.support.chores import a_chore
from tests.support.core import MENDOZA

SPOTS = ("pergola", "bench", "room")
NOW = datetime(2026, 5, 14, 17, 0, tzinfo=MENDOZA.zone)
HOUR = timedelta(hours=1)
NOTHING_ELSE = Known()


def an_order(
    name: str = "a",
    due_in: timedelta = HOUR,
    kind: ChoreKind = ChoreKind.CARRY_IN,
    way: tuple[str, str] = ("bench", "room"),
    start: datetime | None = None,
) -> Chore:
    return a_chore(f"2026-05-14-{name}", NOW + due_in, kind, ("Moth", "Fern"), way, start=start)


def an_outing(
    name: str, start: datetime, before: datetime, *plants: str, round_: str = "morning"
) -> StoredChore:
    chore = a_chore(
        f"2026-05-14-{name}",
        before,
        ChoreKind.CARRY_OUT,
        plants or ("Moth", "Fern"),
        ("room", "bench"),
        start=start,
        at=before,
        values=(21.6,),
    )
    return StoredChore(chore, round=round_)


def shown(*stored: StoredChore, now: datetime = NOW, known: Known = NOTHING_ELSE) -> list[Card]:
    chores = {kept.id: kept.chore for kept in stored}
    answers = {chore: number for number, chore in enumerate(chores, 1)}
    return cards(stored, chores, SPOTS, now, Voice(MENDOZA), replace(known, answers=answers))


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

    assert groups(just, late) == {"just": Group.NOW, "late": Group.LATE}
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
    assert found["declined"].tag == "left out, you said at 16:00"
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
        "declined": "left out, Inés said at 16:00",
        "waiting": "you are reminded at 17:30",
        "late": "overdue since 16:45, you are reminded at 17:30",
        "over": "",
    }


def test_what_was_called_off_is_not_shown() -> None:
    assert shown(StoredChore(an_order(), called_off_at=NOW)) == []


def test_an_order_is_never_ahead_and_never_among_what_is_over_while_nobody_answered() -> None:
    for kind in (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE):
        for minutes in range(-int(LOOKED_BACK.total_seconds() // 60) + 1, 24 * 60, 7):
            start = NOW + timedelta(minutes=minutes - 30)
            order = an_order("x", timedelta(minutes=minutes), kind, start=start)
            (card,) = shown(StoredChore(order))
            assert card.group in (Group.LATE, Group.NOW), (kind, minutes)
            assert card.asks, (kind, minutes)


def test_no_order_is_held_back_whatever_else_is_known_or_told() -> None:
    around = [
        an_outing("out", NOW - HOUR, NOW + HOUR),
        StoredChore(an_order("day", HOUR, ChoreKind.STAY_IN, ("room", "room"), NOW - HOUR)),
        StoredChore(an_order("night", 15 * HOUR, ChoreKind.STAY_IN, ("room", "room"))),
    ]
    tonight, tomorrow = date(2026, 5, 14), date(2026, 5, 15)
    for kind in (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE):
        for told in (
            None,
            ToldRound(Round.MORNING, tonight),
            ToldRound(Round.DUSK, tonight),
            ToldRound(Round.MORNING, tomorrow),
        ):
            standing = {"Moth": "room", "Fern": "bench"}
            for known in (Known(told), Known(told, is_blind=True), Known(told, standing=standing)):
                order = StoredChore(an_order("x", HOUR, kind))
                for now in (NOW, NOW + 2 * HOUR, NOW + 17 * HOUR):
                    found = shown(order, *around, now=now, known=known)
                    (card,) = (card for card in found if card.id == order.id)
                    assert card.group in (Group.LATE, Group.NOW), (kind, known, now)
                    assert card.asks
                    assert [plant.name for plant in card.plants] == ["Moth", "Fern"]


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


def test_what_stands_outside_is_not_said_to_keep_in() -> None:
    stay = StoredChore(an_order("stay", kind=ChoreKind.STAY_IN, way=("room", "room")))
    (card,) = shown(stay, known=Known(standing={"Moth": "bench", "Fern": "room"}))

    assert [plant.name for plant in card.plants] == ["Fern"]


@pytest.mark.parametrize("kind", [ChoreKind.STOP_WETTING, ChoreKind.STAY_IN])
def test_what_asks_for_nothing_is_to_be_kept_in_mind(kind: ChoreKind) -> None:
    (card,) = shown(StoredChore(an_order("x", HOUR, kind, ("bench", "bench"))))

    assert (card.group, card.asks) == (Group.KNOW, "")


def test_a_reminder_that_was_put_off_says_when_it_comes() -> None:
    (card,) = shown(StoredChore(an_order(), later_until=NOW + HOUR / 2))

    assert card.tag == "you are reminded at 17:30"


def test_a_put_out_says_how_warm_it_gets_and_is_over_after_its_last_hour() -> None:
    (card,) = shown(an_outing("x", NOW - HOUR, NOW + HOUR))
    assert (card.group, card.why) == (Group.NOW, "Warms to 21.6 °C by 18:00; Moth needs 8 °C")
    assert (card.asks, card.leaves) == ("They are out", "Not needed")

    (card,) = shown(an_outing("x", NOW - 5 * HOUR, NOW))
    assert (card.group, card.tag, card.why) == (Group.SETTLED, "its hours are over", "")
    assert card.way == "From 12:00, room to bench"
    assert (card.asks, card.is_open) == ("They are out", False)


def test_no_plant_is_to_go_out_beside_an_order_to_carry_it_in() -> None:
    out = an_outing("out", NOW - HOUR, NOW + HOUR)
    for due_in in (-HOUR / 2, HOUR / 2, HOUR):
        both = {card.id: card for card in shown(out, StoredChore(an_order("in", due_in)))}
        assert both[out.id].group is Group.SETTLED, due_in
        assert both[out.id].tag == "not now: it has to be in"
        assert both["2026-05-14-in"].group in (Group.NOW, Group.LATE)

    one = StoredChore(only(an_order("in"), ["Moth"]))
    (left,) = (card for card in shown(out, one) if card.id == out.id)
    assert (left.group, [plant.name for plant in left.plants]) == (Group.NOW, ["Fern"])
    long_out = shown(out, StoredChore(an_order("in", 5 * HOUR)))
    assert {card.group for card in long_out} == {Group.NOW}


def test_no_plant_is_to_go_out_that_stays_in_or_while_no_forecast_tells_how_cold_it_gets() -> None:
    out = an_outing("out", NOW + HOUR, NOW + 3 * HOUR)
    stay = an_order("stay", 2 * HOUR, ChoreKind.STAY_IN, ("room", "room"), NOW - HOUR)

    assert groups(out) == {"out": Group.AHEAD}
    assert groups(out, StoredChore(stay)) == {"out": Group.SETTLED, "stay": Group.KNOW}
    (card,) = shown(out, known=Known(is_blind=True))
    assert (card.group, card.tag) == (
        Group.SETTLED,
        "not now: no forecast tells how cold it gets",
    )
    order = StoredChore(an_order())
    assert [card.group for card in shown(order, known=Known(is_blind=True))] == [Group.NOW]


def test_the_plan_of_the_evening_holds_until_the_morning_round_of_the_day() -> None:
    planned = an_outing("out", NOW + HOUR, NOW + 3 * HOUR, round_="dusk")
    again = an_outing("again", NOW + HOUR, NOW + 3 * HOUR, "Moth")

    def shown_once(round_: Round, day: int) -> set[str]:
        told = ToldRound(round_, date(2026, 5, day))
        return {card.id[11:] for card in shown(planned, again, known=Known(told=told))}

    assert shown_once(Round.DUSK, 13) == {"out", "again"}
    assert shown_once(Round.MORNING, 14) == {"again"}
    assert shown_once(Round.DUSK, 14) == {"again"}


def test_what_stays_in_by_day_is_left_out_once_the_evening_says_what_stays_in() -> None:
    by_day = an_order("day", HOUR, ChoreKind.STAY_IN, ("room", "room"), NOW - 8 * HOUR)
    tonight = an_order("night", 15 * HOUR, ChoreKind.STAY_IN, ("room", "room"))
    stored = [StoredChore(by_day, round="morning"), StoredChore(tonight, round="dusk")]

    def shown_once(round_: Round, day: int) -> list[str]:
        told = ToldRound(round_, date(2026, 5, day))
        return [card.id[11:] for card in shown(*stored, known=Known(told=told))]

    assert shown_once(Round.MORNING, 14) == ["day", "night"]
    assert shown_once(Round.DUSK, 14) == ["night"]
    assert shown_once(Round.MORNING, 15) == []


MORNING = datetime(2026, 5, 15, 9, 30, tzinfo=MENDOZA.zone)


def test_in_the_morning_it_is_asked_whether_plants_went_in() -> None:
    order = StoredChore(an_order("in"))
    at_night = MORNING - timedelta(hours=4)

    (card,) = shown(order, now=at_night)
    assert (card.title, card.is_question) == ("Carry in: 2 plants", False)
    (card,) = shown(order, now=MORNING)
    assert (card.title, card.group) == ("Did Moth, Fern go in last night?", Group.LATE)
    assert (card.way, card.tag) == ("Bench to room", "")
    assert card.why == "Any left out fell to 3.0 °C: check it"
    assert (card.asks, card.leaves, card.can_wait) == ("They went in", "They stayed out", False)

    until = MORNING + 4 * HOUR
    asked = NotConfirmed(("Moth", "Fern"), 2.5, until)
    (card,) = shown(order, now=MORNING, known=Known(last_night=asked))
    assert card.why == "Any left out fell to 2.5 °C: take it in until 13:30 and check it"


@pytest.mark.parametrize(
    ("kind", "title", "why"),
    [
        (
            ChoreKind.COVER,
            "Were Moth, Fern covered last night?",
            "Any left bare fell to 3.0 °C: check it",
        ),
        (
            ChoreKind.SECURE,
            "Were Moth, Fern secured in time?",
            "If not, look at them: the gusts are over",
        ),
    ],
)
def test_what_guards_plants_is_asked_about_once_its_hours_are_over(
    kind: ChoreKind, title: str, why: str
) -> None:
    order = StoredChore(an_order("x", kind=kind))

    (card,) = shown(order, now=NOW + 2 * HOUR)
    assert not card.is_question
    (card,) = shown(order, now=MORNING)
    assert (card.title, card.why, card.group) == (title, why, Group.LATE)
    assert (card.asks, card.leaves) == ("They were", "They were not")


def test_it_is_asked_until_the_next_dusk_round_plans_for_the_plants_anew() -> None:
    order = StoredChore(an_order("in"))
    told = ToldRound(Round.MORNING, date(2026, 5, 15))
    late = MORNING + 7 * HOUR

    (card,) = shown(order, now=late, known=Known(told=told))
    assert card.is_question
    assert shown(order, now=late, known=Known(told=replace(told, round=Round.DUSK))) == []


def test_who_should_be_in_tonight_and_is_not_confirmed_has_a_card_of_its_own() -> None:
    stay = an_order("stay", 15 * HOUR, ChoreKind.STAY_IN, ("room", "room"))
    check, note = shown(StoredChore(replace(stay, unconfirmed=("Fern",))))

    assert (check.title, check.group, check.asks) == (
        "Check that 1 plant is in tonight",
        Group.NOW,
        "It is in",
    )
    assert [plant.name for plant in check.plants] == ["Fern"]
    assert (note.title, note.group, note.asks) == ("Keep in: 1 plant", Group.KNOW, "")
    assert check.anchor != note.anchor
    (asked,) = shown(StoredChore(replace(stay, unconfirmed=("Fern",))), now=NOW + 16 * HOUR)
    assert asked.title == "Did Fern go in last night?"


def test_shade_is_over_some_hours_after_the_heat() -> None:
    shade = a_chore(
        "2026-05-14-shade", NOW - 5 * HOUR, ChoreKind.SHADE, at=NOW - HOUR, values=(35.6,)
    )
    (card,) = shown(StoredChore(shade))
    assert card.group is Group.NOW
    (card,) = shown(StoredChore(shade), now=NOW + HOUR)
    assert (card.group, card.tag) == (Group.SETTLED, "its hours are over")


def test_a_limit_that_is_higher_for_a_wet_crown_says_so() -> None:
    chore = an_order()
    (reason, _) = chore.because
    wet = replace(reason, limit=9.5, origin=f"{reason.origin}; 1.5 K more while the crown is wet")
    (card,) = shown(StoredChore(replace(chore, grounds=Grounds.of((("Moth", "Fern"), wet)))))

    assert card.plants[0].because == "needs 9.5 °C (yours; 1.5 °C more while the crown is wet)"


def test_a_plant_that_goes_in_as_a_precaution_says_why_although_it_stays_above_its_limit() -> None:
    chore = an_order()
    (reason, _) = chore.because
    weighing = Weighing(0.02, 1.0, PLANT_PRICE)
    safe = replace(reason, value=9.0, chance=0.07, weighing=weighing)
    (card,) = shown(StoredChore(replace(chore, grounds=Grounds.of((("Moth", "Fern"), safe)))))

    assert card.plants[0].because == ("needs 8 °C (yours), 7 % chance of less; worth taking along")
    assert card.why == (
        "Leaves cool to 9.0 °C by 18:00; Moth needs 8 °C: 7 % chance that it gets colder than that"
    )


def test_mist_comes_before_feed_and_feed_before_its_rinse() -> None:
    def wetting(kind: ChoreKind) -> StoredChore:
        return StoredChore(an_order(kind.value, HOUR, kind, ("bench", "bench"), NOW - HOUR))

    kinds = (ChoreKind.FEED, ChoreKind.FLUSH, ChoreKind.MIST)
    found = [card.chore.kind for card in shown(*map(wetting, kinds))]

    assert found == [ChoreKind.MIST, ChoreKind.FEED, ChoreKind.FLUSH]


def a_wetting(kind: ChoreKind, *plants: str) -> StoredChore:
    chore = a_chore(
        f"2026-05-14-{kind.value}",
        NOW + HOUR,
        kind,
        plants,
        ("bench", "bench"),
        start=NOW - HOUR,
        quantity="film life" if kind is ChoreKind.MIST else "film until rinse",
        values=(16.0,),
    )
    return StoredChore(chore)


def test_what_is_fed_is_fed_with_its_misting_and_says_how_strong_the_feed_is() -> None:
    stored = (a_wetting(ChoreKind.MIST, "Moth", "Fern"), a_wetting(ChoreKind.FEED, "Moth"))
    mist, feed = shown(*stored, known=Known(feed="0.25 g/L 20-20-20"))

    assert mist.why.startswith("Weak feed (not Fern), rinse each within 16 min")
    assert feed.why == "With the misting: 0.25 g/L 20-20-20"
    (alone,) = shown(stored[0])
    assert alone.why == ""
    (rinse,) = shown(a_wetting(ChoreKind.FLUSH, "Moth"))
    assert rinse.way == "Within 16 min of the feed, 16:00 to 18:00, bench"


def test_what_goes_out_later_is_in_the_order_of_its_hours() -> None:
    first = an_outing("b", NOW + HOUR, NOW + 5 * HOUR)
    then = an_outing("a", NOW + 2 * HOUR, NOW + 4 * HOUR)
    assert [card.id for card in shown(then, first)] == [first.id, then.id]


def test_a_crown_is_kept_dry_where_the_plant_stands_now() -> None:
    dry = StoredChore(an_order("dry", HOUR, ChoreKind.STOP_WETTING, ("bench", "bench")))
    (card,) = shown(dry, known=Known(standing={"Moth": "room", "Fern": "bench"}))

    moved, there = card.plants
    assert moved.because == f"{there.because}; it now stands in room"


def test_what_must_go_in_soon_comes_before_what_may_be_misted_now() -> None:
    mist = a_wetting(ChoreKind.MIST, "Moth")
    kinds = [card.chore.kind for card in shown(mist, StoredChore(an_order()))]
    assert kinds == [ChoreKind.CARRY_IN, ChoreKind.MIST]

    kinds = [card.chore.kind for card in shown(mist, StoredChore(an_order("in", 4 * HOUR)))]
    assert kinds == [ChoreKind.MIST, ChoreKind.CARRY_IN]


def test_no_limit_is_told_where_nothing_is_known_of_the_night() -> None:
    chore = an_order()
    (reason, _) = chore.because
    unknown = replace(reason, value=None, limit=0.0)
    (card,) = shown(StoredChore(replace(chore, grounds=Grounds.of((("Moth",), unknown)))))

    assert card.why == "Tonight's weather is not known: assume it will be cold"
    assert [plant.because for plant in card.plants] == [""]


def test_the_round_that_was_told_last_counts_until_there_is_a_newer_one() -> None:
    today, before = date(2026, 5, 15), date(2026, 5, 14)
    told = {(Round.DUSK, before), (Round.MORNING, before)}

    def last() -> ToldRound | None:
        return told_last(today, lambda round_, day: (round_, day) in told)

    assert last() == ToldRound(Round.DUSK, before)
    told.add((Round.MORNING, today))
    assert last() == ToldRound(Round.MORNING, today)
    told.add((Round.DUSK, today))
    assert last() == ToldRound(Round.DUSK, today)
    told.clear()
    assert last() is None


def test_of_what_may_be_done_now_the_last_hour_that_comes_first_decides() -> None:
    long = StoredChore(an_order("a", 3 * HOUR, ChoreKind.MIST, ("pergola", "pergola"), NOW - HOUR))
    short = StoredChore(an_order("b", HOUR / 6, ChoreKind.MIST, ("bench", "bench"), NOW - HOUR))

    assert [card.id for card in shown(long, short)] == [short.id, long.id]


def test_a_flush_with_water_that_must_be_got_is_shown_until_it_is_told_again() -> None:
    def flush(what: str, days: int) -> list[Group]:
        chore = an_order("flush", timedelta(days=-days), ChoreKind.LEACH, ("bench", "bench"))
        return [card.group for card in shown(StoredChore(replace(chore, what=what)))]

    assert flush(SOFT_WATER, 5) == [Group.NOW]
    assert flush(SOFT_WATER, 7) == []
    assert flush("", 5) == []
