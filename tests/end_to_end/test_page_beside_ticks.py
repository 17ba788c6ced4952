"""Whatever the page does, the ticks go on: a real server, and a desk on the same ledger file."""

import http.client
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import Mock

import pytest
from werkzeug.wrappers import Response

from sillward.channels.sender_process import SenderProcess
from sillward.cli.run import _AfterTick
from sillward.ledger import Ledger, opening
from sillward.page import application
from sillward.page import desk as page_desk
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.http_server import LIMITS
from sillward.page.route import Route
from sillward.page.routes import ROUTES
from sillward.page.server import PageServer
from sillward.page.visit import Visit
from sillward.service.heartbeat import Heartbeat
from tests.support.desks import DAY, SITE, Post, Weatherman, World, a_household, local
from tests.support.fakes import FakeClock
from tests.support.installation import wait_for

LIMIT_S = 20

KEY = b"k" * 32


@dataclass
class Beside:
    """A desk and the page of its household, as the daemon has them.

    go_on: lets requests to /hang end.
    """

    world: World
    beside: World
    go_on: threading.Event = field(default_factory=threading.Event)
    hanging: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))
    server: PageServer = field(init=False)

    def serve(self) -> None:
        page = PageDesk(self.beside.desk.context, lambda: self.world.household)
        self.server = PageServer(Application(page, Guard(KEY)), "127.0.0.1", 0)
        self.server.start()

    def ask(self, path: str) -> int:
        """Return the status of the answer; 0 for none."""
        address = self.server.host, self.server.bound_port
        connection = http.client.HTTPConnection(*address, timeout=LIMIT_S)
        with closing(connection), suppress(ConnectionError, http.client.BadStatusLine):
            connection.request("GET", path)
            return connection.getresponse().status
        return 0

    def let_it_hang(self, times: int) -> list[socket.socket]:
        """Ask for /hang without waiting, until so many threads hang there."""
        asked = []
        for _ in range(times):
            to = socket.create_connection(("127.0.0.1", self.server.bound_port), timeout=LIMIT_S)
            to.sendall(b"GET /hang HTTP/1.1\r\nHost: localhost\r\n\r\n")
            asked.append(to)
        for _ in range(min(times, LIMITS.threads)):
            assert self.hanging.acquire(timeout=LIMIT_S)
        return asked

    def hang(self, visit: Visit) -> Response:
        self.hanging.release()
        self.go_on.wait(LIMIT_S)
        return Response("gone on")

    def hang_with_the_ledger(self, visit: Visit) -> Response:
        with visit.context.ledger.database.transaction():
            return self.hang(visit)

    def tell_dusk(self) -> list[str]:
        """Tick through the dusk round, and return who was told."""
        desk = self.world.desk
        while self.world.clock.now < local("17:30"):
            desk.tick()
            self.world.clock.move(minutes=5)
        return [
            notice.channel
            for notice in desk.context.ledger.notices.of_round(SITE.name, "dusk", DAY)
            if notice.sent_at is not None
        ]


def _fail(error: BaseException) -> Callable[[Visit], Response]:
    def view(visit: Visit) -> Response:
        raise error

    return view


@pytest.fixture
def beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Beside]:
    monkeypatch.setattr("sillward.page.server.END_S", 0.05)
    monkeypatch.setattr(page_desk, "WAIT_S", 0.05)
    monkeypatch.setattr(opening, "BUSY_MS", 50)
    clock, source, told = FakeClock(local("16:50")), Weatherman(low_c=3.0), a_household()
    desk, page = (
        World(clock, source, Post(), Ledger(tmp_path / "ledger.sqlite3"), told) for _ in range(2)
    )
    beside = Beside(desk, page)
    errors = {"fail": RuntimeError("no"), "exit": SystemExit(1), "memory": MemoryError()}
    errors |= {"deep": RecursionError("deep")}
    more = [Route(f"/{name}", name, _fail(error)) for name, error in errors.items()]
    more += [
        Route("/hang", "hang", beside.hang),
        Route("/hold", "hold", beside.hang_with_the_ledger),
    ]
    monkeypatch.setattr(application, "ROUTES", (*ROUTES, *more))
    beside.serve()
    yield beside
    beside.go_on.set()
    beside.server.close()
    for world in (desk, page):
        world.ledger.close()


def test_views_that_raise_cost_their_own_answer_and_nothing_else(beside: Beside) -> None:
    for name in ("fail", "exit", "memory", "deep") * LIMITS.threads:
        assert beside.ask(f"/{name}") == 500

    assert beside.tell_dusk() == ["phone"]
    assert beside.ask("/") == 200


def test_views_that_hang_in_every_thread_hold_up_no_tick_and_are_told(
    beside: Beside, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = beside.let_it_hang(2 * LIMITS.threads)

    assert beside.tell_dusk() == ["phone"]
    assert beside.server.alive
    assert beside.server.trouble is None
    monkeypatch.setattr("sillward.page.server.STUCK_S", 0.0)
    assert beside.server.trouble is not None

    beside.go_on.set()
    for each in asked:
        with closing(each):
            assert each.recv(12) == b"HTTP/1.1 200"
    assert beside.ask("/") == 200
    assert wait_for(lambda: beside.server.trouble is None)


def test_a_page_that_hangs_does_not_hold_up_the_end(beside: Beside) -> None:
    asked = beside.let_it_hang(LIMITS.threads)

    beside.server.close()

    assert not beside.server.alive
    for each in asked:
        each.close()


def test_a_view_that_holds_the_ledger_for_ever_keeps_no_notice_back(beside: Beside) -> None:
    """The desk goes on in memory, as with any ledger that cannot be written, and comes back."""
    holder = threading.Thread(target=beside.ask, args=("/hold",))
    holder.start()
    assert beside.hanging.acquire(timeout=LIMIT_S)

    assert beside.tell_dusk() == ["phone"]
    assert beside.world.ledger.in_memory
    assert beside.ask("/") == 503  # the page is busy

    beside.go_on.set()
    holder.join(LIMIT_S)
    desk = beside.world.desk
    for _ in range(3):
        beside.world.clock.move(minutes=1)
        desk.tick()
    assert not beside.world.ledger.in_memory
    assert beside.world.notice().sent_at is not None
    assert beside.ask("/") == 200


def test_a_page_that_cannot_be_served_is_told_with_what_else_is_wrong(beside: Beside) -> None:
    taken = PageServer(beside.server.application, "127.0.0.1", beside.server.bound_port)
    after = _AfterTick([beside.world.desk], SenderProcess(), None, None, [taken])

    after.run()
    assert "the page is not served" in after._troubles[-1]

    beside.server.close()
    after.run()
    assert "the page" not in " ".join(after._troubles)
    taken.close()


def test_a_page_that_fails_otherwise_keeps_no_heartbeat_back(
    beside: Beside, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise TypeError

    beats = list[str | None]()
    pulse = Mock(spec=Heartbeat, beat=lambda _now, trouble: beats.append(trouble))
    monkeypatch.setattr(PageServer, "watch", fail)
    beside.server.close()

    _AfterTick([beside.world.desk], SenderProcess(), None, pulse, [beside.server]).run()

    (trouble,) = beats
    assert trouble is not None
    assert "the page is not served" in trouble
