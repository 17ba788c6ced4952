"""Several households in one server: a list, a path for each, and people and sessions apart."""

from datetime import timedelta
from pathlib import Path

import pytest
from werkzeug.test import Client, TestResponse

from sillward.links.page_links import PageLinks
from sillward.links.token import Purpose, Token, digest, write
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.people import passphrases
from sillward.page.sites import SitePage, Sites
from tests.support.page_people import Yard, passphrase_of, quick_hash
from tests.support.pages import KEY, REAL, an_evening


@pytest.fixture(scope="module")
def desk() -> PageDesk:
    desk = an_evening()
    desk.context.links = PageLinks(KEY, "")
    return desk


@pytest.fixture
def client(desk: PageDesk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Client:
    """A browser on the page of two sites, of which the first has people."""
    monkeypatch.setattr(passphrases, "_NOBODY", quick_hash("nobody"))
    yards = {name: tmp_path / name for name in ("Courtyard", "Roof & <b>bed")}
    for folder in yards.values():
        folder.mkdir()
    doors = [
        Yard(folder, people=people).door(name)
        for (name, folder), people in zip(yards.items(), [("Inés",), ("Bruno",)], strict=True)
    ]
    guards = [Guard(KEY, door=door) for door in doors]
    paths = ("/courtyard", "/roof-b-bed")
    pages = {
        path: SitePage(name, Application(desk, guard))
        for path, name, guard in zip(paths, yards, guards, strict=True)
    }
    return Client(Sites(pages, Guard(KEY)))


def sign_in(client: Client, path: str, name: str) -> TestResponse:
    token = client.get(f"{path}/sign-in").text.split('name="form_token" value="')[1][:64]
    fields = {"form_token": token, "name": name, "passphrase": passphrase_of(name), "to": "/"}
    return client.post(f"{path}/sign-in", data=fields)


def test_the_list_leads_to_each_and_names_are_escaped(client: Client) -> None:
    answer = client.get("/")

    assert answer.status_code == 200
    assert '<a class="button quiet" href="/courtyard/">Courtyard</a>' in answer.text
    assert '<a class="button quiet" href="/roof-b-bed/">Roof &amp; &lt;b&gt;bed</a>' in answer.text
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")


def test_a_path_without_its_slash_leads_to_the_one_with_it(client: Client) -> None:
    answer = client.get("/courtyard")

    assert (answer.status_code, answer.headers["Location"]) == (308, "/courtyard/")


def test_whoever_signs_in_at_one_site_is_nobody_at_the_other(client: Client) -> None:
    answer = sign_in(client, "/courtyard", "Inés")
    (session,) = [line for line in answer.headers.getlist("Set-Cookie") if "session=" in line]

    assert answer.headers["Location"] == "/courtyard/"
    assert "Path=/courtyard/" in session.split("; ")
    assert client.get("/courtyard/").status_code == 200
    elsewhere = client.get("/roof-b-bed/")
    assert elsewhere.headers["Location"] == "/roof-b-bed/sign-in?to=/"
    # Nor with that cookie carried over by hand.
    value = session.split(";")[0].split("=", 1)[1]
    client.set_cookie("sillward-session", value, path="/roof-b-bed/")
    assert client.get("/roof-b-bed/").status_code == 303
    assert sign_in(client, "/roof-b-bed", "Inés").status_code == 403


def test_every_address_on_a_page_stays_below_its_path(client: Client) -> None:
    sign_in(client, "/courtyard", "Inés")
    text = client.get("/courtyard/").text
    leads = {part.split('"')[0] for key in ('href="', 'action="') for part in text.split(key)[1:]}

    own = {lead for lead in leads if lead.startswith("/") and not lead.startswith("/assets/")}
    assert own
    assert {lead for lead in own if not lead.startswith("/courtyard/")} == set()
    assert client.get("/assets/page.css").status_code == 200


def test_a_link_that_names_no_path_finds_its_household(client: Client) -> None:
    """`send` and `try-channel` know only their own collection, and so did older messages."""
    token = Token(Purpose.TRY, digest("Courtyard"), REAL, REAL + timedelta(days=1))
    answer = client.get(f"/t/{write(token, KEY)}")

    assert answer.status_code == 200
    assert f'action="/courtyard/t/{write(token, KEY)}"' in answer.text
    foreign = Token(Purpose.TRY, digest("Terrace"), REAL, REAL + timedelta(days=1))
    for text in (write(foreign, KEY), write(token, b"x" * 32), "", "x" * 56, "é"):
        assert client.get(f"/t/{text}").status_code == 404


def test_what_is_not_there_or_not_asked_like_that_is_refused(client: Client) -> None:
    assert client.get("/nowhere").status_code == 404
    assert client.get("/courtyard/nowhere").status_code == 404
    assert client.post("/").status_code == 405
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 400
    assert client.get("/courtyard/", headers={"Host": "evil.example"}).status_code == 400
