"""A ledger that rests between requests: it is read through once, and again if it is another."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from sillward.errors import LedgerError, NotOursError
from sillward.ledger import Ledger
from sillward.ledger.integrity import fault_of
from tests.support.ledger_files import NOW, a_ledger


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """A note for each time that a file is read through."""
    noted = list[str]()

    def noting(db: sqlite3.Connection) -> str | None:
        noted.append("read through")
        return fault_of(db)

    monkeypatch.setattr("sillward.ledger.opening.fault_of", noting)
    return noted


@pytest.fixture
def resting(tmp_path: Path, checks: list[str]) -> Iterator[Ledger]:
    ledger = Ledger(a_ledger(tmp_path / "ledger.sqlite3"))
    ledger.file.rest()
    checks.clear()
    yield ledger
    ledger.close()


def test_the_same_file_is_not_read_through_again(resting: Ledger, checks: list[str]) -> None:
    for number in range(3):
        resting.file.wake()
        resting.marks.set(f"mark {number}", NOW, "")
        resting.file.rest()

    assert checks == []
    with closing(Ledger(resting.file.path)) as other:
        assert other.marks.get("mark 2") is not None


def test_another_in_its_place_is_read_through_once(
    resting: Ledger, checks: list[str], tmp_path: Path
) -> None:
    other = a_ledger(tmp_path / "other.sqlite3")
    checks.clear()
    other.replace(resting.file.path)

    resting.file.wake()
    assert checks == ["read through"]
    resting.file.rest()
    resting.file.wake()
    assert checks == ["read through"]


def test_a_damaged_one_in_its_place_is_refused_again_and_again(
    resting: Ledger, tmp_path: Path
) -> None:
    other = a_ledger(tmp_path / "other.sqlite3")
    other.write_bytes(other.read_bytes()[:4096] + b"\xff" * 40_000)
    other.replace(resting.file.path)

    for _ in range(2):
        with pytest.raises(LedgerError, match="damaged"):
            resting.file.wake()


def test_the_database_of_another_program_in_its_place_is_not_ours(
    resting: Ledger, tmp_path: Path
) -> None:
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as db:
        db.execute("CREATE TABLE song (title TEXT)")
    other.replace(resting.file.path)

    with pytest.raises(NotOursError, match="another program"):
        resting.file.wake()


def test_going_on_after_an_error_reads_it_through(resting: Ledger, checks: list[str]) -> None:
    resting.file.wake()
    resting.to_memory()
    checks.clear()

    assert resting.to_file()
    assert checks == ["read through"]
