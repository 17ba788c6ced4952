"""`sillward run`: the tick on APScheduler, watched by the main thread, ended by a signal."""

import logging
import signal
import threading
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

from sillward.service import Desk

TICK_S = 30
"""Between ticks [s]."""

CLOCK_JUMP_S = 90
"""Wall and monotonic clock apart by more than this since the last look: the clock was set."""

DEAF_S = 600
"""No tick finished for so long: the scheduler is dead or a job hangs. End, to be restarted."""

log = logging.getLogger(__name__)


def on_end(then: Callable[[], None]) -> None:
    """Call this on SIGTERM or SIGINT, instead of dying in the middle of things."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: then())


class Daemon:
    """Runs the tick of one desk or several until told to stop."""

    def __init__(self, desks: Sequence[Desk], *, tick_s: float = TICK_S) -> None:
        self._desks = desks
        for desk in desks:
            desk.stopping = lambda: self._stop.is_set()
        self._tick_s = tick_s
        self._stop = threading.Event()
        self._last_tick = time.monotonic()
        # UTC only: local-time triggers of APScheduler miss or repeat jobs around clock changes.
        self._scheduler = BackgroundScheduler(
            timezone=UTC, executors={"default": ThreadPoolExecutor(1)}
        )

    def run(self) -> bool:
        """Tick until SIGTERM or SIGINT. Return whether the end was asked for.

        The notice that is being sent when the signal comes is sent and marked first.
        """
        on_end(self._stop.set)
        self._schedule()
        self._scheduler.start()
        log.info("daemon.started tick_s=%s", self._tick_s)
        asked = self._watch()
        self._scheduler.shutdown(wait=asked)
        log.info("daemon.stopped asked=%s", asked)
        return asked

    def _schedule(self) -> None:
        # A level-triggered tick needs no catching up: late runs are one run.
        self._scheduler.add_job(
            self._tick,
            IntervalTrigger(
                seconds=self._tick_s, start_date=datetime(2000, 1, 1, tzinfo=UTC), timezone=UTC
            ),
            id="tick",
            replace_existing=True,
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
            next_run_time=datetime.now(UTC),
        )

    def _tick(self) -> None:
        for desk in self._desks:
            try:
                desk.tick()
            except Exception:
                log.exception("tick.failed")
        self._last_tick = time.monotonic()

    def _watch(self) -> bool:
        """Wait for the signal; meanwhile notice a set clock and a dead scheduler."""
        wall, steady = time.time(), time.monotonic()
        while not self._stop.wait(min(self._tick_s, TICK_S)):
            jump = (time.time() - wall) - (time.monotonic() - steady)
            wall, steady = time.time(), time.monotonic()
            if abs(jump) > CLOCK_JUMP_S:
                # The scheduler sleeps towards a wall time that has moved: plan anew from now.
                log.warning("clock.jumped by=%s", timedelta(seconds=round(jump)))
                self._schedule()
                self._scheduler.wakeup()
            if time.monotonic() - self._last_tick > DEAF_S:
                log.error("daemon.deaf no tick finished for %d s", DEAF_S)
                return False
        return True
