"""The outbox under any order of events: what is enqueued is sent once, or it is known why not.

Hypothesis picks the events; the ledger is real SQLite. The channels count what arrives.
"""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from sillward.config.channel import Channel
from sillward.config.quiet_hours import QuietHours
from sillward.errors import DeliveryError, LedgerError
from sillward.ledger import Ledger, NoticeState, Stage
from sillward.service.desk import Desk
from sillward.service.outbox import MAX_DOUBTFUL, SEND_PAUSES
from sillward.wording.push import Message
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.chores import a_chore
from tests.support.desks import DAY, SITE, Post, Weatherman, World, a_channel, a_household, local
from tests.support.fakes import FakeClock

CHANNELS = (a_channel("phone"), a_channel("mail", full_length=True))
QUIET = "22:00-06:00"
CHORE = f"{DAY}-carry-in-bench-room"

TICK = timedelta(minutes=1)


class Killed(BaseException):
    """The power went."""


class FailingLedger(Ledger):
    """A ledger whose next write may fail, and after whose next mark the process may end."""

    fails_in: int | None = None
    """The write after so many others fails."""
    killing = False

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._real_transaction = self.database.transaction
        self.database.transaction = self._transaction  # type: ignore[method-assign]

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        if self.fails_in is not None and not self.database.connection.in_transaction:
            self.fails_in -= 1
            if self.fails_in < 0:
                self.fails_in = None
                msg = "ledger: disk I/O error"
                raise LedgerError(msg)
        with self._real_transaction():
            yield

    def mark_sent(
        self,
        key: str,
        at: datetime,
        doubt: str | None = None,
        words: tuple[str, str] | None = None,
    ) -> None:
        super().mark_sent(key, at, doubt, words)
        if self.killing:
            self.killing = False
            raise Killed


class Machine(RuleBasedStateMachine):
    """One household with two channels, quiet hours, and everything that can go wrong."""

    def __init__(self) -> None:
        super().__init__()
        self.clock = FakeClock(local("12:00"))
        self.ledger = FailingLedger(":memory:")
        household = a_household(*CHANNELS)
        quiet = replace(household.rounds, quiet=QuietHours(parse_hours(QUIET)))
        self.household = replace(household, rounds=quiet)
        self.states = {channel.name: "well" for channel in CHANNELS}
        self.next_send: str | None = None
        self.titles: dict[str, list[str]] = {}
        """For each key the titles that arrived."""
        self.tries: Counter[str] = Counter()
        """For each key the tries of which nobody knows how they ended."""
        self.count = 0
        self.open = False
        """Whether an order is to be done still."""
        self.desk = self._start()

    def teardown(self) -> None:
        """In the end everything is settled, and nothing is sent after that."""
        self.a_quiet_while()
        self.clock.move(days=2)
        self._deliver()
        assert {notice.state for notice in self.ledger.notices.latest(SITE.name, 999)} <= set(
            _SETTLED
        )
        self.nothing_is_sent_that_did_not_arrive()
        self.nothing_arrives_twice_without_a_reason()
        self.ledger.close()

    def _start(self) -> Desk:
        self.ledger.notices.release_claims(SITE.name, self.clock.now)
        source = Weatherman()
        return World(self.clock, source, Post(), self.ledger, self.household).desk

    # -- the world

    def send(self, channel: Channel, message: Message) -> None:
        """A channel that does as the machine says."""
        (notice,) = (
            notice
            for notice in self.ledger.notices.latest(SITE.name, 999)
            if notice.state == NoticeState.SENDING
        )
        key = notice.key
        assert self.open or notice.stage not in _NOT_NEEDED, "a reminder of what is done"
        event, self.next_send = self.next_send, None
        state = self.states[channel.name]
        if event == "killed before":
            self.tries[key] += 1
            raise Killed
        if state == "down":
            msg = "the service refused it"
            raise DeliveryError(msg)
        if state != "silent":
            self.titles.setdefault(key, []).append(message.title)
        if event == "killed after":
            self.tries[key] += 1
            raise Killed
        if state in ("silent", "late"):  # it never comes, or it came
            self.tries[key] += 1
            msg = "no answer within 60 s"
            raise DeliveryError(msg, perhaps_sent=True)

    def _deliver(self) -> None:
        self.desk.context.sender = self.send
        try:
            self.desk.outbox.deliver()
        except Killed:
            for key in self.desk.outbox._sent_unmarked:
                self.tries[key] += 1
            self.ledger.fails_in = None  # else no desk could start
            self.desk = self._start()
        except LedgerError:
            pass

    # -- what happens

    @rule(
        stage=st.sampled_from(Stage),
        name=st.sampled_from([channel.name for channel in CHANNELS]),
        good_min=st.sampled_from([30, 240, 900]),
    )
    def enqueue(self, stage: Stage, name: str, good_min: int) -> None:
        """Enqueue a round, or what follows from one, with an order or without."""
        self.count += 1
        now = self.clock.now
        intent = f"dusk {stage} {self.count}"
        until = now + timedelta(minutes=good_min)
        channel = next(channel for channel in CHANNELS if channel.name == name)
        notice = self.desk.context.notice(
            channel, intent, DAY, Message(f"Notice {self.count}", "What is to do"), until,
            round_="dusk", stage=stage,
        )  # fmt: skip
        self.ledger.enqueue(SITE.name, now, [notice])

    @rule(in_min=st.integers(10, 600))
    def order(self, in_min: int) -> None:
        """Add an order to the round, due in some time."""
        self.open = True
        at = self.clock.now + timedelta(minutes=in_min)
        self.count += 1
        chore = a_chore(CHORE, at, plants=[f"Pot {self.count}"])
        self.ledger.keep_change(
            SITE.name, "dusk", self.count, DAY, self.clock.now, notices=[],
            chores=[(chore, None)], called_off=[], states_once_delivered={},
        )  # fmt: skip

    @rule()
    def acknowledge(self) -> None:
        self.open = False
        self.ledger.confirm(SITE.name, self.clock.now, {CHORE: None}, {})

    @rule(minutes=st.sampled_from([1, 5, 16, 60, 300]), ticks=st.integers(1, 4))
    def time_passes(self, minutes: int, ticks: int) -> None:
        """Tick for some time, with nothing in the way but the state of the channels."""
        for _ in range(ticks):
            self.clock.move(minutes=minutes / ticks)
            self._deliver()

    @rule(
        name=st.sampled_from([channel.name for channel in CHANNELS]),
        state=st.sampled_from(["well", "well", "down", "silent", "late"]),
    )
    def channel_changes(self, name: str, state: str) -> None:
        self.states[name] = state

    @rule(
        name=st.sampled_from([channel.name for channel in CHANNELS]),
        states=st.lists(st.sampled_from(["well", "down", "down", "silent", "late"]), max_size=8),
    )
    def channel_comes_and_goes(self, name: str, states: list[str]) -> None:
        """Give a channel a state for each of some attempts, the longest pause apart."""
        for state in states:
            self.states[name] = state
            self.clock.now += SEND_PAUSES[-1]
            self._deliver()

    @rule(
        cut=st.sampled_from([None, "killed before", "killed after", "killed after the mark"]),
        fails_in=st.none() | st.integers(0, 6),
    )
    def a_bad_tick(self, cut: str | None, fails_in: int | None) -> None:
        """End the process around the next send, or let a write fail."""
        self.clock.move(minutes=1)
        self.next_send, self.ledger.killing = cut, cut == "killed after the mark"
        self.ledger.fails_in = fails_in
        self._deliver()
        self.next_send, self.ledger.fails_in, self.ledger.killing = None, None, False

    @rule()
    def restart(self) -> None:
        for key in self.desk.outbox._sent_unmarked:
            self.tries[key] += 1
        self.desk = self._start()

    @rule()
    def a_quiet_while(self) -> None:
        """Let all be well for longer than any pause: what is good for that long is sent by
        then."""
        self.states = dict.fromkeys(self.states, "well")
        waiting = [
            notice
            for notice in self.ledger.notices.latest(SITE.name, 999)
            if notice.state == NoticeState.WAITING
        ]
        for _ in range(int(SEND_PAUSES[-1] / TICK) + 2):
            self._deliver()
            self.clock.now += TICK
        now = self.clock.now - TICK
        if self.household.rounds.quiet.until(SITE, now - SEND_PAUSES[-1]) is not None:
            return
        if self.household.rounds.quiet.until(SITE, now) is not None:
            return
        states = {notice.key: notice.state for notice in self.ledger.notices.latest(SITE.name, 999)}
        for notice in waiting:
            good = notice.expires_at > now
            assert states[notice.key] in (("sent", "not needed") if good else _SETTLED), notice

    # -- what holds

    @invariant()
    def nothing_is_sent_that_did_not_arrive(self) -> None:
        for notice in self.ledger.notices.latest(SITE.name, 999):
            if notice.state == NoticeState.SENT and notice.key not in self.titles:
                assert notice.last_error is not None, notice
                assert self.tries[notice.key] > MAX_DOUBTFUL, notice

    @invariant()
    def nothing_arrives_twice_without_a_reason(self) -> None:
        for key, titles in self.titles.items():
            assert len(titles) <= 1 + self.tries[key], key
            assert all(title.startswith("(repeat) ") for title in titles[1:]), titles

    @invariant()
    def what_arrived_is_not_given_up(self) -> None:
        for notice in self.ledger.notices.latest(SITE.name, 999):
            if notice.key in self.titles:
                assert notice.state != NoticeState.NOT_NEEDED or notice.perhaps_sent, notice
                assert notice.state != NoticeState.EXPIRED or notice.perhaps_sent, notice

    @invariant()
    def only_what_is_over_expires(self) -> None:
        for notice in self.ledger.notices.latest(SITE.name, 999):
            assert notice.state != NoticeState.EXPIRED or notice.expires_at <= self.clock.now, (
                notice
            )
            if notice.state == NoticeState.NOT_NEEDED:
                assert notice.stage in _NOT_NEEDED, notice


_NOT_NEEDED = (Stage.REMINDER, Stage.PASSED_ON)
"""What is left unsent if there is nothing to do any more."""

_SETTLED = ("sent", "not needed", "expired")


def _run(examples: int) -> None:
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=30,
            deadline=None,
            database=None,
            print_blob=True,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_whatever_happens_a_notice_is_sent_once_or_one_knows_why_not() -> None:
    _run(100)


@pytest.mark.slow
def test_whatever_happens_a_thousand_times() -> None:
    _run(1000)
