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
from collections.abc import Callable, Iterator, Mapping, Sequence
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import pytest

from sillward.config.settings import PREFIX, Settings
from tests.support.paths import ROOT

DEBIAN = ROOT / "packaging" / "debian"

TOOLS = ("dpkg", "dpkg-deb", "deb-systemd-helper", "systemd-sysusers", "systemd-tmpfiles")

MISSING = [tool for tool in TOOLS if shutil.which(tool) is None]

ON_DEBIAN = pytest.mark.skipif(bool(MISSING), reason=f"not there: {', '.join(MISSING)}")


def run(*words: object, **more: str) -> str:
    """Run a program with these variables more, and return what it says."""
    return ran(words, more, {})


def ran(words: Sequence[object], more: Mapping[str, str], how: Mapping[str, Any]) -> str:
    result: subprocess.CompletedProcess[str] = subprocess.run(
        [str(word) for word in words],
        env=os.environ | more,
        stdout=subprocess.PIPE,
        text=True,
        check=False,
        **{"stderr": subprocess.STDOUT, **how},
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


@pytest.fixture
def computer() -> Iterator[Path]:
    """The folder of a computer, into which everybody may look; the folder `disk` beside it is
    another disk."""
    with TemporaryDirectory(prefix="sillward-purge-") as folder:
        Path(folder).chmod(0o755)
        root = Path(folder) / "root"
        for path in (root / "var/lib/sillward", root / "etc/sillward", Path(folder) / "disk"):
            path.mkdir(parents=True)
        yield root


def without_rights(root: Path) -> dict[str, Any]:
    """Return how a program is run as a user to whom a computer belongs, and who has no rights
    besides: that is who runs the tests, unless it is root."""
    if os.geteuid() != 0:
        return {}
    user = pwd.getpwnam("nobody")
    for path in (root.parent, *root.parent.rglob("*")):
        os.chown(path, user.pw_uid, user.pw_gid, follow_symlinks=False)
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def dpkg(root: Path, *words: object) -> str:
    """Let dpkg work in a folder; the scripts of the package run on this system, told of it."""
    admin = root / "var" / "lib" / "dpkg"
    for folder in (admin / "info", admin / "updates", root / "etc", root / "usr" / "lib"):
        folder.mkdir(parents=True, exist_ok=True)
    (admin / "status").touch()
    call = ("dpkg", f"--root={root}", "--no-triggers", f"--log={root / 'log'}")
    forced = "--force-not-root,depends,script-chrootless,confold,unsafe-io"
    # deb-systemd-helper keeps its own records below DPKG_ROOT too.
    more = {"PATH": f"{os.environ['PATH']}:/usr/sbin:/sbin", "DPKG_ROOT": str(root)}
    return ran((*call, forced, *words), more, without_rights(root))


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
    package: Path, computer: Path
) -> None:
    root, package = computer, Path(shutil.copy(package, computer.parent))
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


# -- what purging forgets: the script that does it, in a folder, as a user without rights


def put(folder: Path, *names: str) -> list[Path]:
    """Make files, each with its name in it."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(name, encoding="utf-8")
    return [folder / name for name in names]


def purged(root: Path, **more: str) -> str:
    """Purge as a user to whom all of this belongs, and who has no rights besides."""
    script = shutil.copy(DEBIAN / "postrm", root.parent / "postrm")
    more = {"PATH": "/usr/bin:/bin", "DPKG_ROOT": str(root)} | more
    how = {"cwd": "/", "stderr": subprocess.DEVNULL}  # deb-systemd-helper misses dpkg
    return ran(("/bin/sh", script, "purge"), more, how | without_rights(root))


IN_A_STATE_FOLDER = (
    *("ledger.sqlite3", "ledger.sqlite3-wal", "ledger.sqlite3.copy-2026-05-01.gz"),
    *("ledger.sqlite3.lock", "ledger.sqlite3.photos/0a1b.jpg", "page-key", "push-key"),
    ".page-key.0123.sillward-draft",
)

SECRETS = ("channel-phone", "mqtt-password", "page-passphrase", "page-passphrase-In=C3=A9s")


def test_of_each_household_ledger_photos_keys_and_secrets_are_forgotten(computer: Path) -> None:
    state, etc = computer / "var/lib/sillward", computer / "etc/sillward"
    for house in ("casa-ines", "patio-norte"):
        put(state / "households" / house, *IN_A_STATE_FOLDER)
        put(etc / "households" / house / "credentials", *SECRETS, "page-key", "push-key")
        put(etc / "households" / house, "sillward.schema.json")
    put(state / "households", "shared.sqlite3", "shared.sqlite3-shm")
    put(etc / "credentials", *SECRETS, "ledger-url", "heartbeat-url")
    kept = put(etc / "households/casa-ines", "collection.toml", "credentials/mine.txt")
    kept += put(state / "households/casa-ines", "notes.txt", "ledger.sqlite3.photos/Ana.jpg")

    said = purged(computer)

    assert sorted(path for path in computer.rglob("*") if path.is_file()) == sorted(kept)
    assert not (state / "households/patio-norte").exists()
    assert not (etc / "households/patio-norte").exists()
    assert all(str(path) in said for path in kept)


def test_without_anything_that_is_not_ours_no_folder_is_left(computer: Path) -> None:
    put(computer / "var/lib/sillward/households/casa-ines", *IN_A_STATE_FOLDER)
    put(computer / "etc/sillward/credentials", *SECRETS)

    assert purged(computer) == ""
    assert list((computer / "var/lib").iterdir()) == list((computer / "etc").iterdir()) == []


HOUSE = "households/casa-ines"


@pytest.mark.parametrize(
    ("in_state", "in_etc"),
    [
        ([""], [""]),
        (["households", "ledger.sqlite3.photos", ".cache"], ["households", "credentials"]),
        ([HOUSE, ".cache/matplotlib"], [HOUSE]),
        ([f"{HOUSE}/ledger.sqlite3.photos"], [f"{HOUSE}/credentials"]),
    ],
)
def test_what_a_link_leads_to_is_not_purged(
    computer: Path, in_state: list[str], in_etc: list[str]
) -> None:
    """An operator may have moved a folder to another disk; or somebody has put a link there."""
    disk = computer.parent / "disk"
    there = put(disk, *IN_A_STATE_FOLDER, "shared.sqlite3", *SECRETS, "0a1b.jpg", "fonts.json")
    for folder in ("casa-ines", "casa-ines/credentials", HOUSE, "matplotlib"):
        there += put(disk / folder, *IN_A_STATE_FOLDER, *SECRETS)
    links = [computer / "var/lib/sillward" / name for name in in_state]
    links += [computer / "etc/sillward" / name for name in in_etc]
    for link in links:
        if link.exists():
            link.rmdir()
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(disk)

    said = purged(computer)

    assert [file for file in there if not file.exists()] == []
    assert all(link.is_symlink() and str(link) in said for link in links)


def test_a_link_in_the_place_of_a_file_stays(computer: Path) -> None:
    (theirs,) = put(computer.parent / "disk", "years")
    for path in (computer / "var/lib/sillward/ledger.sqlite3", computer / "etc/sillward/channel-a"):
        path.symlink_to(theirs)

    purged(computer)

    assert (computer / "var/lib/sillward/ledger.sqlite3").is_symlink()
    assert theirs.read_text(encoding="utf-8") == "years"


@pytest.mark.parametrize(
    ("accounts", "became"),
    [
        ("root:x:0:0::/:\nsillward:x:417:418::/:\n", "--reuid=417 --regid=418 --clear-groups --"),
        ("root:x:0:0::/:\n", None),
        ("sillward:x:0:0::/:\n", None),
    ],
)
def test_root_forgets_as_the_service_or_not_at_all(
    computer: Path, accounts: str, became: str | None
) -> None:
    """With programs in the place of those that say who is root and become another."""
    (ours,) = put(computer / "var/lib/sillward", "ledger.sqlite3")
    (computer / "etc/passwd").write_text(accounts, encoding="utf-8")
    programs = computer.parent / "programs"
    put(programs, "id", "setpriv")
    (programs / "id").write_text("#!/bin/sh\necho 0\n", encoding="utf-8")
    (programs / "setpriv").write_text(
        '#!/bin/sh\necho "$1 $2 $3 $4"\nshift 4\nexec "$@"\n', encoding="utf-8"
    )
    for program in programs.iterdir():
        program.chmod(0o755)

    said = purged(computer, PATH=f"{programs}:/usr/bin:/bin")

    assert ours.exists() == (became is None)
    assert said.startswith(f"{became}\n" if became else "sillward: left as it is")


def test_what_is_left_is_named_without_what_controls_a_terminal(computer: Path) -> None:
    put(computer / "var/lib/sillward", "a\x1b[31mb\nc\u009b")

    said = purged(computer)

    assert "a?[31mb" in said
    assert all(" " <= character <= "~" for character in said.removesuffix("\n"))


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
