"""Signing in and out as a browser does it, and the cookies that come of it."""

from pathlib import Path

import pytest
from werkzeug.test import TestResponse

from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.people import passphrases
from sillward.page.route import Access
from sillward.page.routes import ROUTES
from sillward.page.views import sign_in
from tests.support.page_people import Guest, Yard, passphrase_of, quick_hash
from tests.support.pages import KEY, Visitor, an_evening

HTTPS = "https://plants.example"


@pytest.fixture(autouse=True)
def quick_for_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passphrases, "_NOBODY", quick_hash("nobody"))


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return Yard(tmp_path)


@pytest.fixture(scope="module")
def desk() -> PageDesk:
    return an_evening()


@pytest.fixture
def guest(yard: Yard, desk: PageDesk) -> Guest:
    return Guest(yard, desk)


def cookies(response: TestResponse) -> dict[str, str]:
    """What is set, by name."""
    return dict(line.split("=", 1) for line in response.headers.getlist("Set-Cookie"))


def test_whoever_has_not_signed_in_is_led_to_the_form_and_back(guest: Guest) -> None:
    answer = guest.client.get("/")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in?to=/")

    signed_in = guest.sign_in("Inés", passphrase_of("Inés"), "/")

    assert (signed_in.status_code, signed_in.headers["Location"]) == (303, "/")
    assert "Signed in as Inés." in guest.says()


def test_the_form_asks_for_what_is_needed_and_names_nobody(
    tmp_path: Path, guest: Guest, desk: PageDesk
) -> None:
    asked = guest.get("/sign-in")
    assert 'autocomplete="username"' in asked
    assert 'autocomplete="current-password"' in asked
    assert "Inés" not in asked
    assert "Courtyard" not in asked

    one_for_all = Guest(Yard(tmp_path, people=()), desk)
    assert 'name="name"' not in one_for_all.get("/sign-in")
    assert one_for_all.sign_in(passphrase=passphrase_of(None)).status_code == 303
    assert "Signed in as" not in one_for_all.says()


def test_what_is_wrong_is_said_and_the_passphrase_is_not_shown_again(guest: Guest) -> None:
    answer = guest.sign_in("<b>Inés", "wrong wrong wrong")

    assert answer.status_code == 403
    assert "The name or the passphrase is not right." in answer.text
    assert 'value="&lt;b&gt;Inés"' in answer.text
    assert "wrong wrong" not in answer.text
    assert "sillward-session" not in cookies(answer)


def test_too_many_tries_say_how_long_to_wait(guest: Guest) -> None:
    for _ in range(5):
        guest.sign_in("Inés", "wrong")
    answer = guest.sign_in("Inés", passphrase_of("Inés"))

    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "16"
    assert "Wait 15 seconds" in answer.text


def test_wrong_tries_are_logged_without_what_was_typed(
    guest: Guest, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sign_in.log, "filters", [])
    guest.sign_in("Mallory", "wrong wrong wrong")

    assert "page.not_signed_in address= reason=The name or" in caplog.text
    assert "Mallory" not in caplog.text
    assert "wrong wrong" not in caplog.text


ELSEWHERE = [
    "//evil.example/", "https://evil.example/", "/\\evil.example", "\\\\evil.example", "evil",
    "javascript:alert(1)", "/sign-out", "/nowhere", "", "/%0d%0aSet-Cookie:x=1", "/\r\nX: 1",
    "//", "/x" * 200, "/?to=//evil.example", "http:///", "/.//evil.example",
]  # fmt: skip


def test_after_signing_in_one_lands_on_a_page_of_ours(guest: Guest) -> None:
    landed = {
        to: guest.sign_in("Inés", passphrase_of("Inés"), to).headers.get("Location")
        for to in ELSEWHERE
    }

    assert landed == dict.fromkeys(ELSEWHERE, "/")


def test_signing_out_forgets_the_session_in_that_browser(guest: Guest) -> None:
    guest.sign_in("Inés", passphrase_of("Inés"))
    guest.get("/")

    answer = guest.post("/sign-out")

    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert cookies(answer)["sillward-session"].startswith(";")
    assert guest.client.get("/").status_code == 303


def test_a_form_of_before_signing_in_or_of_another_session_does_nothing(
    yard: Yard, desk: PageDesk
) -> None:
    guest, other = Guest(yard, desk), Guest(yard, desk)
    guest.get("/sign-in")
    before = guest.form_token
    guest.sign_in("Inés", passphrase_of("Inés"))
    other.sign_in("Tomás", passphrase_of("Tomás"))
    other.get("/")

    for token in (before, other.form_token, "", "0" * 64):
        assert guest.client.post("/sign-out", data={"form_token": token}).status_code == 403
    guest.get("/")
    assert guest.post("/sign-out").status_code == 303


def test_signing_in_takes_no_session_or_word_that_was_there_before(guest: Guest) -> None:
    """Nobody can fix a session beforehand that another then signs in with."""
    guest.get("/sign-in")
    first = guest.client.get_cookie("sillward-visit")
    guest.client.set_cookie("sillward-session", "planted")
    guest.sign_in("Inés", passphrase_of("Inés"))

    visit, session = (guest.client.get_cookie(f"sillward-{name}") for name in ("visit", "session"))
    assert first is not None
    assert visit is not None
    assert session is not None
    assert visit.value != first.value
    assert session.value != "planted"


def test_cookies_are_held_to_the_page(guest: Guest) -> None:
    set_ = cookies(guest.sign_in("Inés", passphrase_of("Inés")))

    assert {"HttpOnly", "Path=/", "SameSite=Strict"} <= set(set_["sillward-session"].split("; "))
    assert {"HttpOnly", "Path=/", "SameSite=Lax"} <= set(set_["sillward-visit"].split("; "))
    assert "Secure" not in str(set_)


def test_behind_https_cookies_are_secure_and_browsers_are_told_to_stay_there(guest: Guest) -> None:
    asked = guest.client.get("/sign-in", base_url=HTTPS)
    token = asked.text.split('name="form_token" value="')[1][:64]
    fields = {"form_token": token, "name": "Inés", "passphrase": passphrase_of("Inés")}
    answer = guest.client.post("/sign-in", base_url=HTTPS, data=fields)

    assert "Secure" in cookies(answer)["__Host-sillward-session"].split("; ")
    assert "Secure" in cookies(answer)["__Host-sillward-visit"].split("; ")
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"
    assert "Strict-Transport-Security" not in guest.client.get("/sign-in").headers
    # A cookie of the page without https, which a neighbour on the network could set, is not taken.
    session = guest.client.get_cookie("__Host-sillward-session", domain="plants.example")
    assert session is not None
    guest.client.set_cookie("sillward-session", session.value, domain="plants.example")
    guest.client.delete_cookie("__Host-sillward-session", domain="plants.example")
    assert guest.client.get("/", base_url=HTTPS).status_code == 303


def test_whoever_follows_a_link_in_a_mail_needs_no_second_sign_in(guest: Guest) -> None:
    """A session does not come with the first request (SameSite=Strict), but with the second."""
    answer = guest.client.get("/", headers={"Sec-Fetch-Site": "cross-site"})

    assert answer.status_code == 200
    assert '<meta http-equiv="refresh" content="0">' in answer.text
    assert '<a class="line" href="/">Go on to the page</a>' in answer.text
    assert "Courtyard" not in answer.text


def test_a_form_without_a_session_is_refused_and_changes_nothing(guest: Guest) -> None:
    guest.get("/sign-in")

    assert guest.post("/sign-out").status_code == 403


def test_where_no_passphrase_is_there_is_nothing_to_sign_in_to(desk: PageDesk) -> None:
    visitor = Visitor(desk)

    assert visitor.client.get("/sign-in").headers["Location"] == "/"
    assert "Sign out" not in visitor.get("/")


def test_style_and_script_are_there_before_one_has_signed_in(guest: Guest) -> None:
    assert guest.client.get("/assets/page.css").status_code == 200


def test_every_page_of_the_household_is_closed(guest: Guest) -> None:
    closed = [route for route in ROUTES if route.access is Access.HOUSEHOLD]
    answers = {}
    for route in closed:
        path = "/".join("x" if "<" in part else part for part in route.rule.split("/"))
        answers[route.name] = guest.client.open(path, method=route.method).status_code

    assert {name for name, status in answers.items() if status not in (303, 403, 404)} == set()
    assert answers["today"] == 303
    assert {route.name for route in ROUTES} - set(answers) == {
        "asset", "health", "manifest", "service_worker", "sign_in", "sign_in_now", "tap", "tapped"
    }  # fmt: skip


def test_a_door_is_no_part_of_the_demonstration() -> None:
    assert Guard(KEY).door is None
