"""The questions about the site: where it is, how high, and in which time zone."""

import functools
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from importlib import resources
from pathlib import Path
from zoneinfo import available_timezones

from sillward.config.models import Elevation, Latitude, Longitude, Text, Zone
from sillward.config.validation import problem_with
from sillward.config.zone_places import MAX_ZONE_ERROR_H, hours_apart
from sillward.errors import SourceError
from sillward.forecast.geocoding import Atlas, Place
from sillward.setup.answers import SiteAnswer
from sillward.setup.dialogue import Deed, Dialogue, Question, ask, do
from sillward.setup.prompts import ask_name_of, choose, number, valid
from sillward.text.units import Temperature

YES_OR_NO = ("yes", "no")

METRES = {"ft": 0.3048, "feet": 0.3048, "'": 0.3048}
"""Other units of heights. Exact: the international foot."""

FAHRENHEIT = frozenset({"AS", "BS", "BZ", "GU", "KY", "MP", "PR", "PW", "US", "VI"})
"""Countries in which temperatures are told in °F (Unicode CLDR, supplementalData, measurementSystem
for temperature; its US stands for the islands that belong to it too)."""


def ask_site(atlas: Atlas) -> Dialogue[SiteAnswer]:
    """Ask for the site. Height and zone are looked up, to be confirmed."""
    place = yield from _ask_place(atlas)
    where = (place.latitude, place.longitude)
    elevation_m, zone, above = place.elevation_m, place.zone, []
    if elevation_m is None or zone is None:
        around = Deed(lambda: _height_and_zone(atlas, *where), where, "looking up height and zone")
        ground_m, zone_there, problem = yield from do(around)
        elevation_m = ground_m if elevation_m is None else elevation_m
        zone = zone or zone_there or machine_zone(place.longitude)
        if problem:
            above.append(f"  height and time zone cannot be looked up: {problem}")
    if place.label:
        latitude, longitude = where
        above.append(f"  {place.label}: {latitude:g}, {longitude:g} (the middle of the place)")
    height, zone = yield from _ask_height_and_zone(elevation_m, zone, above, where)
    unit = yield from ask_temperature_unit(zone)
    name = yield from ask(
        Question("A name for the site", lambda typed: valid(Text, typed), place.name)
    )
    return SiteAnswer(name, *where, height, zone, found=place.label or None, unit=unit)


def _height_and_zone(
    atlas: Atlas, latitude: float, longitude: float
) -> tuple[float | None, str | None, str]:
    """Return height and zone as they are looked up, and what went wrong with that."""
    try:
        return *atlas.height_and_zone(latitude, longitude), ""
    except SourceError as error:
        return None, None, str(error)


def _ask_height_and_zone(
    elevation_m: float | None, zone: str | None, above: list[str], where: tuple[float, float]
) -> Dialogue[tuple[float, str]]:
    """Have what was looked up confirmed, or ask for it."""
    if elevation_m is not None and zone is not None:
        question = f"{elevation_m:g} m above the sea, time zone {zone}. Right?"
        right = yield from ask_name_of(question, YES_OR_NO, "yes", above=above, about=where)
        if right == "yes":
            return elevation_m, zone
        above = []
    height = yield from ask(
        Question(
            "Height above the sea, m",
            lambda typed: number(typed, Elevation, "m", METRES),
            "" if elevation_m is None else f"{elevation_m:g}",
            above=tuple(above),
            about=where,
        )
    )
    question = "Time zone, such as Europe/Madrid"
    return height, (yield from ask(Question(question, _read_zone, zone or "", about=where)))


def _ask_place(atlas: Atlas) -> Dialogue[Place]:
    """Return a place that the search found, or the coordinates that were typed (no label)."""
    above = ""
    while True:
        where = yield from ask(
            Question(
                "Where is it? A town (Open-Meteo looks it up), or coordinates such as"
                " -32.89, -68.85",
                lambda typed: coordinates(typed) or valid(Text, typed),
                above=(above,) if above else (),
            )
        )
        if not isinstance(where, str):
            return Place("Home", "", *where)
        hits, problem = yield from do(
            Deed(functools.partial(_places, atlas, where), where, "looking up the place")
        )
        above = problem
        if hits:
            rows = [f"{hit.label} ({hit.latitude:.2f}, {hit.longitude:.2f})" for hit in hits]
            chosen = yield from choose("Which one?", [*rows, "none of these"])
            if chosen < len(hits):
                return hits[chosen]


def _places(atlas: Atlas, name: str) -> tuple[list[Place], str]:
    """Return the places of a name, and why there are none."""
    try:
        hits = atlas.places_named(name)
    except SourceError as error:
        return [], f"  {error}; write coordinates: maps show them"
    return hits, "" if hits else "  no place of this name; another spelling, or coordinates?"


# -- units


def ask_temperature_unit(
    zone: str, environment: Mapping[str, str] = os.environ
) -> Dialogue[Temperature]:
    """Ask for °C or °F, but only where °F is likely; it is the default where it is usual."""
    is_usual = country_of(zone) in FAHRENHEIT
    if not is_usual and not _measures_in_fahrenheit(environment):
        return "°C"
    chosen = yield from ask_name_of("Temperatures in °F or °C?", ("F", "C"), "FC"[not is_usual])
    return "°F" if chosen == "F" else "°C"


def _measures_in_fahrenheit(environment: Mapping[str, str]) -> bool:
    """Whether the locale for measures was chosen to be one with °F.

    LANG does not count: en_US is what many machines are delivered with.
    """
    name = environment.get("LC_ALL") or environment.get("LC_MEASUREMENT") or ""
    return name.partition(".")[0].partition("_")[2] in FAHRENHEIT


def country_of(zone: str) -> str | None:
    """Return the country of a time zone (ISO 3166); None if the zone table does not name it."""
    table = resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    for line in table.splitlines():
        country, _, rest = line.partition("\t")
        if rest.split("\t")[1:2] == [zone]:
            return country
    return None


# -- coordinates


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


# -- time zones


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
    return name if hours_apart(longitude, name) <= MAX_ZONE_ERROR_H else None


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
