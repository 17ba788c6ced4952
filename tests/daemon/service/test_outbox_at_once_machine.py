"""Sending beside other work under any order of events: late outcomes, crashes, a ledger that fails.

What is enqueued arrives once, or it is known why not.
"""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from sillward.errors import DeliveryError, LedgerError
from sillward.ledger import Ledger, NoticeState
from sillward.service.outbox import LEASE, MAX_DOUBTFUL
from sillward.wording.push import Message
from tests.support.desks import DAY, SITE, Post, Weatherman, World, a_channel, a_household, local
from tests.support.fakes import FakeClock
from tests.support.held_post import HeldPost, at_once

NAMES = ("mail", "phone", "tablet")
ENDS = ("taken", "taken", "refused", "silent", "late")
"""How an attempt ends: "silent" and "late" give no answer, and the latter has arrived."""


class Machine(RuleBasedStateMachine):
    """One household with three channels, whose desk is built anew for each look."""

    def __init__(self) -> None:
        super().__init__()
        self.clock = FakeClock(local("12:00"))
        self.ledger = Ledger(":memory:")
        household = a_household(*map(a_channel, NAMES))
        self.world = World(self.clock, Weatherman(), Post(), self.ledger, household)
        self.fails_in: int | None = None
        """The write of the next look after so many others fails."""
        self.count = 0
        self.arrived: dict[str, list[str]] = {}
        """The titles that arrived, by that of the notice."""
        self.doubts: Counter[str] = Counter()
        """Attempts of which nobody knows how they ended."""
        self.start()
        real = self.ledger.database.transaction

        @contextmanager
        def transaction() -> Iterator[None]:
            if self.fails_in is not None and not self.ledger.database.connection.in_transaction:
                self.fails_in -= 1
                if self.fails_in < 0:
                    self.fails_in = None
                    msg = "ledger: disk I/O error"
                    raise LedgerError(msg)
            with real():
                yield

        self.ledger.database.transaction = transaction  # type: ignore[method-assign]

    def start(self) -> None:
        self.post = HeldPost()
        self.dispatcher = self.post.dispatcher(self.clock)
        self.new_desk = at_once(self.world, self.dispatcher)

    def teardown(self) -> None:
        """Once all is well everything is sent, or over; what comes then is sent at once."""
        for _ in range(60):
            self.look(minutes=5)
            for _ in range(len(self.post.under_way)):
                self.end(0, "taken")
        for name in NAMES:
            self.enqueue(name, 600)
        for _ in NAMES:
            self.look(minutes=0)
            self.end(0, "taken")
            self.end(0, "taken")
        assert all(f"Notice {self.count - number}" in self.arrived for number in range(len(NAMES)))
        self.clock.move(days=2)
        self.look(minutes=0)
        states = {notice.title: notice for notice in self.ledger.notices.latest(SITE.name, 999)}
        for title, notice in states.items():
            assert notice.state in (NoticeState.SENT, NoticeState.EXPIRED), notice
            if (
                notice.state is NoticeState.SENT
                and title.removeprefix("(repeat) ") not in self.arrived
            ):
                assert self.doubts[title] > MAX_DOUBTFUL, notice
        self.each_arrives_once_or_is_marked()
        self.ledger.close()

    # -- what happens

    @rule(name=st.sampled_from(NAMES), good_min=st.sampled_from([30, 600]))
    def enqueue(self, name: str, good_min: int) -> None:
        self.count += 1
        context = self.new_desk().context
        notice = context.notice(
            next(channel for channel in context.channels if channel.name == name),
            f"note {self.count}", DAY, Message(f"Notice {self.count}", "what is to do"),
            self.clock.now + timedelta(minutes=good_min), round_="note",
        )  # fmt: skip
        self.ledger.enqueue(SITE.name, self.clock.now, [notice])

    @rule(
        minutes=st.sampled_from([0, 0.5, 2, 16, LEASE.total_seconds() / 60]),
        fails_in=st.none() | st.integers(0, 8),
    )
    def look(self, minutes: float, fails_in: int | None = None) -> None:
        self.clock.move(minutes=minutes)
        desk, self.fails_in = self.new_desk(), fails_in
        with suppress(LedgerError):
            desk.outbox.deliver()
        self.fails_in = None

    @rule(which=st.integers(0, 5), how=st.sampled_from(ENDS))
    def end(self, which: int, how: str) -> None:
        """Let one attempt end."""
        if not self.post.under_way:
            return
        _, message, future = self.post.under_way.pop(which % len(self.post.under_way))
        self.note(message.title, how)
        if how == "taken":
            future.set_result(None)
        else:
            future.set_exception(DeliveryError(how, perhaps_sent=how != "refused"))

    @rule(
        name=st.sampled_from(NAMES),
        how=st.sampled_from(ENDS),
        fails_in=st.sampled_from([None, 0, 1, 2]),
    )
    def send_one(self, name: str, how: str, fails_in: int | None) -> None:
        """Begin something, let it end, and look while the ledger may fail."""
        self.enqueue(name, 600)
        self.look(minutes=0)
        self.end(0, how)
        self.look(minutes=0.5, fails_in=fails_in)

    @rule(how=st.sampled_from(["silent", "late"]))
    def crash(self, how: str) -> None:
        """End the process: what is under way may have arrived, and outcomes are lost."""
        for _, message, _ in self.post.under_way:
            self.note(message.title, how)
        for outcome in self.dispatcher.outcomes(SITE.name):
            self.doubts[outcome.attempt.message.title.removeprefix("(repeat) ")] += 1
        self.start()

    def note(self, title: str, how: str) -> None:
        of = title.removeprefix("(repeat) ")
        if how in ("taken", "late"):
            self.arrived.setdefault(of, []).append(title)
        self.doubts[of] += how in ("silent", "late")

    # -- what holds

    @invariant()
    def each_arrives_once_or_is_marked(self) -> None:
        for of, titles in self.arrived.items():
            assert len(titles) <= 1 + self.doubts[of], titles
            assert all(title.startswith("(repeat) ") for title in titles[1:]), titles

    @invariant()
    def one_at_a_time_goes_to_a_channel_and_two_to_a_household(self) -> None:
        names = self.post.channels
        assert len(names) == len(set(names)) <= 2


def _run(examples: int) -> None:
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=25,
            deadline=None,
            database=None,
            print_blob=True,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_whatever_happens_a_notice_arrives_once_or_is_marked() -> None:
    _run(12)


@pytest.mark.slow
def test_whatever_happens_hundreds_of_times() -> None:
    _run(500)
