"""The real daemon with an invented desk: it notices whatever dies or hangs.

Ticks come every few hundredths of a second here. No check rests on how fast this machine is:
what must happen is waited for, what must not is judged by the daemon's own time.
"""

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import pairwise
from types import SimpleNamespace
from typing import Any, cast

import pytest
from apscheduler.executors.base import BaseExecutor
from apscheduler.executors.pool import ThreadPoolExecutor

from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.service import daemon
from sillward.service.daemon import Daemon, Every, Ticker
from sillward.service.desk import Desk
from sillward.service.run_control import RunControl
from sillward.service.systemd import Manager
from sillward.wording.push import Message
from tests.support.desks import a_channel, a_world

PATIENCE_S = 10.0
"""Longest that something is waited for; nothing here takes so long."""

TICK_S = 0.03


@dataclass
class FakeDesk:
    """A desk that counts its ticks; each does what the test says."""

    work: Callable[["FakeDesk", int], None] = lambda _desk, _tick: None
    run: RunControl = field(default_factory=RunControl)
    ticks: int = 0
    at_once: int = 0
    most_at_once: int = 0
    news: threading.Condition = field(default_factory=threading.Condition)

    def tick(self) -> None:
        with self.news:
            self.at_once += 1
            self.most_at_once = max(self.at_once, self.most_at_once)
            self.ticks += 1
            tick = self.ticks
            self.news.notify_all()
        try:
            self.work(self, tick)
        finally:
            self.at_once -= 1

    def reaches(self, ticks: int) -> bool:
        """Wait for this many ticks; False if they do not come."""
        with self.news:
            return self.news.wait_for(lambda: self.ticks >= ticks, PATIENCE_S)


@dataclass
class Systemd(Manager):
    """A service manager that remembers what it is told, and how long the daemon was idle then."""

    lines: list[str] = field(default_factory=list)
    silent_s: list[float] = field(default_factory=list)
    fed: threading.Event = field(default_factory=threading.Event)
    running: "Running | None" = None

    def notify(self, *lines: str) -> None:
        self.lines += lines
        if "WATCHDOG=1" in lines:
            assert self.running is not None
            self.silent_s.append(self.running.silent_s)
            self.fed.set()

    def count(self, line: str) -> int:
        return self.lines.count(line)


@dataclass
class Running:
    """A daemon in a thread, which stands in for the main thread."""

    daemon: Daemon
    desk: FakeDesk
    systemd: Systemd
    end: Callable[[], None] = lambda: None
    reload: Callable[[], None] = lambda: None
    result: list[bool] = field(default_factory=list)
    thread: threading.Thread | None = None

    @property
    def silent_s(self) -> float:
        return self.daemon._run.idle_s

    @property
    def watched_s(self) -> float:
        return self.daemon._run.watched_s

    def start(self) -> None:
        self.thread = threading.Thread(target=lambda: self.result.append(self.daemon.run()))
        self.thread.start()

    def join(self) -> bool:
        """Wait for the end, and return how it ended."""
        assert self.thread is not None
        self.thread.join(PATIENCE_S)
        return self.result[0]

    def stop(self) -> bool:
        self.end()
        return self.join()


Run = Callable[..., Running]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Iterator[Run]:
    """Start a daemon whose limits are short; it is ended with the test."""
    started: list[Running] = []
    monkeypatch.setattr(daemon, "LATE_S", 0.1)

    def start(
        work: Any = None,
        *,
        status: Callable[[], str] = lambda: "",
        reload: Callable[[bool], None] = lambda _: None,
        tick_s: float = TICK_S,
        others: Sequence[FakeDesk] = (),
    ) -> Running:
        desk = FakeDesk(work) if work else FakeDesk()
        systemd = Systemd("@nobody")
        desks = [cast(Desk, fake) for fake in (desk, *others)]
        one = Daemon(
            desks, desk.run, tick_s=tick_s, reload=reload, status_line=status, supervisor=systemd
        )
        running = systemd.running = Running(one, desk, systemd)
        monkeypatch.setattr(daemon, "on_end", lambda then: setattr(running, "end", then))
        monkeypatch.setattr(daemon, "on_reload", lambda then: setattr(running, "reload", then))
        started.append(running)
        running.start()
        return running

    yield start
    for thread in started:
        thread.stop()


def waited(condition: Callable[[], object]) -> bool:
    pause = threading.Event()
    for _ in range(int(PATIENCE_S / 0.01)):
        if condition():
            return True
        pause.wait(0.01)
    return False


# -- what is told


def test_ready_is_told_once_after_the_first_tick_and_stopping_at_the_end(run: Run) -> None:
    let_go = threading.Event()
    running = run(lambda _, tick: tick > 1 or let_go.wait(PATIENCE_S))
    assert running.desk.reaches(1)
    assert running.systemd.fed.wait(PATIENCE_S)
    assert "READY=1" not in running.systemd.lines

    let_go.set()
    assert running.desk.reaches(4)
    assert running.stop()

    assert running.systemd.count("READY=1") == 1
    assert running.systemd.count("STOPPING=1") == 1
    assert running.systemd.lines[-1] == "STOPPING=1"


def test_a_first_tick_that_takes_long_does_not_keep_ready_back(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(daemon, "READY_S", 0.1)
    let_go = threading.Event()
    running = run(lambda *_: let_go.wait(PATIENCE_S))

    assert waited(lambda: "READY=1" in running.systemd.lines)

    assert running.desk.at_once == 1  # still at it
    assert running.watched_s >= 0.1
    let_go.set()


def test_a_first_tick_that_fails_makes_ready_all_the_same(run: Run) -> None:
    """The process is ready; what failed is in the log and is tried again."""

    def fails(*_: object) -> None:
        raise RuntimeError

    running = run(fails)

    assert waited(lambda: "READY=1" in running.systemd.lines)


def test_the_status_is_told_when_it_changes(run: Run) -> None:
    says = ["next: dusk 17:00"]
    running = run(status=lambda: says[-1])
    assert running.desk.reaches(4)
    says.append("next: morning\n08:00 " + "x" * 999)
    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 3)
    assert running.stop()

    told = [line for line in running.systemd.lines if line.startswith("STATUS=")]
    assert told[0] == "STATUS=next: dusk 17:00"
    assert told[1].startswith("STATUS=next: morning 08:00 xxx")
    assert len(told[1]) == len("STATUS=") + daemon.MAX_STATUS_CHARACTERS
    assert len(told) == 2


def test_a_status_that_fails_harms_nothing(run: Run, caplog: pytest.LogCaptureFixture) -> None:
    def fails() -> str:
        raise RuntimeError

    running = run(status=fails)

    assert running.desk.reaches(3)
    assert running.stop()
    assert "status.failed" in caplog.messages
    assert not [line for line in running.systemd.lines if line.startswith("STATUS=")]


def test_without_a_service_manager_it_runs_all_the_same(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = FakeDesk()
    running = Running(Daemon([cast(Desk, desk)], desk.run, tick_s=TICK_S), desk, Systemd())
    monkeypatch.setattr(daemon, "on_end", lambda then: setattr(running, "end", then))
    monkeypatch.setattr(daemon, "on_reload", lambda _: None)

    running.start()

    assert desk.reaches(3)
    assert running.stop()


def test_the_environment_names_the_service_manager(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", "@sillward-nobody")
    monkeypatch.setenv("WATCHDOG_USEC", "4000000")

    one = Daemon([], RunControl())

    assert one._manager.address == "@sillward-nobody"
    assert one._look_s == 1.0  # an impatient watchdog is fed in time
    assert "NOTIFY_SOCKET" not in os.environ


def test_a_signal_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the real main thread, with the real handler, which runs some time after the signal: on a
    busy machine not before the next tick, unless this one waits for it."""

    def signals(desk: FakeDesk, _: int) -> None:
        os.kill(os.getpid(), signal.SIGTERM)
        assert waited(lambda: desk.run.stop_requested)

    desk = FakeDesk(signals)
    ours = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    before = {number: signal.getsignal(number) for number in ours}
    try:
        assert Daemon([cast(Desk, desk)], desk.run, tick_s=TICK_S).run()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert desk.ticks == 1


def test_edits_are_looked_for_before_each_tick_and_at_once_when_asked(run: Run) -> None:
    asked: list[bool] = []
    running = run(reload=asked.append, tick_s=60.0)
    assert running.desk.reaches(1)
    assert asked == [False]

    running.reload()

    assert running.desk.reaches(2)  # long before its time
    assert asked == [False, True]


def test_a_reload_that_is_asked_for_during_a_tick_comes_after_it(run: Run) -> None:
    asked: list[bool] = []
    started, let_go = threading.Event(), threading.Event()

    def work(_: FakeDesk, tick: int) -> None:
        if tick == 1:
            started.set()
            let_go.wait(PATIENCE_S)

    running = run(work, reload=asked.append, tick_s=60.0)
    assert started.wait(PATIENCE_S)

    running.reload()
    let_go.set()

    assert running.desk.reaches(2)
    assert asked == [False, True]
    assert running.desk.most_at_once == 1


def test_a_reload_that_fails_holds_up_no_tick(run: Run, caplog: pytest.LogCaptureFixture) -> None:
    running = run(reload=raising(ValueError("no")))

    assert running.desk.reaches(3)
    assert running.stop()
    assert "reload.failed" in caplog.messages


def test_a_hangup_asks_for_a_reload() -> None:
    """In the real main thread, with the real handler."""
    asked: list[bool] = []

    def signals(desk: FakeDesk, tick: int) -> None:
        if tick == 1:
            os.kill(os.getpid(), signal.SIGHUP)
            waited(lambda: one._reload_asked)
        elif asked[-1]:
            os.kill(os.getpid(), signal.SIGTERM)
            waited(lambda: desk.run.stop_requested)

    desk = FakeDesk(signals)
    one = Daemon([cast(Desk, desk)], desk.run, tick_s=60.0, reload=asked.append)
    ours = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    before = {number: signal.getsignal(number) for number in ours}
    try:
        assert one.run()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert asked == [False, True]


def test_a_failing_socket_of_the_service_manager_harms_nothing(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    desk = FakeDesk()
    one = Daemon(
        [cast(Desk, desk)], desk.run, tick_s=TICK_S, supervisor=Manager("/nowhere/at/all", 60.0)
    )
    running = Running(one, desk, Systemd())
    monkeypatch.setattr(daemon, "on_end", lambda then: setattr(running, "end", then))
    monkeypatch.setattr(daemon, "on_reload", lambda _: None)

    running.start()

    assert desk.reaches(5)
    assert running.stop()
    complaints = [text for text in caplog.messages if text.startswith("systemd.not_told")]
    assert len(complaints) == 1


# -- what dies is revived


def raising(error: BaseException) -> Callable[..., None]:
    def work(*_: object) -> None:
        raise error

    return work


@pytest.mark.parametrize("error", [ValueError("no"), SystemExit(3), KeyboardInterrupt()])
def test_a_tick_that_raises_anything_is_followed_by_the_next(
    run: Run, error: BaseException, caplog: pytest.LogCaptureFixture
) -> None:
    running = run(raising(error))

    assert running.desk.reaches(3)
    assert running.thread is not None
    assert running.thread.is_alive()
    assert "tick.failed" in caplog.messages


def test_one_desk_that_raises_holds_up_no_other(run: Run) -> None:
    other = FakeDesk()
    run(raising(SystemExit(3)), others=[other])

    assert other.reaches(2)


def test_a_trigger_that_raises_once(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The error kills APScheduler's thread, while APScheduler says that it runs."""
    next_of, raised = Every.get_next_fire_time, threading.Event()

    def raises_once(self: Every, previous: datetime | None, now: datetime) -> datetime:
        if not raised.is_set():
            raised.set()
            raise ValueError
        return next_of(self, previous, now)

    monkeypatch.setattr(Every, "get_next_fire_time", raises_once)

    running = run()

    assert running.desk.reaches(5)
    assert raised.is_set()
    assert "scheduler.died" in caplog.messages
    assert caplog.messages.count("scheduler.dead") == 1


def test_a_trigger_that_always_raises_ends_the_process_and_does_not_spin_till_then(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A new process may cure what a new scheduler does not."""
    monkeypatch.setattr(daemon, "MAX_IDLE_S", 0.4)
    monkeypatch.setattr(Every, "get_next_fire_time", raising(ValueError("no")))

    running = run()

    assert not running.join()
    revived = [text for text in caplog.messages if text in ("scheduler.dead", "scheduler.late")]
    assert 1 < len(revived) <= running.watched_s / daemon.LATE_S + 1
    assert not running.systemd.fed.is_set()


def test_a_scheduler_that_stops(run: Run, caplog: pytest.LogCaptureFixture) -> None:
    """Its thread comes to an end without any error."""
    running = run()
    assert running.desk.reaches(2)

    running.daemon._ticker._scheduler.shutdown(wait=False)

    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 3)
    assert "scheduler.dead" in caplog.messages


def test_a_listener_that_raises(run: Run, caplog: pytest.LogCaptureFixture) -> None:
    running = run()
    assert running.desk.reaches(1)
    heard = threading.Event()

    def listens(_: object) -> None:
        heard.set()
        raise SystemExit(3)

    running.daemon._ticker._scheduler.add_listener(listens)

    assert heard.wait(PATIENCE_S)
    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 3)


class Bomb:
    """Work that kills the thread of a pool that takes it up, since it is no work item of the
    pool."""

    def run(self) -> None:
        raise RuntimeError


def test_a_worker_that_is_dead(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    pools: list[ThreadPoolExecutor] = []

    def making(*args: Any, **kwargs: Any) -> ThreadPoolExecutor:
        pools.append(ThreadPoolExecutor(*args, **kwargs))
        return pools[-1]

    monkeypatch.setattr(daemon, "ThreadPoolExecutor", making)
    running = run()
    assert running.desk.reaches(1)
    worker = running.daemon._ticker._worker
    assert worker is not None

    pools[0]._pool._work_queue.put(Bomb())

    assert waited(lambda: len(pools) > 1)
    assert not worker.is_alive()
    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 3)
    assert "scheduler.dead" in caplog.messages


class Swallowing(BaseExecutor):  # type: ignore[misc]
    """An executor that takes a job and never runs it, while all its threads live."""

    def _do_submit_job(self, _job: object, _run_times: object) -> None:
        pass


def test_a_tick_that_is_due_and_never_begins(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    made: list[object] = []

    def making(*args: Any, **kwargs: Any) -> object:
        made.append(ThreadPoolExecutor(*args, **kwargs) if made else Swallowing())
        return made[-1]

    monkeypatch.setattr(daemon, "ThreadPoolExecutor", making)

    running = run()

    assert running.desk.reaches(3)
    assert "scheduler.late" in caplog.messages
    assert len(made) >= 2


def test_nothing_that_is_left_behind_ticks_or_lives(run: Run) -> None:
    """After ten schedulers there is one scheduler with one worker."""
    running = run()
    for _ in range(10):
        ticks = running.desk.ticks
        running.daemon._revive()
        assert running.desk.reaches(ticks + 1)

    def living(name: str) -> int:
        return sum(thread.name.startswith(name) for thread in threading.enumerate())

    assert waited(lambda: living("sillward-scheduler") == 1)
    assert waited(lambda: living("sillward-tick") == 1)
    assert running.desk.most_at_once == 1
    assert running.stop()
    assert waited(lambda: living("sillward-") == 0)


def test_a_scheduler_that_cannot_be_shut_down_lets_no_tick_through() -> None:
    """It is stuck when it is abandoned, and wakes up later."""
    ticks: list[int] = []
    left = Ticker(lambda: ticks.append(1), 3600, lambda: None)
    left._job()
    assert len(ticks) == 1

    left.abandon()  # it was never started, so there is nothing to shut down

    left._job()
    assert len(ticks) == 1


def test_a_scheduler_that_cannot_be_made_is_tried_again(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """There may be no thread left, for instance."""
    running = run()
    assert running.desk.reaches(1)
    real, failed = daemon.Ticker, threading.Event()

    def fails_once(*args: Any) -> daemon.Ticker:
        if not failed.is_set():
            failed.set()
            raise RuntimeError
        return real(*args)

    monkeypatch.setattr(daemon, "Ticker", fails_once)
    running.daemon._ticker._scheduler.shutdown(wait=False)

    assert failed.wait(PATIENCE_S)
    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 3)
    assert "scheduler.not_revived" in caplog.messages


# -- clocks


@dataclass
class Clocks:
    """Both clocks of the daemon; the test sets the wall clock."""

    real: Any
    ahead_s: float = 0.0

    def time(self) -> float:
        return float(self.real.time()) + self.ahead_s

    def monotonic(self) -> float:
        return float(self.real.monotonic())


@pytest.fixture
def clocks(monkeypatch: pytest.MonkeyPatch) -> Clocks:
    clocks = Clocks(time)
    monkeypatch.setattr(daemon, "time", clocks)
    return clocks


@pytest.mark.parametrize("hours", [2, -2, 24 * 365 * 56])
def test_a_clock_that_is_set_makes_a_new_plan(
    run: Run, clocks: Clocks, hours: int, caplog: pytest.LogCaptureFixture
) -> None:
    running = run()
    assert running.desk.reaches(1)
    before = running.daemon._ticker

    clocks.ahead_s = hours * 3600.0

    assert waited(partial(is_another, running, before))
    ticks = running.desk.ticks
    assert running.desk.reaches(ticks + 2)
    jumps = [text for text in caplog.messages if text.startswith("clock.jumped")]
    assert len(jumps) == 1


def is_another(running: Running, than: Ticker) -> bool:
    return running.daemon._ticker is not than


def test_a_clock_that_is_set_while_a_tick_runs_starts_no_second_one(
    run: Run, clocks: Clocks
) -> None:
    let_go = threading.Event()
    running = run(lambda _, tick: tick > 1 or let_go.wait(PATIENCE_S))
    assert running.desk.reaches(1)
    for hours in (2, -2, 2):
        before = running.daemon._ticker
        clocks.ahead_s = hours * 3600.0
        assert waited(partial(is_another, running, before))
    assert running.systemd.fed.wait(PATIENCE_S)
    assert running.desk.ticks == 1

    let_go.set()

    assert running.desk.reaches(3)
    assert running.desk.most_at_once == 1


def test_the_next_run_is_ahead_whatever_the_clock_did() -> None:
    """APScheduler counts up what was missed; a clock that starts in 1970 misses 58 million."""
    now = datetime(2026, 5, 14, 17, tzinfo=UTC)

    for previous in (None, datetime(1970, 1, 1, tzinfo=UTC), now + timedelta(days=9)):
        assert (Every(30).get_next_fire_time(previous, now) - now).total_seconds() == 30


# -- what hangs


def test_a_tick_that_hangs_is_fed_no_watchdog_and_ends_the_process(
    run: Run, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(daemon, "STALL_S", 0.1)
    monkeypatch.setattr(daemon, "MAX_IDLE_S", 0.4)
    let_go = threading.Event()
    running = run(lambda _, tick: tick < 3 or let_go.wait(PATIENCE_S))

    assert not running.join()

    assert running.desk.ticks == 3
    assert running.silent_s > 0.4
    assert running.systemd.silent_s
    assert max(running.systemd.silent_s) <= 0.1
    assert "STOPPING=1" not in running.systemd.lines
    assert any(text.startswith("daemon.deaf") for text in caplog.messages)
    let_go.set()


def test_a_tick_that_takes_long_is_alive_while_it_gets_on(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(daemon, "STALL_S", 0.2)
    monkeypatch.setattr(daemon, "MAX_IDLE_S", 0.4)
    fed, begun, done = list[bool](), threading.Event(), threading.Event()

    def plods(desk: FakeDesk, tick: int) -> None:
        begun.wait(PATIENCE_S)
        while tick == 1 and running.watched_s < 0.8:
            desk.run.step_done()
            running.systemd.fed.clear()
            fed.append(running.systemd.fed.wait(PATIENCE_S))
        done.set()

    running = run(plods)
    begun.set()
    assert done.wait(PATIENCE_S)

    assert len(fed) > 4
    assert all(fed)
    assert running.stop()


def test_a_desk_that_always_fails_does_no_work(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A restart may cure it; if not, the last word tells the channels."""
    monkeypatch.setattr(daemon, "MAX_IDLE_S", 0.3)
    running = run(raising(RuntimeError("a defect")))

    assert not running.join()

    assert running.desk.ticks > 1


def test_a_process_that_stood_still_is_not_taken_for_a_deaf_one(run: Run, clocks: Clocks) -> None:
    """It was frozen or starved for an hour in the middle of a tick: that is no idle time."""
    let_go = threading.Event()
    running = run(lambda _, tick: tick > 1 or let_go.wait(PATIENCE_S))
    assert running.desk.reaches(1)

    real = clocks.real
    clocks.real = SimpleNamespace(
        time=lambda: real.time() + 3600, monotonic=lambda: real.monotonic() + 3600
    )
    running.systemd.fed.clear()

    assert running.systemd.fed.wait(PATIENCE_S)
    assert running.watched_s < PATIENCE_S
    let_go.set()
    assert running.desk.reaches(3)
    assert running.stop()


def test_an_end_that_is_asked_for_waits_for_the_tick_that_runs_and_starts_no_other(
    run: Run,
) -> None:
    let_go, done = threading.Event(), threading.Event()

    def work(desk: FakeDesk, _: int) -> None:
        let_go.wait(PATIENCE_S)
        assert desk.run.stop_requested
        done.set()

    running = run(work)
    assert running.desk.reaches(1)

    running.end()
    assert waited(lambda: "STOPPING=1" in running.systemd.lines)
    assert not running.result
    let_go.set()

    assert running.join()
    assert done.is_set()
    assert running.desk.ticks == 1


def test_an_end_that_is_asked_for_during_one_desk_s_tick_leaves_out_the_next_desk(
    run: Run,
) -> None:
    let_go, other = threading.Event(), FakeDesk()
    running = run(lambda *_: let_go.wait(PATIENCE_S), others=[other])
    assert running.desk.reaches(1)

    running.end()
    let_go.set()

    assert running.join()
    assert other.ticks == 0


def test_an_end_that_a_hanging_tick_holds_up_comes_all_the_same(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    let_go = threading.Event()
    running = run(lambda *_: let_go.wait(PATIENCE_S))
    assert running.desk.reaches(1)
    monkeypatch.setattr(daemon, "MAX_IDLE_S", 0.1)

    running.end()

    assert not running.join()
    let_go.set()


# -- the real desk's signs of life


@pytest.mark.parametrize("down", [False, True])
def test_a_desk_gives_a_sign_of_life_after_each_call_and_each_send(
    down: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    did: list[str] = []
    world = a_world("17:00", a_channel("phone"), a_channel("mail"))
    desk = world.desk

    def send(channel: Channel, message: Message) -> None:
        did.append("send")
        if down:
            msg = "down"
            raise DeliveryError(msg)

    def ask(*args: Any, **kwargs: Any) -> Any:
        did.append("ask")
        return world.source.ask(*args, **kwargs)

    desk.context.sender, desk.context.updater.ask = send, ask
    monkeypatch.setattr(RunControl, "step_done", lambda _: did.append("working"))

    desk.tick()

    assert did.count("send") == 2
    assert "ask" in did
    steps = [(step, after) for step, after in pairwise(did) if step != "working"]
    assert {after for _, after in steps} == {"working"}
