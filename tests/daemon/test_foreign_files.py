"""What is not ours is not touched, wherever a setting or an option points, whoever runs it."""

import os
import shutil
import sqlite3
import stat
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward import files
from sillward.charts import process as charting
from sillward.cli import main
from sillward.errors import CalendarError, ConfigError, NotOursError, UsageError
from sillward.ical import publisher
from sillward.ledger import Ledger, copies
from sillward.ledger.schema import APPLICATION_ID
from sillward.reports import words as words_report
from sillward.setup import writing
from sillward.wording import macros
from tests.support.foreign_files import FOREIGN_FILES, TEXT, ForeignFile, holding, link_to, seen
from tests.support.ledger_files import NOW, a_ledger, damaged, fill
from tests.support.paths import EXAMPLES

COLLECTION = EXAMPLES / "courtyard.toml"


@pytest.fixture(params=list(FOREIGN_FILES.values()), ids=list(FOREIGN_FILES))
def foreign_file(request: pytest.FixtureRequest) -> ForeignFile:
    found: ForeignFile = request.param
    return found


def reopened(path: Path) -> Ledger:
    return Ledger.open_or_in_memory(path, clock=lambda: NOW)


def refused(path: Path, words: str | None = None) -> None:
    """Neither who looks nor the service takes it for a ledger, and nothing is changed."""
    before = seen(path.parent)
    for _ in range(2):  # nothing of the first try makes it ours at the second
        with pytest.raises(NotOursError, match=words):
            Ledger(path)
        with pytest.raises(ConfigError, match=words):
            reopened(path)
    assert seen(path.parent) == before


# -- the ledger


def test_what_was_never_a_ledger_is_refused(foreign_file: ForeignFile, tmp_path: Path) -> None:
    path = tmp_path / "notes"
    foreign_file(path)

    refused(path)


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes").touch()

    refused(tmp_path / "notes", "is empty")


@pytest.mark.parametrize("command", [["run"], ["status"], ["done", "all"], ["check"], ["sheet"]])
@pytest.mark.parametrize("name", ["text", "a pipe", "a link to a text", "another's database"])
def test_each_command_ends_with_78(
    command: list[str], name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "notes"
    FOREIGN_FILES[name](path)
    before = seen(tmp_path)
    monkeypatch.setenv("SILLWARD_LEDGER", str(path))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(COLLECTION))
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "json://127.0.0.1:9/x")
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://127.0.0.1:9")

    result = CliRunner().invoke(main, command)

    assert result.exit_code == 78, result.output
    assert str(path) in result.stderr
    assert seen(tmp_path) == before


def test_the_ledger_of_another_user_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)

    refused(path, "belongs to another user")


@pytest.mark.parametrize("kind", [stat.S_IFCHR, stat.S_IFBLK])
def test_a_device_is_refused_and_not_even_opened(
    kind: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "device"
    path.write_bytes(b"")
    before = seen(tmp_path)
    real, opened = os.lstat, os.open
    names: list[object] = []

    def looked(name: "os.PathLike[str] | str") -> os.stat_result:
        known = real(name)
        if Path(name) != path:
            return known
        return os.stat_result((kind | 0o660, *known[1:10]))

    def noted(name: str, *flags: int) -> int:
        names.append(name)
        return opened(name, *flags)

    with monkeypatch.context() as patch:
        patch.setattr(os, "lstat", looked)
        patch.setattr(os, "open", noted)
        with pytest.raises(NotOursError, match="is a device"):
            Ledger(path)
        with pytest.raises(CalendarError, match="is a device"):
            publisher.write_calendar(path, b"BEGIN:VCALENDAR")

    assert names == []
    assert seen(tmp_path) == before


def test_a_file_with_another_name_elsewhere_is_not_taken_for_a_damaged_ledger(
    tmp_path: Path,
) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    theirs = tmp_path / "theirs"
    theirs.write_bytes(TEXT)
    path.unlink()
    os.link(theirs, path)

    refused(path, "is not a ledger")


@pytest.mark.parametrize("end", copies.SQLITE_ENDINGS)
def test_a_file_beside_nothing_is_not_taken_for_what_a_ledger_left(
    end: str, tmp_path: Path
) -> None:
    (tmp_path / f"notes{end}").write_bytes(TEXT)

    refused(tmp_path / "notes", "no ledger that it could belong to")


@pytest.mark.parametrize("end", [*copies.SQLITE_ENDINGS, ".lock"])
@pytest.mark.parametrize("name", ["a pipe", "a folder", "a link to a text", "a link to nothing"])
def test_what_lies_in_the_way_of_a_ledger_is_left(end: str, name: str, tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    in_the_way = Path(f"{path}{end}")
    in_the_way.unlink(missing_ok=True)
    FOREIGN_FILES[name](in_the_way)

    refused(path, "name a file")


def test_names_that_a_ledger_could_use_stay_with_whoever_has_them(tmp_path: Path) -> None:
    path = tmp_path / "notes"
    for name in ("notes.new", "notes.before-5", "notes.copy-2026-1-1.gz", "notes.damaged-", "lock"):
        (tmp_path / name).write_bytes(TEXT)
    before = seen(tmp_path)

    with closing(reopened(path)) as ledger:
        fill(ledger, 2)
        ledger.copy_daily(NOW)
    path.write_bytes(b"\xa5" * 5000)
    reopened(path).close()

    after = seen(tmp_path)
    assert {name: after[name] for name in before} == before


def test_a_copy_before_a_migration_takes_no_name_that_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    taken = tmp_path / "ledger.sqlite3.before-7"
    taken.write_bytes(TEXT)
    os.mkfifo(tmp_path / "ledger.sqlite3.before-7-2")

    assert copies.before_path(path, 7).name == "ledger.sqlite3.before-7-3"
    assert copies.before_path(path, 6).name == "ledger.sqlite3.before-6"

    shutil.copy(a_ledger(path), taken)  # a migration that failed
    assert copies.before_path(path, 7) == taken


# -- signs of a ledger


def test_a_new_ledger_says_what_it_is(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")

    assert path.read_bytes()[68:72] == APPLICATION_ID.to_bytes(4) == b"SILW"
    assert copies.lock_path(path).read_bytes() == copies.LOCK_CONTENT


def test_a_ledger_from_before_there_were_signs_is_known_by_its_tables(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA application_id = 0")
    copies.lock_path(path).write_bytes(b"")

    with closing(Ledger(path)) as ledger:
        assert len(ledger.notices.latest("Test court", most=99)) == 40

    assert path.read_bytes()[68:72] == b"SILW"
    assert copies.lock_path(path).read_bytes() == copies.LOCK_CONTENT


def no_sign(path: Path) -> None:
    copies.lock_path(path).unlink()
    for copy in path.parent.glob("*.copy-*"):
        copy.unlink()


def an_empty_lock(path: Path) -> None:
    no_sign(path)
    copies.lock_path(path).touch()


def anothers_lock(path: Path) -> None:
    no_sign(path)
    copies.lock_path(path).write_bytes(b"4711\n")


def only_its_lock(path: Path) -> None:
    lock = copies.lock_path(path).read_bytes()
    no_sign(path)
    copies.lock_path(path).write_bytes(lock)


def only_a_copy(path: Path) -> None:
    copies.lock_path(path).unlink()


@pytest.mark.parametrize(
    ("keep", "ours"),
    [
        (no_sign, False),
        (an_empty_lock, False),
        (anothers_lock, False),
        (only_its_lock, True),
        (only_a_copy, True),
    ],
)
@pytest.mark.parametrize("content", [TEXT, b"", b"SQLite format 3\0" + bytes(9000)])
def test_damage_is_repaired_only_for_what_was_ours(
    keep: Callable[[Path], None], ours: bool, content: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill(ledger, 3)
        ledger.copy_daily(NOW)
    path.write_bytes(content)
    keep(path)

    if not ours:
        refused(path)
        return
    with closing(reopened(path)) as ledger:
        assert "history reset" in ledger.marks.all()
    assert [file.read_bytes() for file in damaged(path)] == [content]


def test_a_lock_does_not_make_another_programs_database_ours(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    path.unlink()
    FOREIGN_FILES["another's database"](path)

    refused(path, "is the database of another program")


def test_a_link_to_a_ledger_is_followed_and_stays(tmp_path: Path) -> None:
    target = tmp_path / "state"
    target.mkdir()
    a_ledger(target / "ledger.sqlite3")
    path = tmp_path / "ledger"
    path.symlink_to(target / "ledger.sqlite3")

    with closing(reopened(path)) as ledger:
        assert len(ledger.notices.latest("Test court", most=99)) == 40

    assert path.is_symlink()
    assert sorted(os.listdir(tmp_path)) == ["ledger", "state"]


def test_a_ledger_with_a_second_name_is_used(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    os.link(path, tmp_path / "kept")

    with closing(reopened(path)) as ledger:
        assert "history reset" not in ledger.marks.all()


def test_what_becomes_another_file_while_it_runs_is_left(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        for file in tmp_path.iterdir():
            file.unlink()
        path.write_bytes(TEXT)
        before = seen(tmp_path)

        assert not ledger.to_file()
        assert ledger.in_memory
        assert seen(tmp_path) == before


# -- everything else that is written


def calendar(path: Path) -> None:
    publisher.write_calendar(path, b"BEGIN:VCALENDAR\r\n")


def collection(path: Path) -> None:
    writing.write(path, COLLECTION.read_text(encoding="utf-8"), force=True)


def chart(path: Path) -> None:
    path = path.rename(path.with_suffix(".png")) if os.path.lexists(path) else path
    recorded = COLLECTION.parent / "recorded" / "cold-snap.json"
    command = ["chart", "--collection", str(COLLECTION), "--recorded", str(recorded)]
    result = CliRunner().invoke(main, [*command, "--out", str(path.with_suffix(".png"))])
    if result.exit_code == 2:
        raise UsageError(result.stderr)
    assert result.exit_code == 0, result.output


def page(path: Path) -> None:
    recorded = COLLECTION.parent / "recorded" / "cold-snap.json"
    command = ["digest", "--collection", str(COLLECTION), "--recorded", str(recorded)]
    result = CliRunner().invoke(main, [*command, "--out", str(path)])
    if result.exit_code == 2:
        raise UsageError(result.stderr)
    assert result.exit_code == 0, result.output


def words(path: Path) -> None:
    words_report.copy(path)


WRITERS = [calendar, collection, chart, page, words]

CASES = [
    (write, name)
    for write in WRITERS
    for name in FOREIGN_FILES
    if not (write is words and "a folder" in name)  # it is written into one
]


@pytest.mark.parametrize(("write", "name"), CASES)
def test_nothing_that_is_not_ours_is_written_over(
    write: Callable[[Path], None], name: str, tmp_path: Path
) -> None:
    folder = tmp_path / "there"
    folder.mkdir()
    FOREIGN_FILES[name](folder / "notes")
    before = [(known[2], known[-1], known[0]) for known in seen(folder).values()]

    with pytest.raises((CalendarError, ConfigError, NotOursError, UsageError)):
        write(folder / "notes")

    assert [(known[2], known[-1], known[0]) for known in seen(folder).values()] == before


@pytest.mark.parametrize("write", [calendar, collection])
def test_the_file_of_another_user_is_not_written_over(
    write: Callable[[Path], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    write(path)
    before = seen(tmp_path)
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)

    with pytest.raises((CalendarError, NotOursError), match="another user"):
        write(path)

    assert seen(tmp_path) == before


def test_a_chart_takes_the_place_of_a_chart_and_of_no_other_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "x.png"
    chart(path)
    drawn = path.read_bytes()
    path.chmod(0o640)
    assert charting.is_ours(drawn[: charting.HEAD])

    chart(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640

    theirs = drawn.replace(b"sillward", b"somebody")
    path.write_bytes(theirs)
    with pytest.raises(UsageError, match="holds something else"):
        chart(path)
    assert path.read_bytes() == theirs


@pytest.mark.parametrize("make", [holding(TEXT), os.mkfifo, link_to(None), link_to(holding(TEXT))])
def test_macros_are_copied_beside_nothing_of_their_names(make: ForeignFile, tmp_path: Path) -> None:
    make(tmp_path / sorted(macros.packaged_texts())[-1])
    before = seen(tmp_path)

    with pytest.raises(UsageError, match="already exists"):
        words_report.copy(tmp_path)

    assert seen(tmp_path) == before


def test_the_schema_is_written_over_no_link_and_no_other_file(tmp_path: Path) -> None:
    link_to(None)(tmp_path / "sillward.schema.json")
    before = seen(tmp_path)

    collection(tmp_path / "yard.toml")

    after = seen(tmp_path)
    assert {name: after[name] for name in before} == before
    assert after.keys() - before.keys() == {"yard.toml"}


# -- drafts


def test_a_draft_takes_no_name_from_anybody(tmp_path: Path) -> None:
    path = tmp_path / "file"
    link_to(holding(TEXT))(tmp_path / "draft")
    before = seen(tmp_path)

    with pytest.raises(NotOursError):
        files.write(path, b"new", temporary=tmp_path / "draft")

    assert seen(tmp_path) == before


def test_what_comes_meanwhile_keeps_its_name(tmp_path: Path) -> None:
    path = tmp_path / "file"

    with pytest.raises(FileExistsError):
        files.write(path, b"new", exclusive=True, before_rename=lambda _: path.write_bytes(TEXT))

    assert {name: facts[-1] for name, facts in seen(tmp_path).items()} == {"file": TEXT}


def test_without_links_what_comes_meanwhile_keeps_its_name_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unable(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", unable)
    path = tmp_path / "file"
    files.write(path, b"new", exclusive=True)
    with pytest.raises(FileExistsError):
        files.write(path, b"newer", exclusive=True)

    assert {name: facts[-1] for name, facts in seen(tmp_path).items()} == {"file": b"new"}
