"""Links from messages: looking changes nothing, pressing acts once, and only for what was told."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from html import unescape

import pytest
from werkzeug.test import Client, TestResponse

from sillward.config.household import NoticePolicy
from sillward.ledger import StoredChore
from sillward.links.page_links import PageLinks
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.keys import key_of
from sillward.service import answer_links, answers
from sillward.service.desk import Desk
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.limits import Limit, Limits
from tests.support.desks import (
    DAY,
    SITE,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)

KEY = b"k" * 32
HTML = {"Accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}
PHONE = {"Accept": "*/*"}


@dataclass
class Evening:
    """A dusk round that was told at five with links, and the page beside it."""

    world: World
    desk: Desk
    client: Client

    @classmethod
    def of(cls, *names: str, low_c: float = 5.0) -> "Evening":
        world = a_world("17:00", low_c=low_c)
        channel = replace(a_channel(), person="Inés")
        plants = tuple(map(a_plant, names or ("Left pot", "Mid pot", "Right pot")))
        world.household = a_household(channel, plants=plants, policy=NoticePolicy())
        desk = world.desk
        desk.context.links = PageLinks(KEY, "https://plants.example")
        desk.tick()
        page = PageDesk(desk.context, lambda: desk.context.household)
        return cls(world, desk, Client(Application(page, Guard(b"f" * 32))))

    @property
    def path(self) -> str:
        """Where the link of the last message leads."""
        links = self.world.post.pushes[-1][1].links
        assert links is not None
        return links.address.removeprefix("https://plants.example")

    def get(self, path: str | None = None) -> TestResponse:
        return self.client.get(path or self.path, headers=HTML)

    def tap(self, path: str | None = None) -> TestResponse:
        """Post as the button of a phone's notice does."""
        return self.client.post(path or self.path, headers=PHONE)

    def press(self, *plants: str, path: str | None = None) -> TestResponse:
        """Press the button of the page with these plants ticked."""
        box = re.compile(r'name="plant" value="([^"]+)"[^>]*><span><b>([^<]*)')
        found = box.findall(self.get(path).text)
        shown = {unescape(name): value for value, name in found}
        return self.post(*(shown[name] for name in plants), path=path)

    def post(self, *boxes: str, path: str | None = None) -> TestResponse:
        """Send the form of the page with these boxes, whether it has them or not."""
        data = {"shown": "1", "plant": list(boxes)}
        return self.client.post(path or self.path, data=data, headers=HTML)

    def tell(self, chore: Chore, *, instead_of: str | None = None) -> None:
        """Change the round: there is one more chore, perhaps in the place of another."""
        clock, ledger = self.world.clock, self.world.ledger
        clock.move(minutes=20)
        ledger.keep_change(
            SITE.name,
            "dusk",
            1,
            DAY,
            clock.now,
            notices=[],
            chores=[(chore, clock.now)],
            called_off=[] if instead_of is None else [instead_of],
            states_once_delivered={},
        )

    def chores(self) -> list[StoredChore]:
        return self.world.ledger.chores.of_day(SITE.name, DAY)

    def still_open(self) -> list[str]:
        return sorted(name for chore in self.chores() if chore.open for name in chore.plants)

    def everything(self) -> list[object]:
        ledger = self.world.ledger
        return [self.chores(), ledger.deeds.latest(SITE.name, 99), self.world.spots()]


@pytest.fixture
def evening() -> Evening:
    return Evening.of()


def test_looking_changes_nothing_however_often(evening: Evening) -> None:
    """Mail scanners and previews follow links, in any way they like."""
    before = evening.everything()
    for headers in (HTML, PHONE, {}, {"Sec-Fetch-Site": "cross-site", **HTML}):
        assert evening.client.get(evening.path, headers=headers).status_code == 200
        assert evening.client.head(evening.path, headers=headers).status_code == 200
    evening.client.get(f"{evening.path}?plant=x&shown=1", headers=HTML)

    assert evening.everything() == before


def test_the_page_has_one_button_and_the_plants(evening: Evening) -> None:
    text = evening.get().text

    assert text.count("<button") == 1
    assert text.count(" checked") == 3
    assert "Carry in: 3 plants" in text
    assert "By 18:40, bench to room" in text
    assert "form_token" not in text


def test_the_button_of_a_notice_answers_for_all_it_told(evening: Evening) -> None:
    answer = evening.tap()

    assert (answer.status_code, answer.content_type) == (200, "text/plain; charset=utf-8")
    assert answer.text == "Carry in: 3 plants, done.\n"
    assert evening.still_open() == []
    assert set(evening.world.spots().values()) == {"room"}


def test_answering_twice_is_answering_once(evening: Evening) -> None:
    evening.tap()
    once = evening.everything()
    evening.world.clock.move(minutes=12)
    again = evening.tap()

    assert evening.everything() == once
    assert again.status_code == 200
    assert again.text == "Carry in: 3 plants, was already done at 17:00.\n"
    assert "Nothing of this is open" in evening.get().text


def test_what_is_answered_by_a_link_is_its_readers(evening: Evening) -> None:
    evening.tap()

    (deed,) = evening.world.ledger.deeds.latest(SITE.name, 9)
    assert (deed.person, deed.what) == ("Inés", "done")


def test_all_but_these(evening: Evening) -> None:
    answer = evening.press("Left pot", "Right pot")

    assert answer.status_code == 200
    assert "Carry in: 2 plants, done" in answer.text
    assert "Still to do" in answer.text
    assert evening.still_open() == ["Mid pot"]
    assert evening.get().text.count(" checked") == 1


def test_nothing_ticked_is_not_everything(evening: Evening) -> None:
    answer = evening.press()

    assert answer.status_code == 422
    assert evening.still_open() == ["Left pot", "Mid pot", "Right pot"]


def test_the_same_page_pressed_again_changes_nothing(evening: Evening) -> None:
    """Two phones show it; each has unticked another plant."""
    stale = evening.get().text
    evening.press("Left pot", "Mid pot")
    once = evening.everything()
    answer = evening.post(*re.findall(r'name="plant" value="([^"]+)"', stale)[:1])

    assert answer.status_code == 200
    assert "was already done" in answer.text
    assert evening.everything() == once


def joined(evening: Evening) -> str:
    """Let a tougher plant join the orders; return the path of the link from before."""
    path = evening.path
    tough = replace(a_plant("Tough pot"), limits=Limits(night_low=Limit(4.0, "your own limit")))
    household = evening.desk.context.household
    collection = replace(household.collection, plants=(*household.collection.plants, tough))
    evening.desk.context.replace_household(replace(household, collection=collection))
    evening.world.source.low_c = 1.0
    evening.world.clock.move(minutes=30)
    plan = evening.world.ledger.call_schedules.get(evening.world.source.name)
    assert plan is not None
    due = replace(plan, next_at=evening.world.clock.now)
    evening.world.ledger.call_schedules.keep(evening.world.source.name, due)
    evening.desk.tick()
    assert "Tough pot" in evening.still_open()
    return path


def test_a_button_from_before_a_change_is_refused_with_what_is_true_now(evening: Evening) -> None:
    path, everyone = joined(evening), evening.still_open()
    answer = evening.tap(path)

    assert answer.status_code == 409
    assert answer.text == (
        "This has changed since you were told, so nothing was taken as done. "
        "Now: Carry in 4 plants by 18:40. Look at the page.\n"
    )
    assert evening.still_open() == everyone
    in_html = evening.client.post(path, headers=HTML)
    assert in_html.status_code == 409
    assert "Tough pot" in in_html.text


def test_its_page_shows_what_is_true_now_and_answers_for_that(evening: Evening) -> None:
    path = joined(evening)
    assert "has changed since the message was sent" in evening.get(path).text

    assert evening.press("Left pot", "Tough pot", path=path).status_code == 200
    assert evening.still_open() == ["Mid pot", "Right pot"]


def test_a_plant_that_joins_while_the_page_is_open_stays_open(evening: Evening) -> None:
    path = evening.path
    shown = re.findall(r'name="plant" value="([^"]+)"', evening.get().text)
    joined(evening)
    answer = evening.post(*shown, path=path)

    assert answer.status_code == 200
    assert evening.still_open() == ["Tough pot"]


@pytest.mark.parametrize("kind", [ChoreKind.STAY_IN, ChoreKind.MIST, ChoreKind.STOP_WETTING])
def test_a_link_answers_nothing_else_of_its_round(evening: Evening, kind: ChoreKind) -> None:
    """A form can be made by hand. That a plant is kept in would close the order to carry it in."""
    path = evening.path
    (order,) = evening.chores()
    evening.tell(replace(order.chore, id=f"{DAY}-other", kind=kind))
    before = evening.everything()
    answer = evening.post(f"{key_of(f'{DAY}-other')}.{key_of('Left pot')}", path=path)

    assert answer.status_code == 422
    assert evening.everything() == before


def test_an_order_of_another_day_is_not_answered(evening: Evening) -> None:
    (order,) = evening.chores()
    tomorrow = f"{DAY + timedelta(days=1)}-other"
    evening.tell(replace(order.chore, id=tomorrow))
    before = evening.everything()

    assert evening.post(f"{key_of(tomorrow)}.{key_of('Left pot')}").status_code == 422
    assert evening.everything() == before


def test_what_goes_to_another_spot_by_now_is_not_taken_as_done_there(evening: Evening) -> None:
    """Who was told "to the room" carries them there, and answers for that."""
    path = evening.path
    boxes = re.findall(r'name="plant" value="([^"]+)"', evening.get().text)
    (order,) = evening.chores()
    evening.tell(
        replace(order.chore, id=f"{order.id}-cellar", to_spot="cellar"), instead_of=order.id
    )
    before = evening.everything()

    assert evening.tap(path).status_code == 409
    assert evening.post(*boxes, path=path).status_code == 422
    assert evening.everything() == before
    assert "bench to cellar" in evening.get(path).text
    assert evening.press("Mid pot", path=path).status_code == 200
    assert evening.world.spots()["Mid pot"] == "cellar"


def test_what_comes_again_at_another_hour_stays_open(evening: Evening) -> None:
    """A page that lies open since the first misting does not answer for the second."""
    (order,) = evening.chores()
    ledger, now = evening.world.ledger, evening.world.clock.now
    first = replace(order.chore, id=f"{DAY}-mist", kind=ChoreKind.MIST, not_before=None)
    later = order.before + timedelta(hours=1)
    ledger.chores.write(SITE.name, "dusk", first)
    ledger.chores.write(SITE.name, "dusk", replace(first, id=f"{DAY}-mist-2", before=later))
    answers.confirm(ledger, SITE.name, [(order, order.plants)], now)
    evening.world.clock.move(minutes=1)
    links = answer_links.links_for(evening.desk.context, evening.world.notice(), None)
    assert links is not None
    path = links.address.removeprefix("https://plants.example")

    boxes = [f"{key_of(first.id)}.{key_of(name)}" for name in first.plants]
    for _ in range(2):  # pressed twice
        assert evening.post(*boxes, path=path).status_code == 200
    assert {kept.id for kept in evening.chores() if kept.open} == {f"{DAY}-mist-2"}


def test_what_was_said_not_needed_is_not_done_by_an_old_page(evening: Evening) -> None:
    boxes = re.findall(r'name="plant" value="([^"]+)"', evening.get().text)
    (chore,) = evening.chores()
    now = evening.world.clock.now
    answers.decline(evening.world.ledger, SITE.name, [(chore, chore.plants)], now)

    assert evening.post(*boxes).status_code == 422
    assert evening.chores()[0].done_at is None


def test_what_was_said_not_needed_is_not_done_by_a_button(evening: Evening) -> None:
    (chore,) = evening.chores()
    answers.decline(
        evening.world.ledger, SITE.name, [(chore, ["Mid pot"])], evening.world.clock.now
    )
    answer = evening.tap()

    assert answer.status_code == 200
    by_name = {name: kept for kept in evening.chores() for name in kept.plants}
    assert by_name["Left pot"].done_at is not None
    assert by_name["Mid pot"].done_at is None
    assert by_name["Mid pot"].declined_at is not None


def test_what_was_called_off_is_refused(evening: Evening) -> None:
    (chore,) = evening.chores()
    evening.world.ledger.chores.call_off(SITE.name, [chore.id], evening.world.clock.now)
    answer = evening.tap()

    assert answer.status_code == 409
    assert "no longer needed" in answer.text
    assert evening.chores()[0].done_at is None


def test_an_old_link_says_what_is_true_now(evening: Evening) -> None:
    path, before = evening.path, evening.everything()
    evening.world.clock.now = local("11:00", DAY + timedelta(days=1))
    for answer in (evening.tap(path), evening.get(path), evening.press(path=path)):
        assert answer.status_code == 410
        assert "too old" in answer.text
    assert evening.everything() == before


def test_an_old_link_says_first_what_is_to_do_now_whatever_it_was_about(evening: Evening) -> None:
    """The messages of the morning and of the evening lie one under the other on a phone."""
    path = evening.path
    evening.world.clock.now = local("11:00", DAY + timedelta(days=1))
    evening.desk.tick()
    evening.world.clock.now = local("17:05", DAY + timedelta(days=1))
    evening.desk.tick()
    today = re.search("<h1[^>]*>(.*?)</h1>", evening.client.get("/").text)
    old = evening.get(path)

    assert today is not None
    assert "arry in 3 plants" in today[1]
    assert f"<h1>{today[1]}</h1>" in old.text
    assert old.text.index('href="/">Everything to do') < old.text.index("</main>")
    assert f"Now: {today[1]}" in evening.tap(path).text


def morning() -> Evening:
    """All was carried in; the morning round tells them out, from 09:00 or so."""
    evening = Evening.of()
    evening.tap()
    evening.world.clock.now = local("08:31", DAY + timedelta(days=1))
    evening.desk.tick()
    return evening


def test_what_has_not_begun_is_not_taken_as_done() -> None:
    evening = morning()
    assert "lies ahead" in evening.get().text
    assert " checked" not in evening.get().text

    answer = evening.tap()
    assert answer.status_code == 409
    assert "None of this has begun" in answer.text

    ahead = evening.world.ledger.chores.of_day(SITE.name, DAY + timedelta(days=1))
    starts = [chore.chore.not_before for chore in ahead if chore.open and chore.chore.not_before]
    evening.world.clock.now = max(starts) + timedelta(minutes=5)
    assert evening.tap().text == "Put out: 3 plants, done.\n"
    assert set(evening.world.spots().values()) == {"bench"}


def test_what_was_done_early_can_be_said_on_the_page() -> None:
    evening = morning()

    assert evening.press("Left pot").status_code == 200
    assert evening.world.spots()["Left pot"] == "bench"


def test_a_trial_says_that_it_works_and_changes_nothing(evening: Evening) -> None:
    context = evening.desk.context
    assert context.links is not None
    links = answer_links.trial_links(context.links, context.voice, context.clock())
    path, before = links.address.removeprefix("https://plants.example"), evening.everything()

    assert "This works" in evening.get(path).text
    assert evening.tap(path).text.startswith("This works")
    assert "reached sillward" in evening.client.post(path, headers=HTML).text
    assert evening.everything() == before


WRONG: list[Callable[[str], str]] = [
    lambda path: path[:-1],
    lambda path: f"{path}A",
    lambda path: path[:-1] + ("A" if path[-1] != "A" else "Q"),
    lambda path: path[:5] + ("x" if path[5] != "x" else "y") + path[6:],
    lambda path: "/t/" + "A" * (len(path) - 3),
    lambda path: path.upper(),
]


@pytest.mark.parametrize("spoil", WRONG)
def test_a_wrong_link_is_no_link(evening: Evening, spoil: Callable[[str], str]) -> None:
    before = evening.everything()
    for answer in (evening.get(spoil(evening.path)), evening.tap(spoil(evening.path))):
        assert answer.status_code == 404
        assert "pot" not in answer.text
    assert evening.everything() == before


def test_the_link_of_another_site_is_none(evening: Evening) -> None:
    path = evening.path
    site = replace(SITE, name="Other court")
    household = evening.desk.context.household
    other = replace(household, collection=replace(household.collection, site=site))
    evening.desk.context.replace_household(other)

    assert evening.tap(path).status_code == 404


def test_no_link_is_told_on_or_logged(
    evening: Evening, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    caplog.set_level("DEBUG")
    token = evening.path.rpartition("/")[2]
    monkeypatch.setattr(answers, "confirm", lambda *_: 1 / 0)
    failed = evening.tap()

    assert failed.status_code == 500
    assert token not in f"{failed.text}{caplog.text}"
    for answer in (evening.get(), failed):
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert answer.headers["Cache-Control"] == "no-store"


def test_what_a_foreign_page_posts_is_what_its_link_allows(evening: Evening) -> None:
    """A phone's service posts from anywhere; the address is the permission, and the only one."""
    headers = {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "cross-site"}

    assert evening.client.post(evening.path, headers=headers, data="x").status_code == 200
    assert evening.client.post("/t/nothing", headers=headers).status_code == 404


def test_nothing_is_written_while_it_would_be_lost(evening: Evening) -> None:
    page = PageDesk(
        evening.desk.context,
        lambda: evening.desk.context.household,
        obstacle=lambda: "the ledger cannot be written",
    )
    client = Client(Application(page, Guard(b"f" * 32)))
    answer = client.post(evening.path, headers=PHONE)

    assert answer.status_code == 503
    assert len(evening.still_open()) == 3


def test_names_are_shown_as_they_are_and_do_nothing() -> None:
    evening = Evening.of("<script>alert(1)</script>", 'Pot "&"')
    text = evening.get().text

    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert evening.press('Pot "&"').status_code == 200
    assert evening.still_open() == ["<script>alert(1)</script>"]
