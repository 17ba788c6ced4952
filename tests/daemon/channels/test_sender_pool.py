"""The child process that sends many at once: what becomes of each, whatever becomes of it."""

import os
import signal
import socket
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from pydantic import SecretStr

from sillward.channels import apprise_sender, sender_pool
from sillward.channels.sender import SEND_S
from sillward.channels.sender_pool import SenderPool
from sillward.channels.sender_process import START_S
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.service.outbox import LEASE
from sillward.wording.push import Message
from tests.support.loopback_server import serving, whole

MESSAGE = Message("Carry in 2 plants by 17:10", "Pergola: first, second\n23 °C")
WAIT_S = 20.0

CHILD = """
import json, os, socket, sys
waiting = {}
for line in sys.stdin:
    asked = json.loads(line)
    name = asked["channel"]["name"]
    if name == "nonsense": print("nonsense", flush=True)
    if name == "die": os._exit(3)
    if name == "hang": continue
    if name == "hold": waiting[asked["number"]] = asked; continue
    if name == "who":
        said = {"error": str(os.getpid()), "perhaps_sent": False, "wait_s": None, "gone": False}
        print(json.dumps({"number": asked["number"], **said}), flush=True)
        continue
    for number in [*waiting, asked["number"]]:
        print(json.dumps({"number": number}), flush=True)
    waiting.clear()
for port in sys.argv[1:]:
    socket.create_connection(("127.0.0.1", int(port)))
"""
"""Answers what it held back after what came later; or hangs, dies, or talks nonsense over it."""

TWO_THREADS = """
import threading
from sillward.child_process import serve_at_once
start, started, refused, gate = threading.Thread.start, [], [], threading.Event()
def limited(thread):
    if len(started) < 2 or gate.is_set():
        started.append(thread)
        return start(thread)
    refused.append(thread)
    if len(refused) == 3: gate.set()
    raise RuntimeError("can't start new thread")
threading.Thread.start = limited
def answer(request):
    gate.wait()
    return {}
serve_at_once(answer, 4, 10.0)
"""
"""Under a limit of tasks until three requests have found no thread."""


def to(name: str, address: str = "http://127.0.0.1:9") -> Channel:
    url = SecretStr(address.replace("http://", "json://"))
    return Channel(name, url, ("dusk",), all_clear=False, full_length=False)


@pytest.fixture
def pool() -> Iterator[SenderPool]:
    with closing(SenderPool((sys.executable, "-c", CHILD))) as made:
        yield made


def perhaps_sent(pool: SenderPool, name: str) -> bool:
    error = pool.submit(to(name), MESSAGE).exception(WAIT_S)
    assert isinstance(error, DeliveryError)
    assert f"{name}: its courier was lost" in str(error)
    return error.perhaps_sent


def test_two_are_under_way_in_one_child_and_the_later_one_may_end_first(pool: SenderPool) -> None:
    held = pool.submit(to("hold"), MESSAGE)
    first = pool.submit(to("quick"), MESSAGE)

    first.result(WAIT_S)
    held.result(WAIT_S)

    assert len(pool.pids) == 1


def test_a_child_that_is_killed_costs_what_it_had_under_way(pool: SenderPool) -> None:
    pool.submit(to("quick"), MESSAGE).result(WAIT_S)
    held = [pool.submit(to("hold"), MESSAGE) for _ in range(2)]
    pool.submit(to("who"), MESSAGE).exception(WAIT_S)  # it has read what came before
    (pid,) = pool.pids
    os.kill(pid, signal.SIGKILL)

    errors = [one.exception(WAIT_S) for one in held]

    assert [isinstance(one, DeliveryError) and one.perhaps_sent for one in errors] == [True, True]
    pool.submit(to("quick"), MESSAGE).result(WAIT_S)
    assert pid not in pool.pids


@pytest.mark.parametrize("name", ["die", "nonsense"])
def test_after_what_a_child_cannot_do_another_goes_on(pool: SenderPool, name: str) -> None:
    assert perhaps_sent(pool, name)
    pool.submit(to("quick"), MESSAGE).result(WAIT_S)


def test_a_message_that_kills_takes_no_other_along_twice(pool: SenderPool) -> None:
    bystander = pool.submit(to("hold", "http://127.0.0.1:1"), MESSAGE)
    pool.submit(to("who", "http://127.0.0.1:2"), MESSAGE).exception(WAIT_S)
    assert perhaps_sent(pool, "die")
    assert isinstance(bystander.exception(WAIT_S), DeliveryError)

    others = pool.submit(to("hold", "http://127.0.0.1:3"), MESSAGE)
    pool.submit(to("quick", "http://127.0.0.1:1"), MESSAGE).result(WAIT_S)  # in a child of its own
    assert perhaps_sent(pool, "die")
    assert not others.done()
    pool.submit(to("quick", "http://127.0.0.1:4"), MESSAGE).result(WAIT_S)

    others.result(WAIT_S)


def test_a_child_that_leaves_a_request_unanswered_is_ended() -> None:
    with closing(SenderPool((sys.executable, "-c", CHILD), limit_s=0.5)) as pool:
        assert perhaps_sent(pool, "hang")
        assert pool.submit(to("quick"), MESSAGE).exception(WAIT_S) is None
        assert len(pool.pids) == 1


def test_a_child_without_work_comes_to_its_end() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = str(listener.getsockname()[1])
        with closing(SenderPool((sys.executable, "-c", CHILD, port), rest_s=0.0)) as pool:
            pool.submit(to("quick"), MESSAGE).result(WAIT_S)
            listener.settimeout(WAIT_S)
            listener.accept()[0].close()  # it says goodbye
            pool.submit(to("quick"), MESSAGE).result(WAIT_S)


def test_a_child_that_has_sent_much_is_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sender_pool, "MOST_REQUESTS", 2)
    with closing(SenderPool((sys.executable, "-c", CHILD))) as pool:
        who = [str(pool.submit(to("who"), MESSAGE).exception(WAIT_S)) for _ in range(4)]

    assert who[0] == who[1] != who[2] == who[3]


def test_what_is_under_way_when_all_ends_may_have_been_sent(pool: SenderPool) -> None:
    held = pool.submit(to("hold"), MESSAGE)
    pool.submit(to("who"), MESSAGE).exception(WAIT_S)
    pool.submit(to("hold"), MESSAGE)

    pool.close()

    error = held.exception(0)
    assert isinstance(error, DeliveryError)
    assert error.perhaps_sent


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are counted in /proc")
def test_more_arrive_at_once_than_apprise_has_threads() -> None:
    """The real child, and a server that answers only when all have come. Each has one thread."""
    many, listed = 12, [to("phone"), to("tablet", "nothing://")]
    with closing(SenderPool()) as pool, socket.create_server(("127.0.0.1", 0)) as listener:
        assert pool.problems(listed) == apprise_sender.problems(listed)
        address = f"http://127.0.0.1:{listener.getsockname()[1]}?rto={WAIT_S:.0f}"
        sent = [pool.submit(to(f"phone {number}", address), MESSAGE) for number in range(many)]
        refused = pool.submit(to("nobody"), MESSAGE)
        listener.settimeout(WAIT_S)
        callers = [listener.accept()[0] for _ in range(many)]
        (pid,) = pool.pids
        threads = len(list(Path(f"/proc/{pid}/task").iterdir()))
        assert threads <= many + 3  # that of the refused, the main one, and one for all deadlines
        for caller in callers:
            with caller:
                while b"Pergola" not in caller.recv(65_536):
                    pass
                caller.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok")
        for one in sent:
            one.result(WAIT_S)
        assert "cannot be reached" in str(refused.exception(WAIT_S))
        assert len(pool.pids) == 1


def test_of_what_finds_no_thread_nothing_has_arrived_and_the_others_go_on() -> None:
    with closing(SenderPool((sys.executable, "-c", TWO_THREADS))) as pool:
        begun = [pool.submit(to("phone"), MESSAGE) for _ in range(2)]
        refused = [pool.submit(to("phone"), MESSAGE) for _ in range(3)]

        errors = [one.exception(WAIT_S) for one in refused]
        pool.submit(to("phone"), MESSAGE).result(WAIT_S)

        assert [one.exception(WAIT_S) for one in begun] == [None, None]
        assert len(pool.pids) == 1
    for error in errors:
        assert isinstance(error, DeliveryError)
        assert "phone: no thread can be started" in str(error)
        assert not error.perhaps_sent


def test_where_no_child_can_be_started_the_notice_goes_out_all_the_same(tmp_path: Path) -> None:
    with (
        closing(SenderPool((str(tmp_path / "nothing here"),))) as pool,
        serving(whole(b"ok")) as server,
    ):
        pool.submit(to("phone", server.address), MESSAGE).result(WAIT_S)

    assert len(server.asked) == 1


def test_a_claim_on_a_notice_outlasts_the_longest_way_of_its_message() -> None:
    longest_s = (1 + sender_pool.WAIT_SHARE) * (SEND_S + START_S)

    assert longest_s < LEASE.total_seconds()
