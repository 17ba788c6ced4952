"""The Debian package: what is in it, and what installing, removing and purging do to a folder.

Built here without its libraries; `packaging/try-deb` tries the whole one in a clean Debian. dpkg
and the programs of systemd are Debian's own; elsewhere these tests are skipped.
"""

import atexit
import os
import pwd
import shutil
import subprocess
import sys
from collections.abc import Callable
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import ModuleType

import pytest

from sillward.config.settings import PREFIX, Settings
from tests.support.paths import ROOT

DEBIAN = ROOT / "packaging" / "debian"

TOOLS = ("dpkg", "dpkg-deb", "deb-systemd-helper", "systemd-sysusers", "systemd-tmpfiles")

MISSING = [tool for tool in TOOLS if shutil.which(tool) is None]

ON_DEBIAN = pytest.mark.skipif(bool(MISSING), reason=f"not there: {', '.join(MISSING)}")


def run(*words: object, **more: str) -> str:
    result = subprocess.run(
        [str(word) for word in words],
        env=os.environ | more,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    assert result.returncode == 0, result.stdout
    return result.stdout


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("package")
    settings = {"PYTHON": sys.executable, "LIBRARIES": "0", "SOURCE_DATE_EPOCH": "1750000000"}
    run(ROOT / "packaging" / "build-deb", folder, **settings)
    (built,) = folder.glob("*.deb")
    return built


@pytest.fixture
def launcher() -> ModuleType:
    """/usr/bin/sillward of the package."""
    loader = SourceFileLoader("debian_launcher", str(DEBIAN / "sillward"))
    spec = spec_from_loader("debian_launcher", loader)
    assert spec is not None
    module = module_from_spec(spec)
    sys.dont_write_bytecode = True
    loader.exec_module(module)
    return module


def dpkg(root: Path, *words: object) -> str:
    """Let dpkg work in a folder; the scripts of the package run on this system, told of it."""
    admin = root / "var" / "lib" / "dpkg"
    for folder in (admin / "info", admin / "updates", root / "etc", root / "usr" / "lib"):
        folder.mkdir(parents=True, exist_ok=True)
    (admin / "status").touch()
    return run(
        "dpkg",
        f"--root={root}",
        "--force-not-root,depends,script-chrootless,confold,unsafe-io",
        "--no-triggers",
        f"--log={root / 'log'}",
        *words,
        PATH=f"{os.environ['PATH']}:/usr/sbin:/sbin",
        # deb-systemd-helper keeps its own records below DPKG_ROOT too.
        DPKG_ROOT=str(root),
    )


def files(root: Path) -> set[str]:
    """What is in a folder, but for what dpkg and its kind keep for themselves."""
    return {
        path.relative_to(root).as_posix()
        for path in root.rglob("*")
        if not path.is_dir() and not path.is_relative_to(root / "var" / "lib" / "dpkg")
    } - {"log"}


# -- the package


@ON_DEBIAN
def test_the_package_says_what_it_needs_and_holds_what_it_should(package: Path) -> None:
    fields = run("dpkg-deb", "--field", package)
    listed = run("dpkg-deb", "--contents", package)

    minor = f"python{sys.version_info[0]}.{sys.version_info[1]}"
    assert f"\nDepends: {minor}, libc6" in fields
    assert f"Architecture: {run('dpkg', '--print-architecture').strip()}\n" in fields
    names = {line.split()[5] for line in listed.splitlines()}
    site = f"./usr/lib/sillward/lib/{minor}/site-packages"
    for name in (
        "./usr/bin/sillward",
        "./usr/lib/systemd/system/sillward.service",
        "./usr/lib/systemd/system/sillward-stopped.service",
        "./usr/lib/sysusers.d/sillward.conf",
        "./etc/sillward/settings",
        "./usr/share/doc/sillward/copyright",
        f"{site}/sillward/examples/courtyard.toml",
        f"{site}/sillward_rules/plants/groups.toml",
    ):
        assert name in names
    assert {line.split()[1] for line in listed.splitlines()} == {"root/root"}
    assert not [line for line in listed.splitlines() if line[5] == "w" or line[8] == "w"][1:]
    assert not [name for name in names if "/tests/" in name or name.endswith(".pyc")]


@ON_DEBIAN
def test_installed_removed_and_purged_it_takes_away_what_is_its_own_and_nothing_else(
    package: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    state, etc = root / "var" / "lib" / "sillward", root / "etc" / "sillward"
    before = files(root)

    said = dpkg(root, "--install", package)
    assert "sudo sillward new" in said
    assert (root / "usr" / "bin" / "sillward").stat().st_mode & 0o777 == 0o755
    assert "sillward" in (root / "etc" / "passwd").read_text(encoding="utf-8")

    ours = ["ledger.sqlite3", "ledger.sqlite3-wal", "ledger.sqlite3.lock"]
    ours += ["ledger.sqlite3.copy-2026-05-01.gz", "ledger.sqlite3.photos/1.jpg", "page-key"]
    (etc / "sillward.schema.json").write_text("{}", encoding="utf-8")
    ours += [".cache/matplotlib/fonts.json", ".config/matplotlib/matplotlibrc"]
    ours += ["households/ana.sqlite3", "households/ana.sqlite3.lock", "households/shared.sqlite3"]
    for path in (*(state / name for name in ours), etc / "credentials" / "channel-phone"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("", encoding="utf-8")
    (etc / "settings").write_text("SILLWARD_LOG_LEVEL=DEBUG\n", encoding="utf-8")
    kept = [etc / "collection.toml", state / "notes.txt", state / "ledger.txt"]
    for path in kept:
        path.write_text("mine", encoding="utf-8")

    dpkg(root, "--remove", "sillward")
    assert not (root / "usr" / "bin" / "sillward").exists()
    assert all((state / name).exists() for name in ours)
    assert (etc / "settings").read_text(encoding="utf-8") == "SILLWARD_LOG_LEVEL=DEBUG\n"

    dpkg(root, "--install", package)
    assert (etc / "settings").read_text(encoding="utf-8") == "SILLWARD_LOG_LEVEL=DEBUG\n"

    said = dpkg(root, "--purge", "sillward")
    assert "left as it is" in said
    left = files(root) - before
    accounts = {name for name in left if name.startswith(("etc/passwd", "etc/group", "etc/shadow"))}
    accounts |= {name for name in left if name.startswith(("etc/gshadow", "etc/.pwd.lock"))}
    assert sorted(left - accounts - {path.relative_to(root).as_posix() for path in kept}) == []
    assert [path.read_text(encoding="utf-8") for path in kept] == ["mine"] * 3


@ON_DEBIAN
def test_what_a_link_leads_to_is_not_purged(package: Path, tmp_path: Path) -> None:
    """A grower may have moved the folder of the ledger to another disk."""
    root, disk = tmp_path / "root", tmp_path / "disk"
    disk.mkdir()
    (disk / "ledger.sqlite3").write_text("years", encoding="utf-8")
    dpkg(root, "--install", package)
    state = root / "var" / "lib" / "sillward"
    if state.exists():
        state.rmdir()
    state.parent.mkdir(parents=True, exist_ok=True)
    state.symlink_to(disk)

    said = dpkg(root, "--purge", "sillward")

    assert (disk / "ledger.sqlite3").read_text(encoding="utf-8") == "years"
    assert "left as it is" in said


# -- its units


@pytest.mark.parametrize("name", ["sillward.service", "sillward-stopped.service"])
def test_the_units_of_the_package_differ_from_those_of_the_repository_in_user_and_paths_alone(
    name: str,
) -> None:
    source = (ROOT / "systemd" / name).read_text(encoding="utf-8")
    result = subprocess.run(
        [DEBIAN / "unit"], input=source, capture_output=True, text=True, check=True
    )
    was, is_now = (
        {line for line in text.splitlines() if line and not line.startswith("#")}
        for text in (source, result.stdout)
    )

    command = "run" if name == "sillward.service" else "stopped"
    path = "Environment=SILLWARD_COLLECTION=/etc/sillward/collection.toml"
    assert was - is_now == {
        f"ExecStart=/usr/local/bin/sillward {command}",
        "DynamicUser=yes",
    } | ({path} if command == "run" else set())
    assert is_now - was == {
        f"ExecStart=/usr/bin/sillward {command}",
        "User=sillward",
        "Group=sillward",
    } | (
        {
            "ConditionPathExists=|/etc/sillward/collection.toml",
            "ConditionPathExists=|/etc/sillward/households",
        }
        if command == "run"
        else set()
    )
    assert "LoadCredential" not in result.stdout


# -- its program


def test_the_service_and_root_are_given_the_household_of_the_computer(launcher: ModuleType) -> None:
    environment = {"SILLWARD_LOG_LEVEL": "DEBUG"}

    launcher.give_household(environment, {"SILLWARD_LOG_LEVEL": "INFO", "SILLWARD_X": "1"})

    assert environment == {
        "SILLWARD_LOG_LEVEL": "DEBUG",
        "SILLWARD_X": "1",
        "SILLWARD_SERVICE": "sillward",
        "STATE_DIRECTORY": "/var/lib/sillward",
        "SILLWARD_CREDENTIALS": "/etc/sillward/credentials",
        "SILLWARD_COLLECTION": "/etc/sillward/collection.toml",
    }


def test_many_households_have_no_collection_of_the_computer(launcher: ModuleType) -> None:
    environment: dict[str, str] = {}

    launcher.give_household(environment, {"SILLWARD_COLLECTIONS": "/etc/sillward/households"})

    assert "SILLWARD_COLLECTION" not in environment


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("SILLWARD_A=one", "one"),
        ('  SILLWARD_A="one two"', "one two"),
        ("SILLWARD_A=", ""),
        ("SILLWARD_A='it", "'it"),
        ("#SILLWARD_A=one", None),
        ("PATH=/tmp", None),
        ("SILLWARD_A", None),
    ],
)
def test_settings_are_read_line_by_line(launcher: ModuleType, line: str, value: str | None) -> None:
    assert launcher.settings_of(f"# one\n{line}\n").get("SILLWARD_A") == value


def test_every_setting_in_the_file_of_settings_is_one_and_none_is_in_force(
    launcher: ModuleType,
) -> None:
    text = (DEBIAN / "settings").read_text(encoding="utf-8")
    offered = launcher.settings_of(text.replace("\n#SILLWARD", "\nSILLWARD"))

    assert len(offered) > 5
    assert launcher.settings_of(text) == {}
    for name in offered:
        assert name.removeprefix(PREFIX).split("__")[0].lower() in {
            *Settings.model_fields,
            "collections",
        }


@pytest.mark.parametrize(
    ("words", "own", "is_told"),
    [
        (["status"], False, True),
        (["done", "carry", "in"], False, True),
        (["status"], True, False),
        (["demo"], False, False),
        (["--version"], False, False),
        (["status", "--help"], False, False),
        (["check", "--collection", "yard.toml"], False, False),
        (["--verbose", "status"], False, False),
        ([], False, False),
    ],
)
def test_somebody_without_plants_of_their_own_is_told_how_to_ask_for_those_of_the_service(
    launcher: ModuleType,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    own: bool,
    is_told: bool,
) -> None:
    (tmp_path / "etc").mkdir()
    (tmp_path / "etc" / "collection.toml").touch()
    monkeypatch.setattr(launcher, "FOLDER", tmp_path / "etc")
    if own:
        (tmp_path / ".config" / "sillward").mkdir(parents=True)
        (tmp_path / ".config" / "sillward" / "collection.toml").touch()

    advice = launcher.advice(words, {"HOME": str(tmp_path)})

    assert (advice is not None) == is_told
    assert advice is None or f"sudo sillward {words[0]}" in advice


def test_the_daemon_is_started_as_the_service_alone(
    launcher: ModuleType,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "collection.toml").touch()
    monkeypatch.setattr(launcher, "FOLDER", tmp_path)
    monkeypatch.setattr(pwd, "getpwnam", lambda name: pwd.getpwuid(os.getuid()))
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(sys, "argv", ["sillward", "run"])

    assert launcher.advice(["run"], {"HOME": "/nowhere"}) == launcher.START
    with pytest.raises(SystemExit, match="1"):
        launcher.main(lambda: pytest.fail("it ran"))
    assert capsys.readouterr().err == f"sillward: {launcher.START}\n"


# -- a list of plants that the service may not read


@pytest.mark.parametrize(
    ("words", "found", "then"),
    [
        (["new", "--plants", "p.csv"], (2, "p.csv"), ["new", "--plants", "/c"]),
        (["new", "--plants=p.csv", "x"], (1, "p.csv"), ["new", "--plants=/c", "x"]),
        (["new", "--plants"], None, ["new", "--plants"]),
        (["new", "yard.toml"], None, ["new", "yard.toml"]),
        (["note", "--plants", "p.csv"], None, ["note", "--plants", "p.csv"]),
    ],
)
def test_the_list_of_plants_is_found_among_the_words(
    launcher: ModuleType, words: list[str], found: tuple[int, str] | None, then: list[str]
) -> None:
    assert launcher.list_file(words) == found
    assert launcher.replaced(words, Path("/c")) == then


@pytest.fixture
def rights(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Whose rights are had in turn; nothing is really changed."""
    had: list[object] = []
    me = pwd.getpwuid(os.getuid())
    monkeypatch.setattr(os, "seteuid", had.append)
    for name in ("initgroups", "setegid", "setgroups"):
        monkeypatch.setattr(os, name, lambda *_: None)

    def asked(uid: int) -> pwd.struct_passwd:
        had.append(("asked", uid))
        return me

    monkeypatch.setattr(pwd, "getpwuid", asked)
    monkeypatch.setattr(launcher, "become", lambda user: had.append("service"))
    return had


def test_a_list_in_a_folder_of_the_callers_is_read_with_the_callers_rights(
    launcher: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rights: list[object]
) -> None:
    (tmp_path / "plants.csv").write_text("name\nLemon\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SUDO_UID", "1000")
    monkeypatch.setattr(sys, "argv", ["sillward", "new", "--plants", "plants.csv"])
    ends: list[Callable[..., object]] = []
    monkeypatch.setattr(atexit, "register", lambda end, *_, **__: ends.append(end))

    launcher.become_with_list(None)

    copy = Path(sys.argv[3])
    assert rights == [("asked", 1000), os.getuid(), os.geteuid(), "service"]
    assert copy.name == "plants.csv"
    assert copy.read_text(encoding="utf-8") == "name\nLemon\n"
    assert copy.parent.stat().st_mode & 0o077 == 0
    assert ends == [shutil.rmtree]
    shutil.rmtree(copy.parent)


def test_a_list_that_the_caller_cannot_read_is_told_and_nothing_else_happens(
    launcher: ModuleType,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    rights: list[object],
) -> None:
    file = tmp_path / "none.csv"
    monkeypatch.setattr(sys, "argv", ["sillward", "new", f"--plants={file}"])

    with pytest.raises(SystemExit, match="1"):
        launcher.become_with_list(None)

    said = capsys.readouterr().err
    assert said == f"sillward: {file}: cannot be read: No such file or directory\n"
    assert "service" not in rights


def test_the_program_of_the_package_runs_as_whoever_calls_it_where_there_is_no_such_user(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody(name: str) -> None:
        raise KeyError(name)

    monkeypatch.setattr(pwd, "getpwnam", nobody)
    monkeypatch.setattr(launcher, "become", lambda user: pytest.fail("it became somebody"))

    def end() -> None:
        raise SystemExit(7)

    with pytest.raises(SystemExit, match="7"):
        launcher.main(end)
