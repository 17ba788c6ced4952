"""What a shell is offered when the Tab key is pressed; whatever is wrong, it is offered nothing."""

from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.shell_completion import CompletionItem, ShellComplete
from click.testing import CliRunner

from sillward.assembly.examples import DEMOS
from sillward.cli import completion, main
from sillward.ledger import Ledger
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round
from tests.support.chores import a_chore
from tests.support.paths import COLLECTIONS, EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"
NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _world(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(completion, "utc_now", lambda: NOW)
    monkeypatch.setenv("SILLWARD_COLLECTION", str(COURTYARD))


def items(*words: str) -> list[CompletionItem]:
    """The offers for the last word of a command line."""
    *before, incomplete = words
    shell = ShellComplete(main, {}, "sillward", "_SILLWARD_COMPLETE")
    return shell.get_completions(list(before), incomplete)


def offers(*words: str) -> list[str]:
    return [item.value for item in items(*words)]


# -- what click knows by itself


def test_commands_are_completed() -> None:
    assert offers("st") == ["status", "stopped"]
    assert offers("try") == ["try-channel", "try-sensors"]


def test_recorded_weather_is_completed() -> None:
    assert offers("demo", "") == list(DEMOS)


@pytest.mark.parametrize("command", ["sheet", "send"])
def test_rounds_are_completed(command: str) -> None:
    assert set(offers(command, "--round", "")) == {round_.value for round_ in Round}


@pytest.mark.parametrize("option", ["--collection", "--recorded"])
def test_files_are_left_to_the_shell(option: str) -> None:
    (item,) = items("sheet", option, "x")

    assert item.type == "file"


# -- plants


def test_plants_are_completed_word_by_word() -> None:
    assert offers("why", "b") == ["Blue", "Boat"]
    assert offers("why", "Blue", "") == ["basket"]
    assert offers("why", "strap-leaf", "by", "") == ["the"]
    assert offers("why", "Blue", "basket", "") == []


def test_a_plant_that_is_moved_is_followed_by_a_spot() -> None:
    assert offers("move", "b") == ["Blue", "Boat"]
    assert offers("move", "Blue", "") == ["basket"]
    assert offers("move", "Blue", "basket", "") == ["pergola", "wall", "sunroom", "back"]
    assert offers("move", "Blue basket", "wall", "") == ["bench"]
    assert offers("move", "Blue", "basket", "s") == ["sunroom"]


@pytest.mark.parametrize("command", ["done", "move"])
def test_who_says_so_is_completed_from_those_who_sign_in(command: str, tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    text = COURTYARD.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[page]\npeople = ["Inés", "Luz", "$(id)"]\n', encoding="utf-8")

    assert offers(command, "--collection", str(path), "--by", "") == ["Inés", "Luz"]
    assert offers(command, "--collection", str(path), "--by", "l") == ["Luz"]


def test_in_a_quote_the_whole_name_is_completed() -> None:
    assert offers("why", "Blue b") == ["Blue basket"]


def test_a_word_of_many_plants_is_offered_once(tmp_path: Path) -> None:
    path = renamed(tmp_path, {"Blue basket": "Old basket"})

    assert offers("why", "--collection", str(path), "Old") == ["Old"]
    assert offers("why", "--collection", str(path), "Old", "") == ["basket", "cattleya"]


def renamed(folder: Path, names: dict[str, str]) -> Path:
    text = COURTYARD.read_text(encoding="utf-8")
    for old, new in names.items():
        text = text.replace(f'"{old}"', f"'{new}'" if "'" not in new else f'"{new}"')
    path = folder / "yard.toml"
    path.write_text(text, encoding="utf-8")
    return path


HOSTILE = ["$(touch x)", "`id`", "x;reboot", "a|b", "~root", "-rf", "&", "*", "Ann's", "a\\b", "#1"]


@pytest.mark.parametrize("name", HOSTILE)
def test_what_a_shell_would_run_is_not_offered(tmp_path: Path, name: str) -> None:
    path = renamed(tmp_path, {"Blue basket": f"{name} zz", "Grey curls": f"zz {name}"})

    assert "Moth" in offers("why", "--collection", str(path), "")
    assert name.split()[0] not in offers("why", "--collection", str(path), "")
    assert offers("why", "--collection", str(path), f"{name} ") == []
    assert name.split()[0] not in offers("why", "--collection", str(path), "zz", "")


@pytest.mark.parametrize("name", ["蘭の花", "סחלב", "Ñandú", "हिन्दी"])
def test_letters_of_every_script_are_offered(tmp_path: Path, name: str) -> None:
    path = renamed(tmp_path, {"Blue basket": f"{name} 2"})

    assert offers("why", "--collection", str(path), name[:2]) == [name]


def test_the_name_that_was_completed_is_understood_without_quotes() -> None:
    recorded = str(EXAMPLES / "recorded" / "cold-snap.json")

    result = CliRunner().invoke(main, ["why", "Blue", "basket", "--recorded", recorded])

    assert result.exit_code == 0
    assert result.stdout.startswith("Blue basket at its home")


# -- channels


def test_channels_are_completed_with_what_they_are_told() -> None:
    (item,) = items("try-channel", "--collection", str(COLLECTIONS / "good.toml"), "ph")

    assert item.value == "phone"
    assert "dusk" in str(item.help)
    assert "secret-topic" not in f"{item.value}{item.help}"
    assert offers("try-channel", "--collection", str(COLLECTIONS / "good.toml"), "x") == []


# -- chores


def told(folder: Path) -> Ledger:
    ledger = Ledger(folder / "ledger.sqlite3")

    def chore(kind: str, day: str, before: str) -> Chore:
        at, way = datetime.fromisoformat(f"{day}T{before}-03:00"), ("pergola", "sunroom")
        chore_id = f"{day}-{kind}-pergola-to-sunroom"
        return a_chore(chore_id, at, ChoreKind(kind), ["Blue basket"], way)

    chores = [
        chore("carry-in", "2026-05-14", "17:25"),
        chore("mist", "2026-05-14", "09:25"),
        chore("carry-out", "2026-05-15", "14:00"),
        chore("carry-in", "2026-05-11", "17:25"),
    ]
    ledger.keep_round(
        "Courtyard", "dusk", date(2026, 5, 14), NOW - timedelta(hours=1), notices=[], chores=chores,
        states_now={"Blue basket": PlantState("sunroom")},
    )  # fmt: skip
    return ledger


def test_open_chores_are_completed_kinds_first(tmp_path: Path) -> None:
    """Not tomorrow's, which nobody can have done, and not those of long ago."""
    told(tmp_path).close()

    assert offers("done", "") == [
        "mist",
        "carry-in",
        "pergola",
        "all",
        "2026-05-14-mist-pergola-to-sunroom",
        "2026-05-14-carry-in-pergola-to-sunroom",
        "Blue basket",
    ]
    assert offers("done", "all", "") == ["but", "Blue basket"]
    assert offers("done", "carry") == ["carry-in"]
    (item,) = items("done", "2026-05-14-c")
    assert item.help == "Blue basket"


def test_a_chore_that_is_done_is_not_offered(tmp_path: Path) -> None:
    with closing(told(tmp_path)) as ledger:
        ledger.confirm("Courtyard", NOW, {"2026-05-14-mist-pergola-to-sunroom": None}, {})

    assert "mist" not in offers("done", "")
    assert offers("done", "") != []


# -- whatever is wrong

LINES = [["why", ""], ["done", ""], ["try-channel", ""]]


@pytest.mark.parametrize("line", LINES, ids=lambda line: str(line[0]))
def test_with_a_wrong_collection_nothing_is_offered(
    line: list[str], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    for path in (COLLECTIONS / "ten-mistakes.toml", COLLECTIONS / "nowhere.toml"):
        monkeypatch.setenv("SILLWARD_COLLECTION", str(path))

        assert offers(*line) == []
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("line", LINES, ids=lambda line: str(line[0]))
def test_with_a_wrong_setting_nothing_is_offered(
    line: list[str], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "wrong")

    assert offers(*line) == []
    assert capfd.readouterr() == ("", "")


def test_without_a_ledger_no_chore_is_offered_and_none_is_made(tmp_path: Path) -> None:
    assert offers("done", "") == []
    assert list(tmp_path.iterdir()) == []


def test_with_a_broken_ledger_no_chore_is_offered(tmp_path: Path) -> None:
    (tmp_path / "ledger.sqlite3").write_bytes(b"this is no database, whatever its name says" * 99)

    assert offers("done", "") == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_script(shell: str) -> None:
    result = CliRunner().invoke(
        main, prog_name="sillward", env={"_SILLWARD_COMPLETE": f"{shell}_source"}
    )

    assert result.exit_code == 0
    assert f"_SILLWARD_COMPLETE={shell}_complete" in result.stdout


def test_keys_to_change_are_those_of_the_collection() -> None:
    assert offers("replay", "--set", "habits.la") == ["habits.latest_after_sunset="]
    assert offers("replay", "--set", "plants.*.limits.night_l") == ["plants.*.limits.night_low="]
    assert offers("replay", "--set", "nothing") == []


def test_several_plants_are_completed_one_after_another_and_the_word_of_a_look() -> None:
    assert offers("look", "d") == ["Dancing", "dry"]
    assert offers("look", "Blue", "") == ["basket"]
    assert "dry" in offers("look", "Blue", "basket", "")
    assert offers("look", "Blue basket", "grey", "") == ["curls"]
    assert offers("look", "dry", "Blue", "basket", "g") == ["Grey"]
    assert "moist" not in offers("look", "dry", "Blue", "basket", "")
    assert offers("damage", "--none", "Blue", "basket", "g") == ["Grey"]
    assert offers("look", "nobody", "") == []
