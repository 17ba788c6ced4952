"""MET Norway's Locationforecast 2.0: the whole world, free, under NLOD 2.0 and CC BY 4.0.

A call is for one place, and an answer has neither past hours nor sunlight. It is hourly for some
days, then in steps of six hours, each with its lowest and highest temperature. Rain is given for
the hours that follow a time.
"""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

import sillward
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
from sillward_rules.weather import radiation
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import Spread, from_sd

KEY = "met-norway"
NAME = "MET Norway"

HOST = "https://api.met.no"
PATH = "/weatherapi/locationforecast/2.0/complete"

INSTANTS: Mapping[str, Variable] = {
    "air_temperature": Variable("celsius", *parsing.TEMPERATURE),
    "dew_point_temperature": Variable("celsius", *parsing.DEW_POINT),
    "relative_humidity": Variable("%", *parsing.HUMIDITY),
    "cloud_area_fraction": Variable("%", 0, 100),
    "cloud_area_fraction_low": Variable("%", 0, 100),
    "cloud_area_fraction_medium": Variable("%", 0, 100),
    "cloud_area_fraction_high": Variable("%", 0, 100),
    "wind_speed": Variable("m/s", *parsing.WIND),
    "wind_speed_of_gust": Variable("m/s", *parsing.GUST),
}
"""The values that are read for each given time."""

_RAIN = Variable("mm", *parsing.RAIN)
HOUR_AHEAD: Mapping[str, Variable] = {"precipitation_amount": _RAIN}
SIX_HOURS_AHEAD: Mapping[str, Variable] = {
    "precipitation_amount": _RAIN,
    "air_temperature_min": INSTANTS["air_temperature"],
    "air_temperature_max": INSTANTS["air_temperature"],
}
"""The values that are read for the hours after each given time."""

_PERCENTILES: Mapping[str, Variable] = {
    "air_temperature_percentile_10": INSTANTS["air_temperature"],
    "air_temperature_percentile_90": INSTANTS["air_temperature"],
}
"""Values that are given in the north only."""

_SD_BETWEEN = 2 * 1.2816
"""Standard deviations between the tenth and the ninetieth percentile of a Gaussian (tables)."""

_OPTIONAL: Mapping[str, str] = {
    "dew_point_temperature": "no dew point",
    "wind_speed_of_gust": "no gusts",
}
"""Values that are not given everywhere (documentation, data model), with the note where they are
missing."""

_LAYERS = (
    "cloud_area_fraction_low",
    "cloud_area_fraction_medium",
    "cloud_area_fraction_high",
)
"""Values that are not given everywhere, in places where the whole cover is."""

STEP_H = 6
"""The longest step that the periods cover."""

_WORDS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}

BEYOND_K = 0.05
"""How far a step's lowest or highest must be beyond its ends to count. All have one decimal."""

KEEP_AWAY: Mapping[int, timedelta] = {403: timedelta(hours=6), 429: timedelta(hours=1)}
"""How long to wait at least, by status: both mean that there were too many calls. Judgement: as
long as `net.fetch` waits after them."""

NO_PLACE = timedelta(hours=24)
"""How soon a place that is not covered is asked for again. Judgement: coverage changes rarely."""

MAX_AHEAD_OF_US = timedelta(hours=1)
"""A forecast that was updated further in the future shows that a clock is wrong. Judgement: clocks
that are set differ by less."""

_MAX_SPAN = timedelta(days=15)
"""The service gives nine to ten days."""

_MAX_CONTACT = 200
"""The most characters of a contact. Judgement: an address or a link is shorter."""

_READING = Reading(NAME)

log = logging.getLogger(__name__)


def build(setup: SourceOptions) -> "MetNorway":
    """Build the source for the grower's settings. Raise ValueError without a usable contact."""
    contact = (setup.contact or "").strip()
    if not contact:
        msg = (
            "needs a contact (a mail address or web page), as its terms ask: "
            "set SILLWARD_FORECAST__CONTACT"
        )
        raise ValueError(msg)
    # It goes into a header: a line break would begin another one.
    if not (contact.isascii() and contact.isprintable()) or len(contact) > _MAX_CONTACT:
        msg = f"the contact must be one line of at most {_MAX_CONTACT} plain (ASCII) characters"
        raise ValueError(msg)
    if "." not in contact:
        msg = "the contact must be a mail address or a web page: who fakes one is locked out"
        raise ValueError(msg)
    return MetNorway(contact, setup.base_url)


@dataclass(frozen=True, slots=True)
class MetNorway:
    """Locationforecast, or another server that speaks the same."""

    contact: str
    base_url: str | None = None
    name: str = NAME
    attribution: str = "Weather data from MET Norway (NLOD 2.0, CC BY 4.0, https://api.met.no/)"
    interval: timedelta = timedelta(minutes=60)
    """It is updated hourly in the north, four times a day elsewhere; Expires may ask for longer."""
    max_sites: int = 1
    cell_deg: float = 0.05
    """As for Open-Meteo: outside the north its model is the same. There it is 2.5 km."""
    band_m: float = BAND_M

    @property
    def quota(self) -> Quota | None:
        """Its terms: 20 requests a second. Judgement: far fewer, so that nobody is in the way."""
        return None if self.base_url else Quota(a_minute=120, a_day=None, of_site=1.0)

    def query(self, sites: Sequence[Site]) -> Query:
        """Return the query for the one site. More than four decimals would be refused."""
        (site,) = sites
        base = (self.base_url or HOST).rstrip("/")
        params = {
            "lat": f"{site.latitude:.4f}",
            "lon": f"{site.longitude:.4f}",
            "altitude": f"{round(site.elevation_m)}",
        }
        return Query(
            base if base.endswith(PATH) else f"{base}{PATH}",
            params,
            {"User-Agent": f"sillward/{sillward.__version__} {self.contact}"},
            follow=True,
        )

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError unless the status is 200, or 203 of a product that is new or ends."""
        if answer.status == 203:
            log.warning("forecast.deprecated source=%s status=203", NAME)
            return
        if answer.status in (404, 422):
            msg = f"{NAME}: has no forecast for this place ({answer.status})"
            raise SourceError(msg, wait=NO_PLACE, of_place=True)
        try:
            fetch.accepted(answer, NAME, now)
        except SourceError as error:
            least = KEEP_AWAY.get(answer.status)
            if least is None:
                raise
            text = str(error)
            if answer.status == 403:
                text = f"{NAME}: turns us away (403); is the contact a true one?"
            raise SourceError(text, wait=max(error.wait or least, least)) from None

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """Return the body: it is asked for one site at a time."""
        return [body]

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Return the forecast in a body. Raise SourceError if it cannot be used."""
        return parse(body, site, fetched_at)


@dataclass(frozen=True, slots=True)
class _Series:
    """The times that a body gives, and its values for each, shape (given,); NaN is unknown.

    Args:
        at: unix seconds.
        hourly: whether there are values for the next hour alone.
        six: whether there are values for the next six hours together.
        instant: the values at that time.
        percentile: the percentiles at that time.
        hour_ahead: the values for the next hour.
        six_ahead: the values for the next six hours.
    """

    at: np.ndarray
    hourly: np.ndarray
    six: np.ndarray
    instant: Mapping[str, Array]
    percentile: Mapping[str, Array]
    hour_ahead: Mapping[str, Array]
    six_ahead: Mapping[str, Array]


@dataclass(frozen=True, slots=True)
class _Step:
    """Several hours between two given times for which there are values only together.

    Args:
        row: the row, among the given times, of the time that it begins with.
        first: the row of its first time among all hours.
        last: the row of its last time among all hours.
    """

    row: int
    first: int
    last: int

    @property
    def inner(self) -> slice:
        """The hours between its two times."""
        return slice(self.first + 1, self.last)


@dataclass(frozen=True, slots=True)
class _Grid:
    """All full hours from the first to the last given time [unix s].

    Args:
        rows: the row of each given time among the hours.
        steps: where several hours have their values together.
    """

    times: np.ndarray
    rows: np.ndarray
    steps: Sequence[_Step]

    def fill(self, values: Array) -> Array:
        """Return the values on all hours (time,): straight lines within steps, else NaN between."""
        hours = self.place(values)
        for step in self.steps:
            line = np.linspace(hours[step.first], hours[step.last], step.last - step.first + 1)
            hours[step.inner] = line[1:-1]
        return hours

    def place(self, values: Array) -> Array:
        """Return the values on all hours (time,), NaN between the given times."""
        hours = np.full(self.times.shape, np.nan)
        hours[self.rows] = values
        return hours


def parse(body: bytes, site: Site, fetched_at: datetime) -> Weather:
    """Read and validate a body of the service.

    Instants are taken as they are. Between the ends of a step of up to six hours, wind, cloud and
    moisture follow straight lines; so does the temperature, unless the step's lowest is lower than
    both ends: its hour is not given, so all hours within have it. Gusts are unknown there, and
    hours that are missing among hourly ones stay missing. Only times and temperatures are
    indispensable; a body that contradicts what was asked for raises SourceError.
    """
    remarks: list[str] = []
    series, updated_at = _series_of(_READING.document(body), site, remarks)
    instant = series.instant
    if not np.isfinite(instant["air_temperature"]).any():
        _READING.refuse("has no temperatures")
    grid = _grid(series)
    dew, doubts = parsing.moisture(
        instant["air_temperature"],
        instant["dew_point_temperature"],
        instant["relative_humidity"],
        series.at,
        remarks,
    )
    temp_c = _temperature(series, grid, remarks)
    cloud, low_cloud, middle_cloud, high_cloud = (
        grid.fill(instant[name] / 100.0) for name in ("cloud_area_fraction", *_LAYERS)
    )
    direct, diffuse = radiation.estimate(site, grid.times, cloud)
    missing = [name for name, values in instant.items() if not np.isfinite(values).any()]
    remarks += _lacking(series, missing)
    return Weather(
        times=grid.times,
        temp_c=temp_c,
        dew_point_c=np.minimum(grid.fill(dew), temp_c),
        wind_m_s=grid.fill(instant["wind_speed"]),
        gust_m_s=grid.place(instant["wind_speed_of_gust"]),
        cloud=cloud,
        cloud_low=low_cloud,
        cloud_middle=middle_cloud,
        cloud_high=high_cloud,
        rain_mm=_rain(series, grid),
        direct_w_m2=direct,
        diffuse_w_m2=diffuse,
        hail_pct=np.full(grid.times.shape, np.nan),
        source=NAME,
        fetched_at=fetched_at,
        spread=_spread(series, grid),
        issued_at=_issued(updated_at, fetched_at, remarks),
        remarks=tuple(map(Plain, remarks)),
        doubts=doubts,
        notes=tuple(_notes(series, grid.steps, missing)),
    )


def _series_of(document: Any, site: Site, remarks: list[str]) -> tuple[_Series, datetime]:
    """Return all that is read of a document, and when it was updated."""
    if not isinstance(document, dict) or document.get("type") != "Feature":
        _READING.refuse("is not one forecast")
    geometry = document.get("geometry")
    place = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if not isinstance(place, list) or len(place) < 2:
        _READING.refuse("does not say for which place it is")
    _READING.check_place(place[1], place[0], site)
    properties = _part(document, "properties")
    meta = _part(properties, "meta")
    units = _part(meta, "units")
    updated = _moment(meta.get("updated_at"), "does not say when it was updated")
    given = properties.get("timeseries")
    if not isinstance(given, list) or not given:
        _READING.refuse("has no list of times")
    if not all(isinstance(entry, dict) for entry in given):
        _READING.refuse("has times without values")
    at = _times(given)
    data = [_part(entry, "data") for entry in given]
    hours, sixes = _periods(data, "next_1_hours"), _periods(data, "next_6_hours")
    instants = [_details(period) for period in _periods(data, "instant")]

    def read(details: list[dict[str, Any]], variables: Mapping[str, Variable]) -> dict[str, Array]:
        return {
            name: _values(details, name, variable, units, at, remarks)
            for name, variable in variables.items()
        }

    series = _Series(
        at=at,
        hourly=np.array([period is not None for period in hours]),
        six=np.array([period is not None for period in sixes]),
        instant=read(instants, INSTANTS),
        percentile=read(instants, _PERCENTILES),
        hour_ahead=read([_details(period) for period in hours], HOUR_AHEAD),
        six_ahead=read([_details(period) for period in sixes], SIX_HOURS_AHEAD),
    )
    return series, updated


def _part(holder: dict[str, Any], name: str) -> dict[str, Any]:
    part = holder.get(name)
    if not isinstance(part, dict):
        _READING.refuse(f"has no {name}")
    return part


def _periods(data: Sequence[dict[str, Any]], name: str) -> list[dict[str, Any] | None]:
    """Return a period of every time, or None where it has none."""
    periods = [entry.get(name) for entry in data]
    if not all(period is None or isinstance(period, dict) for period in periods):
        _READING.refuse(f"has a {name} without values")
    return periods


def _details(period: dict[str, Any] | None) -> dict[str, Any]:
    """Return the values of a period, which may have a summary only."""
    details = {} if period is None else period.get("details", {})
    if not isinstance(details, dict):
        _READING.refuse("has details that are not values")
    return details


def _moment(text: object, fault: str) -> datetime:
    """Return a time from the one form that the service has (UTC). Raise SourceError."""
    try:
        at = datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)  # type: ignore[arg-type]
    except (ValueError, TypeError):
        _READING.refuse(fault)
    if not 0 <= at.timestamp() < parsing.LAST_SECOND:
        _READING.refuse(fault)
    return at


def _times(given: Sequence[dict[str, Any]]) -> np.ndarray:
    """Return the given times [unix s]: full hours, ascending, not longer than is possible."""
    moments = [_moment(entry.get("time"), "has impossible times") for entry in given]
    at = np.array([int(time.timestamp()) for time in moments], dtype=np.int64)
    if np.any(at % HOUR_S != 0) or np.any(np.diff(at) <= 0):
        _READING.refuse("has times that are not full hours in order")
    if at[-1] - at[0] > _MAX_SPAN.total_seconds():
        _READING.refuse("covers an impossible length of time")
    return at


def _values(
    details: Sequence[dict[str, Any]],
    name: str,
    variable: Variable,
    units: dict[str, Any],
    at: np.ndarray,
    remarks: list[str],
) -> Array:
    """Return a variable at the given times; what is missing or impossible is NaN."""
    raw = [values.get(name) for values in details]
    wrong = [value for value in raw if value is not None and not parsing.is_number(value)]
    if wrong:
        _READING.refuse(f'has {name} that are not numbers ("{one_line(wrong[0], 20)}")')
    values = np.array([np.nan if value is None else value for value in raw], dtype=np.float64)
    if np.isfinite(values).any():
        _READING.check_unit(name, units.get(name), variable.unit)
    return parsing.plausible(values, name, variable, at, remarks)


def _issued(updated_at: datetime, fetched_at: datetime, remarks: list[str]) -> datetime | None:
    """Return when the forecast was made; None if it says a time that cannot be."""
    if updated_at - fetched_at > MAX_AHEAD_OF_US:
        when = parsing.at(int(updated_at.timestamp()))
        remarks.append(f"updated in the future ({when}), so a clock is wrong: its age is unsure")
        return None
    return min(updated_at, fetched_at)


def _grid(series: _Series) -> _Grid:
    """Return all hours of the given times, and where several of them have their values together.

    A time with values for its next hour alone is an hourly one (documentation): hours that are
    missing after it are missing, and not a step.
    """
    times = np.arange(series.at[0], series.at[-1] + HOUR_S, HOUR_S, dtype=np.int64)
    rows = (series.at - series.at[0]) // HOUR_S
    length = np.diff(rows)
    is_step = ~series.hourly[:-1] & series.six[:-1] & (length > 1) & (length <= STEP_H)
    steps = [
        _Step(row, int(rows[row]), int(rows[row + 1])) for row in np.flatnonzero(is_step).tolist()
    ]
    return _Grid(times, rows, steps)


def _temperature(series: _Series, grid: _Grid, remarks: list[str]) -> Array:
    """Return the temperature on all hours [°C]; within steps their lowest, where that counts.

    A step without its lowest is unknown inside: a line would miss the low of the night.
    """
    hours = grid.fill(series.instant["air_temperature"])
    lowest = series.six_ahead["air_temperature_min"]
    highest = series.six_ahead["air_temperature_max"]
    for step in grid.steps:
        low, high = lowest[step.row], highest[step.row]
        ends = hours[[step.first, step.last]]
        if np.isnan(low):
            hours[step.inner] = np.nan
        elif low < ends.min() - BEYOND_K:
            hours[step.inner] = low
        elif high > ends.max() + BEYOND_K:
            hours[(step.first + step.last) // 2] = high
    blind = [step for step in grid.steps if np.isnan(lowest[step.row])]
    if blind:
        number = "1 step" if len(blind) == 1 else f"{len(blind)} steps"
        when = parsing.at(grid.times[blind[0].first])
        remarks.append(
            f"no lowest temperature in {number} of several hours, first from {when}: "
            "unknown in between"
        )
    return hours


def _spread(series: _Series, grid: _Grid) -> Spread | None:
    """Return how far off the forecast may be, if its percentiles are given."""
    low, high = (series.percentile[name] for name in _PERCENTILES)
    sd_k = np.maximum(high - low, 0.0) / _SD_BETWEEN
    if not np.isfinite(sd_k).any():
        return None
    return from_sd(grid.times, grid.fill(sd_k), f"percentiles of {NAME}")


def _rain(series: _Series, grid: _Grid) -> Array:
    """Return the rain of the hour that ends at each time [mm].

    It is what the time before gives for its next hour. Where there is only a sum of six hours, each
    has a sixth. For the hour that ends at the first time there is nothing, so it gets the value of
    the next one: if it were unknown, every crown would be unknown until night, every evening.
    """
    hours, rows = np.full(grid.times.shape, np.nan), grid.rows
    single = series.hour_ahead["precipitation_amount"]
    shared = series.six_ahead["precipitation_amount"] / STEP_H
    for given, row in enumerate(rows[:-1]):
        length = 1 if series.hourly[given] else min(int(rows[given + 1] - row), STEP_H)
        hours[row + 1 : row + 1 + length] = shared[given]
        if np.isfinite(single[given]):
            hours[row + 1] = single[given]
    if hours.size > 1:
        hours[0] = hours[1]
    return hours


def _lacking(series: _Series, missing: Sequence[str]) -> list[str]:
    """Return remarks on values that are given everywhere else, but not here."""
    names = [name for name in missing if name not in (*_OPTIONAL, *_LAYERS)]
    rain = (series.hour_ahead["precipitation_amount"], series.six_ahead["precipitation_amount"])
    if not np.isfinite(rain).any():
        names.append("precipitation_amount")
    remarks = [f"the forecast has no {', '.join(names)}"] if names else []
    return [*remarks, parsing.NO_RAIN] if "precipitation_amount" in names else remarks


def _notes(series: _Series, steps: Sequence[_Step], missing: Sequence[str]) -> list[str]:
    """Return notes on what this source does not give here, and what is used instead."""
    notes = ["no past: what rain has fallen before is not known"]
    if "cloud_area_fraction" not in missing:
        notes.append("sunlight is estimated from cloud")
        if not set(missing).isdisjoint(_LAYERS):
            notes.append("cloud is not told by height: thin high cloud counts like any other")
    lowest = series.six_ahead["air_temperature_min"]
    if any(np.isfinite(lowest[step.row]) for step in steps):
        start = moment(series.at[steps[0].row])
        lengths = {step.last - step.first for step in steps}
        length = f"{'' if len(lengths) == 1 else 'up to '}{_WORDS[max(lengths)]}"
        notes.append(
            f"from {start:%a %d %b %H:%M} UTC on in steps of {length} hours: "
            "the step's own lowest temperature counts"
        )
    return notes + [text for name, text in _OPTIONAL.items() if name in missing]
