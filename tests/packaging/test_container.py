"""What the recipe of the image and the example for compose promise.

Whether the image builds and runs is tried by hand, where there is an engine or buildah.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from sillward.cli import COMMANDS, main
from sillward.config.settings import Settings, load_settings
from tests.daemon.service.test_unit_files import read
from tests.support.paths import ROOT

FOLDER = ROOT / "packaging"

Instruction = tuple[str, str]


@pytest.fixture
def stages() -> list[list[Instruction]]:
    """The instructions of each stage, with continued lines joined."""
    text = re.sub(r"^#.*\n", "", (FOLDER / "Containerfile").read_text("utf-8"), flags=re.M)
    found: list[list[Instruction]] = []
    for line in text.replace("\\\n", " ").splitlines():
        if line.strip():
            word, _, rest = line.partition(" ")
            if word in ("ARG", "FROM") and (word == "ARG" or len(found) > 0):
                found.append([])
            found[-1].append((word, " ".join(rest.split())))
    return [stage for stage in found if stage[0][0] == "FROM"]


@pytest.fixture
def service() -> dict[str, Any]:
    document = yaml.safe_load((FOLDER / "compose.yaml").read_text("utf-8"))
    found: dict[str, Any] = document["services"]["sillward"]
    return found


def value(stage: list[Instruction], word: str) -> str:
    (found,) = [rest for name, rest in stage if name == word]
    return found


def test_the_base_is_one_version_and_both_stages_stand_on_it(
    stages: list[list[Instruction]],
) -> None:
    text = (FOLDER / "Containerfile").read_text("utf-8")

    assert re.search(r"^ARG BASE=docker\.io/library/debian:\d+\.\d+-slim$", text, re.M)
    assert [stage[0][1] for stage in stages] == ["${BASE} AS build", "${BASE}"]


def test_the_image_runs_as_a_user_without_rights_and_can_write_its_state_alone(
    stages: list[list[Instruction]],
) -> None:
    image = stages[-1]

    assert value(image, "USER") == "10001:10001"
    assert image.index(("USER", "10001:10001")) > max(
        number for number, (word, _) in enumerate(image) if word in ("RUN", "COPY")
    )
    assert [rest for word, rest in image if word == "COPY"] == [
        "--from=build /opt/sillward /opt/sillward"
    ]
    assert json.loads(value(image, "VOLUME")) == ["/var/lib/sillward"]
    assert value(image, "RUN").count("-o sillward") == 1
    assert json.loads(value(image, "ENTRYPOINT")) == ["sillward"]
    assert json.loads(value(image, "CMD")) == ["run"]


def test_the_health_check_is_a_call_that_there_is(stages: list[list[Instruction]]) -> None:
    options, _, call = value(stages[-1], "HEALTHCHECK").partition(" CMD ")
    program, command, *words = json.loads(call)

    assert "--interval=" in options
    assert program == "sillward"
    assert command in COMMANDS
    known = {option for each in main.commands[command].params for option in each.opts}
    assert {*words} <= known
    assert words == ["--alive"]


def test_its_settings_lead_to_the_volumes(
    stages: list[list[Instruction]], monkeypatch: pytest.MonkeyPatch
) -> None:
    given = dict(re.findall(r"(\w+)=(\S+)", value(stages[-1], "ENV")))
    monkeypatch.delenv("SILLWARD_LEDGER")
    for name, text in given.items():
        if name.startswith(("SILLWARD_", "STATE_")):
            monkeypatch.setenv(name, text)

    settings = load_settings()

    assert settings.ledger == Path("/var/lib/sillward/ledger.sqlite3")
    assert settings.collection == Path("/etc/sillward/collection.toml")
    assert settings.credentials == Path("/etc/sillward/credentials")
    assert given["HOME"] == "/var/lib/sillward"
    assert given["MPLCONFIGDIR"].startswith("/tmp/")


def test_what_is_copied_into_it_is_there_and_holds_no_ledger_and_no_secret(
    stages: list[list[Instruction]],
) -> None:
    sources = [path for word, rest in stages[0] if word == "COPY" for path in rest.split()[:-1]]

    assert {"daemon", "rules", "pyproject.toml", "packaging/requirements.txt"} <= {*sources}
    assert "." not in sources
    assert all((ROOT / path).exists() for path in sources)
    assert "--require-hashes" in " ".join(rest for word, rest in stages[0] if word == "RUN")


def test_the_example_for_compose_gives_it_no_more_than_it_needs(service: dict[str, Any]) -> None:
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["tmpfs"][0].startswith("/tmp:")
    assert service["restart"] == "unless-stopped"
    assert "privileged" not in service
    user = re.fullmatch(r"\$\{SILLWARD_USER:-(\d+):\d+\}", service["user"])
    assert user is not None
    assert user[1] != "0"
    assert [volume.partition(":")[2] for volume in service["volumes"]] == [
        "/etc/sillward",
        "/var/lib/sillward",
    ]
    assert (FOLDER / service["build"]["context"] / service["build"]["dockerfile"]).exists()
    for name in service["environment"]:
        assert name.removeprefix("SILLWARD_").split("__")[0].lower() in Settings.model_fields


def test_it_has_the_bounds_of_the_unit(service: dict[str, Any]) -> None:
    unit = read("sillward.service")

    assert service["stop_grace_period"] == f"{unit.seconds('TimeoutStopSec'):.0f}s"
    assert service["mem_limit"] == unit.one("MemoryMax").lower()
    assert service["pids_limit"] == int(unit.one("TasksMax"))
