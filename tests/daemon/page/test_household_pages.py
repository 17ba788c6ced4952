"""Pages of many households in one server: built at need, within bounds, apart when they fail."""

import threading
from collections.abc import Iterable
from dataclasses import dataclass, field

import pytest
from werkzeug.test import Client
from werkzeug.wrappers import Response

from sillward.errors import ConfigError, LedgerError
from sillward.page import household_pages
from sillward.page.guard import Guard
from sillward.page.household_pages import AT_ONCE, BuiltPage, HouseholdPages


@dataclass
class Neighbour:
    """A household whose page says its name, or hangs, or cannot be built."""

    name: str
    events: list[str]
    is_there: bool = True
    has_page: bool = True
    error: Exception | None = None
    held: threading.Event | None = None
    entered: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))

    def build(self) -> BuiltPage:
        self.events.append(f"build {self.name}")
        if self.error is not None:
            raise self.error
        return BuiltPage(self.page, lambda: self.events.append(f"close {self.name}"))

    def answered(self) -> None:
        self.events.append(f"answered {self.name}")

    def page(self, environ: dict[str, object], start_response: object) -> Iterable[bytes]:
        self.entered.release()
        if self.held is not None:
            self.held.wait(30)
        status = 403 if environ["PATH_INFO"] == "/wrong" else 200
        said = Response(f"{environ['SCRIPT_NAME']} {environ['PATH_INFO']}", status)
        return said(environ, start_response)  # type: ignore[arg-type]


class Village:
    """Some households, and a clock that stands still."""

    def __init__(self, *names: str, max_built: int = 10) -> None:
        self.events: list[str] = []
        self.now = 100.0
        self.households = {name: Neighbour(name, self.events) for name in names}
        self.pages = HouseholdPages(
            self.households.get, Guard(b""), max_built, steady=lambda: self.now
        )

    def get(self, path: str) -> tuple[int, str]:
        answer = Client(self.pages).get(path)
        return answer.status_code, answer.text


def test_pages_are_built_at_need_and_those_unused_the_longest_are_closed() -> None:
    village = Village("a", "b", "c", max_built=2)

    for name in ("a", "b", "a", "c", "a"):
        assert village.get(f"/{name}/plants") == (200, f"/{name} /plants")
    assert village.events == ["build a", "build b", "build c", "close b"]
    village.pages.close()
    assert village.events[4:] == ["close c", "close a"]


def test_who_leaves_is_closed_and_who_comes_anew_has_a_page_of_its_own() -> None:
    village = Village("a", "b", max_built=1)
    before = village.households["a"]
    village.get("/a/")

    before.is_there = False
    village.households["a"] = Neighbour("a", village.events)
    village.get("/a/")
    village.get("/b/")
    assert village.events.count("build a") == 2
    village.households.pop("a").is_there = False
    assert village.get("/a/")[0] == 404


def test_an_answer_is_news_and_a_refused_one_is_not() -> None:
    village = Village("a")
    client = Client(village.pages)

    client.get("/a/")
    client.post("/a/wrong")
    assert village.events == ["build a"]
    client.post("/a/")
    assert village.events == ["build a", "answered a"]


@pytest.mark.parametrize(
    ("error", "status"),
    [(ConfigError(["secret"]), 404), (LedgerError("secret"), 503), (ValueError("secret"), 404)],
)
def test_a_page_that_cannot_be_built_is_tried_again_later(error: Exception, status: int) -> None:
    village = Village("a")
    village.households["a"].error = error

    for _ in range(3):
        told, text = village.get("/a/")
        assert (told, "secret" in text) == (status, False)
    assert village.events == ["build a"]
    village.households["a"].error = None
    village.now += household_pages.REFUSED_S
    assert village.get("/a/")[0] == 200


def test_requests_that_hang_take_no_more_than_their_share() -> None:
    village = Village("slow", "quick")
    slow = village.households["slow"]
    village.get("/slow/")
    slow.entered.acquire()
    slow.held = threading.Event()
    answers: list[int] = []

    def ask() -> None:
        answers.append(village.get("/slow/")[0])

    threads = [threading.Thread(target=ask) for _ in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for _ in threads:
        assert slow.entered.acquire(timeout=30)

    village.now += household_pages.WAIT_S + 1  # they hang, so the next does not wait
    answer = Client(village.pages).get("/slow/")
    assert (answer.status_code, "busy" in answer.text) == (503, True)
    assert answer.headers["Retry-After"] == "5"
    assert village.get("/quick/")[0] == 200

    slow.held.set()
    for thread in threads:
        thread.join(30)
    assert answers == [200] * AT_ONCE
    assert village.get("/slow/")[0] == 200


def test_a_request_beyond_its_share_is_answered_when_there_is_room() -> None:
    village = Village("a")
    village.get("/a/")
    neighbour = village.households["a"]
    neighbour.entered.acquire()
    neighbour.held = threading.Event()
    answers: list[int] = []

    def ask() -> None:
        answers.append(village.get("/a/")[0])

    threads = [threading.Thread(target=ask) for _ in range(AT_ONCE + 2)]
    for thread in threads:
        thread.start()
    for _ in range(AT_ONCE):
        assert neighbour.entered.acquire(timeout=30)
    neighbour.held.set()
    for thread in threads:
        thread.join(30)
    assert answers == [200] * (AT_ONCE + 2)


def test_what_is_no_household_s_is_asked_for_in_its_own_way() -> None:
    village = Village("a")
    client = Client(village.pages)

    assert client.post("/").status_code == 405
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 400
    assert client.get("/a/", headers={"Host": "evil.example"}).status_code == 400
    assert client.get("/assets/nothing.css").status_code == 404
    answer = client.get("/a")
    assert (answer.status_code, answer.headers["Location"]) == (308, "/a/")
