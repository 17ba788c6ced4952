"""Sending beside other work: a desk hands over its notices and goes on, and marks them later."""

import os
from contextlib import AbstractContextManager, suppress
from datetime import datetime

import pytest

from sillward.channels.dispatcher import Dispatcher
from sillward.errors import LedgerError
from sillward.ledger import NoticeState
from sillward.ledger.database import Database
from sillward.ledger.tables.notices import NoticeTable
from sillward.service.desk import Desk
from sillward.service.outbox import LEASE
from sillward.wording.push import Message
from tests.support.desks import DAY, SITE, World, a_channel, a_world
from tests.support.held_post import HeldPost, at_once

DUSK = "Carry in 2 plants by 18:40"


class Place:
    """A household at dusk whose desk is built anew for each look, as one of many is."""

    def __init__(self, *channels: str, **bounds: int) -> None:
        self.world: World = a_world("17:00", *(a_channel(name) for name in channels or ("phone",)))
        self.post = HeldPost()
        self.dispatcher: Dispatcher = self.post.dispatcher(self.world.clock, **bounds)
        self.new_desk = at_once(self.world, self.dispatcher)

    def look(self, minutes: float = 0) -> Desk:
        self.world.clock.move(minutes=minutes)
        desk = self.new_desk()
        desk.tick()
        return desk

    def state(self, channel: str = "phone") -> str:
        return self.world.notice(channel).state


def test_a_notice_is_handed_over_and_marked_at_the_next_look() -> None:
    place = Place()
    place.look()
    assert place.state() == NoticeState.SENDING
    assert place.post.channels == ["phone"]

    place.world.clock.move(seconds=3)
    arrived_at = place.world.clock.now
    place.post.end()
    assert place.post.news == [SITE.name]
    place.look(minutes=1)

    notice = place.world.notice()
    assert (notice.state, notice.sent_at, notice.title) == ("sent", arrived_at, DUSK)
    assert place.post.arrived == [("phone", DUSK)]
    assert place.dispatcher.sites() == []
    assert any(state.asked for state in place.world.ledger.plant_states.of_site(SITE.name).values())


def test_a_channel_that_hangs_holds_up_no_other() -> None:
    place = Place("mail", "phone", "tablet")
    place.look()
    assert place.post.channels == ["mail", "phone"]  # two at a time for one household

    place.post.end("phone")
    place.look(minutes=0.1)
    place.post.end("tablet")
    place.look(minutes=0.1)

    states = [place.state(name) for name in ("mail", "phone", "tablet")]
    assert states == ["sending", "sent", "sent"]


def test_one_channel_gets_one_after_the_other() -> None:
    place = Place()
    context = place.look().context
    (phone,) = context.channels
    until = place.world.notice().expires_at
    for name in ("dusk second", "dusk third"):
        message = Message(name, "what is to do")
        notice = context.notice(phone, name, DAY, message, until, round_="note")
        context.ledger.enqueue(SITE.name, place.world.clock.now, [notice])
        place.world.clock.move(seconds=1)

    for _ in range(3):
        place.look()
        assert len(place.post.under_way) == 1
        place.post.end()
    place.look()

    assert [title for _, title in place.post.arrived] == [DUSK, "dusk second", "dusk third"]


def test_however_late_an_outcome_comes_nothing_is_sent_twice() -> None:
    place = Place()
    place.look()
    lease_min = LEASE.total_seconds() / 60

    for _ in range(3):
        place.look(minutes=lease_min)
    assert len(place.post.under_way) == 1
    place.post.end()
    place.look()

    assert place.post.arrived == [("phone", DUSK)]
    assert place.state() == NoticeState.SENT


def test_what_another_process_has_claimed_since_is_left_to_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    place = Place()
    place.look()
    notices, key = place.world.ledger.notices, place.world.notice().key
    place.world.clock.move(seconds=LEASE.total_seconds())
    notices.release_claims(SITE.name, place.world.clock.now)
    monkeypatch.setattr(os, "getpid", os.getppid)
    assert notices.claim(key, place.world.clock.now + LEASE)
    monkeypatch.undo()

    place.post.fail()
    place.look()

    notice = place.world.notice()
    assert (notice.state, notice.attempts, notice.perhaps_sent) == ("sending", 2, 2)
    assert place.post.under_way == []


@pytest.mark.parametrize(("perhaps", "title"), [(False, DUSK), (True, f"(repeat) {DUSK}")])
def test_a_failure_is_tried_again_after_a_pause(perhaps: bool, title: str) -> None:
    place = Place()
    place.look()
    place.post.fail(perhaps_sent=perhaps)

    place.look(minutes=0.1)
    assert place.post.under_way == []
    assert place.world.notice().last_error == "no"
    place.look(minutes=0.7)
    place.post.end()
    place.look()

    assert place.post.arrived == [("phone", title)]


def test_a_process_that_ends_while_it_sends_costs_one_repeat() -> None:
    place = Place()
    place.look()

    after = Place()
    after.world = place.world
    after.new_desk = at_once(place.world, after.dispatcher)
    after.look(minutes=1)
    after.post.end()
    after.look()

    assert after.post.arrived == [("phone", f"(repeat) {DUSK}")]
    assert after.state() == NoticeState.SENT


def test_what_is_under_way_at_a_stop_is_marked_and_nothing_else_begun() -> None:
    place = Place("mail", "phone", "tablet")
    place.look()
    place.post.end("mail")

    desk = place.new_desk()
    desk.context.run.request_stop()
    desk.outbox.settle()
    desk.outbox.deliver()
    place.post.end("phone")
    assert place.dispatcher.wait(0)
    assert place.dispatcher.sites() == [SITE.name]
    desk.outbox.settle()

    states = [place.state(name) for name in ("mail", "phone", "tablet")]
    assert states == ["sent", "sent", "waiting"]


def test_an_outcome_that_cannot_be_written_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    place = Place()
    place.look()
    place.post.end()
    real = Database.transaction

    def full(_: Database) -> AbstractContextManager[None]:
        msg = "ledger: database or disk is full"
        raise LedgerError(msg)

    monkeypatch.setattr(Database, "transaction", full)
    with suppress(LedgerError):
        place.new_desk().outbox.deliver()
    monkeypatch.setattr(Database, "transaction", real)
    assert place.dispatcher.keys_of(SITE.name)
    place.look(minutes=5)

    assert place.state() == NoticeState.SENT
    assert place.post.arrived == [("phone", DUSK)]


def test_a_defect_of_the_sender_costs_a_pause_and_shows_no_address(
    caplog: pytest.LogCaptureFixture,
) -> None:
    place = Place()
    place.look()
    place.post.end(error=RuntimeError("json://token@localhost"))

    place.look()

    assert (place.state(), place.world.notice().perhaps_sent) == ("waiting", 1)
    assert "token" not in caplog.text
    assert place.post.under_way == []


def test_an_alarm_that_is_over_is_not_tried_again() -> None:
    place = Place()
    place.look()

    reached = place.world.ledger.notices.withdraw(SITE.name, "dusk", DAY)
    place.post.fail()
    place.look(minutes=20)

    assert reached == {"phone": True}
    assert place.state() == NoticeState.NOT_NEEDED


def test_while_it_is_tried_again_a_channel_is_still_in_trouble() -> None:
    place = Place()
    place.look()
    for _ in range(4):
        place.post.fail()
        place.look()
        desk = place.look(minutes=20)

    assert place.state() == NoticeState.SENDING
    assert desk.troubles() == ["phone: 1 waiting: no"]


def test_a_claim_that_is_over_before_the_sending_begins_sends_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    place = Place()
    claim, clock = NoticeTable.claim, place.world.clock

    def stopped(self: NoticeTable, key: str, until: datetime) -> bool:
        taken = claim(self, key, until)
        clock.move(minutes=5)  # this process is frozen; another one sends it meanwhile
        return taken

    with monkeypatch.context() as patch:
        patch.setattr(NoticeTable, "claim", stopped)
        place.look()
    assert place.post.channels == []

    place.look(minutes=1)

    assert place.post.channels == ["phone"]
