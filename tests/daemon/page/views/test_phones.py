"""The page of phones: who is told, how a phone is added and removed, and the service worker."""

import re

from sillward.ledger import Device
from sillward.links.page_links import PageLinks
from sillward.page.keys import key_of
from tests.support.page_worlds import SCRIPT, a_visitor
from tests.support.pages import KEY, Visitor
from tests.support.push_service import IDENTITY, Browser

INES = "phone of Inés"


def served(*, push: bool = True) -> Visitor:
    """A browser on a page that is called by https."""
    visitor, _ = a_visitor()
    visitor.desk.context.push = IDENTITY if push else None
    visitor.desk.context.links = PageLinks(KEY, "https://plants.example")
    visitor.get("/away")  # a page with a form, whatever is on this one
    return visitor


def known(visitor: Visitor) -> list[Device]:
    with visitor.desk.open() as context:
        return context.ledger.devices.of_site(context.site.name)


def test_a_phone_is_added_and_removed() -> None:
    visitor = served()
    assert "No phone is told by this page" in visitor.says("/phones")

    answer = visitor.post("/phones", **Browser().given, person="Inés")

    assert (answer.status_code, answer.location) == (303, "/phones")
    (device,) = known(visitor)
    assert (device.name, device.person) == (INES, "Inés")
    assert "Phone of Inés gets messages" in visitor.says("/log")
    assert f"{INES} this phone Told since Thu 14 May 17:00" in visitor.says("/phones")

    for _ in range(2):  # a second press does no harm
        answer = visitor.post("/phones/remove", phone=key_of(INES))
        assert (answer.status_code, answer.location) == (303, "/phones")
    assert known(visitor) == []
    assert "Phone of Inés gets no more messages" in visitor.says("/log")


def test_the_form_has_what_its_script_needs_and_is_hidden_without() -> None:
    text = served().get("/phones")

    (form,) = re.findall(r"<form id=\"tell-phone\"[^>]*>", text)
    assert f'data-key="{IDENTITY.public}"' in form
    assert 'data-worker="/service-worker.js"' in form
    assert 'data-page="https://plants.example/"' in form
    assert " hidden" in form
    assert "<noscript>" in text


def test_the_worker_stays_below_the_path_of_its_household() -> None:
    """A service worker may show what is below its own address (Service Workers, 3.1.1)."""
    visitor = served()

    text = visitor.client.get("/phones", environ_overrides={"SCRIPT_NAME": "/courtyard"}).text

    assert 'data-worker="/courtyard/service-worker.js"' in text


def test_the_first_message_is_among_what_was_told() -> None:
    visitor = served()
    visitor.post("/phones", **Browser().given, person="Inés")

    words = visitor.says("/told")

    assert "Phone phone of Inés: waits to be sent" in words
    assert "This phone gets messages from now on" in words


def test_no_secret_is_on_the_page() -> None:
    visitor = served()
    browser = Browser()
    visitor.post("/phones", **browser.given)

    text = visitor.get("/phones")

    hidden = (IDENTITY.private, *browser.given.values())
    assert not [secret for secret in hidden if secret in text]


def test_without_https_the_page_says_what_it_takes() -> None:
    visitor = served(push=False)

    assert visitor.post("/phones", **Browser().given).status_code == 303
    assert known(visitor) == []
    text = visitor.get("/phones")
    assert 'id="tell-phone"' not in text
    assert "SILLWARD_PAGE__URL" in text


def test_what_no_browser_gives_is_refused_and_nothing_is_kept() -> None:
    visitor = served()

    for wrong in ({"endpoint": "https://192.168.1.1/x"}, {"auth": "x"}, {"p256dh": ""}):
        answer = visitor.post("/phones", **(Browser().given | wrong))
        assert answer.status_code == 422
        assert "is not where a push can be sent to" in answer.text
    assert known(visitor) == []


def test_a_form_of_another_site_adds_nothing() -> None:
    visitor = served()

    answer = visitor.client.post("/phones", data=Browser().given)

    assert answer.status_code == 403
    assert known(visitor) == []


def test_a_name_that_is_script_is_text() -> None:
    visitor = served()
    visitor.post("/phones", **Browser().given, person=SCRIPT)

    assert SCRIPT not in visitor.get("/phones")
    assert f"phone of {SCRIPT}" in visitor.says("/phones").replace("&lt;", "<")


def test_a_phone_that_ended_is_shown_as_not_told() -> None:
    visitor = served()
    visitor.post("/phones", **Browser().given, person="Inés")
    (device,) = known(visitor)
    with visitor.desk.open() as context:
        context.ledger.devices.mark_gone(context.site.name, device.endpoint, context.clock())

    words = visitor.says("/phones")

    assert "Not told any more since Thu 14 May 17:00: its browser takes no messages" in words
    assert "Phone of Inés has not been told since" in visitor.says("/status")


def test_the_service_worker_is_there_for_everybody_and_never_old() -> None:
    visitor = served()

    text = visitor.get("/service-worker.js")

    assert visitor.seen is not None
    assert visitor.seen.content_type == "text/javascript; charset=utf-8"
    assert visitor.seen.headers["Cache-Control"] == "no-cache"
    assert "caches" not in text
    # What it shows comes from the page, and it asks nothing of others.
    assert "connect-src 'self'" in visitor.seen.headers["Content-Security-Policy"]
