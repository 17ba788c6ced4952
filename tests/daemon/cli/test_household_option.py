"""Commands of one household of a folder, and what is said of all of them."""

import json
from pathlib import Path

import pytest

from tests.support.commands import call
from tests.support.desks import DAY, local
from tests.support.fakes import FakeClock
from tests.support.houses import Street

EVENING = "2026-05-14T17:10"


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> Street:
    """Two households that were told their dusk, and one with a wrong collection."""
    street = Street(tmp_path_factory.mktemp("street"), FakeClock(local("16:59")))
    for name in ("casa", "patio"):
        street.add(name)
    street.add("wrong", "plants = 3")
    street.open()
    street.run(4)
    street.close()
    return street


@pytest.fixture(autouse=True)
def _settings(street: Street, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_COLLECTIONS", str(street.households))
    monkeypatch.setenv("SILLWARD_LEDGER", str(street.folder / "ledgers"))


def test_status_of_all_is_a_line_each_with_troubles_first() -> None:
    result = call("status")
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert lines[0] == "3 households, 1 in trouble"
    names = [line.split()[1] if line.startswith("!") else line.split()[0] for line in lines[1:]]
    assert names[-3:] == ["wrong", "casa", "patio"]
    assert "[site] is missing" in result.stdout
    document = json.loads(call("status", "--json").stdout)
    assert [each["troubles"] for each in document["households"]] == [1, 0, 0]


def test_a_command_says_which_household(street: Street) -> None:
    assert "casa" in call("status").stdout
    one = call("status", "--household", "casa", "--at", EVENING)
    assert "Courtyard" in one.stdout
    assert "Invented weather" in one.stdout or "dusk" in one.stdout
    done = call("done", "--household", "casa", "--at", EVENING, "carry", "in")
    assert (done.exit_code, done.stderr) == (0, "")
    answered = {}
    for name in ("casa", "patio"):
        ledger = street.ledger(name)
        answered[name] = [chore.done_at is not None for chore in ledger.chores.of_day(name, DAY)]
        ledger.close()
    assert answered == {"casa": [True], "patio": [False]}


def test_its_collection_file_means_the_household_too(street: Street) -> None:
    path = street.households / "patio" / "collection.toml"
    by_file = call("status", "--collection", str(path), "--at", EVENING, "--json")
    assert json.loads(by_file.stdout)["chores"] != []
    assert (
        by_file.stdout == call("status", "--household", "patio", "--at", EVENING, "--json").stdout
    )


def test_status_of_a_wrong_one_says_what_is_wrong_and_what_is_used(street: Street) -> None:
    path = street.households / "patio" / "collection.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text("plants = 3", encoding="utf-8")
    try:
        wrong = call("status", "--household", "patio")
    finally:
        path.write_text(text, encoding="utf-8")
    assert wrong.exit_code == 78
    assert "[site] is missing" in wrong.stderr
    assert "patio: `sillward run` goes by the collection that it read 2026-05-14" in wrong.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "say which household with --household NAME"),
        (("--household", "cassa"), 'did you mean "casa"?'),
        (("--household", "../patio"), "is not a household"),
        (("--household", "casa", "--collection", "x.toml"), "give one of them"),
    ],
)
def test_an_unclear_household_is_wrong_usage(words: tuple[str, ...], said: str) -> None:
    result = call("check", *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("CALENDAR", "/tmp/calendar.ics"),
        ("CHANNELS__PHONE", "json://localhost"),
        ("MQTT__PASSWORD", "secret"),
    ],
)
def test_settings_of_one_household_are_refused(
    name: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(f"SILLWARD_{name}", value)
    result = call("run")
    assert result.exit_code == 78
    assert f"SILLWARD_{name.partition('__')[0]}" in result.stderr
    assert "cannot be used together with SILLWARD_COLLECTIONS" in result.stderr
    assert "secret" not in result.stderr


def test_a_folder_that_is_not_there_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_COLLECTIONS", str(tmp_path / "nowhere"))
    result = call("run")
    assert result.exit_code == 78
    assert "nowhere" in result.stderr
