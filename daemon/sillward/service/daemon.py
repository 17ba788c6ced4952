"""`sillward run`: the tick on APScheduler, watched by the main thread, ended by a signal.

There are three threads: APScheduler's, its one worker, in which ticks run, and the main thread,
which only watches. It looks every few seconds, and at once after each tick. A scheduler or a worker
that is dead, or that leaves a tick undone, is replaced by a new one. A tick that hangs cannot be
helped, since two at once must never run: systemd's watchdog is not fed any more, and after
`MAX_IDLE_S` the process ends, so that its supervisor starts another.

What counts as life is work that was done: a step that a desk reports to the `RunControl` that they
share, or a tick that came to its end. No timer feeds the watchdog.
"""

import logging
import signal
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from queue import Empty, SimpleQueue
from typing import Protocol

from apscheduler.events import EVENT_SCHEDULER_STARTED
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers import SchedulerNotRunningError
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.base import BaseTrigger

from sillward.errors import one_line
from sillward.service.run_control import RunControl
from sillward.service.systemd import Manager, claim_manager

TICK_S = 30.0
"""From the beginning of one tick to that of the next, if it has ended by then [s]."""

LOOK_S = 5.0
"""The main thread looks at least this often [s]. Judgement: a due notice must be sent within a
minute after a thread has died, so TICK_S + LATE_S + LOOK_S must leave room for sending."""

LATE_S = 10.0
"""A tick that has not begun this long after it was due is taken to be lost [s]. Judgement: on a
busy machine it may still come, and then a new scheduler does no harm."""

STALL_S = 180.0
"""Without progress for this long the watchdog is not fed [s]. The longest that a desk does
between two finished steps is to ask two sources and an ensemble that all hang, 40 s each; a send is
60 s."""

MAX_IDLE_S = 300.0
"""Without progress for this long the process ends, to be restarted [s]. Judgement: a tick that
makes none for two minutes after the watchdog was last fed will not come to its end."""

READY_S = 60.0
"""Longest that the service manager waits for the first tick before it is told that the service is
ready [s]. Judgement: providers may hang, and what depends on the service need not wait for them."""

CLOCK_JUMP_S = 90.0
"""If wall and monotonic clock have moved apart by more than this since the last look, the clock was
set, or the machine slept [s]."""

ABANDON_S = 1.0
"""Longest that the main thread waits for a scheduler to stop [s]. Judgement."""

MAX_STATUS_CHARACTERS = 200
"""Length of the status line. Judgement: a line of `systemctl status`."""

log = logging.getLogger(__name__)


def on_end(then: Callable[[], None]) -> None:
    """Call `then` on SIGTERM or SIGINT, which would end the process at once otherwise."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: then())


def on_reload(then: Callable[[], None]) -> None:
    """Call `then` on SIGHUP, which would end the process otherwise."""
    signal.signal(signal.SIGHUP, lambda *_: then())


class Every(BaseTrigger):  # type: ignore[misc]
    """A trigger whose next run is always the same time after now.

    APScheduler's own interval counts up every run that a clock set forward has passed over, under a
    lock: eleven seconds and 59 MB for a year of them (measured), and a machine without a battery
    starts in 1970.
    """

    def __init__(self, seconds: float) -> None:
        self._interval = timedelta(seconds=seconds)

    def get_next_fire_time(self, _previous: datetime | None, now: datetime) -> datetime:
        """Return the next run, which is always in the future."""
        return now + self._interval


class Ticker:
    """A scheduler with one job, whose threads are known, so that their death is noticed.

    APScheduler reports a scheduler as `running` even if its thread is dead. The scheduler's thread
    is therefore started here, and the worker's thread is noted when it runs the job.
    """

    def __init__(self, tick: Callable[[], None], every_s: float, died: Callable[[], None]) -> None:
        self._tick, self._died = tick, died
        self._abandoned = False
        self._started = threading.Event()
        self._worker: threading.Thread | None = None
        # UTC only: local-time triggers of APScheduler miss or repeat jobs around clock changes.
        self._scheduler = BlockingScheduler(
            timezone=UTC,
            executors={
                "default": ThreadPoolExecutor(
                    1, pool_kwargs={"thread_name_prefix": "sillward-tick"}
                )
            },
        )
        self._scheduler.add_listener(lambda _: self._started.set(), EVENT_SCHEDULER_STARTED)
        # Runs that were missed need not be made up for: a tick does all that is due.
        self._scheduler.add_job(
            self._job,
            Every(every_s),
            id="tick",
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
            next_run_time=datetime.now(UTC),
        )
        self._thread = threading.Thread(target=self._serve, name="sillward-scheduler", daemon=True)

    def start(self) -> None:
        """Start the scheduler; the first tick comes at once."""
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether the scheduler's thread lives, and the worker, if there was work yet."""
        return self._thread.is_alive() and (self._worker is None or self._worker.is_alive())

    def abandon(self) -> None:
        """Start no other tick. One that is running may end by itself and is not waited for."""
        self._abandoned = True
        # In a thread of its own, since it takes locks that a stuck scheduler may hold.
        ending = threading.Thread(target=self._shut_down, name="sillward-ending", daemon=True)
        ending.start()
        ending.join(ABANDON_S)

    def _shut_down(self) -> None:
        self._started.wait(ABANDON_S)
        with suppress(SchedulerNotRunningError):
            self._scheduler.shutdown(wait=False)

    def _serve(self) -> None:
        try:
            self._scheduler.start()  # returns when it is shut down
        except BaseException:
            log.exception("scheduler.died")
        finally:
            self._died()

    def _job(self) -> None:
        if not self._abandoned:
            self._worker = threading.current_thread()
            self._tick()


class Ticking(Protocol):
    """What is ticked: a desk, or a house of many."""

    def tick(self) -> None:
        """Do what is due."""
        ...


class Daemon:
    """Runs the tick of one desk or several until told to stop."""

    def __init__(
        self,
        desks: Sequence[Ticking],
        run: RunControl,
        *,
        tick_s: float | None = None,
        reload: Callable[[bool], None] = lambda _: None,
        after_tick: Callable[[], None] = lambda: None,
        status_line: Callable[[], str] = lambda: "",
        supervisor: Manager | None = None,
    ) -> None:
        """Take the desks, and what else a run needs.

        run: the one that the desks share.
        tick_s: by default TICK_S.
        reload: called before each tick, to take over an edited collection; its argument is whether
            a SIGHUP asked for that.
        after_tick: called after each tick.
        status_line: called after that for the line that `systemctl status` shows.
        supervisor: by default the one that the environment names.
        """
        self._desks, self._run = desks, run
        self._tick_s = TICK_S if tick_s is None else tick_s
        self._reload = reload
        self._after_tick, self._make_status_line = after_tick, status_line
        self._manager = claim_manager() if supervisor is None else supervisor
        self._look_s = min(self._tick_s, LOOK_S, (self._manager.watchdog_s or 4 * LOOK_S) / 4)
        self._reload_asked = False
        # Not an Event: if a signal handler sets one just as the main thread begins to wait for it,
        # both can lock up for ever. A SimpleQueue may be written to in a signal handler.
        self._news: SimpleQueue[None] = SimpleQueue()
        self._at_work = threading.Lock()
        """Held by the tick that runs, so that there is never a second one."""
        self._due_s = 0.0
        self._revived_s = -LATE_S
        self._ticked = False
        self._ready = False
        self._status_line = self._notified_line = ""
        self._ticker = self._new_ticker()

    def run(self) -> bool:
        """Tick until SIGTERM or SIGINT. Return whether that ended it, with no tick left hanging.

        The notice that is being sent when the signal comes is sent and marked first.
        """
        on_end(self._end)
        on_reload(self._ask_to_reload)
        clocks = time.time(), time.monotonic()
        self._ticker.start()
        log.info("daemon.started tick_s=%s", self._tick_s)
        asked = self._watch(*clocks)
        if asked:
            self._manager.notify("STOPPING=1")
            # The lock is not released again: the running tick ends, and no other begins.
            asked = self._at_work.acquire(timeout=MAX_IDLE_S)
        self._ticker.abandon()
        log.info("daemon.stopped asked=%s", asked)
        return asked

    def _end(self) -> None:
        self._run.request_stop()
        self._tell_main()

    def _ask_to_reload(self) -> None:
        self._reload_asked = True
        self._tell_main()

    def _tell_main(self) -> None:
        """Let the main thread look now."""
        self._news.put(None)

    def _new_ticker(self) -> Ticker:
        return Ticker(self._tick, self._tick_s, self._tell_main)

    # -- the worker's side

    def _tick(self) -> None:
        """Let every desk do what is due, unless the tick of an abandoned scheduler still runs."""
        if self._run.stop_requested or not self._at_work.acquire(blocking=False):
            return
        try:
            self._take_over_edits()
            for desk in self._desks:
                if not self._run.stop_requested:
                    self._tick_of(desk)
            self._after_tick()
            self._status_line = one_line(self._make_status_line(), MAX_STATUS_CHARACTERS)
        except Exception:
            log.exception("status.failed")
        finally:
            self._due_s = self._run.watched_s + self._tick_s
            self._ticked = True
            self._at_work.release()
            self._tell_main()

    def _take_over_edits(self) -> None:
        """Let an edited collection be taken over; a defect in that must hold up no tick."""
        asked, self._reload_asked = self._reload_asked, False
        try:
            self._reload(asked)
        except Exception:
            log.exception("reload.failed")

    def _tick_of(self, desk: Ticking) -> None:
        try:
            desk.tick()
        except BaseException:  # SystemExit too: only the main thread ends the process
            log.exception("tick.failed")  # not counted as a finished step
        else:
            self._run.step_done()

    # -- the main thread's side

    def _watch(self, wall: float, steady: float) -> bool:
        """Look until a stop is requested (True), or nothing gets done any more (False)."""
        while not self._run.stop_requested:
            with suppress(Empty):
                self._news.get(timeout=self._look_s)
            wall_now, steady_now = time.time(), time.monotonic()
            elapsed_s = steady_now - steady
            jump_s = wall_now - wall - elapsed_s
            wall, steady = wall_now, steady_now
            self._run.advance(min(elapsed_s, 2 * self._look_s))
            jumped = abs(jump_s) > CLOCK_JUMP_S
            if jumped:
                # The scheduler sleeps until a wall time that has moved: start again from now.
                log.warning("clock.jumped by=%s", timedelta(seconds=round(jump_s)))
            # If a tick is running, the look after it starts the one that reads the edits.
            if jumped or (self._reload_asked and not self._at_work.locked()):
                self._revive()
            if not self._run.stop_requested and not self._look():
                return False
        return True

    def _look(self) -> bool:
        """Replace dead threads and notify the service manager. Return False to end the process."""
        idle_s = self._run.idle_s
        if idle_s > MAX_IDLE_S:
            log.error("daemon.deaf nothing done for %d s", idle_s)
            return False
        late = not self._at_work.locked() and self._run.watched_s > self._due_s + LATE_S
        if late or not self._ticker.alive:
            if self._run.watched_s - self._revived_s >= LATE_S:  # what dies at once must not spin
                log.error("scheduler.%s", "late" if late else "dead")
                self._revive()
        elif idle_s <= STALL_S:
            self._manager.notify("WATCHDOG=1")
        if not self._ready and (self._ticked or self._run.watched_s >= READY_S):
            self._ready = True
            self._manager.notify("READY=1")
        line = self._status_line
        if line != self._notified_line:
            self._notified_line = line
            self._manager.notify(f"STATUS={line}")
        return True

    def _revive(self) -> None:
        """Start a new scheduler; its first tick is now, or when the running one is over.

        If that fails, for lack of memory for instance, it is tried again until `MAX_IDLE_S`.
        """
        self._revived_s = self._due_s = self._run.watched_s
        try:
            self._ticker.abandon()
            self._ticker = self._new_ticker()
            self._ticker.start()
        except Exception:
            log.exception("scheduler.not_revived")
