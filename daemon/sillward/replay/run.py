"""Replays in parallel: in chunks of nights, each by a process of its own.

Chunks are cut in the same places whatever runs them, so that a replay is the same on one core and
on many. Records come back night by night: an interrupted replay keeps those that it has.
"""

import multiprocessing
import os
import signal
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import NamedTuple, TypeAlias

from sillward.errors import SillwardError
from sillward_rules.replay.engine import WARM_UP, Plan, nights, result_of
from sillward_rules.replay.records import NightRecord, ReplayResult

CHUNK_NIGHTS = 92
"""Nights of a chunk. Judgement: a quarter of a year; the days that are replayed before it, to know
where plants stand, are then a fifth of the work."""

MAX_PROCESSES = 8
"""Judgement: each takes some 100 MB."""

END_S = 2.0
"""How long a process may take to end once it has nothing to do [s]."""

OnNight: TypeAlias = Callable[[NightRecord], None]

_Work: TypeAlias = Generator[tuple[int, NightRecord], None, None]
"""Records as they come, each with the place of its plan among the plans."""


class _Chunk(NamedTuple):
    """Nights of one plan, by its place among the plans."""

    plan: int
    first: date
    last: date


def usable_cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1


def run(
    plans: Sequence[Plan], on_night: OnNight = lambda _: None, processes: int | None = None
) -> list[ReplayResult]:
    """Replay plans of the same nights, and return their results.

    on_night: told each record when it comes.
    processes: at most so many; by default as many as there are cores.

    At a KeyboardInterrupt the results have the nights that are there. Raise LostProcessError, which
    has the same, if a process is ended from outside.
    """
    chunks = [
        chunk
        for of_plans in zip(*map(_chunks, range(len(plans)), plans), strict=True)
        for chunk in of_plans
    ]
    count = min(processes or usable_cores(), len(chunks), MAX_PROCESSES)
    found: dict[tuple[int, date], NightRecord] = {}
    work = _in_turn(plans, chunks) if count < 2 else _in_parallel(plans, chunks, count)
    try:
        for number, record in work:
            found[number, record.night] = record
            on_night(record)
    except KeyboardInterrupt:
        pass
    except EOFError:
        raise LostProcessError(_results(plans, found)) from None
    finally:
        work.close()
    return _results(plans, found)


class LostProcessError(SillwardError):
    """A process of a replay was killed. `results` is what was found by then."""

    def __init__(self, results: list[ReplayResult]) -> None:
        """Take what was found."""
        super().__init__("replay: a process was ended from outside, perhaps for lack of memory")
        self.results = results


def _results(
    plans: Sequence[Plan], found: Mapping[tuple[int, date], NightRecord]
) -> list[ReplayResult]:
    return [
        result_of(plan, [found[key] for key in sorted(found) if key[0] == number])
        for number, plan in enumerate(plans)
    ]


def _chunks(number: int, plan: Plan) -> list[_Chunk]:
    """Cut a plan into chunks. None begins soon after an absence, when plants stand anywhere."""
    starts, day = [plan.first], plan.first
    while (day := day + timedelta(days=CHUNK_NIGHTS)) <= plan.last:
        while any(day - WARM_UP <= away <= day for away in plan.away):
            day += timedelta(days=1)
        if day <= plan.last:
            starts.append(day)
    ends = [*(start - timedelta(days=1) for start in starts[1:]), plan.last]
    return [_Chunk(number, start, end) for start, end in zip(starts, ends, strict=True)]


def _in_turn(plans: Sequence[Plan], chunks: Sequence[_Chunk]) -> _Work:
    for chunk in chunks:
        for record in _nights_of(plans, chunk):
            yield chunk.plan, record


def _nights_of(plans: Sequence[Plan], chunk: _Chunk) -> Iterator[NightRecord]:
    return nights(replace(plans[chunk.plan], first=chunk.first, last=chunk.last))


def _in_parallel(plans: Sequence[Plan], chunks: Sequence[_Chunk], count: int) -> _Work:
    """Give the chunks to processes, the earliest first, and yield what they send."""
    context = multiprocessing.get_context("spawn")
    workers: dict[Connection, SpawnProcess] = {}
    try:
        for _ in range(count):
            ours, theirs = context.Pipe()
            process = context.Process(target=_work, args=(theirs, plans), daemon=True)
            process.start()
            theirs.close()
            workers[ours] = process
        yield from _received(list(workers), chunks)
    finally:
        for connection, process in workers.items():
            connection.close()
            process.terminate()
        for process in workers.values():
            process.join(END_S)


def _received(connections: Sequence[Connection], chunks: Sequence[_Chunk]) -> _Work:
    waiting = list(chunks)
    at_work: dict[Connection, _Chunk] = {}

    def give(connection: Connection) -> None:
        if waiting:
            at_work[connection] = waiting.pop(0)
            try:
                connection.send(at_work[connection])
            except ConnectionError as error:  # as `recv` has it
                raise EOFError from error
        else:
            at_work.pop(connection, None)

    for connection in connections:
        give(connection)
    while at_work:
        for ready in wait(list(at_work)):
            assert isinstance(ready, Connection)
            message = ready.recv()
            if isinstance(message, BaseException):
                raise message
            if message is None:
                give(ready)
            else:
                yield at_work[ready].plan, message


def _work(connection: Connection, plans: Sequence[Plan]) -> None:
    """Replay the chunks that come, in a process of its own, until the other side closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # that is for the process that prints
    try:
        while True:
            chunk: _Chunk = connection.recv()
            for record in _nights_of(plans, chunk):
                connection.send(record)
            connection.send(None)
    except (EOFError, OSError):
        return
    except Exception as error:
        connection.send(error)
        raise
