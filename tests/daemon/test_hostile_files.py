"""Files that mean ill: each is refused in few plain lines, and nothing of it reaches a terminal."""

import json
import logging
import os
import re
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from sillward import files
from sillward.cli import main
from sillward.cli.printing import print_json
from sillward.config import bounded_toml, loader
from sillward.config.credentials import read_credential
from sillward.errors import MAX_LINE_LENGTH, MAX_LINES, ConfigError, one_line
from sillward.text import output, printable
from sillward.wording import budget as budgets
from sillward.wording.budget import Budget, BudgetError
from sillward.wording.macros import with_own
from sillward.wording.voice import Voice
from sillward_rules.weather import time_expressions
from tests.support.desks import SITE

SIGNS = {
    "bell": "\a",
    "new line": "\n",
    "carriage return": "\r",
    "colour": "\x1b[31m",
    "title of the window": "\x1b]0;x\x07",
    "delete": "\x7f",
    "next line, C1": "\x85",
    "control sequence, C1": "\x9b31m",
    "soft hyphen": "\xad",
    "Arabic letter mark": "\u061c",
    "no width": "\u200b",
    "a joiner among letters a to z": "\u200d",
    "line separator": "\u2028",
    "right to left": "\u202e",
    "isolate": "\u2066",
    "byte order mark": "\ufeff",
    "blank letter": "\u3164",
    "tag": "\U000e0041",
}

GOOD = """
[site]
name = "Test court"
latitude = -32.9
longitude = -68.8
elevation = 780
zone = "America/Argentina/Mendoza"
[spots.bench]
[spots.room]
indoors = true
[[plants]]
name = "Test strap"
group = "vanda strap-leaf"
home = "bench"
shelter = "room"
holder = "basket"
"""

PLACES: dict[str, tuple[str, str]] = {
    "name of the site": ('name = "Test court"', 'name = "Test§court"'),
    "name of a spot": ("[spots.bench]", '[spots."bench§"]'),
    "name of a spot that nobody uses": ("[spots.room]", '[spots."un§used"]\n[spots.room]'),
    "unknown table": ("[spots.bench]", '["un§known"]\nx = 1\n[spots.bench]'),
    "unknown key": ("elevation = 780", 'elevation = 780\n"un§known" = 1'),
    "unknown key of a spot": ("indoors = true", 'indoors = true\n"un§known" = 1'),
    "name of a plant": ('"Test strap"', '"Test§strap"'),
    "group": ('group = "vanda strap-leaf"', 'group = "van§da"'),
    "parent": ('group = "vanda strap-leaf"', 'parents = ["vanda strap-leaf", "van§da"]'),
    "home": ('home = "bench"', 'home = "ben§ch"'),
    "shelter": ('shelter = "room"', 'shelter = "ro§om"'),
    "holder": ('holder = "basket"', 'holder = "pot§"'),
    "limit": ('home = "bench"', 'home = "bench"\nlimits = { "night§low" = 3 }'),
    "rule": ("[[plants]]", '[[rules]]\nname = "a§b"\nwatch = "v§pd"\nasks = "mi§st"\n[[plants]]'),
    "hour": ("[[plants]]", '[rounds]\ndusk = "17§:30"\n[[plants]]'),
    "wording": ("[[plants]]", '[notices]\nwording = "wo§rds"\n[[plants]]'),
    "channel": ("[[plants]]", '[[channels]]\nname = "pho§ne"\n[[plants]]'),
    "url of a channel": ("[[plants]]", '[[channels]]\nurl = "json://to§ken@h"\n[[plants]]'),
    "value of a wrong kind": ("latitude = -32.9", 'latitude = "32§S"'),
}


def in_toml(text: str) -> str:
    """Signs as escapes of TOML, which takes few of them as they are."""
    return "".join(f"\\U{ord(letter):08x}" for letter in text)


def check(folder: Path, text: str | bytes, *more: str) -> Result:
    file = folder / "garden.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return CliRunner().invoke(main, ["check", "--collection", str(file), *more])


def refused(result: Result) -> list[str]:
    """The lines of an error: few, short, each with its file, and plain."""
    assert result.exit_code == 78, result.output
    assert result.stdout == ""
    lines = result.stderr.removesuffix("\n").split("\n")
    assert len(lines) <= MAX_LINES + 1
    for line in lines:
        assert printable.unprintable(line) == []
        assert line.startswith("sillward: ")
        assert re.search(r"garden\.toml(:\d+)?: ", line)
        assert len(line) <= MAX_LINE_LENGTH + len("sillward: garden.toml:999999: ")
    return lines


@pytest.mark.parametrize("place", list(PLACES.values()), ids=list(PLACES))
def test_a_strange_sign_is_refused_wherever_it_stands(
    place: tuple[str, str], tmp_path: Path, subtests: pytest.Subtests
) -> None:
    before, after = place
    assert GOOD.count(before) == 1
    for name, sign in SIGNS.items():
        with subtests.test(name):
            text = GOOD.replace(before, after.replace("§", in_toml(sign)))
            lines = refused(check(tmp_path, text))
            assert any(f"without {printable.escaped_char(sign[0])}" in line for line in lines)
            assert not any("to\\" in line or "ken@h" in line for line in lines)  # it is a secret


def test_without_it_the_file_is_right(tmp_path: Path) -> None:
    assert check(tmp_path, GOOD).exit_code == 0


@pytest.mark.parametrize(
    "name", ["درخت\u200cها", "👩\u200d🌾 sill", "שלום\u200f", "東の棚", "Ünïcødé", "orquídea"]
)
def test_names_of_all_scripts_are_names(name: str, tmp_path: Path) -> None:
    assert printable.unprintable(name) == []
    result = check(tmp_path, GOOD.replace("Test strap", name))
    assert result.exit_code == 0, result.output
    assert name in result.stdout


@given(st.text())
def test_what_is_escaped_can_be_shown_and_what_can_be_shown_stays(text: str) -> None:
    shown = printable.escaped(text)

    assert printable.unprintable(shown) == []
    if not printable.unprintable(text):
        assert shown == text


# -- many, large and deep


def plants(number: int, of: str) -> str:
    one = '[[plants]]\nname = "{n}"\nhome = "bench"\nholder = "pot"\n'
    return GOOD + "".join(one.format(n=n) + of.replace("§", str(n)) + "\n" for n in range(number))


FLOODS: dict[str, Callable[[], str | bytes]] = {
    "unknown parents": lambda: plants(10_000, 'parents = ["nobody §"]'),
    "unknown homes": lambda: plants(5_000, 'group = "vanda strap-leaf"\nshelter = "nowhere §"'),
    "unknown keys": lambda: GOOD + "\n".join(f"key{n} = 1" for n in range(5_000)),
    "unknown tables": lambda: GOOD + "\n".join(f"[t{n}]" for n in range(5_000)),
    "a long key": lambda: GOOD + f"{'k' * 1_000_000} = 1\n",
    "a long name": lambda: GOOD.replace("Test strap", "n" * 1_000_000),
    "a long home": lambda: GOOD.replace('home = "bench"', f'home = "{"h" * 1_000_000}"'),
    "a long hour": lambda: GOOD + f'[rounds]\ndusk = "{"1" * 1_000_000}"\n',
    "strange names": lambda: plants(5_000, 'group = "van\\u202eda §"'),
    "brackets": lambda: "x = " + "[" * 10_000_000,
    "fewer brackets": lambda: "x = " + "[" * 4_000_000,
    "tables in tables": lambda: "x = " + "{a=" * 1_000_000,
    "a key of many parts": lambda: f"{'a.' * 1_000_000}b = 1",
    "a table of many parts": lambda: f"[{'a.' * 1_000_000}b]",
    "parts in quotes": lambda: '"a".' * 500_000 + "b = 1",
    "a text without end": lambda: 'x = "' + '\\"' * 2_000_000,
    "texts without end": lambda: "x = '''" + "''" * 1_000_000,
    "more than is read": lambda: GOOD + "#" * 5_000_000,
    "zeros": lambda: bytes(4_000_000),
}


@pytest.mark.parametrize("flood", list(FLOODS.values()), ids=list(FLOODS))
def test_a_flood_is_refused_in_few_lines(flood: Callable[[], str | bytes], tmp_path: Path) -> None:
    refused(check(tmp_path, flood()))


def test_the_errors_beyond_the_first_are_counted(tmp_path: Path) -> None:
    lines = refused(check(tmp_path, plants(10_000, 'parents = ["nobody §"]')))

    assert len(lines) == MAX_LINES + 1
    assert lines[-1] == f"sillward: garden.toml: and {10_000 - MAX_LINES:,} more"


def test_brackets_and_points_within_texts_are_no_nesting() -> None:
    text = 'a = "[[[[[[[[[[[[[[[[[[[[[[[[[" # [[[[[[[[[[[[[[[[[[[[[[[[[[[[\n'
    points = "b = '''........................'''\nc = [1.5, 1.5, 1.5, 1.5]\n" * 1

    assert bounded_toml.parse(text + points)["c"] == [1.5] * 4


# -- what is no file


def pipe(path: Path) -> None:
    os.mkfifo(path)


def endless(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(50_000_000)  # a hole: no room is taken


@pytest.mark.parametrize("make", [pipe, endless, Path.mkdir])
def test_only_files_of_a_fit_size_are_read(
    make: Callable[[Path], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("garden.toml", "own.jinja", "channel-phone", "stored.json"):
        make(tmp_path / name)

    with pytest.raises(ConfigError, match="cannot be read: it is"):
        loader.load_household(tmp_path / "garden.toml")
    with pytest.raises(ConfigError, match=r"own\.jinja: cannot be read: it is"):
        with_own(tmp_path)

    assert read_credential(tmp_path, "channel-phone") is None
    stored = CliRunner().invoke(
        main,
        ["sheet", "--collection", str(written(tmp_path)), "--recorded", f"{tmp_path}/stored.json"],
    )
    assert stored.exit_code == 1
    assert "cannot be read: it is" in stored.stderr


def written(folder: Path) -> Path:
    file = folder / "good.toml"
    file.write_text(GOOD, encoding="utf-8")
    return file


def test_a_file_is_read_no_further_than_is_told(tmp_path: Path) -> None:
    file = tmp_path / "file"
    endless(file)
    tracemalloc.start()
    try:
        with pytest.raises(OSError, match="larger than 1 MB"):
            files.read(file, 1_000_000)
        assert tracemalloc.get_traced_memory()[1] < 5_000_000
    finally:
        tracemalloc.stop()


# -- digits


@pytest.mark.parametrize(
    ("parse", "text"),
    [
        (time_expressions.parse_moment, "١٧:٣٠"),
        (time_expressions.parse_moment, "１７:30"),
        (time_expressions.parse_moment, "sunset-９０min"),
        (time_expressions.parse_moment, "1_7:30"),
        (time_expressions.parse_weekly, "sun １８:00"),
        (time_expressions.parse_duration, "४५ min"),
        (time_expressions.parse_duration, "1_0 min"),
        (time_expressions.parse_hours, "१०:००-17:00"),
        (time_expressions.parse_hours, "10:00 to １７:00"),
    ],
)
def test_digits_of_other_scripts_are_none_in_times(
    parse: Callable[[str], object], text: str
) -> None:
    with pytest.raises(ValueError, match="write"):
        parse(text)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("[rounds]\ndusk", "١٧:٣٠"),
        ("[rounds]\nweek", "sun １８:00"),
        ("[notices]\nquiet", "٢٢:٠٠ to 06:00"),
        ("[notices]\nremind", "３０ min"),
        ("[feed]\nwater_ec = 0.2\nppm_n = 60\nnpk", "２０-20-20"),
        ('[[rules]]\nname = "x"\nwatch = "vpd"\nasks = "mist"\nabove', "２.2 kPa"),
        ('[[rules]]\nname = "x"\nwatch = "vpd"\nasks = "mist"\nabove = "2 kPa"\nlasting', "２ h"),
    ],
)
def test_digits_of_other_scripts_are_none_in_a_collection(
    key: str, value: str, tmp_path: Path
) -> None:
    refused(check(tmp_path, f'{GOOD}\n{key} = "{value}"\n'))


@pytest.mark.parametrize("number", ["６０", "٦٠", "6_0", "6\u200b0"])
@pytest.mark.parametrize("option", ["--ppm-n", "--salt"])
def test_digits_of_other_scripts_are_none_on_the_command_line(option: str, number: str) -> None:
    value = number if option == "--ppm-n" else f"MgSO4.7H2O={number}"
    arguments = ["mix", "--npk", "20-20-20", "--water-ec", "0.3", "--grams-per-litre", "1"]
    result = CliRunner().invoke(main, [*arguments, option, value])

    assert result.exit_code == 2, result.output
    assert printable.unprintable(result.stderr.replace("\n", "")) == []


# -- macros


def own(folder: Path, body: str) -> Voice:
    text = f"{{% macro stay_in(who) %}}{body}{{% endmacro %}}"
    (folder / "own.jinja").write_text(text, encoding="utf-8")
    voice = Voice(SITE, wording=with_own(folder))
    still = Budget(clock=lambda: 0.0)  # it is the steps that end it, not this machine's speed
    vars(voice)["_budget"] = still
    return voice


def nested(levels: int) -> str:
    inner = "".join(
        f"{{% macro m{n} () %}}{{{{ m{n - 1}() }}}}{{{{ m{n - 1}() }}}}{{% endmacro %}}"
        for n in range(1, levels)
    )
    return f"{{% macro m0() %}}x{{% endmacro %}}{inner}{{{{ m{levels - 1}() }}}}"


LONG = "x" * 90_000
LIST = "[" + "1," * 400 + "]"
MACROS = {
    "loops in loops": f"{{% for a in {LIST} %}}{{% for b in {LIST} %}}{{% for c in {LIST} %}}"
    "{% endfor %}{% endfor %}{% endfor %}{{ who }}",
    "loops over nothing": f"{{% for a in {LIST} %}}{{% for b in {LIST} %}}"
    "{% for c in [] %}{% endfor %}{% endfor %}{% endfor %}{{ who }}",
    "doubling macros": nested(40),
    "a macro of itself": "{% macro m() %}{{ m() }}{{ m() }}{% endmacro %}{{ m() }}",
    "a doubling text": "{% set x = who %}" + "{% set x = x ~ x %}" * 60 + "{{ x }}",
    "a text added to itself": "{% set x = who %}" + "{% set x = x + x %}" * 60 + "{{ x }}",
    "a doubling list": "{% set x = [1] %}" + "{% set x = [x, x] %}" * 60 + "{{ x }}",
    "a doubling list, compared": "{% set x = [1] %}" + "{% set x = [x, x] %}" * 60 + "{{ x == x }}",
    "a list added to itself": "{% set x = [1] %}" + "{% set x = x + x %}" * 60 + "{{ x | length }}",
    "a dict of dicts": "{% set x = {} %}" + "{% set x = {1: x, 2: x} %}" * 60 + "{{ x }}",
    "a list as text": "{{ [who] * 400 }}",
    "a long text joined": '{% set x = "a" * 9999 %}{{ ([x] * 400) | join }}',
    "a long text of its own": f"{{% for a in {LIST} %}}{LONG[:9000]}{{% endfor %}}{{{{ who }}}}",
    "a loop that calls itself": "{% for a in [1] recursive %}{{ loop([1, 1]) }}{% endfor %}",
    "a wide date": '{{ who.strftime("%99999999d") }}',
    "many places": '{{ 1 | round(999999999, "ceil") }}',
    "many bytes": "{{ (1).to_bytes(1000000000) }}",
    "str.format": '{{ "{:>999999999}".format(1) }}',
    "a product": '{{ "x" * 999999999 }}',
    "a power": "{{ 9 ** 9 ** 9 }}",
    "words of ours in loops": f"{{% for a in {LIST} %}}{{% for b in {LIST} %}}"
    "{{ say.stay_in(who=who) }}{% endfor %}{% endfor %}",
}


@pytest.mark.parametrize("body", list(MACROS.values()), ids=list(MACROS))
def test_a_macro_that_would_go_on_for_ever_gives_way_to_ours(body: str, tmp_path: Path) -> None:
    try:
        voice = own(tmp_path, body)
    except ConfigError:  # refused when it is read: the better
        return
    ours = Voice(SITE).say("stay_in", who="Test strap")

    assert voice.say("stay_in", who="Test strap") == ours
    assert voice._budget._steps is None  # ours are not counted


def test_what_exhausts_its_budget_is_not_tried_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    voice = own(tmp_path, MACROS["loops in loops"])
    renewed: list[int] = []
    renew = Budget.renew

    class Counted(Budget):
        def renew(self, lines: int = 1) -> None:
            renewed.append(lines)
            renew(self, lines)

    vars(voice)["_budget"] = Counted(clock=lambda: 0.0)
    with caplog.at_level(logging.WARNING):
        for _ in range(5):
            voice.say("stay_in", who="Test strap")

    assert renewed == [1]
    (line,) = [record.getMessage() for record in caplog.records]
    assert line.endswith(f"more than {budgets.MAX_STEPS:,} steps for one line")


def test_time_is_looked_at_with_each_step() -> None:
    seconds = iter([0.0, *[0.1] * 9, budgets.MAX_CPU_S + 0.01])
    budget = Budget(clock=lambda: next(seconds))
    budget.renew()

    for _ in range(9):
        budget.spend()
    with pytest.raises(BudgetError, match=r"more than 0\.2 s"):
        budget.spend()

    budget.pause()
    budget.spend()


def test_compiling_is_not_counted_and_what_comes_after_it_is() -> None:
    seconds = iter([0.0, 0.1, 5.0, 5.05, 5.2])
    budget = Budget(clock=lambda: next(seconds))
    budget.renew()

    with budget.uncounted():  # from 0.1 s to 5 s
        pass
    budget.spend()
    with pytest.raises(BudgetError, match=r"more than 0\.2 s"):
        budget.spend()


def test_what_is_written_is_counted() -> None:
    budget = Budget(clock=lambda: 0.0)
    budget.renew()
    budget.spend(budgets.MAX_OUTPUT)

    with pytest.raises(BudgetError, match="characters written"):
        budget.spend(1)


# -- what is shown


@pytest.mark.parametrize("sign", list(SIGNS.values()), ids=list(SIGNS))
def test_whatever_is_printed_or_logged_is_plain(
    sign: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with output.escaped_output():
        logger = logging.Logger("test")
        logger.addHandler(logging.StreamHandler())
        click.echo(f"one{sign}two", color=True)
        logger.warning("reason=%s", f"one{sign}two")

    for said in capsys.readouterr():
        assert said.startswith(("one", "reason=one"))
        assert printable.unprintable(said.replace("\n", "")) == []


@pytest.mark.parametrize("sign", [*SIGNS.values(), "\ud800"])
def test_json_stays_json_and_is_plain(sign: str, capsys: pytest.CaptureFixture[str]) -> None:
    print_json({f"key{sign}": [f"x{sign}y"]})

    said = capsys.readouterr().out
    assert printable.unprintable(said.replace("\n", "")) == []
    assert json.loads(said) == {f"key{sign}": [f"x{sign}y"]}


@pytest.mark.parametrize("sign", list(SIGNS.values()), ids=list(SIGNS))
def test_what_a_provider_wrote_is_plain_in_an_error(sign: str) -> None:
    assert printable.unprintable(one_line(f"wrong{sign}url", 100)) == []
