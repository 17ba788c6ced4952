"""Whether a time zone fits a place on the map: a missing minus turns the seasons round."""

import re
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path
from zoneinfo import TZPATH, ZoneInfo

from sillward import files

MAX_ZONE_ERROR_H = 3.5
"""How far the clock of a zone may be from that of the sun [h]. Judgement: in western China it is
three hours."""

MIN_LATITUDE = 10.0
"""Closer to the equator a zone may lie on both sides of it [degrees]. Judgement."""

MAX_TABLE_BYTES = 200_000
"""The table of zones has 19 kB."""

_PLACE = re.compile(r"^[A-Z]{2}\t([+-]\d{2})(\d{2})\d*[+-]\d+\t(\S+)", re.MULTILINE)
"""A line of zone.tab: a country, latitude and longitude in degrees and minutes, a zone."""


def hours_apart(longitude: float, zone: str) -> float:
    """Return how far the clock of a zone is from that of the sun at a longitude, in winter [h]."""
    offset = datetime(2026, 1, 1, tzinfo=UTC).astimezone(ZoneInfo(zone)).utcoffset()
    offset_h = (offset or timedelta(0)) / timedelta(hours=1)
    return abs((offset_h - longitude / 15 + 12) % 24 - 12)


def missing_sign(latitude: float, longitude: float, zone: str) -> str | None:
    """Return which of latitude and longitude has the wrong sign, by the zone; None if none has.

    Nothing is said of zones that are no place, such as UTC.
    """
    if "/" not in zone or zone.startswith("Etc/"):
        return None
    there = _latitude_of(zone)
    apart = there is not None and min(abs(latitude), abs(there)) >= MIN_LATITUDE
    if apart and there is not None and (latitude < 0) != (there < 0):
        return "latitude"
    if hours_apart(longitude, zone) > MAX_ZONE_ERROR_H >= hours_apart(-longitude, zone):
        return "longitude"
    return None


def _latitude_of(zone: str) -> float | None:
    """Return the latitude of the place that a zone is named after [degrees]; None if unknown."""
    for degrees, minutes, name in _PLACE.findall(_table()):
        if name == zone:
            whole = float(degrees)
            return whole + (float(minutes) / 60 if degrees[0] == "+" else -float(minutes) / 60)
    return None


def _table() -> str:
    """Return the table of zones with their places, of the system or of the package; else ""."""
    for folder in TZPATH:
        with suppress(OSError):
            return files.read(Path(folder, "zone.tab"), MAX_TABLE_BYTES).decode(errors="replace")
    with suppress(OSError, ModuleNotFoundError):
        return (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text("utf-8")
    return ""
