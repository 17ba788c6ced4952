"""The first run: a few questions on a terminal, a collection that passes `check`.

Every answer is checked when it is given; nothing is written before the last.
"""

import json
import os
import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo, available_timezones

import click

from sillward import files
from sillward.config import group_lookup
from sillward.config.collection_file import MAX_BYTES, is_collection
from sillward.config.json_schema import ID, collection_schema
from sillward.config.loader import load_household
from sillward.config.models import Celsius, Elevation, Latitude, Longitude, NightLow, Text, Zone
from sillward.config.validation import wrong_with
from sillward.errors import NotOursError, SourceError
from sillward.forecast.geocoding import Atlas, Place
from sillward.reports import groups as group_report
from sillward.setup import draft
from sillward.setup.draft import (
    BREEZES,
    COVERS,
    IndoorAnswer,
    OutdoorAnswer,
    PlantAnswer,
    SiteAnswer,
    SpotAnswer,
)
from sillward.text import printable
from sillward_rules.plants.group_names import alias_within
from sillward_rules.plants.groups import Group, standard_groups
from sillward_rules.plants.plant import HOLDERS, Holder, tenderest

T = TypeVar("T")

NONE = "-"
"""What is typed for "there is none"."""

MOST_GROUPS = 12
"""As many as fit on a terminal with the question. Judgement."""

_INTRODUCTION = """\
This writes a collection: your place, your spots, your plants. Enter takes what stands in
[brackets]. Ctrl-C stops, and then nothing is written. All of it can be changed in the file later.
"""


def ask_and_write(path: Path, atlas: Atlas, *, force: bool = False) -> Path:
    """Ask, write the file and the schema beside it, and return where the file is.

    force: an existing file may be replaced. Raise click.Abort when the answers end early; then
    nothing has been written.
    """
    click.echo(_INTRODUCTION)
    path = _free(path, force=force)
    site = _ask_site(atlas)
    spots = _ask_spots()
    plants = _ask_plants(spots)
    text = draft.text(site, spots, plants)
    while True:
        try:
            write(path, text, force=force)
        except FileExistsError:
            path = _free(path, force=force)
        except (OSError, NotOursError) as error:
            reason = error.strerror if isinstance(error, OSError) else None
            click.echo(f"{path}: cannot be written: {reason or error}")
            path = _free(_asked("Another file", _path), force=force)
        else:
            return path


def write(path: Path, text: str, *, force: bool = False) -> None:
    """Write a collection that passes the check, whole or not at all, readable by its owner alone.

    force: it may take the place of another collection. Raise FileExistsError if the file is there
    (unless force), NotOursError if it is not a collection of this user's, OSError if it cannot be.
    """
    files.make_folder(path.parent)
    place = files.destination(path, is_collection, MAX_BYTES) if force else None
    file = path if place is None else place.file
    is_new = place is None or place.mode is None
    files.write(file, text.encode(), exclusive=is_new, before_rename=load_household)
    _write_schema(path.parent / draft.SCHEMA_FILE)


def _write_schema(path: Path) -> None:
    """The schema of this version; a file of this name that is no schema of ours is left alone."""
    # An editor can do without; the collection cannot fail for it.
    with suppress(OSError, NotOursError):
        place = files.destination(path, lambda head: ID.encode() in head, MAX_BYTES)
        text = json.dumps(collection_schema(), ensure_ascii=False, indent=2)
        files.write_to(place, f"{text}\n".encode())


def next_steps(path: Path, usual: Path) -> str:
    """What to do with the new collection; usual: the one that commands take by themselves."""
    option = "" if path == usual else f" --collection {shlex.quote(str(path))}"
    return f"""\
Next:
  sillward check{option}
      every limit and where it comes from, and what your spots leave open
  a channel: take the # away at the end of the file, and put its URL into SILLWARD_CHANNELS__PHONE
  sillward run{option}
      the daemon, which tells you in time"""


# -- asking


def _asked(text: str, read: Callable[[str], T], default: str = "") -> T:
    """Ask until the answer can be read; `read` raises ValueError with a reason."""
    while True:
        try:
            return read(click.prompt(text, default=default, show_default=bool(default)).strip())
        except UnicodeDecodeError:
            click.echo("  that is not UTF-8 text")
        except ValueError as error:
            click.echo(f"  {error}")


def _valid(kind: object, value: T) -> T:
    """The value, if it is one of this type of the collection's tables."""
    wrong = wrong_with(kind, value)
    if wrong is not None:
        raise ValueError(wrong)
    return value


def _number(text: str, kind: object, unit: str) -> float:
    bare = text.replace("−", "-").replace(",", ".").removesuffix(unit).strip()
    try:
        value = printable.number(bare)
    except ValueError:
        msg = f"write a number, in {unit}"
        raise ValueError(msg) from None
    try:
        return _valid(kind, value)
    except ValueError as error:
        msg = f"{error} {unit}"
        raise ValueError(msg) from None


def _numbered(rows: Sequence[str]) -> None:
    for number, row in enumerate(rows, 1):
        click.echo(f"  {number:>2} {row}")


def _index(text: str, count: int) -> int:
    """A number from the list, counted from 0."""
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= count:
        msg = f"write a number from 1 to {count}"
        raise ValueError(msg)
    return int(text) - 1


def _pick(text: str, rows: Sequence[str], default: int = 1) -> int:
    """Ask for one of the rows; return its index."""
    _numbered(rows)
    return _asked(text, lambda typed: _index(typed, len(rows)), str(default))


def _named(text: str, names: Sequence[str], default: str) -> str:
    """Ask for one of a few names; a beginning that fits one alone is enough."""

    def read(typed: str) -> str:
        near = [name for name in names if name.casefold().startswith(typed.casefold())]
        exact = [name for name in near if name.casefold() == typed.casefold()]
        chosen = exact or near
        if not typed or len(chosen) != 1:
            msg = f"write one of: {', '.join(names)}"
            raise ValueError(msg)
        return chosen[0]

    return _asked(f"{text} ({', '.join(names)})", read, default)


# -- the file


def _path(text: str) -> Path:
    if not text:
        msg = "write the name of a file"
        raise ValueError(msg)
    try:
        return Path(text).expanduser()
    except RuntimeError as error:
        raise ValueError(str(error)) from None


def _free(path: Path, *, force: bool) -> Path:
    """The path, or another one that the grower names, where a file can be written."""
    while (wrong := _refusal(path, force=force)) is not None:
        click.echo(f"{path}: {wrong}")
        path = _asked("Another file", _path)
    return path


def _refusal(path: Path, *, force: bool) -> str | None:
    try:
        if path.is_dir():
            return "is a folder"
        if os.path.lexists(path) and not force:
            return "is there already, and is not overwritten (--force would, if it is a collection)"
        if force:
            files.destination(path, is_collection, MAX_BYTES)
        folder = next(one for one in path.absolute().parents if one.exists())
        if not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
            return f"cannot be written: {folder} is not a folder that you can write to"
    except NotOursError as error:
        return str(error).removeprefix(f"{path}: ")
    except (OSError, ValueError) as error:
        return f"cannot be written: {getattr(error, 'strerror', None) or error}"
    return None


# -- the place


def _ask_site(atlas: Atlas) -> SiteAnswer:
    place = _ask_place(atlas)
    elevation_m, zone = place.elevation_m, place.zone
    if elevation_m is None or zone is None:
        try:
            ground_m, there = atlas.around_it(place.latitude, place.longitude)
        except SourceError as error:
            click.echo(f"  height and time zone cannot be looked up: {error}")
            ground_m, there = None, None
        elevation_m = ground_m if elevation_m is None else elevation_m
        zone = zone or there or machine_zone(place.longitude)
    if place.label:
        where = f"{place.latitude:g}, {place.longitude:g}"
        click.echo(f"  {place.label}: {where} (the middle of the place)")
    shown = "" if elevation_m is None else f"{elevation_m:g}"
    height = _asked("Height above the sea, m", lambda typed: _number(typed, Elevation, "m"), shown)
    zone = _asked("Time zone, such as Europe/Madrid", _zone, zone or "")
    name = _asked("A name for the site", lambda typed: _valid(Text, typed), place.name)
    found = place.label or None
    return SiteAnswer(name, place.latitude, place.longitude, height, zone, found)


def _ask_place(atlas: Atlas) -> Place:
    """Coordinates that were typed (no label), or a place of the search."""
    while True:
        where = _asked(
            "Where is it? Coordinates such as -32.89, -68.85, or a town (Open-Meteo looks it up)",
            lambda typed: coordinates(typed) or _valid(Text, typed),
        )
        if not isinstance(where, str):
            return Place("Home", "", *where)
        try:
            hits = atlas.named(where)
        except SourceError as error:
            click.echo(f"  {error}; write coordinates: maps show them")
            continue
        if not hits:
            click.echo("  no place of this name; another spelling, or coordinates?")
            continue
        rows = [f"{hit.label} ({hit.latitude:.2f}, {hit.longitude:.2f})" for hit in hits]
        chosen = _pick("Which one?", [*rows, "none of these"])
        if chosen < len(hits):
            return hits[chosen]


_COORDINATES = re.compile(
    r"([-+]?\d+(?:\.\d+)?)\s*°?\s*([NS])?\s*[,;\s]\s*([-+]?\d+(?:\.\d+)?)\s*°?\s*([EW])?",
    re.IGNORECASE | re.ASCII,
)


def coordinates(text: str) -> tuple[float, float] | None:
    """Read "-32.89, -68.85" or "32.89 S 68.85 W"; None for what is a name.

    Raise ValueError for what was meant as coordinates and is none.
    """
    bare = text.replace("−", "-")
    match = _COORDINATES.fullmatch(bare)
    if match is None:
        if re.match(r"[-+]?[0-9]", bare) and not re.search(r"[^\W\d_]{2}", bare):
            if re.fullmatch("[0-9]+", bare):
                return None
            msg = "write coordinates in degrees with a point, such as -32.89, -68.85"
            raise ValueError(msg)
        return None
    values = []
    for number, letter in ((match[1], match[2]), (match[3], match[4])):
        value = float(number)
        if letter:
            value = -abs(value) if letter.upper() in "SW" else abs(value)
        values.append(value)
    for kind, value, word in zip((Latitude, Longitude), values, _ANGLES, strict=True):
        try:
            _valid(kind, value)
        except ValueError as error:
            msg = f"{word} {error}"
            raise ValueError(msg) from None
    return values[0], values[1]


_ANGLES = ("the first, degrees north,", "the second, degrees east,")

FARTHEST_ZONE_H = 3.0
"""Clocks are at most so far from the sun's hour (western China: 3 h, from memory)."""


def machine_zone(
    longitude: float,
    environment: Mapping[str, str] = os.environ,
    localtime: Path = Path("/etc/localtime"),
) -> str | None:
    """The time zone of this machine, if it fits the longitude; that of a server often does not."""
    name = environment.get("TZ", "").removeprefix(":")
    if not name:
        with suppress(OSError, RuntimeError):
            name = str(localtime.resolve()).partition("zoneinfo/")[2]
    if "/" not in name or name.startswith("Etc/") or wrong_with(Zone, name) is not None:
        return None
    winter = datetime(2026, 1, 1, tzinfo=UTC).astimezone(ZoneInfo(name)).utcoffset()
    hours = (winter or timedelta(0)) / timedelta(hours=1)
    apart = abs((hours - longitude / 15 + 12) % 24 - 12)
    return name if apart <= FARTHEST_ZONE_H else None


def _zone(text: str) -> str:
    wrong = wrong_with(Zone, text)
    if wrong is None:
        return text
    wanted = text.replace(" ", "_").casefold()
    near = sorted(name for name in available_timezones() if wanted and wanted in name.casefold())
    if near:
        msg = f'"{text}" is not a time zone; did you mean {", ".join(near[:5])}?'
        raise ValueError(msg)
    raise ValueError(wrong)


# -- the spots


def _ask_spots() -> list[SpotAnswer]:
    spots: list[SpotAnswer] = []
    while not spots:
        click.echo("\nSpots outdoors, such as a bench, a pergola, a balcony")
        _ask_some(spots, "bench", _outdoors)
        click.echo("\nSpots indoors, where plants are carried to in cold nights")
        _ask_some(spots, "house", _indoors)
        if not spots:
            click.echo("  there must be one spot at least")
    return spots


def _ask_some(spots: list[SpotAnswer], usual: str, ask: Callable[[str], SpotAnswer]) -> None:
    def read(typed: str) -> str | None:
        if typed in ("", NONE):
            return None
        if typed in [spot.name for spot in spots]:
            msg = "there is a spot of this name"
            raise ValueError(msg)
        return _valid(Text, typed)

    name = _asked(f"Its name ({NONE} for none)", read, usual)
    while name is not None:
        spots.append(ask(name))
        name = _asked("Another one (Enter: no more)", read)


def _outdoors(name: str) -> SpotAnswer:
    cover = _pick("What is above it?", [cover.question for cover in COVERS], default=2)
    breeze = _pick("And the wind?", [breeze.question for breeze in BREEZES], default=2)
    return OutdoorAnswer(name, COVERS[cover], BREEZES[breeze])


def _indoors(name: str) -> SpotAnswer:
    def read(typed: str) -> float | None:
        return _number(typed, Celsius, "°C") if typed else None

    return IndoorAnswer(name, _asked("How cold does it get, °C? (Enter: not known)", read))


# -- the plants


def _ask_plants(spots: Sequence[SpotAnswer]) -> list[PlantAnswer]:
    plants: list[PlantAnswer] = []

    def read(typed: str) -> str:
        if not typed and plants:
            return ""
        if typed in [plant.name for plant in plants]:
            msg = "there is a plant of this name; make them different"
            raise ValueError(msg)
        return _valid(Text, typed)

    click.echo("\nPlants. Two or three are enough to begin with")
    while name := _asked("Another one (Enter: no more)" if plants else "Name of a plant", read):
        plants.append(_plant(name, spots))
    return plants


def _plant(name: str, spots: Sequence[SpotAnswer]) -> PlantAnswer:
    groups = _ask_groups(name)
    low = tenderest([group.limits for group in groups]).night_low
    holder = _named("It grows in", HOLDERS, groups[0].holders[0] if groups else "pot")
    names = [spot.name for spot in spots]
    home = names[0] if len(names) == 1 else _named("Its home", names, names[0])
    rooms = [spot.name for spot in spots if isinstance(spot, IndoorAnswer)]
    shelter = None
    if rooms and home not in rooms:
        shelter = _named("Carried to", [*rooms, NONE], rooms[0])

    def read(typed: str) -> float | None:
        if not typed and low is not None:
            return None
        return _number(typed, NightLow, "°C")

    usual = "" if low is None else f" (Enter: {low.value:g}, as its group)"
    own = _asked(f"Coldest night it should stand, °C{usual}", read)
    return PlantAnswer(
        name,
        tuple(group.name for group in groups),
        _holder(holder),
        home,
        None if shelter == NONE else shelter,
        own,
        None if low is None else low.value,
    )


def _holder(name: str) -> Holder:
    return next(holder for holder in HOLDERS if holder == name)


def _ask_groups(name: str) -> list[Group]:
    """The plant's groups: several for a hybrid, none if the grower finds none."""
    known = alias_within(name)
    likely = known.name if known is not None else ""
    while True:
        words = _asked(
            f"What is it? A word or two, such as cattleya or citrus ({NONE}: not in any list)",
            lambda typed: typed or _refuse("write a word of its name or its kind"),
            likely,
        )
        if words == NONE:
            return []
        hits = search(words)
        if not hits:
            hint = group_lookup.did_you_mean(words) or "; the family, or a relative?"
            click.echo(f"  no group has these words{hint}")
            likely = ""
            continue
        _numbered([group_report.line(group) for group in hits[:MOST_GROUPS]])
        if len(hits) > MOST_GROUPS:
            click.echo(f"     and {len(hits) - MOST_GROUPS} more; another word finds fewer")
        chosen = _asked(
            "Which? (two for a hybrid, such as 1,2; 0 to search again)",
            lambda typed, hits=hits: _chosen(typed, hits[:MOST_GROUPS]),  # type: ignore[misc]
            "1",
        )
        if chosen:
            return chosen


def _refuse(text: str) -> str:
    raise ValueError(text)


def _chosen(text: str, hits: Sequence[Group]) -> list[Group]:
    """The groups of these numbers; none for 0."""
    if text == "0":
        return []
    numbers = [_index(part, len(hits)) for part in re.split(r"[\s,+]+", text.strip(", +"))]
    return [hits[number] for number in dict.fromkeys(numbers)]


def search(words: str) -> list[Group]:
    """Groups that the words find; else those of the longest name among the words, or its genus.

    No group is found by one word that it shares with many ("orchid", "plant").
    """
    hits = group_lookup.find_groups(words.split())
    alias = alias_within(words) if not hits else None
    return [*hits] or [standard_groups()[name] for name in (alias.groups if alias else ())]
