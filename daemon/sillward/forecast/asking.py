"""Asking providers beside other work: the answers are taken up by the thread that began.

A provider may take seconds to answer, or hang until the deadline, for each of hundreds of cells.
Nobody's dusk waits for that: only the requests themselves are made in a thread, which touches
neither the ledger nor the forecasts in memory.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from threading import Thread
from typing import Any, Protocol

from sillward.errors import SourceError
from sillward.forecast.provider_calls import MIN_TRY_S
from sillward.net import fetch
from sillward.net.http import Answer, Query
from sillward_rules.weather.site import Site

CALL_S = 60.0
"""The time for all requests of one call [s]; the last may begin just before. What is left is asked
in the next call."""

Ask = Callable[..., Answer]
"""Makes a request, as `fetch.ask` does. Raises SourceError."""


class Asked(Protocol):
    """A provider, as far as asking it goes."""

    @property
    def name(self) -> str:
        """Its name."""

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError for an answer that holds nothing."""


@dataclass(frozen=True, slots=True)
class Request:
    """One request to a provider, for some places."""

    cells: Sequence[Site]
    query: Query
    conditions: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Answered:
    """What came of a request: the answer, or what went wrong."""

    request: Request
    answer: Answer | Exception


class Answers:
    """Gives the answers that have come, one after the other, as if they were asked for now."""

    def __init__(self, answered: Sequence[Answered]) -> None:
        """Give these, to the same requests in the same order."""
        self._left = iter(answered)

    def ask(self, query: Query, **_: Any) -> Answer:
        """Return the next answer, or raise what went wrong."""
        answered = next(self._left)
        assert answered.request.query == query
        if isinstance(answered.answer, Exception):
            raise answered.answer
        return answered.answer


def ask_each(
    ask: Ask,
    provider: Asked,
    requests: Sequence[Request],
    clock: Callable[[], datetime],
    monotonic: Callable[[], float] = time.monotonic,
) -> list[Answered]:
    """Make one request after the other, until the provider asks to wait or time is up.

    Nothing is raised: what went wrong, a defect of ours as well, is one of the results.
    """
    answered: list[Answered] = []
    ends = monotonic() + CALL_S
    for request in requests:
        left_s = ends - monotonic()
        if answered and left_s < MIN_TRY_S:
            break
        try:
            answer: Answer | Exception = ask(
                request.query,
                source=provider.name,
                conditions=request.conditions,
                deadline_s=min(left_s, fetch.REQUEST_DEADLINE_S),
            )
        except Exception as error:
            answer = error
        answered.append(Answered(request, answer))
        if _asks_to_wait(provider, answer, clock):
            break
    return answered


def _asks_to_wait(
    provider: Asked, answer: Answer | Exception, clock: Callable[[], datetime]
) -> bool:
    """Whether a provider is to be left alone, which concerns all other places too."""
    if isinstance(answer, Answer):
        try:
            provider.accept(answer, clock())
        except SourceError as error:
            answer = error
        except Exception:  # whoever takes it up is told
            return True
    return isinstance(answer, SourceError) and bool(answer.wait) and not answer.of_place


Begin = Callable[[Callable[[], list[Answered]]], "Future[list[Answered]]"]
"""Begins to ask. The result is there once the answers are."""


def at_once(asking: Callable[[], list[Answered]]) -> "Future[list[Answered]]":
    """Ask now, and wait for it."""
    future: Future[list[Answered]] = Future()
    future.set_result(asking())
    return future


def in_thread(asking: Callable[[], list[Answered]]) -> "Future[list[Answered]]":
    """Ask in a thread of its own, which nobody waits for at the end of the process."""
    future: Future[list[Answered]] = Future()

    def run() -> None:
        try:
            future.set_result(asking())
        except BaseException as error:
            future.set_exception(error)

    Thread(target=run, name="forecasts", daemon=True).start()
    return future
