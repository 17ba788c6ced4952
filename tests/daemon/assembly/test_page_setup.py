"""The page as the daemon and `sillward page` put it together from settings and collections."""

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from werkzeug.test import Client

from sillward.assembly import page_setup
from sillward.assembly.app import App, Options, build
from sillward.assembly.desk_setup import build_desks
from sillward.config.settings import load_settings
from sillward.errors import ConfigError
from sillward.ledger import Ledger
from sillward.page.server import PageServer
from tests.support.page_people import keep
from tests.support.paths import EXAMPLES

Serve = Callable[..., PageServer]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(tmp_path))
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledger.sqlite3"))
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "127.0.0.1:8123")
    return tmp_path


def app(folder: Path, site: str = "Courtyard", people: str = "") -> App:
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    path = folder / f"{site}.toml"
    path.write_text(text.replace('name = "Courtyard"', f'name = "{site}"') + people, "utf-8")
    return build(Options(path))


@pytest.fixture
def serve(folder: Path) -> Iterator[Serve]:
    """Put the page of households together, as `run` does."""
    ledger = Ledger(load_settings().ledger)

    def served(*apps: App) -> PageServer:
        desks = build_desks(apps, ledger)
        server = page_setup.page_server(apps, desks)
        assert server is not None
        assert [desk.context.links for desk in desks] == [None] * len(apps)
        return server

    with closing(ledger):
        yield served


def test_without_an_address_there_is_no_page(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SILLWARD_PAGE__ADDRESS")
    here = app(folder)

    with closing(Ledger(load_settings().ledger)) as ledger:
        assert page_setup.page_server([here], build_desks([here], ledger)) is None


def test_a_single_household_is_at_the_top(folder: Path, serve: Serve) -> None:
    server = serve(app(folder))

    assert (server.host, server.port) == ("127.0.0.1", 8123)
    assert Client(server.application).get("/plants").status_code == 200


def test_several_households_have_people_and_passphrases_of_their_own(
    folder: Path, serve: Serve
) -> None:
    people = '\n[page]\npeople = ["Inés"]\n'
    keep(folder, "Inés", "three brave geese")
    client = Client(serve(app(folder), app(folder, "Roof", people)).application)

    assert '"/courtyard/"' in client.get("/").text
    assert client.get("/courtyard/plants").status_code == 200
    assert client.get("/roof/plants").headers["Location"] == "/roof/sign-in?to=/plants"
    assert client.get("/plants").status_code == 404


def test_one_household_without_a_passphrase_keeps_all_from_being_served_to_strangers(
    folder: Path, serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "0.0.0.0:8123")
    keep(folder, "Inés", "three brave geese")
    apps = app(folder, "Roof", '\n[page]\npeople = ["Inés"]\n'), app(folder)

    with pytest.raises(ConfigError, match=r"Courtyard\.toml: .* there is no passphrase"):
        serve(*apps)
    with pytest.raises(ConfigError, match="there is no passphrase"):
        page_setup.own_server(apps[1], None)
    assert page_setup.own_server(apps[0], 0).port == 0


def test_a_passphrase_that_cannot_be_used_is_told_at_the_start(folder: Path, serve: Serve) -> None:
    (folder / "page-passphrase").write_text("short", "utf-8")

    with pytest.raises(ConfigError, match="credential page-passphrase: has fewer than 12"):
        serve(app(folder))


def test_messages_lead_to_the_page_of_their_household(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__URL", "https://plants.example/")
    apps = app(folder), app(folder, "Roof")

    with closing(Ledger(load_settings().ledger)) as ledger:
        links = [desk.context.links for desk in build_desks(apps, ledger)]
        (alone,) = build_desks(apps[:1], ledger)

    assert [link.page for link in links if link is not None] == [
        "https://plants.example/courtyard/",
        "https://plants.example/roof/",
    ]
    assert alone.context.links is not None
    assert alone.context.links.page == "https://plants.example/"
