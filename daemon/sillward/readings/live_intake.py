"""What is done with a reading that came, however it came: it waits, is sifted, and is kept.

A sensor that lives may send several times a second; the ledger is written at most once a minute for
each. What is only to be judged by what follows, a sudden jump, waits until that has come.
"""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from sillward.ledger.tables.readings import ReadingTable
from sillward.readings.forecast_here import UNITS
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import Reason, Sifted, as_can_be, sift

WRITE_EVERY = timedelta(minutes=1)
"""From one write of a sensor to the next. Judgement: SD cards wear out by writes, and a night is
watched well enough by the minute."""

MAX_WAITING = 10_000
"""Readings of a sensor, or refusals, that wait; with more the oldest are lost. Judgement: an hour
at two a second, while the ledger cannot be written."""

REMEMBERED = 2_000
"""Seconds of readings of a sensor that are known, so that a device may send its last readings with
each message. Judgement: a day by the minute has 1,440."""

_JUST_NOW = timedelta(hours=2)
"""Long enough for a jump from a reading of then to be one; the hours of the ledger are whole."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Origin:
    """What a reading is from. sensor: what tells it from others of the same spot and quantity."""

    spot: str
    quantity: Quantity
    sensor: str


@dataclass(frozen=True, slots=True)
class Reading:
    """A value [°C or %], and when it was measured."""

    origin: Origin
    at: datetime
    value: float


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that came and is no reading: why, when it came, and an example of it."""

    origin: Origin
    at: datetime
    reason: str
    example: str


@dataclass(slots=True)
class _Waiting:
    """What waits of one sensor."""

    values: dict[int, float] = field(default_factory=dict)
    """By the second at which each was measured. Of several in a second the first counts."""
    taken: dict[int, None] = field(default_factory=dict)
    """The seconds of the readings that came last, in the order in which they came."""
    refused: list[Refusal] = field(default_factory=list)
    last_kept: tuple[int, float] | None = None
    """The second and the value of the newest that was kept: the next may be a jump from it."""
    written_at: datetime | None = None
    lost: int = 0

    def add(self, second: int, value: float) -> None:
        """Add a reading, unless there was one of this second."""
        if second in self.taken:
            return
        self.values[second] = value
        self.taken[second] = None
        if len(self.taken) > REMEMBERED:
            del self.taken[next(iter(self.taken))]

    def is_due(self, now: datetime) -> bool:
        """Whether it may be written. A clock that was set back holds up nothing."""
        if not self.values and not self.refused:
            return False
        return self.written_at is None or not timedelta(0) <= now - self.written_at < WRITE_EVERY


class LiveIntake:
    """Takes the readings of one site, one by one, and writes them to the ledger."""

    def __init__(self, site: str) -> None:
        self.site = site
        self._waiting: dict[Origin, _Waiting] = {}

    def take(self, came: Iterable[Reading | Refusal]) -> None:
        """Take what came; nothing is written yet."""
        for one in came:
            waiting = self._waiting.setdefault(one.origin, _Waiting())
            if isinstance(one, Reading):
                value = float(as_can_be(np.array(one.value), one.origin.quantity))
                waiting.add(int(one.at.timestamp()), value)
            else:
                waiting.refused.append(one)
            if len(waiting.values) > MAX_WAITING:
                del waiting.values[min(waiting.values)]
                waiting.lost += 1
            if len(waiting.refused) > MAX_WAITING:
                del waiting.refused[0]
                waiting.lost += 1

    def write(self, table: ReadingTable, now: datetime, *, last: bool = False) -> None:
        """Write what is due. Raise LedgerError; what could not be written still waits then.

        last: nothing follows, so all is written, and jumps that nothing has confirmed are set
            aside.
        """
        for origin, waiting in self._waiting.items():
            if waiting.is_due(now) or last:
                self._write(table, origin, waiting, now, last=last)
                waiting.written_at = now
                if waiting.lost:
                    log.warning("reading.lost sensor=%s count=%d", origin.sensor, waiting.lost)
                    waiting.lost = 0

    def _write(
        self, table: ReadingTable, origin: Origin, waiting: _Waiting, now: datetime, *, last: bool
    ) -> None:
        if waiting.last_kept is None:
            waiting.last_kept = self._newest_kept(table, origin, now)
        known = _known_before(waiting)
        rows = sorted({**known, **waiting.values}.items())
        times = np.array([second for second, _ in rows], np.int64)
        values = np.array([value for _, value in rows])
        sifted = sift(times, values, origin.quantity, now)
        is_new = ~np.isin(times, list(known))
        place = (self.site, origin.spot, origin.quantity, origin.sensor)
        kept = sifted.kept & is_new
        table.keep(*place, by_the_hour(times[kept], values[kept]))
        for second in times[kept].tolist():
            del waiting.values[second]
        if kept.any():
            newest = int(np.flatnonzero(kept)[-1])
            waiting.last_kept = int(times[newest]), float(values[newest])
        for reason, mask in _set_aside(sifted, last=last):
            rejected = times[mask & is_new].tolist()
            if rejected:
                moments = [datetime.fromtimestamp(second, UTC) for second in rejected]
                unit = UNITS[origin.quantity]
                examples = [f"{round(waiting.values[second], 2):g} {unit}" for second in rejected]
                table.set_aside(*place, reason, moments, examples, now)
                for second in rejected:
                    del waiting.values[second]
        for why in dict.fromkeys(refusal.reason for refusal in waiting.refused):
            same = [refusal for refusal in waiting.refused if refusal.reason == why]
            examples = [refusal.example for refusal in same]
            table.set_aside(*place, why, [refusal.at for refusal in same], examples, now)
            waiting.refused = [refusal for refusal in waiting.refused if refusal.reason != why]

    def _newest_kept(
        self, table: ReadingTable, origin: Origin, now: datetime
    ) -> tuple[int, float] | None:
        """Return the newest reading that was kept before this was made, if it is of just now."""
        hours = table.of_spot(self.site, origin.spot, origin.quantity, now - _JUST_NOW)
        known = hours.get(origin.sensor)
        return None if known is None else (int(known.last_at[-1]), float(known.last[-1]))


def _known_before(waiting: _Waiting) -> dict[int, float]:
    """Return the newest reading that was kept, if what waits comes after it."""
    if waiting.last_kept is None or not waiting.values:
        return {}
    second, value = waiting.last_kept
    return {second: value} if second < min(waiting.values) else {}


def _set_aside(sifted: Sifted, *, last: bool) -> Iterable[tuple[Reason, np.ndarray]]:
    yield from sifted.set_aside.items()
    if last:
        yield Reason.JUMP, sifted.undecided
