"""Deadlines: each cuts its own connections, and one thread serves them all."""

import socket
import threading
import time

import pytest

from sillward.errors import NoThreadError, SourceError
from sillward.net.deadline import Deadline
from sillward.net.fetch import ask
from sillward.net.http import Query

WAIT_S = 20.0


def cutters() -> int:
    return sum(thread.name == "deadlines" for thread in threading.enumerate())


def test_each_cuts_its_own_and_all_share_a_thread() -> None:
    (late_end, late), (soon_end, soon) = socket.socketpair(), socket.socketpair()
    with late_end, late, soon_end, soon, Deadline(WAIT_S, time.monotonic) as later:
        later.watch(late)
        with Deadline(0.01, time.monotonic) as sooner:
            sooner.watch(soon)
            soon_end.settimeout(WAIT_S)
            assert soon_end.recv(1) == b""
            assert cutters() == 1
            assert sooner.passed
        with Deadline(WAIT_S, time.monotonic):
            assert cutters() == 1
        late.sendall(b"x")
        assert late_end.recv(1) == b"x"
        assert not later.passed
    assert cutters() == 0


def test_where_no_thread_can_be_started_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    def start(thread: threading.Thread) -> None:
        msg = "can't start new thread"
        raise RuntimeError(msg)

    with monkeypatch.context() as starved:
        starved.setattr(threading.Thread, "start", start)
        with pytest.raises(NoThreadError), Deadline(WAIT_S, time.monotonic):
            pass
        with pytest.raises(SourceError, match=r"^Here: no thread can be started"):
            ask(Query("http://127.0.0.1:9", {}), source="Here")

    with Deadline(WAIT_S, time.monotonic):
        assert cutters() == 1
