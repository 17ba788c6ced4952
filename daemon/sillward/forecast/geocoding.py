"""Look-up of places: the coordinates of a name, the height and time zone of coordinates.

Both come from Open-Meteo; names are those of GeoNames (CC BY 4.0). Each look-up is one bounded
call, made while a person waits; nothing is tried again.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sillward.errors import SourceError, one_line
from sillward.forecast.parsing import Reading, is_number
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.net import fetch
from sillward.net.http import Query

KEY = "open-meteo-geocoding"
NAME = "Open-Meteo's search for places"
SERVER = "https://geocoding-api.open-meteo.com"

CREDIT = "GeoNames (CC BY 4.0, https://www.geonames.org/) via Open-Meteo.com"
"""What the licence asks for."""

MAX_HITS = 8
"""The most places that are offered. Judgement: with more to read, typing more of the name is
quicker."""

LOOKUP_DEADLINE_S = 15.0
"""The time for one look-up [s]. Judgement: a person waits for it."""

_MAX_NAME = 60

_READING = Reading(NAME)


@dataclass(frozen=True, slots=True)
class Place:
    """A place that was found: degrees north and east, metres above the sea; None is unknown.

    `label` is the name with region and country, on one line.
    """

    name: str
    label: str
    latitude: float
    longitude: float
    elevation_m: float | None = None
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class Atlas:
    """The servers to ask for names (`search`) and for coordinates (`around`); None asks none."""

    search: SourceOptions | None
    around: SourceOptions | None

    def places_named(self, name: str) -> list[Place]:
        """Return the places of this name, the best known first.

        Raise SourceError if the look-up fails.
        """
        if self.search is None:
            msg = f"{NAME}: not asked, as your settings choose another server"
            raise SourceError(msg)
        params = {"name": name, "count": str(MAX_HITS), "language": "en", "format": "json"}
        base = self.search.base_url or SERVER
        query = open_meteo.with_key(base, (base, base), "search", params, None)
        document = _document_for(query, NAME, _READING)
        hits = document.get("results", [])
        if not isinstance(hits, list):
            _READING.refuse("has no list of places")
        return [place for hit in hits[:MAX_HITS] if (place := _place(hit)) is not None]

    def height_and_zone(self, latitude: float, longitude: float) -> tuple[float | None, str | None]:
        """Return the height of the ground [m] and the time zone there; None for what is unknown.

        A forecast for them has both in its head, and its height is that of the elevation API. Raise
        SourceError if the look-up fails.
        """
        if self.around is None:
            return None, None
        params = {
            "latitude": f"{latitude:.4f}",
            "longitude": f"{longitude:.4f}",
            "timezone": "auto",
            "forecast_days": "1",
            "hourly": "temperature_2m",
        }
        hosts, key = (open_meteo.FREE, open_meteo.WITH_KEY), self.around.api_key
        query = open_meteo.with_key(self.around.base_url, hosts, "forecast", params, key)
        try:
            document = _document_for(query, open_meteo.NAME, Reading(open_meteo.NAME))
        except SourceError as error:
            raise open_meteo.discreet(error, key) from None
        return _height(document.get("elevation")), _zone(document.get("timezone"))


def _document_for(query: Query, source: str, reader: Reading) -> dict[str, Any]:
    answer = fetch.ask(query, source=source, deadline_s=LOOKUP_DEADLINE_S)
    fetch.accepted(answer, source, datetime.now(UTC))
    document = reader.document(answer.body)
    if not isinstance(document, dict):
        reader.refuse("is not an object")
    return document


def _place(hit: object) -> Place | None:
    if not isinstance(hit, Mapping):
        return None
    name = one_line(hit.get("name", ""), _MAX_NAME)
    north, east = hit.get("latitude"), hit.get("longitude")
    if not name or not _within(north, 90.0) or not _within(east, 180.0):
        return None
    parts = [name]
    for key in ("admin1", "country"):
        part = one_line(hit.get(key) or "", _MAX_NAME)
        if part and part not in parts:
            parts.append(part)
    return Place(
        name,
        ", ".join(parts),
        float(north),  # type: ignore[arg-type]
        float(east),  # type: ignore[arg-type]
        _height(hit.get("elevation")),
        _zone(hit.get("timezone")),
    )


def _within(value: object, most: float) -> bool:
    return is_number(value) and abs(value) <= most  # type: ignore[arg-type]


def _height(value: object) -> float | None:
    # GeoNames writes 9999 and the like where it has no height.
    known = is_number(value) and -430.0 <= value <= 6000.0  # type: ignore[operator]
    return round(float(value)) if known else None  # type: ignore[arg-type]


def _zone(value: object) -> str | None:
    if not isinstance(value, str):
        return None
    try:
        return ZoneInfo(value).key
    except (OSError, ValueError, KeyError):
        return None
