"""README and DEVELOPERS tell the truth: their examples run and their lists are whole."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward.cli import main
from sillward.config.models import ChannelTable, HabitsTable, PlantTable, SiteTable, SpotTable
from sillward.config.settings import PREFIX, Settings
from tests.support.paths import ROOT

SHELL = ROOT / "daemon" / "sillward"
CORE = ROOT / "rules" / "sillward_rules"
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def indented_after(words: str) -> str:
    """The indented block that follows these words in the README."""
    block = README.split(words, 1)[1].lstrip("\n").split("\n\n", 1)[0]
    return "\n".join(line[4:] for line in block.splitlines())


def test_the_first_collection_is_whole_and_short(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    text = indented_after("This is a whole one:")
    path.write_text(text, encoding="utf-8")

    result = CliRunner().invoke(main, ["check", "--collection", str(path)])

    assert result.exit_code == 0, result.output
    assert len(text.splitlines()) <= 10


def test_the_push_shown_is_the_one_that_the_demo_gives() -> None:
    shown = indented_after("What the phone gets in the demo's cold snap:")

    output = CliRunner().invoke(main, ["demo"]).output

    # A line that is wider than a terminal is broken there.
    assert " ".join(shown.split()) in " ".join(output.split())


def test_every_command_is_in_the_readme_and_has_help() -> None:
    for name, command in main.commands.items():
        assert f"`sillward {name}" in README
        assert command.help


@pytest.mark.parametrize("table", [SiteTable, SpotTable, PlantTable, HabitsTable, ChannelTable])
def test_every_key_of_the_collection_is_in_the_readme(table: type) -> None:
    for name in table.model_fields:  # type: ignore[attr-defined]
        assert re.search(rf"`{name}\b|`limits\.\*`", README), name


def test_every_setting_is_in_the_readme() -> None:
    for name in Settings.model_fields:
        assert f"{PREFIX}{name.upper()}" in README


def test_every_folder_is_on_the_map() -> None:
    folders = [path for root in (SHELL, CORE) for path in root.iterdir()]
    listed = [one.name for one in folders if one.is_dir() and any(one.glob("*.py"))]
    modules = [one.name for one in folders if one.suffix == ".py" and one.stem[0] != "_"]

    assert {"physics", "ledger"} <= {*listed}
    for name in listed:
        assert f"`{name}/`" in DEVELOPERS, name
    for name in modules:
        assert f"`{name}`" in DEVELOPERS, name


def test_the_readme_opens_with_the_job() -> None:
    title, first = README.split("\n\n")[:2]

    assert title == "# sillward"
    assert first.startswith("Sillward tells a grower")


def test_the_service_unit_keeps_its_promises() -> None:
    unit = (ROOT / "systemd" / "sillward.service").read_text(encoding="utf-8")

    for line in (
        "ExecStart=/usr/local/bin/sillward run",
        "RestartPreventExitStatus=78",
        "StateDirectory=sillward",
        "ProtectSystem=strict",
        "NoNewPrivileges=yes",
    ):
        assert line in unit.splitlines()
