"""`sillward away`: who looks after the plants is written down, shown, printed for, and ended."""

import functools
import json
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sillward.assembly import app
from sillward.cli import main, shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from tests.support.collection_files import SIX, garden

NOW = datetime(2026, 12, 2, 15, 0, tzinfo=UTC)  # a Wednesday, noon in Mendoza
CHANNELS = """
[rounds]
dusk = "18:30"
[[channels]]
name = "phone"
url = "json://localhost"

[[channels]]
name = "ines_phone"
url = "json://localhost/ines"
rounds = []
"""


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "yard.toml"
    path.write_text(f"{garden(SIX)}\n{CHANNELS}", encoding="utf-8")
    monkeypatch.setenv("SILLWARD_COLLECTION", str(path))
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: NOW))
    return path


def away(*words: str) -> Result:
    return CliRunner().invoke(main, ["away", *words])


@pytest.mark.usefixtures("yard")
def test_days_a_name_and_a_channel_are_all_it_takes() -> None:
    said = away("fri", "2026-12-13", "Aunt", "Inés", "ines_phone", "--note", "Key under the pot")

    assert said.exit_code == 0, said.stderr
    assert " ".join(said.stdout.split()) == (
        "Aunt Inés will be told too, from Friday 4 December, morning, to Sunday 13 December,"
        " evening the list goes to ines_phone Thu 03 Dec 18:30; `sillward away --list` prints it"
    )
    with closing(Ledger(load_settings().ledger)) as ledger:
        (absence,) = ledger.absences.of_site("Courtyard")
    assert (absence.first_day, absence.last_day) == (date(2026, 12, 4), date(2026, 12, 13))
    assert (absence.person, absence.note) == ("Aunt Inés", "Key under the pot")


@pytest.mark.usefixtures("yard")
def test_it_is_shown_printed_and_ended() -> None:
    assert away().stdout == "Nobody looks after the plants in your place, now or later.\n"
    away("tomorrow", "tomorrow", "Inés", "ines_phone")

    assert away().stdout.startswith("Inés (ines_phone): on Thursday 3 December, from morning to")
    (shown,) = json.loads(away("--json").stdout)["absences"]
    assert (shown["person"], shown["first_day"]) == ("Inés", "2026-12-03")
    listed = away("--list").stdout
    assert listed.startswith("The plants of Courtyard")
    assert "WALL BENCH: 3 PLANTS" in listed

    assert away("--end", "ines").stdout == "Inés will not be told\n"
    assert away().stdout.startswith("Nobody")


@pytest.mark.usefixtures("yard")
@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("fri", "sun", "Inés"), "say from when to when, who is told, and the channel"),
        (("someday", "sun", "Inés", "ines_phone"), '"someday" is not a day'),
        (("2026-12-01", "sun", "Inés", "ines_phone"), "Tue 01 Dec is over"),
        (("fri", "sun", "Inés", "inez"), '"inez" is not a channel of the collection'),
        (("--end",), "nobody looks after the plants"),
        (("--list", "Tomás"), "nobody looks after the plants"),
    ],
)
def test_what_cannot_be_is_said_in_a_line(words: tuple[str, ...], reason: str) -> None:
    said = away(*words)

    assert said.exit_code == 2
    assert said.stderr.startswith(f"sillward: {reason}")


@pytest.mark.usefixtures("yard")
def test_whose_it_is_must_be_clear() -> None:
    away("fri", "sun", "Inés", "ines_phone")
    away("fri", "sun", "Tomás", "phone")

    assert away("--end").stderr == "sillward: say of whom it is (Inés, Tomás)\n"
    assert away("--end", "phone").stdout == "Tomás will not be told\n"
    assert away("--end").stdout == "Inés will not be told\n"


def test_a_collection_whose_channels_are_told_nothing_is_refused(yard: Path) -> None:
    text = yard.read_text(encoding="utf-8").replace(
        'url = "json://localhost"\n', 'url = "json://localhost"\nrounds = []\n'
    )
    yard.write_text(text, encoding="utf-8")

    said = away()

    assert said.exit_code == 78
    assert "channels: none of them is told anything" in said.stderr
