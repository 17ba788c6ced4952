"""What may be sent at once, and who is called when there is room."""

from pydantic import SecretStr

from sillward.channels.dispatcher import Attempt, Dispatcher
from sillward.config.channel import Channel
from sillward.ledger import Notice, NoticeState
from sillward.wording.push import Message
from tests.support.desks import local
from tests.support.fakes import FakeClock
from tests.support.held_post import HeldPost

NOON = local("12:00")


def a_channel(name: str, kind: str = "json") -> Channel:
    return Channel(name, SecretStr(f"{kind}://localhost"), (), all_clear=False, full_length=False)


def a_notice(site: str, number: int) -> Notice:
    return Notice(
        f"{site}/{number}", site, "dusk", "2026-05-14", "phone", "Carry in", "",
        NoticeState.WAITING, 0, NOON, NOON,
    )  # fmt: skip


class Town:
    """Households that try to send, each through channels of its own."""

    def __init__(self, **bounds: int) -> None:
        self.post = HeldPost()
        self.clock = FakeClock(NOON)
        self.dispatcher: Dispatcher = self.post.dispatcher(self.clock, **bounds)
        self.count = 0

    def send(self, site: str, name: str = "phone", kind: str = "json") -> bool:
        """Look at a household that has one thing to send. Return whether it was begun."""
        self.count += 1
        notice, channel = a_notice(site, self.count), a_channel(f"{site} {name}", kind)
        room = self.dispatcher.has_room(notice, channel)
        if room:
            self.dispatcher.begin(Attempt(notice, channel, Message("Carry in", "")))
        self.dispatcher.looked(site)
        return room

    def settle(self) -> None:
        for site in self.dispatcher.sites():
            for outcome in self.dispatcher.outcomes(site):
                self.dispatcher.settle(outcome)


def test_a_household_with_ten_channels_that_hang_holds_up_nobody() -> None:
    town = Town(at_once=8, of_one_kind=8)

    begun = [town.send("slow", f"channel {number}") for number in range(10)]
    others = [town.send(f"house {number}") for number in range(6)]

    assert sum(begun) == 2
    assert all(others)


def test_a_service_that_hangs_leaves_half_of_the_room_to_the_others() -> None:
    town = Town(at_once=8, of_one_kind=4)

    begun = [town.send(f"house {number}", kind="ntfy") for number in range(9)]

    assert sum(begun) == 4
    assert all(town.send(f"mail {number}", kind="mailto") for number in range(4))
    assert not town.send("another", kind="mailto")


def test_while_a_service_hangs_nobody_who_waits_for_it_is_called() -> None:
    town = Town(at_once=8, of_one_kind=4)
    for number in range(40):
        town.send(f"house {number}", kind="ntfy")
    mails = [f"mail {number}" for number in range(6)]
    assert sum(town.send(name, kind="mailto") for name in mails) == 4

    for _ in range(3):
        for number in range(40):
            town.send(f"house {number}", kind="ntfy")
    assert town.post.news == []

    town.post.end("mail 0 phone")
    assert town.post.news == ["mail 0", "mail 4"]
    town.post.fail("house 0 phone")
    assert town.post.news == ["mail 0", "mail 4", "house 0", "house 4"]


def test_a_place_calls_one_however_many_are_looked_at_before_it_comes() -> None:
    town = Town(at_once=2, of_one_kind=2)
    for name in "abcdef":
        town.send(name)

    town.post.end("a phone")
    for name in "xyz":
        town.dispatcher.looked(name)
    assert town.post.news == ["a", "c"]
    town.post.end("b phone")
    assert town.post.news == ["a", "c", "b", "d"]


def test_a_place_whose_household_does_not_come_is_offered_to_the_next() -> None:
    town = Town(at_once=1, of_one_kind=1)
    for name in "abc":
        town.send(name)
    town.post.end()
    assert town.post.news == ["a", "b"]

    town.clock.move(minutes=1)  # another process has the turns of b
    town.dispatcher.looked("x")

    assert town.post.news == ["a", "b", "c"]


def test_who_waits_for_two_services_keeps_its_place_for_the_one_that_hangs() -> None:
    town = Town(at_once=2, of_one_kind=1)
    assert town.send("a", kind="ntfy")
    assert town.send("b", kind="mailto")
    for name in "cd":
        assert not town.send(name, "phone", kind="ntfy")
        assert not town.send(name, "mail", kind="mailto")

    town.post.end("b phone")
    assert town.send("c", "mail", kind="mailto")
    assert not town.send("c", kind="ntfy")
    town.post.end("a phone")

    assert town.post.news == ["b", "c", "a", "c"]


def test_who_found_no_room_is_called_in_order() -> None:
    town = Town(at_once=2, of_one_kind=2)
    for name in "abcde":
        town.send(name)
    assert town.post.channels == ["a phone", "b phone"]

    town.post.end("a phone")
    assert town.post.news == ["a", "c"]
    assert town.send("c")
    town.post.end("b phone")
    assert town.post.news == ["a", "c", "b", "d"]


def test_who_was_called_and_came_too_late_is_called_first_the_next_time() -> None:
    town = Town(at_once=1, of_one_kind=1)
    for name in "abc":
        town.send(name)
    town.post.end("a phone")
    assert town.send("quick")
    assert not town.send("b")

    town.post.end("quick phone")

    assert town.post.news == ["a", "b", "quick", "b"]


def test_room_that_is_not_taken_goes_to_the_next() -> None:
    town = Town(at_once=1, of_one_kind=1)
    for name in "abc":
        town.send(name)
    town.post.end()
    assert town.post.news == ["a", "b"]

    town.dispatcher.looked("b")  # it has nothing to send any more

    assert town.post.news == ["a", "b", "c"]


def test_the_next_to_a_channel_waits_until_the_outcome_is_written() -> None:
    town = Town()
    assert town.send("a")
    assert not town.send("a")
    town.post.end()
    assert not town.send("a")

    town.settle()

    assert town.send("a")
    assert town.dispatcher.keys_of("a") == {"a/4"}


def test_what_has_ended_is_known_and_the_rest_is_under_way() -> None:
    town = Town()
    for name in "abc":
        town.send(name)
    town.post.fail("b phone")
    town.post.end("a phone")

    ended = {name: town.dispatcher.outcomes(name) for name in "abc"}
    assert {name: [one.error is None for one in found] for name, found in ended.items()} == {
        "a": [True],
        "b": [False],
        "c": [],
    }
    assert town.dispatcher.under_way == 1
    assert not town.dispatcher.wait(0)
