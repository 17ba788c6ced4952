"""The cold-snap example, worked out once more in plain Python from the recorded body.

Nothing of the core is imported: night hours come from pvlib, the leaf's energy balance is written
out again scalar by scalar (Campbell and Norman 1998, conductances; Brutsaert 1975, clear sky).
"""

import json
import math
import tomllib
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from pvlib.solarposition import get_solarposition

from sillward.app import examples
from sillward.cli import main

EVENING = datetime(2026, 5, 14, 12, tzinfo=UTC)
MORNING = datetime(2026, 5, 15, 16, tzinfo=UTC)


def saturation(temp: float) -> float:
    return 0.6108 * math.exp(17.27 * temp / (temp + 237.3))


def leaf(temp: float, dew: float, wind10: float, cloud: float, spot: dict[str, Any]) -> float:
    """Night leaf temperature: what two faces of a 5 cm strap take in equals what they give off."""
    air = temp + float(spot["night_offset"])
    vapour = min(saturation(dew), saturation(air))
    wind = max(
        wind10 * math.log(67.8 * 1.5 - 5.42) / math.log(67.8 * 10 - 5.42) * spot["wind"], 0.1
    )
    pressure = 101.3 * ((293 - 0.0065 * 780) / 293) ** 5.26
    clear = 1.723 * (vapour / (air + 273.15)) ** (1 / 7)
    sky = (1 - 0.84 * cloud) * clear + 0.84 * cloud
    black = 0.96 * 5.67e-8
    heat = 1.4 * 0.135 * math.sqrt(wind / 0.035)
    water = 1.4 * 0.147 * math.sqrt(wind / 0.035)
    latent = (2.501 - 0.002361 * air) * 1e6 * 0.018015

    def surplus(at: float) -> float:
        taken: float = black * (air + 273.15) ** 4 * (2 - spot["sky_view"] * (1 - sky))
        dewfall: float = max(vapour - saturation(at), 0) * 2 * water * latent / pressure
        left: float = (
            taken - 2 * black * (at + 273.15) ** 4 + 2 * 29.3 * heat * (air - at) + dewfall
        )
        return left

    low, high = air - 30, air
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if surplus(middle) > 0 else (low, middle)
    return low


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
                row.temperature_2m,
                row.dew_point_2m,
                row.wind_speed_10m,
                row.cloud_cover / 100,
                spot,
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
    text = resources.files("sillward_rules").joinpath("groups.toml").read_text()
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


def test_exactly_the_plants_under_their_limit_are_carried_in(dusk: dict[str, Any]) -> None:
    collection = tomllib.loads((examples() / "courtyard.toml").read_text())
    lows = night_lows()
    expected = {
        plant["name"]
        for plant in collection["plants"]
        if plant["home"] in lows and lows[plant["home"]] < limits_of(plant)
    }

    carried = [chore for chore in dusk["chores"] if chore["chore"] == "carry-in"]

    assert {name for chore in carried for name in chore["plants"]} == expected
    outdoors = {plant["name"] for plant in collection["plants"] if plant["home"] in lows}
    assert 0 < len(expected) < len(outdoors), "some go in and some stay, or the test is blind"


def test_the_told_lows_are_the_recomputed_ones(dusk: dict[str, Any]) -> None:
    lows = night_lows()

    for chore in dusk["chores"]:
        if chore["chore"] == "carry-in":
            for reason in chore["because"]:
                assert reason["value"] == pytest.approx(lows[chore["from"]], abs=0.02)
