"""The examples: rich enough, physically coherent, and made by the script in their folder."""

import json
import re
import struct
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import psychrolib
import pytest
from examples import a_day, make_past_year, make_recorded
from matplotlib.colors import to_rgb
from pvlib.solarposition import get_solarposition

from sillward_rules import climate_of
from sillward_rules.physics.water_film import LEAF_FILM, evaporation
from sillward_rules.weather.climate import film_air

FOLDER = Path(make_recorded.__file__).parent
BODIES = sorted((FOLDER / "recorded").glob("*.json"))


def hourly(path: Path) -> pd.DataFrame:
    frame = pd.DataFrame(json.loads(path.read_text(encoding="utf-8"))["hourly"])
    frame.index = pd.to_datetime(frame.time, unit="s", utc=True)
    return frame


def test_the_collection_has_enough_of_everything() -> None:
    collection = tomllib.loads((FOLDER / "courtyard.toml").read_text(encoding="utf-8"))
    plants, spots = collection["plants"], collection["spots"].values()
    groups = {name for plant in plants for name in plant.get("parents", [plant.get("group")])}

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


# -- a past year


PAST_YEAR = FOLDER / "past-year.csv"


def past_year(path: Path = PAST_YEAR) -> pd.DataFrame:
    frame = pd.read_csv(path, skiprows=3)
    frame.columns = [name.partition(" ")[0] for name in frame.columns]
    frame.index = pd.to_datetime(frame.time, unit="s", utc=True)
    return frame


def test_the_script_makes_this_very_year(tmp_path: Path) -> None:
    made_path = tmp_path / "past-year.csv"
    made_path.write_text(make_past_year.text(), encoding="utf-8")

    made, kept = past_year(made_path), past_year()

    assert made.columns.tolist() == kept.columns.tolist()
    assert made.time.tolist() == kept.time.tolist()
    # One unit of the last digit: another platform's sine may round the other way.
    assert (made - kept).abs().max().max() <= 1.0
    assert (made.temperature_2m - kept.temperature_2m).abs().max() <= 0.11


def test_the_past_year_is_whole_small_and_could_have_been() -> None:
    frame = past_year()
    light = frame.direct_radiation + frame.diffuse_radiation
    elevation = get_solarposition(frame.index, -32.89, -68.85)["elevation"]
    dark_hour = (elevation < 0) & (elevation.shift(1, fill_value=90) < 0)
    local = frame.temperature_2m.tz_convert("America/Argentina/Mendoza")
    month = local.groupby(local.index.month).mean()

    assert PAST_YEAR.stat().st_size < 300_000
    assert (frame.time.diff().dropna() == 3600).all()
    assert len(frame) > 375 * 24
    assert frame.notna().all().all()
    assert (frame.dew_point_2m <= frame.temperature_2m).all()
    assert (light[dark_hour] == 0).all()
    assert (light[elevation > 25] > 40).all()
    assert month.idxmin() == 7
    assert month[1] - month[7] > 12
    assert frame.temperature_2m.between(-12, 44).all()
    assert 60 < frame.precipitation.sum() < 400


# -- one day of one plant


def test_the_example_of_a_day_draws_it_and_prints_what_the_core_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    a_day.main([])
    a_day.main(["other.png"])

    for name in ("a_day.png", "other.png"):
        picture = (tmp_path / name).read_bytes()
        # PNG (RFC 2083): signature, then the header chunk with width and height.
        assert picture[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", picture[16:24])
        assert width == 1000
        assert 700 <= height <= 1200
        assert 20_000 < len(picture) < 500_000

    line, again = capsys.readouterr().out.splitlines()
    assert line == again
    site, day = a_day.COURTYARD, a_day.DAY
    climate = climate_of(site, [a_day.PERGOLA], a_day.invented(site, day))
    local = pd.to_datetime(climate.times, unit="s", utc=True).tz_convert(site.zone.key)
    of_day = np.asarray((local >= str(day)) & (local <= str(day + pd.Timedelta(days=1))))
    told = re.search(
        r"air (\S+) to (\S+) °C, leaf down to (\S+) °C \(limit 13\), VPD up to (\S+) kPa "
        r"\(limit 1\.43\), light up to (\S+) umol m-2 s-1, (\S+) mol/d",
        line,
    )
    assert told is not None, line
    low, high, leaf, vpd, ppfd, dli = (float(group) for group in told.groups())
    assert of_day.sum() == 25
    assert low == pytest.approx(climate.temp_c[of_day].min(), abs=0.051)
    assert high == pytest.approx(climate.temp_c[of_day].max(), abs=0.051)
    assert leaf == pytest.approx(climate.leaf_c[of_day].min(), abs=0.051)
    assert vpd == pytest.approx(climate.vpd_kpa[of_day].max(), abs=0.0051)
    assert ppfd == pytest.approx(climate.ppfd[of_day].max(), abs=0.51)
    assert dli == pytest.approx(climate.ppfd[of_day][1:].sum() * 3600e-6, abs=0.051)


def test_the_day_has_something_to_show_and_its_film_lives_as_a_plain_count_has_it() -> None:
    made = a_day.worked_out()
    night, warm = made.plant.limits.night_low, made.plant.limits.vpd_high
    assert night is not None
    assert warm is not None

    assert made.series("leaf_c").min() < night.value < made.series("temp_c").max()
    assert made.series("vpd_kpa").min() < warm.value < made.series("vpd_kpa").max()
    life = made.film_min["leaf"]
    assert life.min() < a_day.UPTAKE_MIN["leaf"] < life.max()
    assert made.film_times.size == 24 * 12 + 1
    # Water taken off in steps of five minutes until the tenth of a millimetre is gone.
    air = film_air(made.climate, made.film_times + 150.0)
    rate = evaporation(air, LEAF_FILM.shape)[:, made.column]
    for start in (0, 96, 130, 180):
        gone = int(np.argmax(np.cumsum(rate[start:]) / 12 >= 0.1))
        assert 5 * gone <= life[start] <= 5 * (gone + 1)


def test_the_picture_names_every_axis_and_its_curves_differ_in_grey() -> None:
    figure = a_day.plot(a_day.worked_out())

    figure.draw_without_rendering()
    panels = figure.axes
    units = ["°C", "kPa", "m⁻²", "min"]
    assert len(panels) == len(units)
    assert panels[-1].get_xlabel().startswith("hours since local midnight [h]")
    for panel, unit in zip(panels, units, strict=True):
        assert unit in panel.get_ylabel()
        legend = panel.get_legend()
        assert legend is not None
        assert legend.get_window_extent().y0 >= panel.get_window_extent().y1 - 1, "not on curves"
        looks = [
            (round(sum(to_rgb(line.get_color())), 1), line.get_linestyle())
            for line in panel.get_lines()
        ]
        assert len(set(looks)) == len(looks)
