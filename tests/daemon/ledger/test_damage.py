"""A ledger file in whatever state: it opens, it works, what was damaged is kept, and it is told."""

import os
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward import files
from sillward.errors import ConfigError, LedgerError, NewerLedgerError, NotOursError
from sillward.ledger import Ledger, copies
from sillward.ledger.opening import FileOpener
from sillward.ledger.schema import SCHEMA_VERSION
from tests.support.ledger_files import (
    DAY,
    NOW,
    SITE,
    a_ledger,
    damaged,
    fill,
    fill_later,
    left_by_a_crash,
    mode_of,
    rows_of,
)

Harm = Callable[[Path], None]


def reopened(path: Path) -> Ledger:
    return Ledger.open_or_in_memory(path, clock=lambda: NOW)


def garbage(path: Path) -> None:
    path.write_bytes(b"\xa5\x00\x17garbage" * 900)


def nothing(path: Path) -> None:
    path.write_bytes(b"")


def cut_to(size: int) -> Harm:
    def harm(path: Path) -> None:
        with path.open("r+b") as file:
            file.truncate(size)

    return harm


def scrambled(page: int) -> Harm:
    def harm(path: Path) -> None:
        data = bytearray(path.read_bytes())
        start = len(data) - 4096 if page < 0 else page * 4096
        data[start : start + 4096] = bytes((i * 197 + 31) % 256 for i in range(4096))
        path.write_bytes(data)

    return harm


def header(offset: int, value: bytes) -> Harm:
    def harm(path: Path) -> None:
        with path.open("r+b") as file:
            file.seek(offset)
            file.write(value)

    return harm


def sql(statement: str) -> Harm:
    def harm(path: Path) -> None:
        with closing(sqlite3.connect(path)) as db, db:
            db.execute(statement)

    return harm


def renamed(path: Path) -> None:
    """One letter of a column's name, as a flipped bit would have it."""
    data = path.read_bytes()
    assert data.count(b"last_error") == 1
    path.write_bytes(data.replace(b"last_error", b"lasu_error"))


HARMS: dict[str, Harm] = {
    "garbage": garbage,
    "zero bytes": nothing,
    "one byte": cut_to(1),
    "half a header": cut_to(50),
    "a header": cut_to(100),
    "one page": cut_to(4096),
    "half of it": cut_to(9 * 4096 + 1000),
    "first page": scrambled(0),
    "a page within": scrambled(5),
    "last page": scrambled(-1),
    "written in a way that there is not": header(18, b"\x07"),
    "another text encoding": header(56, b"\x00\x00\x00\x02"),
    "version below zero": sql("PRAGMA user_version = -3"),
    "version gone": sql("PRAGMA user_version = 0"),
    "a table gone": sql("DROP TABLE notice"),
    "a column of another name": renamed,
    "text that is not text": sql("UPDATE mark SET text = CAST(x'ff41' AS TEXT)"),
    "a time that is none": sql("UPDATE notice SET expires_at = '2026-11-2x'"),
    "a document that is none": sql("UPDATE chore SET chore_json = '{'"),
}


@pytest.fixture(params=list(HARMS.values()), ids=list(HARMS))
def harm(request: pytest.FixtureRequest) -> Harm:
    found: Harm = request.param
    return found


def with_a_copy(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(Ledger(path)) as ledger:
        fill(ledger, 30)
        ledger.copy_daily(NOW - timedelta(days=1))
        copied = rows_of(ledger.database.connection)
        fill_later(ledger)
    return copied


def test_a_damaged_ledger_is_set_aside_and_the_newest_copy_takes_its_place(
    harm: Harm, tmp_path: Path
) -> None:
    path = tmp_path / "ledger.sqlite3"
    copied = with_a_copy(path)
    harm(path)
    harmed = path.read_bytes()

    with closing(reopened(path)) as ledger:
        assert not ledger.in_memory
        assert rows_of(ledger.database.connection) == copied
        mark = ledger.marks.all()["history reset"]
        ledger.marks.set("works", NOW, "on")

    (aside,) = damaged(path)
    assert aside.read_bytes() == harmed
    assert (mark.at, mark.text) == (
        NOW,
        f"the ledger was damaged and set aside as {aside.name}; restored from the copy of 25 Nov",
    )
    assert aside.name == "ledger.sqlite3.damaged-20261126T200000Z"
    assert {mode_of(file) for file in tmp_path.iterdir()} == {0o600}
    with closing(reopened(path)) as again:
        assert {"works", "history reset"} <= set(again.marks.all())
    assert damaged(path) == [aside]


def test_without_a_copy_a_damaged_ledger_begins_anew(harm: Harm, tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    harm(path)
    harmed = path.read_bytes()

    with closing(reopened(path)) as ledger:
        fill(ledger, 3)
        assert ledger.marks.all()["history reset"].text.endswith("; begun anew")
        assert len(ledger.notices.latest(SITE)) == 3

    assert [file.read_bytes() for file in damaged(path)] == [harmed]


def test_a_command_that_looks_refuses_a_damaged_ledger_and_leaves_it(
    harm: Harm, tmp_path: Path
) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    harm(path)
    harmed = path.read_bytes()

    with pytest.raises(LedgerError, match=r"damaged \(.*\); `sillward run` sets it right"):
        Ledger(path)

    assert path.read_bytes() == harmed
    assert damaged(path) == []


def test_a_damaged_ledger_that_another_process_uses_is_left_to_it(tmp_path: Path) -> None:
    """Its file must not be taken from under it: this one goes on in memory until it is gone."""
    path = tmp_path / "ledger.sqlite3"
    with_a_copy(path)
    other = copies.FileLock(path)  # as long as another process has it open
    other.share()
    scrambled(5)(path)

    with closing(reopened(path)) as ledger:
        assert ledger.in_memory
        assert not ledger.to_file()
        assert ledger.marks.all()["history reset"].text == (
            "the ledger could not be read; restored from the copy of 25 Nov"
        )
        assert damaged(path) == []

        other.release()
        assert ledger.to_file()
        assert ledger.marks.all()["history reset"].text.startswith("the ledger was damaged and set")
    assert len(damaged(path)) == 1


@pytest.mark.parametrize(
    "spoil",
    [garbage, nothing, cut_to(40), header(3000, b"\x00" * 40)],
    ids=["garbage", "empty", "cut", "scrambled"],
)
def test_a_copy_that_is_damaged_too_is_passed_over(spoil: Harm, tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill(ledger)
        ledger.copy_daily(NOW - timedelta(days=2))
        older = rows_of(ledger.database.connection)
        fill_later(ledger)
        ledger.copy_daily(NOW - timedelta(days=1))
    newest = tmp_path / "ledger.sqlite3.copy-2026-11-25.gz"
    spoil(newest)
    spoilt = newest.read_bytes()
    garbage(path)

    with closing(reopened(path)) as ledger:
        assert ledger.marks.all()["history reset"].text.endswith("restored from the copy of 24 Nov")
        assert rows_of(ledger.database.connection) == older
    assert newest.read_bytes() == spoilt


def test_where_all_copies_are_damaged_the_ledger_begins_anew(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with_a_copy(path)
    for file in tmp_path.iterdir():
        garbage(file)

    with closing(reopened(path)) as ledger:
        assert ledger.marks.all()["history reset"].text.endswith("begun anew")
        ledger.marks.set("works", NOW, "on")


def test_what_was_set_aside_before_is_never_written_over(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    for content in (b"first", b"second", b"third"):
        path.write_bytes(content * 300)
        reopened(path).close()

    assert [file.read_bytes()[:5] for file in damaged(path)] == [b"first", b"secon", b"third"]


# -- what a crash left in the -wal


def test_a_crash_loses_nothing(tmp_path: Path) -> None:
    with closing(reopened(left_by_a_crash(tmp_path / "ledger.sqlite3"))) as ledger:
        assert len(ledger.marks.all()) == 31
        assert "history reset" not in ledger.marks.all()
        assert len(ledger.notices.latest(SITE, most=99)) == 20
    assert damaged(tmp_path / "ledger.sqlite3") == []


@pytest.mark.parametrize(
    "spoil",
    [garbage, cut_to(20), header(8, b"\x99"), header(20_000, b"\x99\x98\x97")],
    ids=["garbage", "cut", "header", "a frame within"],
)
@pytest.mark.parametrize("shm", ["kept", "gone", "garbage"])
def test_a_damaged_wal_is_kept_and_told_and_the_file_itself_is_used(
    spoil: Harm, shm: str, tmp_path: Path
) -> None:
    path = left_by_a_crash(tmp_path / "ledger.sqlite3")
    wal = Path(f"{path}-wal")
    spoil(wal)
    spoilt = wal.read_bytes()
    if shm == "gone":
        Path(f"{path}-shm").unlink()
    if shm == "garbage":
        garbage(Path(f"{path}-shm"))

    with pytest.raises(LedgerError, match="damaged"):
        Ledger(path)
    assert wal.read_bytes() == spoilt

    with closing(reopened(path)) as ledger:
        assert len(ledger.notices.latest(SITE, most=99)) == 20
        text = ledger.marks.all()["history reset"].text
        assert len(ledger.marks.all()) < 31
    (aside,) = damaged(path)
    assert aside.read_bytes() == spoilt
    assert text == (
        f"the last changes in the ledger were damaged and set aside as {aside.name};"
        " what was before them is there"
    )
    assert mode_of(aside) == 0o600


def test_a_transaction_that_was_cut_off_is_no_damage(tmp_path: Path) -> None:
    path = left_by_a_crash(tmp_path / "ledger.sqlite3")
    wal = Path(f"{path}-wal")
    cut_to(wal.stat().st_size - 700)(wal)

    with closing(reopened(path)) as ledger:
        assert "history reset" not in ledger.marks.all()
        assert len(ledger.marks.all()) == 30  # the last one was never written whole
    assert damaged(path) == []


def test_a_wal_without_its_file_is_set_aside(tmp_path: Path) -> None:
    path = left_by_a_crash(a_ledger(tmp_path / "ledger.sqlite3"))
    path.unlink()

    with closing(reopened(path)) as ledger:
        assert "begun anew" in ledger.marks.all()["history reset"].text
    assert [file.name for file in damaged(path)] == ["ledger.sqlite3.damaged-20261126T200000Z-wal"]


def test_all_that_there_was_lay_in_a_wal_that_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    source = tmp_path / "before" / "ledger.sqlite3"
    with closing(Ledger(source)) as ledger:
        fill(ledger, 3)
        for end in ("", "-wal"):
            Path(f"{path}{end}").write_bytes(Path(f"{source}{end}").read_bytes())
    garbage(Path(f"{path}-wal"))

    with closing(reopened(path)) as ledger:
        assert "begun anew" in ledger.marks.all()["history reset"].text
    assert Path(f"{damaged(path)[0]}-wal").exists()


@pytest.mark.parametrize("step", ["os.fsync", "os.link", "Path.unlink", "FileOpener.connect"])
def test_a_crash_while_a_ledger_is_begun_is_no_damage(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed in its first milliseconds: nothing is lost, so nobody is told that something was."""
    path = tmp_path / "ledger.sqlite3"
    place, name = step.split(".")
    target = {"os": os, "Path": Path, "FileOpener": FileOpener}[place]
    with monkeypatch.context() as patch:

        def killed(*_: object, **__: object) -> object:
            raise KeyboardInterrupt

        patch.setattr(target, name, killed)
        with pytest.raises(KeyboardInterrupt):
            reopened(path)

    with closing(reopened(path)) as ledger:
        assert not ledger.in_memory
        assert "history reset" not in ledger.marks.all()
    assert {file.name for file in tmp_path.iterdir()} == {path.name, f"{path.name}.lock"}


def test_half_a_draft_does_not_become_the_ledger(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)):
        half = path.read_bytes()[:5000]
    for file in tmp_path.iterdir():
        file.unlink()
    copies.draft_path(path).write_bytes(half)

    with closing(reopened(path)) as ledger:
        assert "history reset" not in ledger.marks.all()
    assert not copies.draft_path(path).exists()


def test_where_there_are_no_links_a_ledger_is_begun_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "link", refuse)
    path = tmp_path / "ledger.sqlite3"

    with closing(reopened(path)) as ledger:
        assert not ledger.in_memory
    assert mode_of(path) == 0o600


@pytest.mark.parametrize("step", ["link", "replace", "sync_folder"])
def test_a_crash_while_it_is_set_right_leaves_it_to_the_next_start(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ledger.sqlite3"
    copied = with_a_copy(path)
    scrambled(5)(path)

    def crash(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr({"link": os, "replace": Path, "sync_folder": files}[step], step, crash)
        with pytest.raises(KeyboardInterrupt):
            reopened(path)

    with closing(reopened(path)) as ledger:
        assert rows_of(ledger.database.connection) == copied
        assert "restored from the copy of 25 Nov" in ledger.marks.all()["history reset"].text


def test_a_crash_where_files_cannot_have_two_names_is_finished_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ledger.sqlite3"
    copied = with_a_copy(path)
    scrambled(5)(path)

    def unable(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    def crash(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(os, "link", unable)
        patch.setattr(Path, "replace", crash)
        with pytest.raises(KeyboardInterrupt):
            reopened(path)
    assert not path.exists()

    with closing(reopened(path)) as ledger:
        assert rows_of(ledger.database.connection) == copied
        assert "restored from the copy of 25 Nov" in ledger.marks.all()["history reset"].text


# -- what is no damage


def test_a_newer_ledger_is_left_as_it_is_and_a_restart_does_not_help(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    sql(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")(path)

    for open_it in (reopened, Ledger):
        with pytest.raises(NewerLedgerError, match="newer sillward") as caught:
            open_it(path)
        assert caught.value.exit_status == 78
    assert damaged(path) == []


def test_a_damaged_ledger_that_looks_newer_is_damaged(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    sql(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")(path)
    scrambled(5)(path)

    with closing(reopened(path)) as ledger:
        assert "history reset" in ledger.marks.all()


def test_the_database_of_another_program_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "photos.sqlite3"
    sql("CREATE TABLE photo (name TEXT)")(path)
    before = path.read_bytes()

    with pytest.raises(NotOursError, match="database of another program"):
        Ledger(path)
    with pytest.raises(ConfigError, match="database of another program"):
        reopened(path)

    assert path.read_bytes() == before


def test_a_first_start_has_no_history_to_lose(tmp_path: Path) -> None:
    with closing(reopened(tmp_path / "new" / "ledger.sqlite3")) as ledger:
        assert ledger.marks.all() == {}
        assert not ledger.in_memory


# -- whatever else


@cache
def whole(crashed: bool) -> dict[str, bytes]:
    """The files of a ledger, by how their names end."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.sqlite3"
        made = left_by_a_crash(path) if crashed else a_ledger(path)
        found = {end: Path(f"{made}{end}") for end in ("", "-wal", ".lock")}
        return {end: file.read_bytes() for end, file in found.items() if file.exists()}


@given(
    flips=st.lists(st.tuples(st.floats(0, 1), st.integers(1, 255)), max_size=6),
    cut=st.none() | st.floats(0, 1),
    where=st.sampled_from(["", "-wal"]),
    copied=st.booleans(),
)
def test_any_bytes_may_be_wrong(
    flips: list[tuple[float, int]], cut: float | None, where: str, copied: bool
) -> None:
    """Bytes within a stored text may change unseen; a row or a table may not."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.sqlite3"
        for end, content in whole(bool(where)).items():
            Path(f"{path}{end}").write_bytes(content)
        if copied:
            with closing(Ledger(path)) as ledger:
                ledger.copy_daily(NOW)
                if where:
                    fill_later(ledger)
        harmed = Path(f"{path}{where}")
        if not harmed.exists():
            harmed = path
        data = bytearray(harmed.read_bytes())
        for share, mask in flips:
            data[int(share * (len(data) - 1))] ^= mask
        torn = harmed.name.endswith("-wal") and cut is not None
        harmed.write_bytes(data if cut is None else data[: int(cut * len(data))])
        before = harmed.read_bytes()

        try:
            opened = reopened(path)
        except NewerLedgerError:
            return
        except ConfigError:
            pytest.fail("the file was taken for that of another program")
        with closing(opened) as ledger:
            counts = {name: len(rows) for name, rows in rows_of(ledger.database.connection).items()}
            reset = "history reset" in ledger.marks.all()
            ledger.chores.due_since(SITE, NOW - timedelta(days=99))
            ledger.notices.latest(SITE, most=99)
            ledger.plant_states.of_site(SITE)
            ledger.nights.since(SITE, DAY - timedelta(days=99))
            ledger.marks.set("works", NOW, "on")
            in_memory = ledger.in_memory
        if not reset:
            assert not damaged(path)
            days = 20 if where else 40
            assert counts["notice"] == counts["chore"] == counts["plant_state"] == days
            if not torn and not where:
                assert counts["mark"] == 1
        else:
            assert in_memory or before in [file.read_bytes() for file in damaged(path)]
