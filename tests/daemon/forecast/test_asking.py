"""Asking providers beside other work: what comes back, and when it is given up."""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any

import pytest

from sillward.errors import SourceError
from sillward.forecast import asking
from sillward.forecast.asking import Answers, Request, ask_each, in_thread
from sillward.net.http import Answer, Query
from tests.support.desks import SITE, local
from tests.support.fakes import FakeSource, low_of

BUSY = SourceError("Invented weather: too many requests", wait=timedelta(hours=1))
NO_PLACE = SourceError("nothing for this place", wait=timedelta(days=1), of_place=True)


def requests(count: int) -> list[Request]:
    source = FakeSource(max_sites=1)
    return [Request([SITE], source.query([SITE]), {}) for _ in range(count)]


def what_comes(
    answers: Iterable[Answer | Exception], takes_s: float = 0.0
) -> list[Answer | Exception]:
    """What is found if each request is answered in turn, after some seconds each."""
    waiting, now_s = iter(answers), 0.0

    def ask(_: Query, *, deadline_s: float, **__: Any) -> Answer:
        nonlocal now_s
        assert deadline_s <= 40
        now_s += takes_s
        answer = next(waiting)
        if isinstance(answer, Exception):
            raise answer
        return answer

    source = FakeSource(max_sites=1)
    found = ask_each(ask, source, requests(5), lambda: local("12:10"), lambda: now_s)
    return [each.answer for each in found]


def test_what_is_wrong_with_one_request_leaves_the_others() -> None:
    good, failed, defect = low_of("3.0"), SourceError("answered 503"), RuntimeError()

    found = what_comes([good, failed, defect, NO_PLACE, good])

    assert found == [good, failed, defect, NO_PLACE, good]


def test_a_provider_that_asks_to_wait_is_asked_no_more() -> None:
    good = low_of("3.0")

    assert what_comes([good, BUSY, good]) == [good, BUSY]


def test_one_call_has_an_end_however_slow_its_provider_is() -> None:
    slow = [low_of("3.0")] * 5

    assert len(what_comes(slow, takes_s=20)) == 3
    assert len(what_comes(slow, takes_s=asking.CALL_S)) == 1


def test_answers_are_given_in_their_order_and_errors_raised() -> None:
    source, good = FakeSource(max_sites=1), low_of("3.0")
    waiting: Iterator[Answer | Exception] = iter([good, BUSY])

    def ask(*_: Any, **__: Any) -> Answer:
        answer = next(waiting)
        if isinstance(answer, Exception):
            raise answer
        return answer

    answers = Answers(ask_each(ask, source, requests(2), lambda: local("12:10")))

    query = source.query([SITE])
    assert answers.ask(query, source=source.name) == good
    with pytest.raises(SourceError, match="too many"):
        answers.ask(query, source=source.name)


def test_a_thread_hands_over_what_it_found_or_what_went_wrong() -> None:
    def broken() -> list[asking.Answered]:
        raise MemoryError

    assert in_thread(list).result(timeout=30) == []
    assert isinstance(in_thread(broken).exception(timeout=30), MemoryError)
