"""Whether the page may be served, and what `check` says of it."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward.assembly import page_access
from sillward.assembly.app import App, Options, build
from sillward.cli import main
from sillward.config.settings import load_settings
from sillward.errors import ConfigError
from tests.support.page_people import keep
from tests.support.paths import EXAMPLES

PEOPLE = '\n[page]\npeople = ["Inés", "Tomás"]\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(tmp_path))
    return tmp_path


def app(folder: Path, more: str = "") -> App:
    path = folder / "yard.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    path.write_text(text + more, encoding="utf-8")
    return build(Options(path))


BEYOND = [
    {"ADDRESS": "0.0.0.0:8123"},
    {"ADDRESS": "192.168.1.20:8123"},
    {"ADDRESS": "[::]:8123"},
    {"ADDRESS": "127.0.0.1:8123", "URL": "https://plants.example"},
    {"ADDRESS": "127.0.0.1:8123", "HOSTS": "localhost,yard.local"},
    {"ADDRESS": "127.0.0.1:8123", "PROXY": "127.0.0.1"},
]


@pytest.mark.parametrize("settings", BEYOND)
def test_whoever_can_be_reached_from_elsewhere_needs_a_passphrase(
    folder: Path, monkeypatch: pytest.MonkeyPatch, settings: dict[str, str]
) -> None:
    for name, value in settings.items():
        monkeypatch.setenv(f"SILLWARD_PAGE__{name}", value)

    with pytest.raises(ConfigError, match="`sillward passphrase` sets one") as caught:
        page_access.require_passphrase(app(folder))
    with pytest.raises(ConfigError, match="`sillward passphrase Inés` sets one"):
        page_access.require_passphrase(app(folder, PEOPLE))
    keep(folder, None, "three brave geese")

    assert caught.value.exit_status == 78
    page_access.require_passphrase(app(folder))
    with pytest.raises(ConfigError):  # that one is nobody's
        page_access.require_passphrase(app(folder, PEOPLE))


@pytest.mark.parametrize("address", ["127.0.0.1:8123", "[::1]:8123", "localhost:8123"])
def test_this_machine_alone_needs_none(
    folder: Path, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", address)
    monkeypatch.setenv("SILLWARD_PAGE__URL", f"http://{address}")
    monkeypatch.setenv("SILLWARD_PAGE__HOSTS", "localhost, [::1]")

    page_access.require_passphrase(app(folder))


def test_check_says_how_the_page_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert page_access.standing(app(folder)) is None

    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "127.0.0.1:8123")
    assert page_access.standing(app(folder)) == (
        "at 127.0.0.1:8123, open to whoever uses this machine: there is no passphrase"
    )
    keep(folder, None, "three brave geese")
    assert page_access.standing(app(folder)) == "at 127.0.0.1:8123, with a passphrase"
    keep(folder, "Inés", "three brave geese")
    assert page_access.standing(app(folder, PEOPLE)) == (
        "at 127.0.0.1:8123, for Inés, Tomás (no passphrase yet)"
    )
    result = CliRunner().invoke(main, ["check", "--collection", str(folder / "yard.toml")])
    assert "Tomás (no passphrase yet)" in " ".join(result.stdout.split())


def test_check_refuses_what_run_would_refuse(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "0.0.0.0:8123")
    app(folder)

    result = CliRunner().invoke(main, ["check", "--collection", str(folder / "yard.toml")])

    assert result.exit_code == 78
    assert "there is no passphrase" in result.stderr


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("PROXY", "*"), ("PROXY", "yard.local"), ("PROXY", "10.0.0.0/8"), ("PROXY", ""),
        ("ADDRESS", "8123"), ("ADDRESS", "127.0.0.1:0"), ("ADDRESS", "::1:8123"),
        ("URL", "plants.example"), ("URL", "http://[::1"), ("HOSTS", "yard.local:80"),
        ("HOSTS", "*"),
    ],
)  # fmt: skip
def test_settings_that_would_let_strangers_in_or_nobody_are_errors(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str
) -> None:
    monkeypatch.setenv(f"SILLWARD_PAGE__{name}", value)

    with pytest.raises(ConfigError, match=f"SILLWARD_PAGE__{name}: "):
        load_settings()
