"""What a real process imports for a command: no more than that command needs.

A command line is felt from Enter to the last line, and most of that is imports. How long they take
is measured in `tests/bench`; here it is looked up which there are.
"""

import importlib.util
import os
import subprocess
import sys

import pytest

from tests.support.cases import for_each
from tests.support.paths import EXAMPLES

LOOK = (
    "--collection", str(EXAMPLES / "courtyard.toml"),
    "--recorded", str(EXAMPLES / "recorded" / "cold-snap.json"),
)  # fmt: skip

TO_TELL = (
    "apprise",
    "apscheduler",
    "smtplib",
    "sillward.cli.run",
    "sillward.cli.send",
    "sillward.service.corrections",
    "sillward.service.daemon",
    "sillward.assembly.desk_setup",
    "sillward.service.heartbeat",
    "sillward.channels.apprise_sender",
    "sillward.channels.sender_process",
    "sillward.channels.mail",
    "sillward.service.outbox",
    "sillward.service.desk",
)
TO_ASK = ("requests", "urllib3", "http.client", "sillward.net.transport")
TO_LISTEN = ("paho", "sillward.readings.mqtt_connection")
TO_DRAW = ("icalendar", "matplotlib", "sillward.ical.events", "sillward.charts")
THE_WEEK = (
    "sillward.wording.weekly_mail.html_page",
    "sillward.wording.weekly_mail.last_week",
    "sillward.service.weekly_mail",
)
TO_BEGIN = (
    "sillward.setup.collection_text",
    "sillward.setup.first_run",
    "sillward.config.json_schema",
    "sillward.reports.words",
)

TO_SERVE = ("waitress", "werkzeug", "sillward.page", "sillward.assembly.page_setup")

NOT_TO_LOOK = (*TO_TELL, *TO_ASK, *TO_LISTEN, *TO_DRAW, *THE_WEEK, *TO_BEGIN, *TO_SERVE)
"""What a sheet does without, as long as it has its forecast from a file."""

LOOKS_AHEAD = (
    "jinja2", "sillward.assembly.read_only", "sillward.readings.lessons",
    "sillward_rules.planners", "sillward_rules.sheet",
)  # fmt: skip
"""What else an answer does without."""

NOT_TO_READ = (
    "jinja2", "numpy", "pydantic", "sqlite3", "sillward.assembly.app", "sillward.cli.sheet",
    "sillward_rules.chore", "sillward_rules.plants", "sillward_rules.weather",
)  # fmt: skip
"""What nobody waits for who only reads what commands there are."""

PROGRAM = """
import atexit, sys
atexit.register(lambda: print("\\nimported:", *sys.modules))
from sillward.cli import main
main(prog_name="sillward")
"""


def said_and_imported(*words: str, **more: str) -> tuple[str, set[str]]:
    """What a process prints, and the names of all that it has imported when it ends."""
    result = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words],
        env=os.environ | more,
        capture_output=True,
        text=True,
        check=True,
    )
    said, _, names = result.stdout.rpartition("\nimported:")
    return said, set(names.split())


@for_each([*NOT_TO_LOOK, *LOOKS_AHEAD, *NOT_TO_READ])
def test_all_that_is_listed_here_exists(name: str) -> None:
    """A name that is wrong would be imported by nobody."""
    assert importlib.util.find_spec(name) is not None


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (("sheet", "--round", "dusk", *LOOK), "CARRY IN"),
        (("sheet", "--round", "week", *LOOK), "Trips expected"),
        (("sheet", "--short", *LOOK), "Carry in "),
        (("sheet", "--json", *LOOK), '"schema": 1'),
        (("why", "blue", "basket", *LOOK), "Blue basket"),
        (("demo",), "The dusk push"),
    ],
    ids=lambda given: " ".join(given[:3]) if isinstance(given, tuple) else "",
)
def test_a_look_imports_nothing_that_tells_asks_or_draws(
    words: tuple[str, ...], shown: str
) -> None:
    said, imported = said_and_imported(*words)

    assert shown in said
    assert {"sillward.assembly.app", f"sillward.cli.{words[0]}", "numpy"} <= imported
    assert sorted(imported.intersection(NOT_TO_LOOK)) == []


@pytest.mark.parametrize(
    ("words", "more", "shown"),
    [
        (("--help",), {}, "Look:"),
        (("--version",), {}, "sillward, version "),
        ((), {"COMP_WORDS": "sillward st", "COMP_CWORD": "1"}, "plain,status\nplain,stopped\n"),
    ],
    ids=["help", "version", "completion"],
)
def test_to_read_which_commands_there_are_imports_none_of_them(
    words: tuple[str, ...], more: dict[str, str], shown: str
) -> None:
    complete = {"_SILLWARD_COMPLETE": "bash_complete"} if more else {}

    said, imported = said_and_imported(*words, **more, **complete)

    assert shown in said
    assert {"click", "sillward.cli"} <= imported
    assert sorted(imported.intersection([*NOT_TO_LOOK, *NOT_TO_READ])) == []


def test_an_answer_does_not_wait_for_what_it_takes_to_look_ahead() -> None:
    said, imported = said_and_imported("done", "--help")

    assert "Acknowledge a CHORE" in said
    assert {"sillward.ledger", "sillward.service.answers"} <= imported
    assert sorted(imported.intersection([*NOT_TO_LOOK, *LOOKS_AHEAD])) == []


def test_the_process_that_sends_knows_nothing_of_plants() -> None:
    """It is started for each round: less to import is a round that is told sooner."""
    program = PROGRAM.partition("from sillward")[0] + "import sillward.channels.sender_process"
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    imported = set(result.stdout.rpartition("\nimported:")[2].split())

    assert "sillward.channels.apprise_sender" in imported
    assert [name for name in imported if name.startswith("sillward_rules")] == []
    assert sorted(imported & {"numpy", "sillward.config.household"}) == []


def test_the_daemon_imports_what_listens_to_a_broker_or_serves_a_page_only_once_it_must() -> None:
    said, imported = said_and_imported("run", "--help")

    assert "Run the daemon" in said
    assert "sillward.readings.mqtt_connection" in imported
    assert "paho" not in imported
    assert sorted(imported.intersection(TO_SERVE)) == []
