"""A secret that is made at first need: one for all processes, whoever comes first."""

import errno
import os
from pathlib import Path

import pytest

from sillward import files
from sillward.config import made_secret
from sillward.config.made_secret import kept_or_made
from sillward.errors import ConfigError


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    return tmp_path / "state" / "ledger.sqlite3"


@pytest.fixture
def credentials(tmp_path: Path) -> Path:
    return tmp_path / "credentials"


def secrets_below(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("key"))


@pytest.mark.parametrize("with_folder", [True, False])
def test_two_processes_at_once_have_one_secret(
    tmp_path: Path, ledger: Path, credentials: Path, *, with_folder: bool
) -> None:
    """Each looks before the other has written."""
    folder = credentials if with_folder else None

    def while_the_other_makes_one() -> bytes:
        kept_or_made("key", folder, ledger, lambda: b"first\n")
        return b"second\n"

    text, path = kept_or_made("key", folder, ledger, while_the_other_makes_one)

    assert text == "first"
    assert secrets_below(tmp_path) == [str(path.relative_to(tmp_path))]


def test_one_that_is_just_being_written_is_waited_for(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without hard links there is an empty file first."""
    file = ledger.with_name("key")
    file.parent.mkdir()
    file.touch()
    monkeypatch.setattr("time.sleep", lambda _: file.write_text("first\n"))

    assert kept_or_made("key", None, ledger, lambda: b"second\n") == ("first", file)


@pytest.mark.parametrize("content", [b"", b"\n", b"\xff\xfe"])
def test_one_that_cannot_be_read_has_no_other_put_beside_it(
    tmp_path: Path,
    ledger: Path,
    credentials: Path,
    monkeypatch: pytest.MonkeyPatch,
    content: bytes,
) -> None:
    monkeypatch.setattr(made_secret, "PAUSE_S", 0)
    credentials.mkdir()
    (credentials / "key").write_bytes(content)

    with pytest.raises(ConfigError, match="is empty or cannot be read"):
        kept_or_made("key", credentials, ledger, lambda: b"second\n")
    assert secrets_below(tmp_path) == ["credentials/key"]
    assert (credentials / "key").read_bytes() == content


def test_a_folder_that_cannot_be_written_is_passed_over(
    ledger: Path, credentials: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As that of systemd, which is for reading only."""
    write = files.write

    def refuse(path: Path, data: bytes, *, exclusive: bool) -> None:
        if path.parent == credentials:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        write(path, data, exclusive=exclusive)

    monkeypatch.setattr(files, "write", refuse)
    made = kept_or_made("key", credentials, ledger, lambda: b"made\n")

    assert made == ("made", ledger.with_name("key"))
    assert kept_or_made("key", credentials, ledger, lambda: b"other\n") == made
