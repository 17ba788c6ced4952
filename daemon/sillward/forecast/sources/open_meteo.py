"""Open-Meteo: weather data under CC BY 4.0; the free service is for non-commercial use.

One call is for all sites. It asks for unix time in UTC, because the API's own local time is wrong
around clock changes, for wind in m/s, and for a week of the past, which shows the season and what
came before this night.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
from pydantic import SecretStr

from sillward.errors import SourceError, one_line
from sillward.forecast import parsing
from sillward.forecast.cells import BAND_M
from sillward.forecast.parsing import Reading, Variable
from sillward.forecast.quota import Quota
from sillward.forecast.source import SourceOptions
from sillward.net import fetch
from sillward.net.http import Answer, Query
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.remark import Plain
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site

KEY = "open-meteo"
NAME = "Open-Meteo"

FREE = "https://api.open-meteo.com"
WITH_KEY = "https://customer-api.open-meteo.com"
"""The host for calls with a key, to which the free one redirects. Redirects are not followed, so
that no key is sent elsewhere."""

VARIABLES: Mapping[str, Variable] = {
    "temperature_2m": Variable("°C", *parsing.TEMPERATURE),
    "relative_humidity_2m": Variable("%", *parsing.HUMIDITY),
    "dew_point_2m": Variable("°C", *parsing.DEW_POINT),
    "surface_pressure": Variable("hPa", *parsing.PRESSURE),
    "cloud_cover": Variable("%", 0, 100),
    "cloud_cover_low": Variable("%", 0, 100),
    "cloud_cover_mid": Variable("%", 0, 100),
    "cloud_cover_high": Variable("%", 0, 100),
    "wind_speed_10m": Variable("m/s", *parsing.WIND),
    "wind_gusts_10m": Variable("m/s", *parsing.GUST),
    "precipitation": Variable("mm", *parsing.RAIN),
    "direct_radiation": Variable("W/m²", *parsing.BEAM),
    "diffuse_radiation": Variable("W/m²", *parsing.BEAM),
    "weather_code": Variable("wmo code", 0, 99),
}
"""The variables that are asked for."""

_OPTIONAL = ("weather_code", "cloud_cover_low", "cloud_cover_mid", "cloud_cover_high")
"""Variables that may be missing without a remark, as they are not forecast everywhere. Without its
layers all cloud counts as low cloud."""

_HAIL_CODES = (96, 99)
"""Thunderstorm with hail; WMO code table 4677."""

READ: Mapping[str, Variable] = {**VARIABLES, "shortwave_radiation": Variable("W/m²", 0, 1600)}
"""The variables that are read."""

_MAX_SPAN = timedelta(days=16 + 92)
"""The longest time that the API covers, ahead and back."""

_READING = Reading(NAME)


FORECAST_SHARE = 0.9
"""Of the calls that are free in all, those for forecasts; the others are for the ensemble.
Judgement: no plant depends on that."""


def build(setup: SourceOptions) -> "OpenMeteo":
    """Build the source for the grower's settings."""
    return OpenMeteo(setup.base_url, setup.api_key)


@dataclass(frozen=True, slots=True)
class OpenMeteo:
    """The forecast API, or another server with the same API."""

    base_url: str | None = None
    api_key: SecretStr | None = None
    name: str = NAME
    attribution: str = "Weather data by Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)"
    interval: timedelta = timedelta(minutes=75)
    """Models run every one to six hours: with about 19 calls a day each run is seen soon. For one
    site a call counts as 1.5 of the 10,000 that are free each day (14 variables over 15 days)."""
    max_sites: int = 100
    """Judgement: the free host takes 1000, but a call for 100 is over well within its deadline."""
    cell_deg: float = 0.05
    """Half of the widest of the models that are joined where they are good (9 km). Judgement: no
    site is further than 4 km from the middle, about as far as from that of a model's cell."""
    band_m: float = BAND_M

    @property
    def quota(self) -> Quota | None:
        """The terms of the free service. For one site a call counts as 1.5: 14 variables over 15
        days, by tens of variables and fortnights."""
        return free_quota(self.base_url, self.api_key, of_site=1.5, share=FORECAST_SHARE)

    def query(self, sites: Sequence[Site]) -> Query:
        """Return the query for all sites at once."""
        params = places_and_time(sites) | {
            "wind_speed_unit": "ms",
            "past_days": "7",
            "forecast_days": "8",
            "hourly": ",".join(VARIABLES),
        }
        return with_key(self.base_url, (FREE, WITH_KEY), "forecast", params, self.api_key)

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError unless the status is 200; a used-up quota says how long to wait."""
        accept(answer, now, NAME, self.api_key)

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """Return a body for each site: an answer is one object, or a list for several sites."""
        return split(body, sites, _READING)

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Return the forecast in a body. Raise SourceError if it cannot be used."""
        try:
            return parse(body, site, fetched_at)
        except SourceError as error:
            raise discreet(error, self.api_key) from None


def free_quota(
    base_url: str | None, api_key: SecretStr | None, *, of_site: float, share: float
) -> Quota | None:
    """Return what the free service allows: 600 calls a minute, 5,000 an hour and 10,000 a day in
    all (terms of open-meteo.com, 2026). None for another, whose contract the grower knows.

    share: of one of its services.
    """
    if base_url is not None or api_key is not None:
        return None
    return Quota(600 * share, 10_000 * share, of_site, 5_000 * share)


def places_and_time(sites: Sequence[Site]) -> dict[str, str]:
    """Return the parameters for the places, and for times in UTC."""
    return {
        "latitude": ",".join(f"{site.latitude:.4f}" for site in sites),
        "longitude": ",".join(f"{site.longitude:.4f}" for site in sites),
        "elevation": ",".join(f"{site.elevation_m:.0f}" for site in sites),
        "timezone": "GMT",
        "timeformat": "unixtime",
    }


def with_key(
    base_url: str | None,
    hosts: tuple[str, str],
    path: str,
    params: dict[str, str],
    api_key: SecretStr | None,
) -> Query:
    """Return a query to the first host without a key, to the second with one, or to `base_url`."""
    key = api_key.get_secret_value() if api_key else ""
    base = (base_url or hosts[bool(key)]).rstrip("/")
    url = base if base.endswith(f"/{path}") else f"{base}/v1/{path}"
    return Query(url, params | {"apikey": key} if key else params)


def accept(answer: Answer, now: datetime, name: str, api_key: SecretStr | None) -> None:
    """Raise SourceError unless the status is 200; a used-up quota says how long to wait."""
    try:
        fetch.accepted(answer, name, now)
    except SourceError as error:
        wait = error.wait
        if answer.status == 429:
            wait = max(wait or timedelta(0), _until_quota(str(error), now))
        refused = SourceError(str(error), passing=error.passing, wait=wait)
        raise discreet(refused, api_key) from None


def discreet(error: SourceError, api_key: SecretStr | None) -> SourceError:
    """Return the error; with a key, without the words of the server, which might repeat it."""
    if api_key is None or not api_key.get_secret_value():
        return error
    text = str(error).partition(': "')[0]
    return SourceError(text, passing=error.passing, wait=error.wait)


def split(body: bytes, sites: Sequence[Site], reader: Reading) -> list[bytes]:
    """Return a body for each site: an answer is one object, or a list for several sites."""
    if len(sites) == 1:
        return [body]
    document = reader.document(body)
    if not isinstance(document, list) or len(document) != len(sites):
        reader.refuse(f"is not a list of {len(sites)} forecasts")
    return [json.dumps(forecast, ensure_ascii=False).encode() for forecast in document]


def _until_quota(reason: str, now: datetime) -> timedelta:
    """Return how long a quota stays used up. Quotas are for a minute, an hour or a UTC day."""
    if "Daily" in reason:
        midnight = now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
        return midnight + timedelta(minutes=10) - now
    if "Hourly" in reason:
        return timedelta(hours=1)
    if "Minutely" in reason or "concurrent" in reason:
        return timedelta(minutes=2)
    return timedelta(0)


def parse(body: bytes, site: Site, fetched_at: datetime) -> Weather:
    """Read and validate a body of the forecast API.

    Only times and temperatures are indispensable. A missing variable or an impossible value is
    unknown (NaN) and named in the weather's remarks; a body that contradicts what was asked for
    (another place, other units, torn times) raises SourceError.
    """
    document = document_of(body, _READING)
    _READING.check_place(document.get("latitude"), document.get("longitude"), site)
    hourly, units, times, rows = hours_of(document, _READING)
    remarks: list[str] = []
    series = {
        name: series_of(hourly, units, name, variable, times, rows, remarks, _READING)
        for name, variable in READ.items()
    }
    remarks += _lacking(series)
    return weather_of(series, times, remarks, _READING, NAME, fetched_at)


def weather_of(
    series: Mapping[str, Array | None],
    times: np.ndarray,
    remarks: Sequence[str],
    reader: Reading,
    source: str,
    fetched_at: datetime,
) -> Weather:
    """Return the weather in some variables (time,); those that are missing or None are unknown.

    remarks: those so far; what is found here comes after them. Raise SourceError without
    temperatures.
    """
    temp = series.get("temperature_2m")
    if temp is None or not np.isfinite(temp).any():
        reader.refuse("has no temperatures")
    said = list(remarks)
    dew, doubts = parsing.moisture(
        temp, series.get("dew_point_2m"), series.get("relative_humidity_2m"), times, said
    )
    known = partial(_known, series, np.full(times.shape, np.nan))
    direct, diffuse = _radiation(series, times)
    return Weather(
        times=times,
        temp_c=temp,
        dew_point_c=dew,
        wind_m_s=known("wind_speed_10m"),
        gust_m_s=known("wind_gusts_10m"),
        cloud=known("cloud_cover", 0.01),
        cloud_low=known("cloud_cover_low", 0.01),
        cloud_middle=known("cloud_cover_mid", 0.01),
        cloud_high=known("cloud_cover_high", 0.01),
        rain_mm=known("precipitation"),
        direct_w_m2=direct,
        diffuse_w_m2=diffuse,
        hail_pct=_hail_pct(known("weather_code")),
        source=source,
        fetched_at=fetched_at,
        remarks=tuple(map(Plain, said)),
        doubts=doubts,
    )


def _known(
    series: Mapping[str, Array | None], unknown: Array, name: str, scale: float = 1.0
) -> Array:
    """Return a variable, scaled (time,); `unknown` if the body does not have it."""
    values = series.get(name)
    return unknown if values is None else values * scale


def _hail_pct(weather_code: Array) -> Array:
    """Return 100 for hours with a weather code for hail, 0 for others; NaN where it is unknown."""
    is_hail = np.isin(weather_code, _HAIL_CODES)
    return np.where(np.isfinite(weather_code), 100.0 * is_hail, np.nan)


def _lacking(series: Mapping[str, Array | None]) -> list[str]:
    """Return remarks on the variables that the body does not have, and that nothing replaces."""
    missing = [name for name in VARIABLES if series[name] is None and name not in _OPTIONAL]
    if series["shortwave_radiation"] is not None:  # from which its two parts are estimated
        missing = [name for name in missing if not name.endswith("_radiation")]
    remarks = [f"the forecast has no {', '.join(missing)}"] if missing else []
    return [*remarks, parsing.NO_RAIN] if "precipitation" in missing else remarks


def document_of(body: bytes, reader: Reading) -> dict[str, Any]:
    """Return the object in a body for one site. Raise SourceError for anything else."""
    document = reader.document(body)
    if isinstance(document, list) and len(document) == 1:
        document = document[0]
    if not isinstance(document, dict):
        reader.refuse("is not one forecast")
    if document.get("error"):
        reason = one_line(document.get("reason", "no reason given"), 120)
        reader.refuse(f'is an error: "{reason}"')
    return document


def hours_of(
    document: dict[str, Any], reader: Reading
) -> tuple[dict[str, Any], dict[str, Any], np.ndarray, np.ndarray]:
    """Return hourly values, their units, all full hours, and the row of each given hour in them."""
    hourly, units = document.get("hourly"), document.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        reader.refuse("has no hourly values")
    raw = hourly.get("time")
    if units.get("time") != "unixtime":
        reader.refuse("does not give its times as unixtime")
    if not isinstance(raw, list) or not raw or not all(type(time) is int for time in raw):
        reader.refuse("has no list of times")
    if not all(0 <= time < parsing.LAST_SECOND for time in raw):
        reader.refuse("has impossible times")
    given = np.array(raw, dtype=np.int64)
    if np.any(given % HOUR_S != 0) or np.any(np.diff(given) <= 0):
        reader.refuse("has times that are not full hours in order")
    if given[-1] - given[0] > _MAX_SPAN.total_seconds():
        reader.refuse("covers an impossible length of time")
    times = np.arange(given[0], given[-1] + HOUR_S, HOUR_S, dtype=np.int64)
    return hourly, units, times, (given - given[0]) // HOUR_S


def series_of(
    hourly: dict[str, Any],
    units: dict[str, Any],
    name: str,
    variable: Variable,
    times: np.ndarray,
    rows: np.ndarray,
    remarks: list[str],
    reader: Reading,
) -> Array | None:
    """Return one variable on the full hours (time,); None if the body does not have it."""
    values = numbers_of(hourly, name, rows.size, reader)
    if values is None:
        return None
    reader.check_unit(name, units.get(name), variable.unit)
    full = np.full(times.shape, np.nan)
    full[rows] = parsing.plausible(values, name, variable, times[rows], remarks)
    return full


def numbers_of(hourly: dict[str, Any], name: str, count: int, reader: Reading) -> Array | None:
    """Return the values of a variable as they are given (given,); None if none is known."""
    raw = hourly.get(name)
    if raw is None:
        return None
    if not isinstance(raw, list) or len(raw) != count:
        reader.refuse(f"has another number of values for {name} than of times")
    wrong = [value for value in raw if value is not None and not parsing.is_number(value)]
    if wrong:
        reader.refuse(f'has {name} that are not numbers ("{one_line(wrong[0], 20)}")')
    values = np.array([np.nan if value is None else value for value in raw], dtype=np.float64)
    return values if np.isfinite(values).any() else None


def _radiation(series: Mapping[str, Array | None], times: np.ndarray) -> tuple[Array, Array]:
    """Return direct and diffuse radiation (time,) [W/m2].

    Where only their sum is given, it is split by cloud.
    """
    direct, diffuse = series.get("direct_radiation"), series.get("diffuse_radiation")
    if direct is not None and diffuse is not None:
        return direct, diffuse
    total, cloud = series.get("shortwave_radiation"), series.get("cloud_cover")
    if total is None:
        unknown = np.full(times.shape, np.nan)
        return unknown, unknown
    # A clear sky sends about a fifth of the light from the side, a covered one all of it.
    share = np.full(times.shape, 0.5) if cloud is None else 0.2 + 0.8 * cloud / 100.0
    return total * (1.0 - share), total * share
