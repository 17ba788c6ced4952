"""The key of links and sessions: made once, kept private, replaced only if it is ours."""

import os
from pathlib import Path

import pytest

from sillward.config import made_secret
from sillward.errors import ConfigError
from sillward.links.key_file import NAME, page_key, replace_page_key


def test_the_key_is_made_once_and_for_its_owner_alone(tmp_path: Path) -> None:
    ledger = tmp_path / "state" / "ledger.sqlite3"
    made = page_key(None, ledger)

    assert page_key(None, ledger) == made
    assert (tmp_path / "state" / NAME).stat().st_mode & 0o777 == 0o600
    assert len(made) == 64


def test_the_key_of_the_credentials_folder_comes_first(tmp_path: Path) -> None:
    ledger = tmp_path / "ledger.sqlite3"
    beside = page_key(None, ledger)
    credentials = tmp_path / "credentials"
    credentials.mkdir()
    (credentials / NAME).write_text("c" * 40)

    assert page_key(None, ledger) == beside
    assert page_key(credentials, ledger) == b"c" * 40


def test_a_short_key_is_refused_without_being_told(tmp_path: Path) -> None:
    (tmp_path / NAME).write_text("hunter2")

    with pytest.raises(ConfigError, match="shorter than 32") as caught:
        page_key(tmp_path, tmp_path / "ledger.sqlite3")
    assert "hunter2" not in str(caught.value)


def test_a_new_key_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    ledger = tmp_path / "ledger.sqlite3"
    old = page_key(None, ledger)

    path = replace_page_key(None, ledger)

    assert path == tmp_path / NAME
    assert page_key(None, ledger) not in (old, b"")
    assert path.stat().st_mode & 0o777 == 0o600
    assert [file.name for file in tmp_path.iterdir()] == [NAME]


@pytest.mark.parametrize("content", ["c" * 40, "A" * 64, "my notes, which are longer than a key"])
def test_a_key_that_somebody_wrote_is_not_overwritten(tmp_path: Path, content: str) -> None:
    (tmp_path / NAME).write_text(content)

    with pytest.raises(ConfigError, match="was not made by sillward"):
        replace_page_key(tmp_path, tmp_path / "ledger.sqlite3")
    assert (tmp_path / NAME).read_text() == content


def test_a_pipe_in_its_place_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(made_secret, "PAUSE_S", 0)
    os.mkfifo(tmp_path / NAME)

    with pytest.raises(ConfigError):
        replace_page_key(None, tmp_path / "ledger.sqlite3")
    assert (tmp_path / NAME).is_fifo()
