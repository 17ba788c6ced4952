"""A phone that the page tells by itself: from its button to a notification, and back by its button.

What stands in for the push service of the browser's maker is here: where messages to the browser go
is invented, and they are handed to its service worker as if they had come from there, decrypted.
What lies between is in tests/daemon/channels/test_web_push.py.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest
from playwright.sync_api import Browser, CDPSession, Worker, expect

from sillward.channels import web_push
from sillward.links.page_links import PageLinks
from sillward.page.desk import PageDesk
from sillward.page.server import PageServer
from sillward.wording.push import Button, Links, Message
from tests.support import browsing
from tests.support.browsing import Phone
from tests.support.pages import KEY, an_evening, link_of_dusk
from tests.support.push_service import IDENTITY, bytes_of
from tests.support.push_service import Browser as Subscribed

GIVEN = Subscribed().given

SUBSCRIBES = f"""
const given = {json.dumps(GIVEN)};
const bytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
PushManager.prototype.getSubscription = async () => {{
  const key = sessionStorage.asked && new Uint8Array(JSON.parse(sessionStorage.asked)).buffer;
  const getKey = (name) => bytes(given[name]).buffer;
  const options = {{ applicationServerKey: key }};
  return key ? {{ endpoint: given.endpoint, options, getKey }} : null;
}};
PushManager.prototype.subscribe = async function (asked) {{
  if (!asked.userVisibleOnly) throw new Error("all messages must be shown");
  sessionStorage.asked = JSON.stringify([...asked.applicationServerKey]);
  return this.getSubscription();
}};
"""

RECORDS = """() => {
  self.shown = [];
  const show = registration.showNotification.bind(registration);
  registration.showNotification = async (title, options) => {
    await show(title, options); // which refuses what it cannot show
    shown.push({ title, ...options });
  };
}"""
"""A browser without a window shows notifications to nobody, and soon forgets them."""

WAIT = """async ([patience, count]) => {
  const until = performance.now() + patience;
  while (shown.length < count) {
    if (performance.now() > until) throw new Error("waited in vain");
    await new Promise((go) => setTimeout(go, 20));
  }
  return shown;
}"""

PRESS = """(action) => {
  const { title, body, data } = shown.at(-1);
  const notification = { title, body, data, close() { self.closed = true; } };
  const event = Object.assign(new Event("notificationclick"), { notification, action });
  event.waitUntil = (promise) => { self.finished = promise; };
  dispatchEvent(event);
  return self.finished.then(() => self.closed);
}"""

MESSAGE = Message("Carry in 3 plants by 18:40", "17:10 pergola > sunroom: Blue basket")


@dataclass
class Told:
    """A phone that is told, and the push service that tells it."""

    phone: Phone
    desk: PageDesk
    service: CDPSession
    registration: str
    link: str

    @property
    def worker(self) -> Worker:
        return self.phone.context.service_workers[0]

    def push(self, message: Message) -> None:
        """Hand a message to the service worker, and wait until it is shown."""
        before = len(self.shown())
        data = web_push.payload(message).decode()
        self.service.send(
            "ServiceWorker.deliverPushMessage",
            {
                "origin": self.phone.address.rstrip("/"),
                "registrationId": self.registration,
                "data": data,
            },
        )
        self.shown(before + 1)

    def shown(self, count: int = 0) -> list[dict[str, Any]]:
        """Wait until so many notifications have been shown, and return them all."""
        found: list[dict[str, Any]] = self.worker.evaluate(WAIT, [browsing.PATIENCE_MS, count])
        return found

    def press(self, action: str) -> None:
        """Press a button of the last notification by its number, or the notification itself, and
        wait for what comes of it."""
        assert self.worker.evaluate(PRESS, action) is True

    def links(self) -> Links:
        """Links as the dusk notice has them, with a button that answers."""
        address = self.phone.address.rstrip("/") + self.link
        page = Button("Page", self.phone.address)
        return Links((Button("All done", address, acts=True), page), address, ())


@pytest.fixture(scope="module")
def served() -> Iterator[tuple[PageDesk, PageServer, str]]:
    """The page of the packaged example, and where the dusk notice leads."""
    desk = an_evening()
    with browsing.serving(desk) as server:
        yield desk, server, link_of_dusk(desk)


@pytest.fixture
def told(whole_browser: Browser, served: tuple[PageDesk, PageServer, str]) -> Iterator[Told]:
    """A phone on which the button has been pressed."""
    desk, server, link = served
    desk.context.push = IDENTITY
    desk.context.links = PageLinks(KEY, server.address.rstrip("/"))
    with browsing.holding(
        whole_browser, server.address, service_workers="allow", permissions=["notifications"]
    ) as phone:
        phone.context.add_init_script(SUBSCRIBES)
        page = phone.open("/phones")
        page.get_by_label("Whose phone").fill("Inés")
        with page.expect_navigation():
            page.get_by_role("button", name="Tell this phone").click()
        expect(page.get_by_role("heading", name="phone of Inés")).to_be_visible()
        service = phone.context.new_cdp_session(page)
        found: list[str] = []
        service.on(
            "ServiceWorker.workerRegistrationUpdated",
            lambda news: found.extend(one["registrationId"] for one in news["registrations"]),
        )
        service.send("ServiceWorker.enable")
        if not phone.context.service_workers:
            phone.context.wait_for_event("serviceworker")
        for _ in range(1_000):  # each is a message there and back
            if found:
                break
            page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        told = Told(phone, desk, service, found[0], link)
        told.worker.evaluate(RECORDS)
        yield told


def test_the_button_makes_a_channel_of_the_phone(told: Told) -> None:
    with told.desk.open() as context:
        (device,) = context.ledger.devices.of_site(context.site.name)
    assert {name: getattr(device, name) for name in GIVEN} == GIVEN
    assert device.person == "Inés"
    key = json.loads(told.phone.page.evaluate("sessionStorage.asked"))
    assert bytes(key) == bytes_of(IDENTITY.public)
    page = told.phone.page
    expect(page.get_by_text("This phone is told.")).to_be_visible()
    expect(page.get_by_role("region", name="phone of Inés")).to_contain_text("this phone")
    again = page.get_by_role("button", name="Send it a message again")
    with page.expect_navigation():
        again.click()
    expect(page.get_by_role("heading", name="phone of Inés")).to_have_count(1)
    expect(again).to_be_visible()


def test_a_message_is_shown_with_its_buttons(told: Told) -> None:
    told.push(replace(MESSAGE, links=told.links()))

    (shown,) = told.shown()
    assert (shown["title"], shown["body"]) == (MESSAGE.title, MESSAGE.body)
    assert [button["title"] for button in shown["actions"]] == ["All done", "Page"]


def test_done_answers_and_what_the_page_said_is_shown(told: Told) -> None:
    told.push(replace(MESSAGE, links=told.links()))

    told.press("0")

    _, said = told.shown()
    assert said["title"].startswith("Carry in: 6 plants, done.")
    assert not said.get("actions")
    page = told.phone.open("/")
    expect(page.locator("article[data-card] .tag").first).to_contain_text("done")


def test_without_a_connection_it_says_that_nothing_was_confirmed(told: Told) -> None:
    told.push(replace(MESSAGE, links=told.links()))
    told.worker.evaluate("() => { self.fetch = () => Promise.reject(new TypeError('lost')); }")

    told.press("0")

    _, said = told.shown()
    assert said["title"] == MESSAGE.title
    assert said["body"].startswith("Not confirmed: no connection.")
    assert MESSAGE.body in said["body"]


def test_a_tap_opens_its_link_and_never_another_site(told: Told) -> None:
    told.worker.evaluate("() => { clients.openWindow = async (url) => { self.opened = url; }; }")
    links = told.links()
    for address, opened in (
        (links.address, links.address),
        ("https://elsewhere.example/", told.phone.address),
        ("javascript:alert(1)", told.phone.address),
    ):
        told.push(replace(MESSAGE, links=Links((), address, ())))
        told.press("")
        assert told.worker.evaluate("() => self.opened") == opened


def test_a_message_without_a_link_opens_the_page(told: Told) -> None:
    told.worker.evaluate("() => { clients.openWindow = async (url) => { self.opened = url; }; }")
    told.push(MESSAGE)

    told.press("")

    # Its first page, which is not open: this one shows the phones.
    assert told.worker.evaluate("() => self.opened") == told.phone.address


def test_a_browser_that_takes_no_messages_says_so(told: Told) -> None:
    told.phone.context.add_init_script("delete window.PushManager;")

    page = told.phone.open("/phones")

    expect(page.get_by_text("This browser takes no messages from pages.")).to_be_visible()
    expect(page.get_by_role("button", name="Tell this phone")).to_be_hidden()


def test_who_refuses_messages_is_told_how_to_allow_them(told: Told) -> None:
    told.phone.context.add_init_script("Notification.requestPermission = async () => 'denied';")
    told.phone.context.add_init_script("sessionStorage.clear();")
    page = told.phone.open("/phones")

    page.get_by_role("button", name="Tell this phone").click()

    expect(page.get_by_text("This browser was not allowed to show messages.")).to_be_visible()


def test_a_phone_of_another_key_is_told_anew(told: Told) -> None:
    """As after the file of the key was lost."""
    told.phone.context.add_init_script("sessionStorage.asked = '[4, 1, 2]';")

    page = told.phone.open("/phones")

    expect(page.get_by_role("button", name="Tell this phone")).to_be_visible()
    expect(page.get_by_text("This phone is told.")).to_have_count(0)


def test_the_page_by_another_address_leads_to_the_right_one(told: Told) -> None:
    told.desk.context.links = PageLinks(KEY, "https://plants.example")

    page = told.phone.open("/phones")

    expect(page.get_by_text("Open the page by the address that messages lead to")).to_be_visible()
    expect(page.get_by_role("button", name="Tell this phone")).to_be_hidden()
