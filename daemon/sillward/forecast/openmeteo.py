"""Open-Meteo: weather data under CC BY 4.0; the free service is for non-commercial use.

One call for the site: unix time in UTC (the API's own local time is wrong around clock changes),
wind in m/s, yesterday included so that a night is never cut at midnight UTC.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NoReturn

import numpy as np
from pydantic import SecretStr

from sillward.errors import SourceError
from sillward.forecast import Forecast, fetch
from sillward_rules import air
from sillward_rules.air import Array
from sillward_rules.site import Site
from sillward_rules.weather import HOUR_S, Weather

NAME = "Open-Meteo"


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable of the API: its unit, and the range outside which a value is impossible."""

    unit: str
    low: float
    high: float


# Ranges: a little beyond the records that the World Meteorological Organization keeps
# (temperature -89 to 57 °C; gust 113 m/s), from memory; sustained wind is lower.
VARIABLES: Mapping[str, Variable] = {
    "temperature_2m": Variable("°C", -90, 60),
    "relative_humidity_2m": Variable("%", 0, 105),
    "dew_point_2m": Variable("°C", -100, 40),
    "surface_pressure": Variable("hPa", 400, 1100),
    "cloud_cover": Variable("%", 0, 100),
    "wind_speed_10m": Variable("m/s", 0, 90),
    "wind_gusts_10m": Variable("m/s", 0, 120),
    "precipitation": Variable("mm", 0, 400),
    "direct_radiation": Variable("W/m²", 0, 1500),
    "diffuse_radiation": Variable("W/m²", 0, 1500),
    "weather_code": Variable("wmo code", 0, 99),
}
"""What is asked for. shortwave_radiation is read too, where the two parts are missing."""

_OPTIONAL = ("weather_code",)
"""Nothing is said of these where they are missing: they are not forecast everywhere."""

_HAIL_CODES = (96, 99)
"""Thunderstorm with hail; WMO code table 4677."""

_SHORTWAVE = Variable("W/m²", 0, 1600)

LONGEST_GAP_HOURS = 24 * 16


@dataclass(frozen=True, slots=True)
class OpenMeteo:
    """The client. base_url may point to another server that speaks the same API."""

    base_url: str = "https://api.open-meteo.com"
    api_key: SecretStr | None = None
    name: str = NAME
    attribution: str = "Weather data by Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"

    def fetch(self, site: Site, now: datetime) -> Forecast:
        """Ask for the site's forecast, once. Raise SourceError if it cannot be used."""
        try:
            body = fetch.get(self._url(), self.query(site), source=NAME)
            weather = self.read(body, site, now)
        except SourceError as error:
            raise SourceError(self._without_key(str(error))) from None
        if not weather.times[0] <= now.timestamp() <= weather.times[-1]:
            _refuse("does not cover the present hour")
        return Forecast(body, weather)

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read a body. Raise SourceError if it cannot be used."""
        return parse(body, site, fetched_at)

    def _without_key(self, text: str) -> str:
        """A server may repeat our key in its reason: with a key, reasons are not passed on."""
        key = self.api_key.get_secret_value() if self.api_key else ""
        return text.partition(': "')[0] if key else text

    def _url(self) -> str:
        base = self.base_url.rstrip("/")
        return base if base.endswith("/forecast") else f"{base}/v1/forecast"

    def query(self, site: Site) -> dict[str, str]:
        """The parameters of the call."""
        query = {
            "latitude": f"{site.latitude:.4f}",
            "longitude": f"{site.longitude:.4f}",
            "elevation": f"{site.elevation_m:.0f}",
            "timezone": "GMT",
            "timeformat": "unixtime",
            "wind_speed_unit": "ms",
            "past_days": "7",
            "forecast_days": "8",
            "hourly": ",".join(VARIABLES),
        }
        if self.api_key is not None and self.api_key.get_secret_value():
            query["apikey"] = self.api_key.get_secret_value()
        return query


def parse(body: bytes, site: Site, fetched_at: datetime) -> Weather:
    """Read and validate a body of the forecast API.

    Only times and temperatures are indispensable. A missing variable or an impossible value is
    unknown (NaN) and named in the weather's remarks; a body that contradicts what was asked for
    (another place, other units, torn times) raises SourceError.
    """
    document = _document(body)
    _check_place(document, site)
    hourly, units = document.get("hourly"), document.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        _refuse("has no hourly values")
    times, rows = _times(hourly, units)
    remarks: list[str] = []
    series = {
        name: _series(hourly, units, name, variable, times, rows, remarks)
        for name, variable in {**VARIABLES, "shortwave_radiation": _SHORTWAVE}.items()
    }
    temp = series["temperature_2m"]
    if temp is None or not np.isfinite(temp).any():
        _refuse("has no temperatures")
    unknown = np.full(times.shape, np.nan)
    missing = [name for name in VARIABLES if series[name] is None and name not in _OPTIONAL]
    dew = _dew_point(temp, series, times, remarks)
    direct, diffuse = _radiation(series, times, missing)
    if missing:
        remarks.append(f"the forecast has no {', '.join(missing)}")

    def known(name: str, scale: float = 1.0) -> Array:
        values = series[name]
        return unknown if values is None else values * scale

    code = known("weather_code")
    hail = np.where(np.isfinite(code), 100.0 * np.isin(code, _HAIL_CODES), np.nan)
    return Weather(
        times=times,
        temp_c=temp,
        dew_point_c=dew,
        wind_m_s=known("wind_speed_10m"),
        gust_m_s=known("wind_gusts_10m"),
        cloud=known("cloud_cover", 0.01),
        rain_mm=known("precipitation"),
        direct_w_m2=direct,
        diffuse_w_m2=diffuse,
        hail_pct=hail,
        source=NAME,
        fetched_at=fetched_at,
        remarks=tuple(remarks),
    )


def _refuse(text: str) -> NoReturn:
    msg = f"{NAME}: the answer {text}"
    raise SourceError(msg)


def _bounded_int(digits: str) -> int | float:
    """A whole number; one too long for any quantity here becomes a float, infinite perhaps."""
    return int(digits) if len(digits) <= 18 else float(digits)


def _document(body: bytes) -> dict[str, Any]:
    try:
        document = json.loads(body, parse_int=_bounded_int)
    except (ValueError, RecursionError):
        page = body[:200].lstrip().startswith(b"<")
        _refuse("is a web page, not a forecast" if page else "is not whole JSON")
    if isinstance(document, list) and len(document) == 1:
        document = document[0]
    if not isinstance(document, dict):
        _refuse("is not one forecast")
    if document.get("error"):
        reason = " ".join(str(document.get("reason", "no reason given")).split())
        _refuse(f'is an error: "{reason:.120}"')
    return document


def _check_place(document: dict[str, Any], site: Site) -> None:
    """The API answers for the middle of a grid cell, which may be some tens of km away."""
    place = document.get("latitude"), document.get("longitude")
    if not all(isinstance(one, int | float) and not isinstance(one, bool) for one in place):
        _refuse("does not say for which place it is")
    latitude, longitude = float(place[0]), float(place[1])  # type: ignore[arg-type]
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        _refuse("is for no place on earth")
    across = abs((longitude - site.longitude + 180.0) % 360.0 - 180.0)
    if abs(latitude - site.latitude) > 0.6 or across * np.cos(np.radians(site.latitude)) > 0.6:
        here = f"{site.latitude:g}, {site.longitude:g}"
        _refuse(f"is for another place: {latitude:g}, {longitude:g}, not {here}")


def _times(hourly: dict[str, Any], units: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """Full hours from first to last, and the row of each given value among them."""
    raw = hourly.get("time")
    if units.get("time") != "unixtime":
        _refuse("does not give its times as unixtime")
    if not isinstance(raw, list) or not raw or not all(type(one) is int for one in raw):
        _refuse("has no list of times")
    if not all(0 <= one < 2**33 for one in raw):
        _refuse("has impossible times")
    given = np.array(raw, dtype=np.int64)
    if np.any(given % HOUR_S != 0) or np.any(np.diff(given) <= 0):
        _refuse("has times that are not full hours in order")
    if given[-1] - given[0] > (LONGEST_GAP_HOURS + 92 * 24) * HOUR_S:
        _refuse("covers an impossible length of time")
    times = np.arange(given[0], given[-1] + HOUR_S, HOUR_S, dtype=np.int64)
    return times, (given - given[0]) // HOUR_S


def _series(
    hourly: dict[str, Any],
    units: dict[str, Any],
    name: str,
    variable: Variable,
    times: np.ndarray,
    rows: np.ndarray,
    remarks: list[str],
) -> Array | None:
    """One variable on the full hours; None if the body has nothing of it."""
    raw = hourly.get(name)
    if raw is None:
        return None
    if not isinstance(raw, list) or len(raw) != rows.size:
        _refuse(f"has another number of values for {name} than of times")
    wrong = [one for one in raw if one is not None and type(one) not in (int, float)]
    if wrong:
        _refuse(f'has {name} that are no numbers ("{wrong[0]!s:.20}")')
    values = np.array([np.nan if one is None else one for one in raw], dtype=np.float64)
    if not np.isfinite(values).any():
        return None
    if units.get(name) != variable.unit:
        _refuse(f'gives {name} in "{units.get(name)!s:.20}", not in {variable.unit}')
    impossible = np.isfinite(values) & ((values < variable.low) | (values > variable.high))
    impossible |= np.isinf(values)
    for index in np.flatnonzero(impossible)[:3]:
        when = _at(times[rows[index]])
        remarks.append(
            f"{name} of {values[index]:g} {variable.unit} at {when} is impossible: ignored"
        )
    if impossible.sum() > 3:
        remarks.append(f"{impossible.sum() - 3} more impossible values of {name}: ignored")
    values[impossible] = np.nan
    full = np.full(times.shape, np.nan)
    full[rows] = values
    return full


def _dew_point(
    temp: Array, series: Mapping[str, Array | None], times: np.ndarray, remarks: list[str]
) -> Array:
    """Dew point, from humidity where it is missing; above the temperature it is impossible."""
    unknown = np.full(temp.shape, np.nan)
    given, humidity = series["dew_point_2m"], series["relative_humidity_2m"]
    dew = unknown if given is None else given
    above = np.isfinite(dew) & (dew > temp + 0.5)
    if above.any():
        when = _at(times[np.flatnonzero(above)[0]])
        hours = "1 hour" if above.sum() == 1 else f"{above.sum()} hours"
        remarks.append(f"dew point above the temperature in {hours}, first {when}: ignored")
    dew = np.where(above, np.nan, np.minimum(dew, temp))
    if humidity is None:
        return dew
    from_humidity = air.dew_point(air.vapour_pressure(temp, np.clip(humidity, 1.0, 100.0)))
    return np.where(np.isfinite(dew), dew, from_humidity)


def _radiation(
    series: Mapping[str, Array | None], times: np.ndarray, missing: list[str]
) -> tuple[Array, Array]:
    """Direct and diffuse radiation; if only their sum is there, cloud says how it splits."""
    unknown = np.full(times.shape, np.nan)
    direct, diffuse = series["direct_radiation"], series["diffuse_radiation"]
    if direct is not None and diffuse is not None:
        return direct, diffuse
    total, cloud = series["shortwave_radiation"], series["cloud_cover"]
    if total is None:
        return unknown, unknown
    missing[:] = [name for name in missing if not name.endswith("_radiation")]
    # A clear sky sends about a fifth of the light from the side, a covered one all of it.
    share = np.full(times.shape, 0.5) if cloud is None else 0.2 + 0.8 * cloud / 100.0
    return total * (1.0 - share), total * share


def _at(second: int) -> str:
    return f"{datetime.fromtimestamp(int(second), UTC):%Y-%m-%d %H:%M} UTC"
