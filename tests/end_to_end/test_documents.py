"""README, manual and DEVELOPERS tell the truth: examples run, lists are whole."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward.cli import main
from sillward.config.models import ChannelTable, HabitsTable, SiteTable, SpotTable
from sillward.config.plant_models import PlantTable
from sillward.config.settings import PREFIX, Settings
from tests.support.documents import blocks, first_collection, text_of
from tests.support.paths import ROOT

SHELL = ROOT / "daemon" / "sillward"
CORE = ROOT / "rules" / "sillward_rules"
README = text_of("README.md")
COLLECTION = text_of("docs/collection.md")
PAGES = sorted(path.name for path in (ROOT / "docs").glob("*.md"))
DEVELOPERS = text_of("DEVELOPERS.md")

MAX_LINES = 120
"""Lines of a first document. Judgement: what one reads in five minutes."""


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_a_first_document_is_short(text: str) -> None:
    assert len(text.splitlines()) <= MAX_LINES


def test_the_first_collection_is_whole_and_short(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    text = first_collection()
    path.write_text(text, encoding="utf-8")

    result = CliRunner().invoke(main, ["check", "--collection", str(path)])

    assert result.exit_code == 0, result.output
    assert len(text.splitlines()) <= 10


def test_the_readme_gives_the_commands_that_ci_run_installs_and_checks_with() -> None:
    shell = "\n".join(blocks(README, "sh"))

    for line in (
        "python3 -m venv .venv && . .venv/bin/activate",
        "pip install -e '.[dev]'",
        "sillward demo",
        ".ci/check",
    ):
        assert re.search(rf"^{re.escape(line)}( |$)", shell, re.MULTILINE), line
    ran = text_of(".ci/run")
    for part in ("python3 -m venv", "-e '.[dev]'", "sillward demo", ".ci/check"):
        assert part in ran


@pytest.mark.parametrize("page", ["README.md", *(f"docs/{name}" for name in PAGES)])
def test_what_a_document_shows_can_be_called_so(page: str) -> None:
    """Every command that is written out exists, with the options that are written with it."""
    text = text_of(page)
    calls = re.findall(r"`sillward ([a-z][^`]*)`", text)
    calls += re.findall(r"^ *sillward ([a-z].*?)(?: +#.*)?$", "\n".join(blocks(text, "sh")), re.M)

    for call in calls:
        name, *words = call.split()
        command = main.commands[name]
        known = {option for parameter in command.params for option in parameter.opts}
        assert {word for word in words if word.startswith("-")} <= known | {"--help"}, call


def test_every_command_is_in_the_manual_and_has_help() -> None:
    manual = text_of("docs/commands.md")

    for name, command in main.commands.items():
        assert f"\n### sillward {name}\n" in manual
        assert command.help


@pytest.mark.parametrize("table", [SiteTable, SpotTable, PlantTable, HabitsTable, ChannelTable])
def test_every_key_of_the_collection_is_in_the_manual(table: type) -> None:
    for name, field in table.model_fields.items():  # type: ignore[attr-defined]
        assert f"| `{field.alias or name}` |" in COLLECTION, name


def test_every_setting_is_in_the_manual() -> None:
    told = text_of("docs/service.md") + text_of("docs/forecasts.md")

    for name in Settings.model_fields:
        assert f"| `{PREFIX}{name.upper()}" in told


def test_every_folder_is_on_the_map() -> None:
    folders = [path for root in (SHELL, CORE) for path in root.iterdir()]
    listed = [folder.name for folder in folders if folder.is_dir() and any(folder.glob("*.py"))]
    modules = [path.name for path in folders if path.suffix == ".py" and path.stem[0] != "_"]

    assert {"physics", "ledger"} <= {*listed}
    for name in listed:
        assert f"`{name}/`" in DEVELOPERS, name
    for name in modules:
        assert f"`{name}`" in DEVELOPERS, name


def test_every_path_that_developers_are_told_of_is_there() -> None:
    paths = re.findall(r"`((?:[\w.]+/)+[\w.*]*)`|`(\w+\.py)`", DEVELOPERS)

    assert len(paths) > 30
    for path in (first or second for first, second in paths):
        places = (root for root in (ROOT, SHELL, CORE) if any(root.glob(path.rstrip("/"))))
        assert next(places, None), path


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
