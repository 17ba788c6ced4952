"""The examples: rich enough, physically coherent, and made by the script that lies beside them."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import psychrolib
import pytest
from examples import make_recorded
from pvlib.solarposition import get_solarposition

FOLDER = Path(make_recorded.__file__).parent
BODIES = sorted((FOLDER / "recorded").glob("*.json"))


def hourly(path: Path) -> pd.DataFrame:
    frame = pd.DataFrame(json.loads(path.read_text(encoding="utf-8"))["hourly"])
    frame.index = pd.to_datetime(frame.time, unit="s", utc=True)
    return frame


def test_the_collection_has_enough_of_everything() -> None:
    collection = tomllib.loads((FOLDER / "courtyard.toml").read_text(encoding="utf-8"))
    plants, spots = collection["plants"], collection["spots"].values()
    groups = {name for one in plants for name in one.get("parents", [one.get("group")])}

    assert len(plants) >= 14
    assert len(groups) >= 9
    assert sum(bool(spot.get("indoors")) for spot in spots) == 2
    assert sum(not spot.get("indoors") for spot in spots) == 2


def test_there_are_four_recorded_forecasts() -> None:
    assert [path.stem for path in BODIES] == ["cold-snap", "dry-summer", "mild-week", "wet-autumn"]


@pytest.mark.parametrize("path", BODIES, ids=lambda path: path.stem)
def test_dew_point_and_humidity_agree_with_the_reference_library(path: Path) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    frame = hourly(path)

    assert (frame.dew_point_2m <= frame.temperature_2m).all()
    for row in frame[::7].itertuples():
        # Below 0 °C psychrolib's dew point is over ice; the API's is over water.
        if row.dew_point_2m > 0:
            reference = psychrolib.GetRelHumFromTDewPoint(row.temperature_2m, row.dew_point_2m)
            assert row.relative_humidity_2m == pytest.approx(100 * reference, abs=1.2)


@pytest.mark.parametrize("path", BODIES, ids=lambda path: path.stem)
def test_there_is_no_sunlight_at_night_and_plenty_at_noon(path: Path) -> None:
    frame = hourly(path)
    light = frame.direct_radiation + frame.diffuse_radiation
    elevation = get_solarposition(frame.index, -32.89, -68.85)["elevation"]
    dark_hour = (elevation < 0) & (elevation.shift(1, fill_value=90) < 0)

    assert (light[dark_hour] == 0).all()
    assert (light[elevation > 25] > 50).all()
    assert light.max() < 1361 * np.sin(np.radians(elevation.max()))


@pytest.mark.parametrize("path", BODIES, ids=lambda path: path.stem)
def test_days_are_warmest_in_the_afternoon_and_coldest_about_sunrise(path: Path) -> None:
    temp = hourly(path).temperature_2m
    local = temp.tz_convert("America/Argentina/Mendoza")
    whole_days = [day for _, day in local.groupby(local.index.date) if len(day) == 24]

    assert len(whole_days) == 8
    assert all(14 <= day.idxmax().hour <= 18 for day in whole_days)
    mornings = [day[day.index.hour < 12] for day in whole_days]
    assert all(5 <= morning.idxmin().hour <= 9 for morning in mornings)
    assert temp.diff().abs().max() <= 6


@pytest.mark.parametrize("path", BODIES, ids=lambda path: path.stem)
def test_hours_follow_each_other_and_gusts_exceed_the_wind(path: Path) -> None:
    frame = hourly(path)

    assert (frame.time.diff().dropna() == 3600).all()
    assert len(frame) == 9 * 24
    assert (frame.wind_gusts_10m >= frame.wind_speed_10m).all()


@pytest.mark.parametrize(
    "story", [make_recorded.COLD_SNAP, make_recorded.DRY_SUMMER, make_recorded.MILD_WEEK]
)
def test_the_script_makes_these_very_bodies(story: make_recorded.Story) -> None:
    made = json.loads(make_recorded.body(make_recorded.build(story)))
    kept = json.loads((FOLDER / "recorded" / f"{story.name}.json").read_text(encoding="utf-8"))

    assert made["hourly"]["time"] == kept["hourly"]["time"]
    for name, values in kept["hourly"].items():
        # One unit of the last digit: another platform's sine may round the other way.
        unit = 1.0 if name in ("relative_humidity_2m", "cloud_cover") else 0.11
        assert np.abs(np.array(made["hourly"][name]) - np.array(values)).max() <= unit, name
