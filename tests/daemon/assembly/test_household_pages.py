"""The pages of a folder of households: each below its own path, and none of them knows another."""

import re
import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from werkzeug.test import Client, TestResponse

from sillward.assembly import page_access
from sillward.assembly.app import of_place
from sillward.assembly.desk_setup import page_links
from sillward.assembly.household_pages import household_pages
from sillward.assembly.web_push import push_identity
from sillward.config.credentials import passphrase_file
from sillward.config.households import Place
from sillward.config.settings import PageSettings, Settings
from sillward.forecast.store import utc_now
from sillward.ledger.address import PostgresAddress
from sillward.links.page_links import PageLinks
from sillward.page.household_pages import HouseholdPages
from sillward.page.people import passphrases
from sillward.page.people.throttle import FREE_TRIES
from tests.support.desks import DAY
from tests.support.houses import Street, collection
from tests.support.page_people import keep, passphrase_of, quick_hash

ABROAD = PageSettings(address="0.0.0.0:8123", url="http://plants.example")
HERE = PageSettings(address="127.0.0.1:8123")


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Street]:
    """After the dusk round: two households with a passphrase each, one without, one whose
    collection is wrong, and one that is called like the files of the page."""
    street = Street(tmp_path_factory.mktemp("street"), page=ABROAD)
    for name in ("ana", "beto", "wrong", "assets"):
        folder = street.add(name, "[site]\n" if name == "wrong" else None)
        keep(folder / "credentials", None, passphrase_of(name))
    street.add("ciro")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passphrases, "_NOBODY", quick_hash("nobody"))
        street.open()
        street.run(12, step_s=60)
        yield street
        street.close()


def pages_of(street: Street) -> HouseholdPages:
    server = household_pages(street.house, street.equipment)
    assert server is not None
    assert isinstance(server.application, HouseholdPages)
    return server.application


def browser(street: Street) -> Client:
    return Client(pages_of(street))


def form_token(client: Client, address: str) -> str:
    found = re.search(r'name="form_token" value="(\w{64})"', client.get(address).text)
    assert found is not None
    return found[1]


def sign_in(client: Client, name: str, whose: str | None = None) -> TestResponse:
    """Sign in with the passphrase of a household, by default its own."""
    fields = {
        "form_token": form_token(client, f"/{name}/sign-in"),
        "passphrase": passphrase_of(whose or name),
        "to": "/",
    }
    return client.post(f"/{name}/sign-in", data=fields)


def links(street: Street, name: str) -> PageLinks | None:
    desk = street.member(name)._desk
    assert desk is not None
    return desk.context.links


def link_of(street: Street, name: str) -> str:
    """The path of the link in the message that a household was sent."""
    (links,) = [each.links for each in street.post.sent if each.household == name]
    assert links is not None
    return links.buttons[0].address.removeprefix("http://plants.example")


def open_chores(street: Street, name: str) -> list[bool]:
    with closing(street.ledger(name)) as ledger:
        return [chore.open for chore in ledger.chores.of_day(name, DAY)]


def test_the_top_names_and_counts_nobody(street: Street) -> None:
    answer = browser(street).get("/")

    assert answer.status_code == 200
    assert "Open the link from your message" in answer.text
    assert not re.search(r"ana|beto|ciro|3", answer.text.split("<main")[1])
    assert "Set-Cookie" not in answer.headers
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert browser(street).get("/assets/page.css").status_code == 200


def test_who_is_unknown_and_who_has_no_page_are_answered_alike(street: Street) -> None:
    client = browser(street)

    def said(name: str) -> set[tuple[int, str, str]]:
        answers = [
            answer
            for path in (f"/{name}", f"/{name}/", f"/{name}/plants", f"/{name}/t/{'x' * 56}")
            for answer in (client.get(path), client.post(path))
        ]
        return {(each.status_code, each.text, str(each.headers)) for each in answers}

    ((status, *_),) = unknown = said("nobody")
    assert status == 404
    for name in ("ciro", "wrong", "Ana", ".."):
        assert said(name) == unknown
    assert client.get("/assets").status_code == client.get("/assets/plants").status_code == 404


def test_who_has_no_page_is_named_in_the_log_and_in_status(
    street: Street, caplog: pytest.LogCaptureFixture
) -> None:
    shared = street.equipment.ledgers.shared()
    marks = {name: mark.text for name, mark in shared.marks.all().items()}
    assert marks["household, ciro"].endswith("; no page: there is no passphrase")
    assert marks["household, assets"].endswith("; no page: no page can have its name")
    assert "no page" not in marks["household, ana"]
    assert links(street, "ciro") is None

    keep(street.households / "ciro" / "credentials", None, passphrase_of("ciro"))
    street.run(1)
    assert links(street, "ciro") is not None
    assert browser(street).get("/ciro/sign-in").status_code == 200
    (street.households / "ciro" / "credentials" / passphrase_file(None)).unlink()
    assert browser(street).get("/ciro/sign-in").status_code == 404
    street.run(1)
    assert links(street, "ciro") is None
    # A key that was made here is no edit of the household's.
    assert (street.households / "ana" / "credentials" / "page-key").exists()
    assert "page.none name=ciro reason=there is no passphrase" in caplog.text


def test_a_passphrase_and_a_session_of_one_household_open_no_other(street: Street) -> None:
    client = browser(street)
    assert sign_in(client, "beto", "ana").status_code == 403
    cookies = sign_in(client, "ana").headers.getlist("Set-Cookie")
    (line,) = [each for each in cookies if "session=" in each]

    assert "Path=/ana/" in line.split("; ")
    assert client.get("/ana/").status_code == 200
    assert client.get("/beto/").headers["Location"] == "/beto/sign-in?to=/"
    # Nor with that cookie carried over by hand.
    client.set_cookie("sillward-session", line.split(";")[0].split("=", 1)[1], path="/beto/")
    assert client.get("/beto/").headers["Location"] == "/beto/sign-in?to=/"
    assert client.get("/ana", follow_redirects=True).status_code == 200


def test_wrong_tries_are_remembered_when_a_page_has_left_memory(street: Street) -> None:
    pages = pages_of(street)
    pages._max_built = 1
    client = Client(pages)
    for _ in range(FREE_TRIES):
        assert sign_in(client, "beto", "nobody").status_code == 403
        client.get("/ana/sign-in")

    assert sign_in(client, "beto", "nobody").status_code == 429
    assert sign_in(client, "ana").status_code == 303


def test_the_token_of_a_form_is_good_for_its_own_household_alone(street: Street) -> None:
    client = browser(street)
    sign_in(client, "ana")
    sign_in(client, "beto")
    of_ana, of_beto = form_token(client, "/ana/phones"), form_token(client, "/beto/phones")

    assert client.post("/beto/sign-out", data={"form_token": of_ana}).status_code == 403
    assert client.post("/beto/sign-out", data={"form_token": of_beto}).status_code == 303
    assert client.get("/ana/").status_code == 200


def test_a_link_answers_for_its_own_household_which_gets_its_turn(street: Street) -> None:
    link, other = link_of(street, "ana"), link_of(street, "beto")
    client = browser(street)

    assert link.startswith("/ana/t/")
    assert client.get(link).status_code == 200
    for wrong in (link.replace("/ana/", "/beto/"), link.removeprefix("/ana"), f"/ciro{link[4:]}"):
        assert client.get(wrong).status_code == client.post(wrong).status_code == 404
    assert open_chores(street, "ana") == open_chores(street, "beto") == [True]

    news = street.house._news
    while not news.empty():  # from those who have signed in
        news.get_nowait()
    assert client.post(link).status_code == 200
    assert news.get_nowait() == "ana"
    assert news.empty()
    assert (open_chores(street, "ana"), open_chores(street, "beto")) == ([False], [True])
    assert client.get(other).status_code == 200


def test_an_edit_is_seen_and_a_wrong_one_leaves_the_page_as_it_was(tmp_path: Path) -> None:
    street = Street(tmp_path, page=HERE)
    path = street.add("ana") / "collection.toml"
    street.open()
    street.house._look_at_folder()
    client = browser(street)
    assert "Pot 1" in client.get("/ana/plants").text  # before its first turn, from its file
    street.run(2)
    path.write_text(collection(plants=3), "utf-8")
    street.run(2)
    assert "Pot 2" in client.get("/ana/plants").text
    path.write_text("[site]", "utf-8")
    street.run(2)
    assert "Pot 2" in client.get("/ana/plants").text

    shutil.rmtree(path.parent)
    street.run(1)
    assert client.get("/ana/plants").status_code == 404
    street.close()


def test_keys_photos_and_pushes_of_each_are_its_own_on_a_server_too(tmp_path: Path) -> None:
    url = "https://plants.example"
    settings = Settings(
        collections=tmp_path,
        ledger=PostgresAddress("postgresql://db.example/plants"),
        page=PageSettings(address="127.0.0.1:8123", url=url, proxy="127.0.0.1"),
    )
    apps = []
    for name in ("ana", "beto"):
        folder = tmp_path / name / "credentials"
        folder.mkdir(parents=True)
        (folder / "channel-phone").write_text("json://localhost")
        (folder.parent / "collection.toml").write_text(collection(), "utf-8")
        keep(folder, None, passphrase_of(name))
        apps.append(of_place(Place(name, folder.parent), settings, (), utc_now))
        assert page_access.standing(apps[-1]) == f"at 127.0.0.1:8123/{name}, with a passphrase"

    assert len({app.kept_beside for app in apps}) == 2
    assert [app.kept_beside.parent.name for app in apps] == ["ana", "beto"]
    pages = [page_links(app) for app in apps]
    assert [page.url for page in pages if page] == [f"{url}/ana", f"{url}/beto"]
    assert len({page.key for page in pages if page}) == 2
    pushes = [push_identity(app) for app in apps]
    assert len({push.public for push in pushes if push}) == 2

    (tmp_path / "ana" / "credentials" / passphrase_file(None)).unlink()
    assert page_links(apps[0]) is None
    standing = page_access.standing(apps[0])
    assert standing == "none for this household: there is no passphrase"
