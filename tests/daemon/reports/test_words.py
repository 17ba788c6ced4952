"""Units and wording of the collection: read, checked, listed by `words`, told in sheets."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sillward.cli import main
from sillward.config.loader import load_household
from sillward.errors import ConfigError
from sillward.text.units import SI, Units
from sillward.wording import macros
from tests.support.paths import EXAMPLES

COURTYARD = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
COLD_SNAP = EXAMPLES / "recorded" / "cold-snap.json"
SHORT = ("sheet", "--recorded", str(COLD_SNAP), "--short", "--round")

IN_US = 'temperature = "°F"\nclock = "12 h"\nwind = "mph"\n'


def yard(folder: Path, notices: str = "", own: str | None = None) -> Path:
    """The example with this in [notices], and a file of wording."""
    path = folder / "yard.toml"
    path.write_text(f"{COURTYARD}\n[notices]\n{notices}", encoding="utf-8")
    if own is not None:
        (folder / "words").mkdir()
        (folder / "words" / "own.jinja").write_text(own, encoding="utf-8")
    return path


def call(*arguments: object) -> Result:
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.mark.parametrize(
    ("notices", "units"),
    [
        ("", SI),
        (IN_US, Units("°F", "12 h", "mph")),
        ('temperature = "F"\nwind = "km/h"', Units("°F", "24 h", "km/h")),
        ('temperature = "C"', SI),
    ],
)
def test_units_are_read(tmp_path: Path, notices: str, units: Units) -> None:
    household = load_household(yard(tmp_path, notices))

    assert household.units == units
    assert household.voice.units == units


@pytest.mark.parametrize(
    ("notices", "told"),
    [
        ('temperature = "K"', "notices: temperature"),
        ('clock = "24"', "notices: clock"),
        ('wind = "knots"', "notices: wind"),
        ('wording = "nowhere"', "notices.wording: "),
        ('wording = ""', "notices: wording"),
        ("wording = 3", "notices: wording"),
    ],
)
def test_what_is_wrong_with_them_is_told_by_its_key(
    tmp_path: Path, notices: str, told: str
) -> None:
    with pytest.raises(ConfigError) as raised:
        load_household(yard(tmp_path, notices))

    (line,) = raised.value.lines
    assert told.split(": ")[0] in line
    assert told.rstrip(": ").split(": ")[-1].split(".")[-1] in line


def test_wording_is_looked_for_beside_the_collection(tmp_path: Path) -> None:
    path = yard(tmp_path, 'wording = "words"', "{% macro stay_in(who) %}In {{ who }}{% endmacro %}")

    assert set(load_household(path).wording.own) == {"stay_in"}


def test_a_sheet_is_told_in_them(tmp_path: Path) -> None:
    own = "{% macro stay_tonight(who) %}Adentro: {{ who }}{% endmacro %}"
    path = yard(tmp_path, f'{IN_US}wording = "words"', own)

    for round_ in ("dusk", "morning", "week"):
        told = call(*SHORT, round_, "--collection", path).stdout

        assert not re.search(r"°C|\b\d\d:\d\d\b(?! [ap]m)| K\b|m/s", told)
    assert re.search(
        r"Carry in \d plants now, \d more by 6:\d\d pm",
        call(*SHORT, "dusk", "--collection", path).stdout,
    )
    assert "Leaves cool to 39.2 °F by 8:00 am; Blue basket needs 57.2" in call(
        *SHORT, "dusk", "--collection", path
    ).stdout.replace("\n  ", " ")


def test_the_document_is_the_same_in_all_units(tmp_path: Path) -> None:
    arguments = ("sheet", "--recorded", COLD_SNAP, "--json", "--round", "week", "--collection")
    (tmp_path / "si").mkdir()

    told = [call(*arguments, yard(tmp_path / "si")), call(*arguments, yard(tmp_path, IN_US))]

    assert told[0].stdout == told[1].stdout


# -- check


def test_a_check_tries_the_wording(tmp_path: Path) -> None:
    path = yard(tmp_path, 'wording = "words"', "{% macro stay_in(who) %}{{ x }}{% endmacro %}")

    result = call("check", "--collection", path)

    assert (result.exit_code, result.stdout) == (78, "")
    assert result.stderr == (
        "sillward: yard.toml: notices.wording: own.jinja: macro stay_in: "
        "UndefinedError: 'x' is undefined\n"
    )


def test_a_check_says_what_the_wording_leaves_out_and_passes(tmp_path: Path) -> None:
    own = "{% macro why(value) %}{{ value }}{% endmacro %}"
    path = yard(tmp_path, 'wording = "words"', own)

    result = call("check", "--collection", path)

    assert result.exit_code == 0
    assert "own.jinja: macro why does not tell quantity, hour" in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    ("notices", "told"),
    [
        ("", "°C, 24 h, m/s"),
        (f'{IN_US}wording = "words"', "°F, 12 h, mph; 1 line in your own words"),
    ],
)
def test_a_check_says_how_one_is_spoken_to(tmp_path: Path, notices: str, told: str) -> None:
    path = yard(tmp_path, notices, "{% macro stay_in(who) %}Adentro: {{ who }}{% endmacro %}")

    shown = call("check", "--full", "--collection", path).stdout

    assert re.search(rf"^told in: +{re.escape(told)}$", shown, re.MULTILINE)


@pytest.mark.parametrize(
    ("page", "status"),
    [
        ("<p>{{ site }}: {{ sentence }}</p>", 0),
        ("<p>{{ sentence }}{{ sight }}</p>", 78),
        ("<p>{{ sentence }}</p>{% if week %}{{ week.sight }}{% endif %}", 78),
        ("<p>{{ sentence }}</p>{% for one in charts %}{{ one.sight }}{% endfor %}", 78),
        ("{# nothing #}", 78),
    ],
)
def test_a_check_tries_the_page_of_the_week(tmp_path: Path, page: str, status: int) -> None:
    path = yard(tmp_path, 'wording = "words"', "{% macro stay_in(who) %}{{ who }}{% endmacro %}")
    (tmp_path / "words" / macros.PAGE).write_text(page)

    result = call("check", "--collection", path)

    assert result.exit_code == status
    assert ("digest.html.jinja: " in result.stderr) == (status == 78)


# -- words


def test_words_lists_each_macro_with_what_it_is_told_and_says() -> None:
    told = call("words").stdout

    for name in macros.packaged().ours:
        assert re.search(rf"^  {name}\(", told, re.MULTILINE), name
    assert "  stay_in(who)\n    Keep in: Grey curls, Blue basket\n" in told
    assert all(len(line) <= 80 for line in told.splitlines())


def test_words_lists_those_asked_for_and_marks_the_growers(tmp_path: Path) -> None:
    own = "{% macro stay_in(who) %}Adentro: {{ who }}{% endmacro %}"
    path = yard(tmp_path, f'{IN_US}wording = "words"', own)

    told = call("words", "stay_in", "degrees", "may_stay", "--collection", path).stdout

    assert "Adentro: Grey curls, Blue basket   (own.jinja)" in told
    assert "tonight 48.6 °F" in told
    assert "head_in(" not in told


def test_words_that_there_are_not_are_refused() -> None:
    result = call("words", "nothing-like-it")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "no macro has a name like nothing-like-it" in result.stderr


def test_words_can_be_copied_to_start_from_and_nothing_is_overwritten(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "words"

    assert call("words", "--out", folder).exit_code == 0
    (folder / "push.jinja").write_text("{# mine #}")
    again = call("words", "--out", folder)

    assert {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()} == (
        macros.packaged_texts() | {"push.jinja": "{# mine #}"}
    )
    assert again.exit_code == 2
    assert "already exists; nothing was written" in again.stderr


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")

    result = call("words", "--out", tmp_path / "file" / "words")

    assert result.exit_code == 78
    assert "cannot be written" in result.stderr
