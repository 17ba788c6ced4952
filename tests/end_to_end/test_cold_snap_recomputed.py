"""The cold-snap example, worked out once more in plain Python from the recorded body.

Nothing of the core is imported: night hours come from pvlib, the leaf's energy balance is written
out again scalar by scalar (`plain_leaf`).
"""

import json
import tomllib
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from pvlib.solarposition import get_solarposition

from sillward.assembly.examples import examples
from sillward.cli import main
from tests.support.plain_leaf import leaf, offset_left, pressure_at, wind_at_plant

EVENING = datetime(2026, 5, 14, 12, tzinfo=UTC)
MORNING = datetime(2026, 5, 15, 16, tzinfo=UTC)


PRESSURE_KPA = pressure_at(780)


def night_lows() -> dict[str, float]:
    """Lowest leaf temperature of the night from 14 to 15 May at each outdoor spot."""
    body = json.loads((examples() / "recorded" / "cold-snap.json").read_text())
    collection = tomllib.loads((examples() / "courtyard.toml").read_text())
    hours = pd.DataFrame(body["hourly"])
    hours.index = pd.to_datetime(hours.time, unit="s", utc=True)
    sun = get_solarposition(hours.index, -32.89, -68.85)["elevation"]
    night = hours[(sun < -0.833) & (hours.index > EVENING) & (hours.index < MORNING)]
    return {
        name: min(
            leaf(
                row.temperature_2m
                + offset_left(spot["night_offset"], row.wind_speed_10m, row.cloud_cover / 100),
                row.dew_point_2m,
                wind_at_plant(row.wind_speed_10m, spot["wind"]),
                row.cloud_cover / 100,
                spot["sky_view"],
                PRESSURE_KPA,
            )
            for row in night.itertuples()
        )
        for name, spot in collection["spots"].items()
        if not spot.get("indoors")
    }


def limits_of(plant: dict[str, Any]) -> float:
    """A plant's night limit, straight from the two TOML files."""
    if "limits" in plant and "night_low" in plant["limits"]:
        return float(plant["limits"]["night_low"])
    text = resources.files("sillward_rules.plants").joinpath("groups.toml").read_text()
    groups = tomllib.loads(text)["groups"]
    parents = plant.get("parents") or [plant["group"]]
    return max(float(groups[name]["night_low"]["value"]) for name in parents)


@pytest.fixture
def dusk(tmp_path: Path) -> dict[str, Any]:
    """The dusk sheet of the example, as a machine reads it."""
    arguments = ["sheet", "--round", "dusk", "--json"]
    arguments += ["--collection", str(examples() / "courtyard.toml")]
    arguments += ["--recorded", str(examples() / "recorded" / "cold-snap.json")]
    arguments += ["--at", "2026-05-14T17:00"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.stderr
    document: dict[str, Any] = json.loads(result.stdout)
    return document


RISKY_K = 2.5
"""So far above its limit no plant is carried in for what may come, at the usual caution."""


def test_the_plants_under_their_limit_are_carried_in_and_those_near_it(
    dusk: dict[str, Any],
) -> None:
    collection = tomllib.loads((examples() / "courtyard.toml").read_text())
    lows = night_lows()
    above_k = {
        plant["name"]: lows[plant["home"]] - limits_of(plant)
        for plant in collection["plants"]
        if plant["home"] in lows
    }
    reasons = {
        reason["plant"]: reason
        for chore in dusk["chores"]
        if chore["chore"] == "carry-in"
        for reason in chore["because"]
    }

    assert {name for name, above in above_k.items() if above < 0} <= reasons.keys()
    for name, reason in reasons.items():
        assert above_k[name] < RISKY_K
        assert above_k[name] < 0 or reason["gain_trips"] > reason["price_trips"], name
    assert any(above_k[name] > 0 for name in reasons), "one goes in for what may come"


def test_the_told_lows_are_the_recomputed_ones(dusk: dict[str, Any]) -> None:
    lows = night_lows()

    for chore in dusk["chores"]:
        if chore["chore"] == "carry-in":
            for reason in chore["because"]:
                assert reason["value"] == pytest.approx(lows[chore["from"]], abs=0.02)
