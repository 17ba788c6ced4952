"""Who signs pushes: only where the page is called by https, and the parts for it are there."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sillward.assembly import web_push
from sillward.assembly.app import App, Options, build
from sillward.assembly.desk_setup import build_desks
from sillward.assembly.page_setup import page_context
from sillward.channels.push_identity import NAME
from sillward.ledger import Ledger
from tests.support.paths import EXAMPLES

NOW = datetime(2026, 6, 20, 18, tzinfo=UTC)


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> App:
    """A household whose page is called by https."""
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledger.sqlite3"))
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "127.0.0.1:8123")
    monkeypatch.setenv("SILLWARD_PAGE__URL", "https://plants.example:8443")
    return build(Options(collection=EXAMPLES / "courtyard.toml"), clock=lambda: NOW)


def test_the_daemon_and_its_page_have_the_same_identity(served: App, tmp_path: Path) -> None:
    ledger = Ledger(":memory:")

    (desk,) = build_desks([served], ledger)
    page = page_context(served, ledger)

    assert desk.context.push is not None
    assert desk.context.push == page.push
    assert desk.context.push.subject == "https://plants.example"
    assert (tmp_path / NAME).exists()


def test_a_page_without_https_tells_no_phone(
    served: App, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__URL", "http://plants.example")
    app = build(Options(collection=EXAMPLES / "courtyard.toml"), clock=lambda: NOW)

    assert web_push.push_identity(app) is None
    assert not (tmp_path / NAME).exists()


@pytest.mark.parametrize("missing", ["http_ece", "cryptography"])
def test_nor_without_the_parts_for_it(
    served: App, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    monkeypatch.setattr(web_push, "find_spec", lambda name: None if name == missing else True)

    assert web_push.push_identity(served) is None
    assert not (tmp_path / NAME).exists()


def test_check_says_how_it_stands(
    served: App, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert web_push.standing(served) == "the page can tell them by itself"
    monkeypatch.setattr(web_push, "find_spec", lambda name: None)
    assert web_push.standing(served) == (
        "the page tells none by itself: `pip install '.[page,webpush]'` in a checkout"
    )
    assert not (tmp_path / NAME).exists()


def test_a_key_that_is_none_is_logged_and_the_rest_goes_on(
    served: App, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / NAME).write_text("hunter2")

    assert web_push.push_identity(served) is None
    assert "push.none reason=" in caplog.text
    assert "hunter2" not in caplog.text
