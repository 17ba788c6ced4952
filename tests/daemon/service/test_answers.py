"""What a grower answers, and what the service makes of it: not needed, later, moved, taken back."""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sillward.config.household import NoticePolicy, Rounds
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import Answer, CallSchedule, Ledger, NoticeState, Stage, StoredChore
from sillward.service import answers
from sillward.service.answers import confirm, decline, move, put_off, take_back
from sillward.service.desk import Desk
from sillward_rules.chore import ChoreKind, only
from sillward_rules.plants.salt_balance import SETTLED_AFTER, SOFT_WATER
from sillward_rules.plants.state import OpenOrder, PlantState
from sillward_rules.remark import LeftOutByChoice, NotNeeded
from sillward_rules.sheet import Round
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.chores import a_chore
from tests.support.desks import (
    DAY,
    SITE,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)

PLANTS = (a_plant("Pot 0"), a_plant("Pot 1"))
PHONE, PARTNER = a_channel("phone"), a_channel("partner", "alarm")
NEXT = DAY + timedelta(days=1)


def evening(low_c: float = 5.0, policy: NoticePolicy | None = None) -> tuple[World, Desk]:
    """A dusk round told at five; two pots must be in by 18:40."""
    world = a_world("17:00", low_c=low_c)
    world.household = a_household(
        PHONE, PARTNER, plants=PLANTS, policy=policy or NoticePolicy(pass_on=None)
    )
    desk = world.desk
    desk.tick()
    return world, desk


def order(world: World, kind: ChoreKind = ChoreKind.CARRY_IN) -> StoredChore:
    (found,) = [chore for chore in open_chores(world) if chore.kind is kind]
    return found


def open_chores(world: World) -> list[StoredChore]:
    """What is open; not what the dusk round says of the following day."""
    chores = world.ledger.chores.due_since(SITE.name, local("00:00"))
    day = str(SITE.local_date(world.clock.now))
    return [chore for chore in chores if chore.open and chore.day == day]


def until(world: World, desk: Desk, end: datetime, minutes: float = 5) -> None:
    while world.clock.now < end:
        desk.tick()
        world.clock.move(minutes=minutes)
    desk.tick()


def newer(world: World, desk: Desk, low_c: float) -> None:
    """A newer forecast comes, half an hour later."""
    world.source.low_c = low_c
    world.clock.move(minutes=30)
    due = CallSchedule(next_at=world.clock.now)
    world.ledger.call_schedules.keep(world.source.name, due)
    desk.tick()


def titles(world: World, channel: str = "phone") -> list[str]:
    return [message.title for name, message in world.post.pushes if name == channel]


def remarks(desk: Desk, round_: Round, kind: type) -> Sequence[object]:
    sheet = desk.context.sheet(round_, desk.context.weather())
    return [remark for remark in sheet.warnings if isinstance(remark, kind)]


def not_needed(world: World, *plants: str, person: str | None = None) -> StoredChore:
    chore = order(world)
    decline(world.ledger, SITE.name, [(chore, plants or chore.plants)], world.clock.now, person)
    return chore


# -- not needed


def test_what_is_not_needed_is_closed_for_the_night_and_not_reminded_of() -> None:
    world, desk = evening()
    not_needed(world, person="Ana")

    until(world, desk, local("20:00"))

    assert titles(world) == ["Carry in 2 plants by 18:40"]
    (chore,) = world.ledger.chores.of_day(SITE.name, DAY)
    assert (chore.declined_at, chore.done_by, chore.open) == (local("17:00"), "Ana", False)
    assert world.spots() == {"Pot 0": "bench", "Pot 1": "bench"}
    (remark,) = remarks(desk, Round.DUSK, NotNeeded)
    assert isinstance(remark, NotNeeded)
    assert (remark.plants, remark.kind) == (("Pot 0", "Pot 1"), "carry-in")
    assert remark.value == pytest.approx(5.0, abs=1.0)


def test_not_needed_for_one_plant_leaves_the_order_for_the_others() -> None:
    world, desk = evening()
    not_needed(world, "Pot 1")

    until(world, desk, local("18:15"))

    assert order(world).plants == ("Pot 0",)
    assert titles(world)[1:] == ["30 min left: Carry in 1 plant by 18:40"]


@pytest.mark.parametrize(("by_k", "told_anew"), [(1.2, False), (2.0, True)])
def test_a_night_that_turns_markedly_colder_is_told_anew(by_k: float, told_anew: bool) -> None:
    world, desk = evening()
    not_needed(world)

    newer(world, desk, 5.0 - by_k)

    assert [len(chore.plants) for chore in open_chores(world)] == [2] * told_anew
    assert len(titles(world)) == 1 + told_anew


def test_what_was_told_anew_can_be_declined_again() -> None:
    world, desk = evening()
    not_needed(world)
    newer(world, desk, 3.0)
    not_needed(world)

    newer(world, desk, 2.5)
    assert open_chores(world) == []
    newer(world, desk, 0.5)
    assert len(open_chores(world)) == 1


def test_the_next_night_is_decided_as_ever() -> None:
    world, desk = evening()
    not_needed(world)

    world.clock.now = local("17:00", NEXT)
    desk.tick()

    assert order(world).day == str(NEXT)
    assert set(order(world).plants) == {"Pot 0", "Pot 1"}


def test_the_morning_tells_what_was_left_out_by_decision_and_asks_nothing() -> None:
    world, desk = evening()
    not_needed(world)

    world.clock.now = local("08:30", NEXT)
    desk.tick()

    (message,) = [message for _, message in world.post.pushes[1:]]
    assert "eft out by your decision: Pot 0, Pot 1 fell to " in message.body
    assert "Nobody said so" not in message.body
    (remark,) = remarks(desk, Round.MORNING, LeftOutByChoice)
    assert isinstance(remark, LeftOutByChoice)
    assert remark.limit_c == 8.0


def test_a_plant_that_was_taken_in_after_all_is_not_called_left_out() -> None:
    world, desk = evening()
    chore = not_needed(world)
    confirm(world.ledger, SITE.name, [(chore, chore.plants)], local("19:00"))

    world.clock.now = local("08:30", NEXT)
    desk.tick()

    assert remarks(desk, Round.MORNING, LeftOutByChoice) == []
    (stored,) = [c for c in world.ledger.chores.of_day(SITE.name, DAY) if c.id == chore.id]
    assert (stored.done_at, stored.declined_at) == (local("19:00"), None)


def test_the_plants_are_not_told_to_go_out_again_in_the_morning() -> None:
    world, desk = evening()
    not_needed(world)
    sheet = desk.context.sheet(Round.DUSK, desk.context.weather())
    assert sheet.chores == ()


def test_an_answer_before_the_round_could_be_sent_holds_once_it_is() -> None:
    world = a_world("17:00", low_c=5.0)
    world.household = a_household(PHONE, plants=PLANTS)
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    not_needed(world, "Pot 0")
    world.post.down = set()

    until(world, desk, local("17:30"))

    assert titles(world)
    assert order(world).plants == ("Pot 1",)
    states = world.ledger.plant_states.of_site(SITE.name)
    assert (states["Pot 0"].asked, states["Pot 0"].at(local("23:00")).spot) == (None, "bench")
    assert states["Pot 1"].asked is not None


def test_a_plant_that_is_not_to_go_out_need_not_come_in_again() -> None:
    world = a_world("08:30", low_c=5.0)
    world.household = a_household(PHONE, plants=PLANTS)
    ledger, now = world.ledger, world.clock.now
    goes_at, due = local("12:00"), local("18:40")
    out = a_chore(
        f"{DAY}-carry-out-room-to-bench",
        local("14:40"),
        ChoreKind.CARRY_OUT,
        ("Pot 0", "Pot 1"),
        ("room", "bench"),
        start=goes_at,
    )
    back = a_chore(f"{DAY}-carry-in-bench-to-room", due, plants=("Pot 0", "Pot 1"))
    asked = OpenOrder("bench", "room", due, out_of="room", out_at=goes_at)
    state = PlantState("room", due, came_from="bench", asked=asked)
    states = dict.fromkeys(("Pot 0", "Pot 1"), state)
    ledger.keep_round(
        SITE.name, "morning", DAY, now, notices=[], chores=[out, back], states_now=states
    )
    stored = ledger.chores.get(SITE.name, out.id)
    assert stored is not None

    decline(ledger, SITE.name, [(stored, ["Pot 0"])], now)

    left = {(chore.kind, chore.plants) for chore in open_chores(world)}
    assert left == {(out.kind, ("Pot 1",)), (back.kind, ("Pot 1",))}


# -- later


def test_later_is_reminded_of_when_it_was_asked_for_and_before_the_deadline_again() -> None:
    world, desk = evening()
    (result,) = put_off(
        world.ledger, SITE.name, [order(world)], local("17:30"), world.clock.now, "Ana"
    )
    assert result.until == local("17:30")

    until(world, desk, local("17:30"))
    assert titles(world)[1:] == ["Carry in 2 plants by 18:40"]
    until(world, desk, local("18:35"))
    assert titles(world)[2:] == ["30 min left: Carry in 2 plants by 18:40"]
    assert order(world).open


def test_later_is_never_too_late() -> None:
    world, desk = evening()
    (result,) = put_off(world.ledger, SITE.name, [order(world)], local("23:00"), world.clock.now)
    assert result.until == local("18:40") - answers.REMINDED_BEFORE

    until(world, desk, local("18:25"))
    assert len(titles(world)) == 1  # nor is it repeated at the usual hour
    until(world, desk, local("18:35"))
    assert titles(world)[1:] == ["10 min left: Carry in 2 plants by 18:40"]


def test_shortly_before_its_deadline_nothing_can_be_put_off_and_after_it_for_half_an_hour() -> None:
    world, _ = evening()
    chosen = [order(world)]

    (late,) = put_off(world.ledger, SITE.name, chosen, local("20:00"), local("18:33"))
    assert late.until is None
    (overdue,) = put_off(world.ledger, SITE.name, chosen, local("20:00"), local("18:50"))
    assert overdue.until == local("19:20")


def test_the_other_channel_is_not_told_before_who_put_it_off_was_reminded() -> None:
    world, desk = evening(policy=NoticePolicy())
    put_off(world.ledger, SITE.name, [order(world)], local("18:28"), world.clock.now)

    until(world, desk, local("18:31"), minutes=1)
    assert titles(world, "partner") == []
    assert len(titles(world)) == 2
    until(world, desk, local("18:34"), minutes=1)
    assert len(titles(world, "partner")) == 1


def test_a_reminder_that_was_asked_for_comes_in_quiet_hours_and_without_a_policy() -> None:
    world, _ = evening(policy=NoticePolicy(remind=None, pass_on=None))
    told: Rounds = replace(world.household.rounds, quiet=QuietHours(parse_hours("17:10-23:00")))
    world.household = replace(world.household, rounds=told)
    put_off(world.ledger, SITE.name, [order(world)], local("17:30"), world.clock.now)

    until(world, world.desk, local("17:30"))

    assert len(titles(world)) == 2


def test_a_reminder_is_not_sent_if_it_is_put_off_before_it_could_be() -> None:
    world, desk = evening()
    world.post.down = {"phone"}
    until(world, desk, local("18:12"))
    waiting = world.ledger.notices.of_round(SITE.name, "dusk", DAY, stage=Stage.REMINDER)
    assert [notice.state for notice in waiting] == [NoticeState.WAITING]
    put_off(world.ledger, SITE.name, [order(world)], local("18:25"), world.clock.now)
    world.post.down = set()

    until(world, desk, local("18:20"))
    assert len(titles(world)) == 1
    until(world, desk, local("18:26"))
    assert len(titles(world)) == 2


# -- moved


def test_moving_a_plant_to_where_it_was_to_go_is_doing_it() -> None:
    world, _ = evening()
    result = move(world.ledger, SITE.name, "Pot 0", "room", local("17:20"), "Ana")

    assert (result.from_spot, result.spot) == ("bench", "room")
    assert order(world).plants == ("Pot 1",)
    assert world.ledger.plant_states.of_site(SITE.name)["Pot 0"].asked is None


def test_a_plant_that_is_moved_elsewhere_outdoors_keeps_its_order() -> None:
    world, desk = evening()
    move(world.ledger, SITE.name, "Pot 0", "yard", local("17:20"))

    assert "Pot 0" in order(world).plants
    state = world.ledger.plant_states.of_site(SITE.name)["Pot 0"]
    assert state.asked is not None
    assert state.asked.from_spot == "yard"
    until(world, desk, local("18:15"))
    assert titles(world)[1:] == ["30 min left: Carry in 2 plants by 18:40"]


def test_a_plant_that_was_carried_in_and_put_out_again_is_called_in_again() -> None:
    world, desk = evening()
    chore = order(world)
    confirm(world.ledger, SITE.name, [(chore, chore.plants)], local("17:10"))
    world.clock.now = local("17:30")
    move(world.ledger, SITE.name, "Pot 1", "bench", world.clock.now)

    desk.tick()
    assert len(titles(world)) == 1  # not in the very second of the answer
    world.clock.move(minutes=1)
    desk.tick()

    assert order(world).plants == ("Pot 1",)
    assert titles(world)[1:] == ["Change: carry in 1 plant by 18:40"]


def test_what_was_declined_by_numbers_that_hold_no_more_is_told_by_the_new_ones() -> None:
    world, desk = evening()
    newer(world, desk, 2.5)  # no news, as the hour is the same
    assert len(titles(world)) == 1
    not_needed(world)

    until(world, desk, world.clock.now + timedelta(minutes=1), minutes=1)

    assert len(open_chores(world)) == 1
    assert titles(world)[1:] == ["Change: carry in 2 plants by 18:40"]


# -- an answer from a page that was drawn a while ago


def test_plants_that_have_joined_meanwhile_stay_open() -> None:
    world, desk = evening(low_c=7.5)
    shown = order(world)
    world.household = a_household(PHONE, plants=(*PLANTS, a_plant("Pot 2")))
    desk = world.desk
    newer(world, desk, 4.0)

    confirm(world.ledger, SITE.name, [(shown, shown.plants)], world.clock.now)

    assert {name for chore in open_chores(world) for name in chore.plants} == {"Pot 2"}


def test_answering_twice_is_answering_once(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    world, _ = evening()
    shown = order(world)
    with closing(Ledger(path)) as one, closing(Ledger(path)) as other:
        one.keep_round(
            SITE.name, "dusk", DAY, local("17:00"), notices=[], chores=[shown.chore], states_now={}
        )
        (first,) = confirm(one, SITE.name, [(shown, ["Pot 0", "Pot 1"])], local("17:10"), "Ana")
        (again,) = confirm(other, SITE.name, [(shown, ["Pot 0", "Pot 1"])], local("17:11"), "Luz")
        assert first.done_before is None
        assert again.done_before == local("17:10")
        (stored,) = one.chores.of_day(SITE.name, DAY)
        assert (stored.done_at, stored.done_by) == (local("17:10"), "Ana")
        assert len(one.deeds.latest(SITE.name, 9)) == 1


def test_two_people_who_answer_for_some_plants_each_close_theirs(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    world, _ = evening()
    shown = order(world)
    with closing(Ledger(path)) as one, closing(Ledger(path)) as other:
        one.keep_round(
            SITE.name, "dusk", DAY, local("17:00"), notices=[], chores=[shown.chore], states_now={}
        )
        confirm(one, SITE.name, [(shown, ["Pot 0"])], local("17:10"), "Ana")
        decline(other, SITE.name, [(shown, ["Pot 0", "Pot 1"])], local("17:10"), "Luz")

        chores = one.chores.of_day(SITE.name, DAY)
    assert {(c.plants, c.done_by, c.done_at is not None) for c in chores} == {
        (("Pot 0",), "Ana", True),
        (("Pot 1",), "Luz", False),
    }
    assert not any(chore.open for chore in chores)


def test_two_answers_at_the_same_moment_are_one(tmp_path: Path) -> None:
    world, _, page = evening_on_disk(tmp_path)
    shown, gate = order(world), threading.Barrier(2)
    answers_given = {"Ana": confirm, "Luz": decline}

    def tap(person: str) -> list[answers.Answered]:
        with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
            gate.wait(10)
            return answers_given[person](
                ledger, SITE.name, [(shown, shown.plants)], world.clock.now, person
            )

    with closing(world.ledger), closing(page), ThreadPoolExecutor(2) as both:
        results = list(both.map(tap, answers_given))
        (chore,) = page.chores.of_day(SITE.name, DAY)
        deeds = page.deeds.latest(SITE.name, 9)

    assert all(result for result in results)
    assert chore.done_at is not None  # what is done is done, whoever came first
    assert chore.done_by == "Ana"
    assert {deed.person for deed in deeds} <= {"Ana", "Luz"}
    assert deeds[0].person == "Ana"


# -- taken back, and the log


def test_every_answer_can_be_taken_back() -> None:
    world, desk = evening()
    desk.tick()
    before = order(world), world.ledger.plant_states.of_site(SITE.name)
    now, name = world.clock.now, SITE.name
    given: list[Callable[[], object]] = [
        lambda: put_off(world.ledger, name, [order(world)], local("17:40"), now),
        lambda: not_needed(world, "Pot 0"),
        lambda: confirm(world.ledger, name, [(order(world), ["Pot 1"])], now),
        lambda: move(world.ledger, name, "Pot 0", "room", now),
    ]
    for answer in given:
        answer()
    taken = []
    while (one := take_back(world.ledger, name, None, now, "Luz")) is not None:
        taken.append(one.answer)

    assert taken == [Answer.MOVED, Answer.DONE, Answer.NOT_NEEDED, Answer.LATER]
    assert (order(world), world.ledger.plant_states.of_site(SITE.name)) == before
    deeds = world.ledger.deeds.latest(name, 99)
    assert [deed.what for deed in deeds][:4] == ["taken back"] * 4
    assert {deed.person for deed in deeds[:4]} == {"Luz"}


def test_what_was_declined_and_told_anew_is_open_once_it_is_taken_back() -> None:
    world, desk = evening()
    not_needed(world)
    newer(world, desk, 3.0)

    take_back(world.ledger, SITE.name, "carry-in", world.clock.now)

    states = world.ledger.plant_states.of_site(SITE.name)
    assert not any(state.declined for state in states.values())
    assert {name for chore in open_chores(world) for name in chore.plants} == {"Pot 0", "Pot 1"}


def test_the_log_says_who_did_what() -> None:
    world, _ = evening()
    not_needed(world, "Pot 0", person="Ana")
    (deed,) = world.ledger.deeds.latest(SITE.name, 9)
    assert (deed.person, deed.what, deed.at) == ("Ana", "not needed", local("17:00"))
    assert deed.about == {
        "chore": f"{DAY}-carry-in-bench-to-room",
        "kind": "carry-in",
        "plants": ["Pot 0"],
        "from": "bench",
        "to": "room",
    }


# -- orders that lead elsewhere by now


@pytest.mark.parametrize("has_left", [True, False], ids=["all of them", "some of them"])
def test_who_did_what_was_told_first_has_carried_plants_to_where_that_led(has_left: bool) -> None:
    """The room turned out too cold meanwhile, and the plants are to go to the cellar."""
    world, _ = evening()
    old = order(world)
    names = old.plants if has_left else old.plants[1:]
    new = replace(only(old.chore, names), id=f"{DAY}-carry-in-bench-to-cellar", to_spot="cellar")
    chores = [(new, world.clock.now)]
    if not has_left:
        chores.append((only(old.chore, old.plants[:1]), world.clock.now))
    world.ledger.keep_change(
        SITE.name, "dusk", 1, DAY, world.clock.now, notices=[], chores=chores,
        called_off=[old.id] if has_left else [], states_once_delivered={},
    )  # fmt: skip

    confirm(world.ledger, SITE.name, [(old, old.plants)], world.clock.now, "Ana")

    states = world.ledger.plant_states.of_site(SITE.name)
    assert {name: states[name].spot for name in old.plants} == dict.fromkeys(old.plants, "room")
    still = {(chore.chore.to_spot, chore.plants) for chore in open_chores(world)}
    assert still == {("cellar", names)}


# -- beside the daemon, through a ledger of its own


def evening_on_disk(folder: Path) -> tuple[World, Desk, Ledger]:
    """The same evening with the ledger in a file, and the ledger of the page on that file."""
    world = a_world("17:00", low_c=5.0)
    world.household = a_household(PHONE, PARTNER, plants=PLANTS, policy=NoticePolicy())
    world.ledger = Ledger(folder / "ledger.sqlite3")
    desk = world.desk
    desk.tick()
    return world, desk, Ledger(folder / "ledger.sqlite3")


def say_done(ledger: Ledger, chore: StoredChore, now: datetime) -> None:
    confirm(ledger, SITE.name, [(chore, chore.plants)], now)


def say_not_needed(ledger: Ledger, chore: StoredChore, now: datetime) -> None:
    decline(ledger, SITE.name, [(chore, chore.plants)], now)


def say_later(ledger: Ledger, chore: StoredChore, now: datetime) -> None:
    put_off(ledger, SITE.name, [chore], now + timedelta(minutes=20), now)


def carry_all(ledger: Ledger, chore: StoredChore, now: datetime) -> None:
    for name in chore.plants:
        move(ledger, SITE.name, name, "room", now, is_safe=True)


Say = Callable[[Ledger, StoredChore, datetime], None]
EVERY_ANSWER = pytest.mark.parametrize("say", [say_done, say_not_needed, say_later, carry_all])


@EVERY_ANSWER
def test_an_answer_on_the_page_ends_reminders_at_the_next_tick(say: Say, tmp_path: Path) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        until(world, desk, local("18:09"), minutes=1)
        say(page, order(world), world.clock.now)

        until(world, desk, local("18:20"), minutes=1)

        assert len(titles(world)) == 1
        assert titles(world, "partner") == []


@EVERY_ANSWER
def test_an_answer_that_comes_before_a_waiting_reminder_goes_out_stops_it(
    say: Say, tmp_path: Path
) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        world.clock.now = local("18:09")
        world.post.down = {"phone", "partner"}
        until(world, desk, local("18:15"), minutes=1)
        waiting = world.ledger.notices.of_round(SITE.name, "dusk", DAY, stage=Stage.REMINDER)
        assert [notice.state for notice in waiting] == [NoticeState.WAITING]
        say(page, order(world), world.clock.now)
        world.post.down = set()

        until(world, desk, local("18:25"), minutes=1)

        assert len(titles(world)) == 1
        assert titles(world, "partner") == []


@pytest.mark.parametrize("say", [say_done, say_not_needed, carry_all])
def test_an_answer_in_the_file_holds_when_the_daemon_comes_back_from_memory(
    say: Say, tmp_path: Path
) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        shown = order(world)
        world.ledger.to_memory()
        _correct_in_memory(world, desk)
        assert order(world).before < shown.before
        say(page, shown, world.clock.now)

        assert world.ledger.to_file()

        assert open_chores(world) == []
        states = world.ledger.plant_states.of_site(SITE.name)
        assert [state.asked for state in states.values()] == [None, None]
        place = "bench" if say is say_not_needed else "room"
        assert [state.at(local("23:00")).spot for state in states.values()] == [place, place]
        pushes = len(titles(world))
        until(world, desk, local("17:50"), minutes=1)
        # What was declined was told as a night of 5 °C, and -8 °C are expected now.
        again = ["Change: carry in 2 plants now"] if say is say_not_needed else []
        assert titles(world)[pushes:] == again


def test_later_in_the_file_holds_over_a_reminder_in_memory(tmp_path: Path) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        until(world, desk, local("18:05"))
        shown = order(world)
        world.ledger.to_memory()
        world.clock.now = local("18:10")
        desk.reminders.look()
        put_off(page, SITE.name, [shown], local("18:25"), world.clock.now)

        assert world.ledger.to_file()

        until(world, desk, local("18:24"), minutes=1)
        assert len(titles(world)) == 1
        until(world, desk, local("18:25"), minutes=1)
        assert len(titles(world)) == 2


def _correct_in_memory(world: World, desk: Desk) -> None:
    """A much colder forecast moves the hour of the order while the ledger is in memory."""
    world.source.low_c = -8.0
    world.clock.move(minutes=20)
    due = CallSchedule(next_at=world.clock.now)
    world.ledger.call_schedules.keep(world.source.name, due)
    desk.context.updater.refresh_due(desk.context.site)
    desk.corrections.look()
    desk.outbox.deliver()


def test_a_plant_that_has_joined_in_memory_stays_open(tmp_path: Path) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        shown = order(world)
        world.ledger.to_memory()
        world.household = a_household(PHONE, plants=(*PLANTS, a_plant("Pot 2")))
        desk = world.desk
        _correct_in_memory(world, desk)
        say_done(page, shown, world.clock.now)

        assert world.ledger.to_file()

        assert {name for chore in open_chores(world) for name in chore.plants} == {"Pot 2"}
        states = world.ledger.plant_states.of_site(SITE.name)
        assert {name: state.asked is not None for name, state in states.items()} == {
            "Pot 0": False,
            "Pot 1": False,
            "Pot 2": True,
        }


def test_a_move_in_the_file_that_leaves_the_order_open_is_kept_too(tmp_path: Path) -> None:
    world, desk, page = evening_on_disk(tmp_path)
    with closing(world.ledger), closing(page):
        world.ledger.to_memory()
        _correct_in_memory(world, desk)
        move(page, SITE.name, "Pot 0", "yard", world.clock.now)

        assert world.ledger.to_file()

        state = world.ledger.plant_states.of_site(SITE.name)["Pot 0"]
        assert (state.spot, state.assumed) == ("yard", False)
        assert state.asked is not None
        assert state.asked.from_spot == "yard"
        assert "Pot 0" in order(world).plants


def test_a_flush_with_water_that_must_be_got_can_be_confirmed_until_it_is_told_again() -> None:
    now, ledger = local("17:00"), Ledger(":memory:")
    for name, days, what in (("rain", 6, SOFT_WATER), ("old", 8, SOFT_WATER), ("plain", 6, "")):
        due = now - timedelta(days=days)
        chore = replace(a_chore(f"{due:%Y-%m-%d}-{name}", due, ChoreKind.LEACH), what=what)
        ledger.chores.write("Yard", "morning", chore)

    (kept,) = answers.answerable(ledger, "Yard", now, timedelta(days=2))
    assert kept.id.endswith("rain")
    confirm(ledger, "Yard", [(kept, kept.plants)], now)
    care = ledger.plant_states.of_site("Yard")["Test strap"].care
    assert [(one.confirmed, one.of) for one in care.wettings] == [(True, SOFT_WATER)]
    assert care.wettings[0].at >= now - SETTLED_AFTER
