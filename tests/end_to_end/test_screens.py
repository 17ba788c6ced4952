"""What every command prints fits a terminal, with colour for people and without for pipes.

Columns are counted by Unicode's own properties (UAX #11), not by the library that the code asks.
"""

import functools
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import unicodedata
from contextlib import closing
from fcntl import ioctl
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sillward.assembly import app, examples
from sillward.assembly.examples import DEMOS
from sillward.cli import main, shared
from sillward.config.loader import load_household
from sillward.config.settings import load_settings
from sillward.ledger import Ledger, SavedForecast
from sillward.text import terminal
from sillward.text.columns import Screen
from sillward_rules.sheet import Round
from tests.support.paths import EXAMPLES
from tests.support.slow import some_slow

COURTYARD = EXAMPLES / "courtyard.toml"
MAX_COLUMNS = 80

PAST = (
    *("--archive", EXAMPLES / "past-year.csv", "--from", "2024-11-22", "--to", "2024-11-23"),
    *("--errors", "none"),
)


def columns_of(text: str) -> int:
    return sum(
        0
        if unicodedata.category(character) in ("Mn", "Me", "Cf")
        else 2
        if unicodedata.east_asian_width(character) in "WF"
        else 1
        for character in text
    )


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if columns_of(line) > MAX_COLUMNS]


def recorded(weather: str) -> Path:
    return EXAMPLES / "recorded" / f"{weather}.json"


def call(*words: object, typed: str = "") -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def in_weather(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Now is the dusk of the recorded day, and nobody answers: neither provider nor channel."""
    secrets = tmp_path / "secrets"
    secrets.mkdir()
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(secrets))
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://127.0.0.1:9")
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "json://127.0.0.1:9/")


def household(folder: Path, weather: str, monkeypatch: pytest.MonkeyPatch, text: str) -> Path:
    """The collection with a channel, at dusk of the recorded day, its forecast in the ledger."""
    path = folder / "yard.toml"
    path.write_text(f'{text}\n[[channels]]\nname = "phone"\n', encoding="utf-8")
    demo = examples.demo(weather)
    now = demo.clock()
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: now))
    site = load_household(path).collection.site
    with closing(Ledger(load_settings().ledger)) as ledger:
        kept = SavedForecast("Open-Meteo", now, now, recorded(weather).read_bytes())
        ledger.forecasts.keep(site.name, kept)
    return path


def all_that_is_printed(path: Path, plant: str) -> dict[str, str]:
    """What each command says on standard output; the round is told, and cannot be sent."""
    told = ("--collection", path)
    calls = {"send": ("send", "--round", "dusk", *told), "check": ("check", *told)}
    calls["check --full"] = ("check", "--full", *told)
    for round_ in Round:
        calls[f"sheet {round_.value}"] = ("sheet", "--round", round_.value, *told)
    calls |= {
        "sheet --short": ("sheet", "--short", *told),
        "why": ("why", plant, *told),
        "forecast": ("forecast", *told),
        "status": ("status", *told),
        "read": ("read", "wall", "bench", "11.4", *told),
        "readings": ("readings", *told),
        "away": ("away", "today", "tomorrow", plant, "phone", *told),
        "away, who": ("away", *told),
        "away --list": ("away", "--list", *told),
        "away --end": ("away", "--end", *told),
        "try-channel": ("try-channel", *told),
        "done --later": ("done", "carry-in", "--later", *told),
        "done --not-needed": ("done", "carry-in", "--not-needed", *told),
        "done --undo": ("done", "--undo", *told),
        "done": ("done", "carry-in", "--by", "Ana", *told),
        "move": ("move", plant, "wall bench", *told),
        "move --undo": ("move", "--undo", plant, *told),
        "course": ("course", *told),
        "note": ("note", plant, "damage some spots on the old leaves", *told),
        "note --list": ("note", "--list", *told),
        "plant": ("plant", plant, *told),
        "damage": ("damage", plant, *told),
        "look": ("look", plant, "dry", *told),
        "passphrase": ("passphrase", *told),
        "skill": ("skill", *told),
    }
    typed = {"passphrase": "three brave geese\n" * 2}
    return {name: call(*words, typed=typed.get(name, "")).stdout for name, words in calls.items()}


def all_that_is_said_of_the_past(path: Path) -> dict[str, str]:
    """What the commands say that read an archive: no forecast changes it."""
    told = ("--collection", path)
    calls = {
        "replay": ("replay", *told, *PAST, "--away", "2024-11-22"),
        "replay --set": ("replay", *told, *PAST, "--set", "habits.lead=2 h"),
        "season": ("season", *told, *PAST[:2], "--quick"),
    }
    return {name: call(*words).stdout for name, words in calls.items()}


@pytest.mark.usefixtures("in_weather")
@pytest.mark.parametrize("weather", some_slow(DEMOS, {"mild-week", "wet-autumn"}))
def test_all_that_is_printed_fits_80_columns(
    weather: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = COURTYARD.read_text(encoding="utf-8")
    path = household(tmp_path, weather, monkeypatch, text)

    told = all_that_is_printed(path, "Blue basket") | {"demo": call("demo", weather).stdout}

    assert {name: lines for name, said in told.items() if (lines := too_wide(said))} == {}
    for name in [name for name in told if name.startswith("done")]:
        told.pop(name)  # there need not be anything to carry in
    assert [name for name, said in told.items() if not said.strip()] == []


def test_what_is_said_of_the_past_fits_too() -> None:
    told = all_that_is_said_of_the_past(COURTYARD)

    assert {name: lines for name, said in told.items() if (lines := too_wide(said))} == {}
    assert [name for name, said in told.items() if not said.strip()] == []


@pytest.mark.parametrize(
    "words",
    [
        ("groups",),
        ("skill", "--demo"),
        ("mix", "--npk", "20-20-20", "--grams-per-litre", "999", "--water-ec", "0.3",
         "--salt", "MgSO4.7H2O=9", "--litres", "9999", "--limit", "0.7", "--ca", "9"),
        *((name, "--help") for name in main.commands),
        ("--help",),
    ],
    ids=lambda words: " ".join(words[:2]),
)  # fmt: skip
def test_what_needs_no_collection_fits_too(words: tuple[str, ...]) -> None:
    result = call(*words)

    assert result.exit_code == 0
    assert result.stdout
    assert too_wide(result.stdout) == []


NAMES = {
    "wide": "蘭の花壇" * 20,
    "right to left": "סחלב אדום " * 7 + "סחלב",
    "combining": "Orchide\u0301e o\u0308 " * 5,
    "one word": "x" * 80,
}


@pytest.mark.usefixtures("in_weather")
@pytest.mark.parametrize("script", some_slow(NAMES, {"right to left", "one word"}))
def test_names_of_every_script_break_no_column(
    script: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name, text = NAMES[script], COURTYARD.read_text(encoding="utf-8")
    for old in ("Blue basket", "pergola", "Courtyard"):
        text = text.replace(f'"{old}"', f'"{name.strip()}"')
    text = text.replace("[spots.pergola]", f'[spots."{name.strip()}"]')
    path = household(tmp_path, "cold-snap", monkeypatch, text)

    told = all_that_is_printed(path, name.strip()) | all_that_is_said_of_the_past(path)

    assert {key: lines for key, said in told.items() if (lines := too_wide(said))} == {}
    letters = name.replace(" ", "")
    for key in ("check", "why", "status", "forecast", "done"):
        assert letters in "".join(told[key].split()), key
    # The other columns stand where they stand for a name that is short.
    lows = told["forecast"].partition("tonight, ")[2].splitlines()
    assert len({columns_of(low[: low.index("leaf ")]) for low in lows if "leaf " in low}) == 1


@pytest.mark.usefixtures("in_weather")
def test_status_has_its_columns_under_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = COURTYARD.read_text(encoding="utf-8")
    path = household(tmp_path, "cold-snap", monkeypatch, text)
    call("send", "--round", "dusk", "--collection", path)

    lines = call("status", "--collection", path).stdout.splitlines()

    plants = lines[lines.index("plants") + 1 :]
    spots = ("pergola", "wall bench", "sunroom", "back hall")
    assert len(plants) == 16
    begins = {max(line.rfind(f"  {spot}") for spot in spots) for line in plants}
    assert len(begins) == 1
    (notice,) = [line for line in lines if line.startswith("  2026-05-14  dusk  phone  waiting")]
    assert columns_of(notice) <= MAX_COLUMNS


MIX = ("mix", "--npk", "20-20-20", "--ppm-n", "60", "--water-ec", "0.3", "--limit", "0.5")


@pytest.mark.usefixtures("in_weather")
@pytest.mark.parametrize(
    ("command", "painted"),
    [
        ("status", "\x1b[1;31mwaiting; cannot be"),
        ("forecast", "\x1b[36mnight limit of 7 of 7 plants\x1b[0m"),
        ("forecast", "\x1b[32m  fresh: fetched "),
        ("mix", "\x1b[1;31m! over the limit of 0.5 mS/cm"),
        ("check", "\x1b[32mall is well: 16 plants\x1b[0m"),
    ],
)
def test_trouble_cold_and_good_have_a_colour_and_words_of_their_own(
    command: str, painted: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = COURTYARD.read_text(encoding="utf-8")
    path = household(tmp_path, "cold-snap", monkeypatch, text)
    call("send", "--round", "dusk", "--collection", path)
    words = MIX if command == "mix" else (command, "--collection", str(path))
    plain = call(*words).stdout

    monkeypatch.setattr(terminal, "screen", lambda **_: Screen(colour=True))
    coloured = CliRunner().invoke(main, words, color=True).stdout

    assert painted in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


# -- the real process, at a terminal and in a pipe


def environment(folder: Path, **more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    ledger = str(folder / "none.sqlite3")
    return kept | {"TERM": "xterm", "SILLWARD_LEDGER": ledger} | more


CHECK = (sys.executable, "-m", "sillward", "check", "--collection", str(COURTYARD))


def at_a_terminal(folder: Path, columns: int = 80, **more: str) -> str:
    """What `sillward check` shows on a terminal of so many columns."""
    master, slave = pty.openpty()
    ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    env = environment(folder, **more)
    with subprocess.Popen(CHECK, stdin=slave, stdout=slave, stderr=slave, env=env) as process:
        os.close(slave)
        said = b""
        while piece := _read(master):
            said += piece
    os.close(master)
    assert process.returncode == 0, said
    return said.decode().replace("\r\n", "\n")


def _read(master: int) -> bytes:
    try:
        return os.read(master, 65_536)
    except OSError:  # so Linux says that the other side has closed
        return b""


UNDERSTOOD = "understood: 16 plants; no channels, so nobody will be told anything"
"""The end of what CHECK prints."""


def test_a_terminal_shows_colours_where_they_mean_something(tmp_path: Path) -> None:
    said = at_a_terminal(tmp_path)

    assert f"\x1b[1;31m{UNDERSTOOD}\x1b[0m\n" in said
    assert said.count("\x1b[") == 2


@pytest.mark.parametrize(("name", "value"), [("NO_COLOR", "1"), ("TERM", "dumb")])
def test_who_wants_no_colours_gets_the_words_alone(tmp_path: Path, name: str, value: str) -> None:
    said = at_a_terminal(tmp_path, 80, **{name: value})

    assert "\x1b" not in said
    assert said.endswith(f"\n{UNDERSTOOD}\n")


def test_a_pipe_gets_neither_colours_nor_wide_lines(tmp_path: Path) -> None:
    result = subprocess.run(
        CHECK, env=environment(tmp_path, COLUMNS="200"), capture_output=True, text=True, check=True
    )

    assert "\x1b" not in result.stdout
    assert too_wide(result.stdout) == []
    assert result.stdout.endswith(f"\n{UNDERSTOOD}\n")
    assert result.stderr == ""


def test_a_wider_terminal_is_used(tmp_path: Path) -> None:
    narrow, wide = (at_a_terminal(tmp_path, columns) for columns in (80, 110))

    assert 80 < max(map(columns_of, wide.splitlines())) <= 110
    assert len(wide.splitlines()) < len(narrow.splitlines())
