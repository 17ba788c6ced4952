"""Files of past weather in every format that is read, all from the same invented hours."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather.site import Site

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
START = datetime(2021, 3, 1, tzinfo=UTC)

API_UNITS = {
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "cloud_cover": "%",
    "precipitation": "mm",
    "direct_radiation": "W/m²",
    "diffuse_radiation": "W/m²",
    "shortwave_radiation": "W/m²",
}


@dataclass(frozen=True)
class Hours:
    """Invented hours of a dry place at Mendoza's longitude, by Open-Meteo's names and units."""

    times: np.ndarray
    series: Mapping[str, Array]

    @property
    def moments(self) -> list[datetime]:
        return [datetime.fromtimestamp(int(second), UTC) for second in self.times]

    def only(self, *names: str) -> "Hours":
        return Hours(self.times, {name: self.series[name] for name in names})

    def rows(self, mask: np.ndarray) -> "Hours":
        """The hours of a mask alone."""
        series = {name: values[mask] for name, values in self.series.items()}
        return Hours(self.times[mask], series)


def hours(days: int = 30, start: datetime = START) -> Hours:
    """So many days: nights of some 8 °C, afternoons of some 22, no two days alike."""
    times = int(start.timestamp()) + HOUR_S * np.arange(24 * days, dtype=np.int64)
    day_h = (times / HOUR_S - 68.85 / 15) % 24
    day = np.floor(times / 86400)
    temp = 15 - 7 * np.cos((day_h - 4) / 12 * np.pi) + 2 * np.sin(day * 1.7)
    sun = np.maximum(0.0, np.sin((day_h - 6.5) / 12 * np.pi))
    cloud = np.round(50 + 50 * np.sin(day * 0.9))
    series = {
        "temperature_2m": temp.round(1),
        "dew_point_2m": (temp - 9 + np.sin(day)).round(1),
        "wind_speed_10m": (2 + np.sin(day * 1.1) + 1.5 * sun).round(1),
        "cloud_cover": cloud,
        "precipitation": np.where(day % 9 == 0, 0.4, 0.0),
        "direct_radiation": (600 * sun).round(),
        "diffuse_radiation": (150 * sun).round(),
    }
    return Hours(times, series)


# -- JSON


def body(of: Hours, **changes: Any) -> dict[str, Any]:
    """The answer of Open-Meteo that holds these hours, in unix time; NaN is null."""
    names = {name: API_UNITS[name.partition("_previous_day")[0]] for name in of.series}
    document = {
        "latitude": -32.9,
        "longitude": -68.8,
        "generationtime_ms": 1.5,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 780.0,
        "hourly_units": {"time": "unixtime", **names},
        "hourly": {
            "time": of.times.tolist(),
            **{
                name: [None if np.isnan(value) else value for value in values.tolist()]
                for name, values in of.series.items()
            },
        },
    }
    return document | changes


def in_iso(document: dict[str, Any], offset_h: float = 0.0) -> dict[str, Any]:
    """The same with local times of one offset, as Open-Meteo gives them unless asked otherwise."""
    offset_s = round(offset_h * HOUR_S)
    hourly = dict(document["hourly"])
    hourly["time"] = [
        f"{datetime.fromtimestamp(second + offset_s, UTC):%Y-%m-%dT%H:%M}"
        for second in hourly["time"]
    ]
    units = document["hourly_units"] | {"time": "iso8601"}
    return document | {"hourly": hourly, "hourly_units": units, "utc_offset_seconds": offset_s}


def dumped(document: object) -> bytes:
    return json.dumps(document, ensure_ascii=False).encode()


def with_leads(of: Hours, days: Iterable[int], names: Sequence[str]) -> Hours:
    """The same hours with what was forecast so many days before: each day ahead half a K warmer."""
    leads = {
        f"{name}_previous_day{day}": (of.series[name] + 0.5 * day).round(1)
        for day in days
        for name in names
    }
    return Hours(of.times, {**of.series, **leads})


# -- CSV

Written = Callable[[datetime], str]


def iso(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M}"


def table(
    of: Hours,
    heads: Mapping[str, str],
    *,
    time_head: str = "time (UTC)",
    zone: tzinfo = UTC,
    written: Written = iso,
    delimiter: str = ",",
    comma: bool = False,
) -> str:
    """A CSV file with these heads, by the names of the variables."""
    lines = [delimiter.join([time_head, *heads.values()])]
    for row, at in enumerate(of.moments):
        cells = [_cell(of.series[name][row], comma) for name in heads]
        lines.append(delimiter.join([written(at.astimezone(zone)), *cells]))
    return "\n".join(lines) + "\n"


def _cell(value: float, comma: bool) -> str:
    text = "" if np.isnan(value) else f"{value:.1f}"
    return text.replace(".", ",") if comma else text


# -- EPW

_REST = "999999,999999,999999,9999"
EPW_HEAD = (
    "LOCATION,Testyard,-,ARG,Invented,000000,{latitude},{longitude},{zone},{elevation}",
    "DESIGN CONDITIONS,0",
    "TYPICAL/EXTREME PERIODS,0",
    "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    "COMMENTS 1,invented",
    "COMMENTS 2,",
    "DATA PERIODS,1,{per_hour},Data,Sunday, 1/ 1,12/31",
)


@dataclass
class EpwHour:
    """One hour of an EPW file; what is not given has the code for missing."""

    year: int
    month: int
    day: int
    hour: int
    temp: float = 99.9
    dew: float = 99.9
    humidity: float = 999
    ghi: float = 9999
    dni: float = 9999
    dhi: float = 9999
    wind: float = 999
    sky: float = 99
    rain: float = 999
    rain_hours: float = 99

    def line(self) -> str:
        return (
            f"{self.year},{self.month},{self.day},{self.hour},60,?9?9?9,{self.temp},{self.dew},"
            f"{self.humidity},92400,9999,9999,9999,{self.ghi},{self.dni},{self.dhi},{_REST},999,"
            f"{self.wind},{self.sky},99,9999,99999,9,999999999,999,0.999,999,99,999,"
            f"{self.rain},{self.rain_hours}"
        )


def epw_hours(of: Hours, zone_h: float = -3.0, years: Sequence[int] | None = None) -> list[EpwHour]:
    """These hours as an EPW file has them. years: the year that each month is of."""
    found = []
    for row, at in enumerate(of.moments):
        day = at + timedelta(hours=zone_h) - timedelta(hours=1)  # of the hour that ends then
        get = {name: float(values[row]) for name, values in of.series.items()}
        diffuse = get.get("diffuse_radiation", 9999.0)
        found.append(
            EpwHour(
                day.year if years is None else years[day.month - 1],
                day.month,
                day.day,
                day.hour + 1,
                temp=get["temperature_2m"],
                dew=get.get("dew_point_2m", 99.9),
                ghi=get.get("direct_radiation", 9999.0) + diffuse if diffuse < 9999 else 9999.0,
                dhi=diffuse,
                wind=get.get("wind_speed_10m", 999.0),
                sky=get["cloud_cover"] / 10 if "cloud_cover" in get else 99,
                rain=get.get("precipitation", 999.0),
                rain_hours=1,
            )
        )
    return found


def epw(
    of: Iterable[EpwHour],
    *,
    latitude: float = SITE.latitude,
    longitude: float = SITE.longitude,
    zone: float = -3.0,
    elevation: float = 780.0,
    per_hour: int = 1,
) -> str:
    """The EPW file with these hours."""
    head = "\n".join(EPW_HEAD).format(
        latitude=latitude,
        longitude=longitude,
        zone=zone,
        elevation=elevation,
        per_hour=per_hour,
    )
    return "\n".join([head, *(hour.line() for hour in of)]) + "\n"
