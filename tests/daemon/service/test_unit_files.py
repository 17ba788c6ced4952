"""The unit files against the code they start, and against systemd where there is one."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from sillward.assembly.app import Options, build, channel_url, mqtt_password
from sillward.assembly.examples import examples
from sillward.assembly.providers import setup_of
from sillward.channels.dispatcher import AT_ONCE
from sillward.channels.sender import SEND_S
from sillward.config.credentials import passphrase_file, read_credential
from sillward.config.settings import (
    PREFIX,
    Settings,
    heartbeat_addresses,
    unknown_variables,
)
from sillward.config.stopped_notice_settings import read_stopped_notice_settings
from sillward.errors import ConfigError, UsageError
from sillward.net import fetch
from sillward.page.household_pages import LIMITS
from sillward.service import daemon
from tests.support.paths import ROOT

FOLDER = ROOT / "systemd"

NAMES = ("sillward.service", "sillward-stopped.service")

EVERY_UNIT = [folder + name for folder in ("", "user/") for name in NAMES]

COURTYARD = examples() / "courtyard.toml"

COMMANDS = {
    "sillward.service": "/usr/local/bin/sillward run",
    "sillward-stopped.service": "/usr/local/bin/sillward stopped",
    "user/sillward.service": "%h/.local/bin/sillward run",
    "user/sillward-stopped.service": "%h/.local/bin/sillward stopped",
}

_SECONDS = {"": 1, "s": 1, "min": 60, "h": 3600}


@dataclass(frozen=True)
class Unit:
    """The content of one file; a commented assignment is an offer to the grower."""

    name: str
    said: tuple[tuple[str, str, str], ...]
    """Section, key, value."""
    offered: tuple[tuple[str, str], ...]

    def all(self, key: str) -> list[str]:
        return [value for _, name, value in self.said if name == key]

    def one(self, key: str) -> str:
        (value,) = self.all(key)
        return value

    def seconds(self, key: str) -> float:
        match = re.fullmatch(r"(\d+) ?(s|min|h|)", self.one(key))
        assert match, self.one(key)
        return int(match[1]) * _SECONDS[match[2]]


def read(name: str) -> Unit:
    section, said, offered = "", [], []
    for line in (FOLDER / name).read_text(encoding="utf-8").splitlines():
        if match := re.fullmatch(r"\[(\w+)\]", line):
            section = match[1]
        elif match := re.fullmatch(r"(#?)([A-Z]\w*)=(.*)", line):
            if match[1]:
                offered.append((match[2], match[3]))
            else:
                said.append((section, match[2], match[3]))
        else:
            assert not line or line.startswith("# "), line
    return Unit(name, tuple(said), tuple(offered))


@pytest.fixture(params=EVERY_UNIT)
def unit(request: pytest.FixtureRequest) -> Unit:
    return read(request.param)


@pytest.fixture(params=["sillward.service", "user/sillward.service"])
def service(request: pytest.FixtureRequest) -> Unit:
    return read(request.param)


@pytest.fixture(params=["sillward-stopped.service", "user/sillward-stopped.service"])
def stopped(request: pytest.FixtureRequest) -> Unit:
    return read(request.param)


# -- against the code


def test_it_runs_the_command(unit: Unit) -> None:
    assert unit.one("ExecStart") == COMMANDS[unit.name]


def test_the_daemon_tells_that_it_is_there_before_systemd_loses_patience(service: Unit) -> None:
    assert service.one("Type") == "notify"
    assert service.one("NotifyAccess") == "main"
    assert service.seconds("TimeoutStartSec") >= 2 * daemon.READY_S


def test_the_watchdog_is_patient_and_comes_after_the_daemon_s_own_end(service: Unit) -> None:
    watchdog_s = service.seconds("WatchdogSec")

    assert watchdog_s >= 10 * daemon.LOOK_S  # a starved machine is no dead daemon
    # The last feeding is at most STALL_S after the last sign of work.
    assert daemon.STALL_S + watchdog_s > daemon.MAX_IDLE_S + 2 * daemon.LOOK_S


def test_no_single_step_of_work_is_taken_for_a_stall() -> None:
    """The longest steps between two signs of life are a send, or all calls of a refresh."""
    longest_s = max(SEND_S, 3 * fetch.REQUEST_DEADLINE_S)

    assert daemon.TICK_S + daemon.LATE_S + daemon.LOOK_S + longest_s < daemon.STALL_S
    assert daemon.STALL_S < daemon.MAX_IDLE_S


def test_a_notice_that_is_due_is_out_within_a_minute_of_any_thread_s_death() -> None:
    assert daemon.TICK_S + daemon.LATE_S + daemon.LOOK_S < 60


def test_what_has_begun_may_end_when_it_is_stopped(service: Unit) -> None:
    assert service.seconds("TimeoutStopSec") > max(SEND_S, 3 * fetch.REQUEST_DEADLINE_S)


def test_only_what_a_restart_cannot_cure_stops_it(service: Unit) -> None:
    assert service.one("Restart") == "always"
    assert service.one("RestartPreventExitStatus") == str(ConfigError.exit_status)


def test_a_last_word_that_can_never_be_said_is_not_tried_again(stopped: Unit) -> None:
    never = f"{UsageError.exit_status} {ConfigError.exit_status}"

    assert stopped.one("Type") == "oneshot"
    assert stopped.one("RestartPreventExitStatus") == never


def given_up_after_s(unit: Unit, lives_s: float) -> float | None:
    """Return after how long systemd gives up a process that dies again and again; None for
    never.

    systemd counts the starts in an interval that begins with the first of them.
    """
    cycle_s = lives_s + unit.seconds("RestartSec")
    given_up_s = int(unit.one("StartLimitBurst")) * cycle_s
    return given_up_s if given_up_s < unit.seconds("StartLimitIntervalSec") else None


def test_a_process_that_dies_again_and_again_is_given_up_and_told_of(service: Unit) -> None:
    at_once, slow_machine = given_up_after_s(service, 2), given_up_after_s(service, 20)
    hanging = given_up_after_s(service, daemon.MAX_IDLE_S)

    assert at_once is not None
    assert 900 <= at_once <= 1200
    assert slow_machine is not None
    assert hanging is not None  # it kills itself, is started again, and hangs again
    assert service.one("OnFailure") == "sillward-stopped.service"
    assert given_up_after_s(service, 24 * 3600) is None


def test_the_last_word_is_tried_for_a_while_and_not_for_ever(stopped: Unit) -> None:
    given_up_s = given_up_after_s(stopped, 0)

    assert given_up_s is not None
    assert given_up_s <= 3600


def test_a_variable_that_is_set_is_a_setting(unit: Unit, monkeypatch: pytest.MonkeyPatch) -> None:
    variables = [value.partition("=")[0] for value in unit.all("Environment")]

    for name in variables:
        assert name.removeprefix(PREFIX).lower() in Settings.model_fields
        monkeypatch.setenv(name, "/nowhere")
    assert unknown_variables() == []


def credentials(unit: Unit) -> Iterator[tuple[str, str]]:
    given = unit.all("LoadCredential")
    given += [value for key, value in unit.offered if key == "LoadCredential"]
    for value in given:
        name, _, path = value.partition(":")
        yield name, path


@pytest.mark.parametrize("name", NAMES)
def test_a_credential_is_one_that_is_looked_for(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each one that is put into the folder is found where it is used."""
    offered = dict(credentials(read(name)))
    for credential, path in offered.items():
        assert path == f"/etc/sillward/{credential}"
        (tmp_path / credential).write_text(f"https://localhost/{credential}", encoding="utf-8")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))

    if name == "sillward.service":
        app = build(Options(COURTYARD))
        found = [channel_url(app.settings, "phone"), setup_of(app.settings, "open-meteo").api_key]
        found += [*heartbeat_addresses(app.settings), mqtt_password(app.settings)]
        found.append(read_credential(app.settings.credentials, passphrase_file(None)))
    else:
        last = read_stopped_notice_settings()
        assert list(last.channels) == ["last-word"]
        (tmp_path / "last-word").unlink()
        found = [
            *last.channels.values(),
            *read_stopped_notice_settings().channels.values(),
            last.trouble_url,
        ]

    texts = {secret.get_secret_value() for secret in found if secret is not None}
    assert texts == {f"https://localhost/{credential}" for credential in offered}


def test_every_offer_is_a_credential(unit: Unit) -> None:
    """A commented line is words, or an offer that works when the # is taken away."""
    assert {key for key, _ in unit.offered} <= {"LoadCredential"}


def test_the_user_s_units_find_the_url_of_a_channel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They do so unedited, with a collection and a file beside it."""
    home = tmp_path / "home"
    folder = home / ".config" / "sillward"
    folder.mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    for value in read("user/sillward.service").all("Environment"):
        name, _, text = value.partition("=")
        monkeypatch.setenv(name, text.replace("%h", str(home)))
    text = COURTYARD.read_text(encoding="utf-8")
    channel = '\n[[channels]]\nname = "phone"\nrounds = ["dusk"]\n'
    (folder / "collection.toml").write_text(text + channel, encoding="utf-8")
    (folder / "channel-phone").write_text("json://localhost/here\n", encoding="utf-8")

    app = build(Options())

    url = app.household.channels[-1].url
    assert url is not None
    assert url.get_secret_value() == "json://localhost/here"


def test_the_system_s_paths_are_those_of_its_directories() -> None:
    unit = read("sillward.service")

    assert unit.one("StateDirectory") == "sillward"
    assert unit.one("ConfigurationDirectory") == "sillward"
    assert unit.all("Environment") == ["SILLWARD_COLLECTION=/etc/sillward/collection.toml"]


@pytest.mark.parametrize("name", NAMES)
def test_the_user_s_units_ask_for_nothing_that_needs_privileges(name: str) -> None:
    unit = read(f"user/{name}")
    beyond = ("Protect", "Private", "DynamicUser", "Capability", "StateDirectory", "RemoveIPC")

    assert [key for _, key, _ in unit.said if key.startswith(beyond)] == []
    assert unit.all("After") == []  # a user's manager has no network-online.target


@pytest.mark.parametrize("folder", ["", "user/"])
def test_both_units_are_hardened_alike(folder: str) -> None:
    """All lines of the hardening are the same, and in the same order, but for memory and tasks:
    only the daemon makes photos small, and sends to many."""

    def hardening(name: str) -> list[tuple[str, str]]:
        own = ("MemoryMax", "OOMPolicy", "TasksMax")
        said = [(key, value) for _, key, value in read(folder + name).said if key not in own]
        first = said.index(("NoNewPrivileges", "yes"))
        return said[first : said.index(("SystemCallErrorNumber", "EPERM")) + 1]

    assert len(hardening(NAMES[0])) > 10
    assert hardening(NAMES[0]) == hardening(NAMES[1])


@pytest.mark.parametrize("folder", ["", "user/"])
def test_the_daemon_may_have_the_threads_that_it_needs_at_dusk(folder: str) -> None:
    """Two children that send, each with a thread for each message, one that ends what takes too
    long and its first; the page; and twice what the daemon was seen to have besides."""
    sending = 2 * (AT_ONCE + 2)
    page = LIMITS.threads + 4

    assert int(read(f"{folder}sillward.service").one("TasksMax")) >= sending + page + 2 * 20


def test_no_core_with_secrets_is_written(unit: Unit) -> None:
    assert unit.one("LimitCORE") == "0"


# -- against systemd


@pytest.fixture
def analyze() -> str:
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not installed")
    return found


def copied(folder: str, into: Path) -> list[str]:
    """Both units of a folder, with a program that exists."""
    paths = []
    for name in NAMES:
        text = (FOLDER / folder / name).read_text(encoding="utf-8")
        text = re.sub(r"ExecStart=\S+", f"ExecStart={shutil.which('true')}", text)
        # Offers are checked as if they were taken.
        text = re.sub(r"^#(?=[A-Z]\w*=)", "", text, flags=re.MULTILINE)
        (into / name).write_text(text, encoding="utf-8")
        paths.append(str(into / name))
    return paths


@pytest.mark.parametrize("folder", ["", "user"])
def test_systemd_understands_every_line(analyze: str, folder: str, tmp_path: Path) -> None:
    # A user's manager wants a place at run time, the system's is not asked where it is.
    result = subprocess.run(
        [analyze, *(["--user"] if folder else []), "verify", *copied(folder, tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)},
    )

    assert result.stderr == ""
    assert result.returncode == 0


@pytest.mark.parametrize("name", NAMES)
def test_systemd_finds_the_system_units_well_locked_up(
    analyze: str, name: str, tmp_path: Path
) -> None:
    """The exposure is at most 2.0 of 10."""
    version = subprocess.run([analyze, "--version"], capture_output=True, text=True, check=True)
    if int(version.stdout.split()[1]) < 250:
        pytest.skip("this systemd-analyze cannot judge a unit that is not installed")
    copied("", tmp_path)
    result = subprocess.run(
        [analyze, "security", "--offline=yes", "--threshold=20", str(tmp_path / name)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert result.returncode == 0, result.stdout[-500:]
    assert "Overall exposure level" in result.stdout
