"""The questions about the site: where it is, how high, and in which time zone."""

import os
import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

import click

from sillward.config.models import Elevation, Latitude, Longitude, Text, Zone
from sillward.config.validation import problem_with
from sillward.errors import SourceError
from sillward.forecast.geocoding import Atlas, Place
from sillward.setup.answers import SiteAnswer
from sillward.setup.prompts import ask, choose, number, valid

MAX_ZONE_ERROR_H = 3.0
"""Clocks are at most so far from the sun's hour (western China: 3 h, from memory)."""


def ask_site(atlas: Atlas) -> SiteAnswer:
    """Ask for the site. Height and zone are looked up, to be confirmed."""
    place = _ask_place(atlas)
    elevation_m, zone = place.elevation_m, place.zone
    if elevation_m is None or zone is None:
        try:
            ground_m, zone_there = atlas.height_and_zone(place.latitude, place.longitude)
        except SourceError as error:
            click.echo(f"  height and time zone cannot be looked up: {error}")
            ground_m, zone_there = None, None
        elevation_m = ground_m if elevation_m is None else elevation_m
        zone = zone or zone_there or machine_zone(place.longitude)
    if place.label:
        where = f"{place.latitude:g}, {place.longitude:g}"
        click.echo(f"  {place.label}: {where} (the middle of the place)")
    height = ask(
        "Height above the sea, m",
        lambda typed: number(typed, Elevation, "m"),
        "" if elevation_m is None else f"{elevation_m:g}",
    )
    zone = ask("Time zone, such as Europe/Madrid", _read_zone, zone or "")
    name = ask("A name for the site", lambda typed: valid(Text, typed), place.name)
    return SiteAnswer(
        name, place.latitude, place.longitude, height, zone, found=place.label or None
    )


def _ask_place(atlas: Atlas) -> Place:
    """Return a place that the search found, or the coordinates that were typed (no label)."""
    while True:
        where = ask(
            "Where is it? Coordinates such as -32.89, -68.85, or a town (Open-Meteo looks it up)",
            lambda typed: coordinates(typed) or valid(Text, typed),
        )
        if not isinstance(where, str):
            return Place("Home", "", *where)
        try:
            hits = atlas.places_named(where)
        except SourceError as error:
            click.echo(f"  {error}; write coordinates: maps show them")
            continue
        if not hits:
            click.echo("  no place of this name; another spelling, or coordinates?")
            continue
        rows = [f"{hit.label} ({hit.latitude:.2f}, {hit.longitude:.2f})" for hit in hits]
        chosen = choose("Which one?", [*rows, "none of these"])
        if chosen < len(hits):
            return hits[chosen]


_COORDINATES = re.compile(
    r"([-+]?\d+(?:\.\d+)?)\s*°?\s*([NS])?\s*[,;\s]\s*([-+]?\d+(?:\.\d+)?)\s*°?\s*([EW])?",
    re.IGNORECASE | re.ASCII,
)
_ANGLES = ("the first, degrees north,", "the second, degrees east,")


def coordinates(text: str) -> tuple[float, float] | None:
    """Read "-32.89, -68.85" or "32.89 S 68.85 W"; return None for what is a name.

    Raise ValueError for what is meant as coordinates and is not.
    """
    bare = text.replace("−", "-")
    match = _COORDINATES.fullmatch(bare)
    if match is None:
        if _looks_like_coordinates(bare):
            msg = "write coordinates in degrees with a point, such as -32.89, -68.85"
            raise ValueError(msg)
        return None
    angles = _signed(match[1], match[2]), _signed(match[3], match[4])
    for kind, angle, words in zip((Latitude, Longitude), angles, _ANGLES, strict=True):
        try:
            valid(kind, angle)
        except ValueError as error:
            msg = f"{words} {error}"
            raise ValueError(msg) from None
    return angles


def _looks_like_coordinates(text: str) -> bool:
    """Whether a text begins with a number, is more than that, and has no word in it."""
    if re.fullmatch("[0-9]+", text):  # a postcode
        return False
    return bool(re.match(r"[-+]?[0-9]", text)) and not re.search(r"[^\W\d_]{2}", text)


def _signed(degrees: str, letter: str | None) -> float:
    """Return degrees north or east."""
    if not letter:
        return float(degrees)
    return -abs(float(degrees)) if letter.upper() in "SW" else abs(float(degrees))


def machine_zone(
    longitude: float,
    environment: Mapping[str, str] = os.environ,
    localtime: Path = Path("/etc/localtime"),
) -> str | None:
    """Return the time zone of this machine if it fits the longitude; a server's often does not."""
    name = environment.get("TZ", "").removeprefix(":")
    if not name:
        with suppress(OSError, RuntimeError):
            name = str(localtime.resolve()).partition("zoneinfo/")[2]
    if "/" not in name or name.startswith("Etc/") or problem_with(Zone, name) is not None:
        return None
    winter = datetime(2026, 1, 1, tzinfo=UTC).astimezone(ZoneInfo(name)).utcoffset()
    offset_h = (winter or timedelta(0)) / timedelta(hours=1)
    apart_h = abs((offset_h - longitude / 15 + 12) % 24 - 12)
    return name if apart_h <= MAX_ZONE_ERROR_H else None


def _read_zone(text: str) -> str:
    wrong = problem_with(Zone, text)
    if wrong is None:
        return text
    wanted = text.replace(" ", "_").casefold()
    similar = sorted(zone for zone in available_timezones() if wanted and wanted in zone.casefold())
    if similar:
        msg = f'"{text}" is not a time zone; did you mean {", ".join(similar[:5])}?'
        raise ValueError(msg)
    raise ValueError(wrong)
