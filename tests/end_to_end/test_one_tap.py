"""From a push to its button to the ledger: a real sender, a real page, each with a ledger of its
own on one file, and a phone that does what the push tells it."""

import json
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
import requests
from pydantic import SecretStr

from sillward.channels import apprise_sender
from sillward.config.household import NoticePolicy
from sillward.ledger import Ledger
from sillward.links.page_links import PageLinks
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.server import PageServer
from sillward.service.desk import Desk
from tests.support.desks import (
    DAY,
    SITE,
    Post,
    Weatherman,
    World,
    a_channel,
    a_household,
    a_plant,
    local,
)
from tests.support.fakes import FakeClock

KEY = b"k" * 32
LIMIT_S = 10


@dataclass
class PushService:
    """A service as ntfy is: it takes messages, and phones get them with their buttons."""

    port: int = 0
    pushes: list[tuple[str, list[dict[str, Any]]]] = field(default_factory=list)
    """Titles, with the buttons of each."""

    @property
    def titles(self) -> list[str]:
        return [title for title, _ in self.pushes]


@contextmanager
def push_service() -> Iterator[PushService]:
    kept = PushService()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            buttons = json.loads(self.headers.get("X-Actions", "[]"))
            kept.pushes.append((body["title"], buttons))
            self.send_response(200)
            self.send_header("Content-Length", "2")
            self.end_headers()
            self.wfile.write(b"{}")

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    kept.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield kept
    finally:
        server.shutdown()
        server.server_close()
        thread.join(LIMIT_S)


@dataclass
class Household:
    """A desk that tells and a page that is answered on, as the daemon has them."""

    world: World
    desk: Desk
    service: PushService

    def until(self, text: str) -> None:
        """Tick every five minutes until this hour."""
        while self.world.clock.now < local(text):
            self.desk.tick()
            self.world.clock.move(minutes=5)
        self.desk.tick()

    def still_open(self) -> list[str]:
        chores = self.world.ledger.chores.of_day(SITE.name, DAY)
        return [name for chore in chores if chore.open for name in chore.plants]


@pytest.fixture
def household(tmp_path: Path) -> Iterator[Household]:
    with ExitStack() as stack:
        service = stack.enter_context(push_service())
        url = SecretStr(f"ntfy://127.0.0.1:{service.port}/court")
        channel = replace(a_channel(), url=url, person="Inés")
        plants = tuple(map(a_plant, ("Left pot", "Mid pot", "Right pot")))
        told = a_household(channel, plants=plants, policy=NoticePolicy())
        clock, source = FakeClock(local("17:00")), Weatherman(low_c=5.0)
        worlds = [
            World(clock, source, Post(), Ledger(tmp_path / "ledger.sqlite3"), told)
            for _ in range(2)
        ]
        for world in worlds:
            stack.enter_context(closing(world.ledger))
        desk, beside = (world.desk for world in worlds)
        page = PageDesk(beside.context, lambda: told)
        server = PageServer(Application(page, Guard(KEY)), "127.0.0.1", 0)
        server.start()
        stack.enter_context(closing(server))
        for each in (desk, beside):
            each.context.links = PageLinks(KEY, server.address.rstrip("/"))
        desk.context.sender = apprise_sender.send
        yield Household(worlds[0], desk, service)


def press(button: dict[str, Any]) -> requests.Response:
    """Do what a phone does when its button is pressed."""
    if button["action"] == "http":
        return requests.request(button["method"], button["url"], timeout=LIMIT_S)
    headers = {"Accept": "text/html"}
    return requests.get(button["url"], headers=headers, timeout=LIMIT_S)


def test_who_presses_done_is_not_reminded(household: Household) -> None:
    household.until("17:10")
    ((title, (done, *_)),) = household.service.pushes
    assert title == "Carry in 3 plants by 18:40"

    answer = press(done)
    assert (answer.status_code, answer.text) == (200, "Carry in: 3 plants, done.\n")
    household.until("21:00")

    assert household.service.titles == [title]
    (deed,) = household.world.ledger.deeds.latest(SITE.name, 9)
    assert (deed.person, deed.what) == ("Inés", "done")


def test_who_only_looks_is_reminded(household: Household) -> None:
    """As when a mail scanner follows all links of a message."""
    household.until("17:10")
    ((_, (done, *_)),) = household.service.pushes
    assert requests.get(done["url"], timeout=LIMIT_S).status_code == 200
    assert requests.head(done["url"], timeout=LIMIT_S).status_code == 200
    household.until("21:00")

    assert household.service.titles[1:] == ["30 min left: Carry in 3 plants by 18:40"]
    assert len(household.still_open()) == 3


def test_the_button_of_the_reminder_works_too(household: Household) -> None:
    household.until("18:15")
    assert len(household.service.pushes) == 2
    (_, (first, *_)), (_, (second, *_)) = household.service.pushes
    assert first["url"] != second["url"]

    assert press(second).status_code == 200
    assert household.still_open() == []
    assert press(first).text == "Carry in: 3 plants, was already done at 18:15.\n"


def test_pressed_on_several_phones_at_once_it_is_done_once(household: Household) -> None:
    household.until("17:10")
    ((_, (done, *_)),) = household.service.pushes
    with ThreadPoolExecutor(6) as phones:
        answers = list(phones.map(press, [done] * 6))

    assert [answer.status_code for answer in answers] == [200] * 6
    assert len(household.world.ledger.deeds.latest(SITE.name, 9)) == 1


def test_the_other_buttons_open_the_page(household: Household) -> None:
    household.until("17:10")
    ((_, (_, but, see)),) = household.service.pushes

    assert (but["label"], see["label"]) == ("All but ...", "See all")
    assert "Untick what is not done yet" in press(but).text
    assert "Left pot" in press(see).text
    assert len(household.still_open()) == 3
