"""A first collection as TOML text, from the answers; comments explain what was assumed.

This module is pure.
"""

import json
import re
from collections.abc import Sequence

from sillward.forecast import geocoding
from sillward.setup.answers import IndoorAnswer, PlantAnswer, SiteAnswer, SpotAnswer

SCHEMA_FILE = "sillward.schema.json"
"""The schema in the folder of the collection, where editors find it."""


def collection_text(
    site: SiteAnswer, spots: Sequence[SpotAnswer], plants: Sequence[PlantAnswer]
) -> str:
    """Return the whole file."""
    parts = [_HEAD, _site(site), _SPOTS, *(_spot(spot, site.latitude) for spot in spots)]
    parts += [_PLANTS, *(_plant(plant) for plant in plants), _REST]
    return "\n\n".join(parts) + "\n"


def quoted(text: str) -> str:
    """Return a TOML basic string: as in JSON, but with DEL escaped too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if re.fullmatch("[A-Za-z0-9_-]+", name) else quoted(name)


def _number(value: float, digits: int = 1) -> str:
    shown = f"{value:.{digits}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def _lines(*pairs: tuple[str, str]) -> str:
    """Return lines of TOML with their comments aligned."""
    width = max((len(line) for line, comment in pairs if comment), default=0)
    return "\n".join(
        f"{line:<{width}}  # {comment}" if comment else line for line, comment in pairs
    )


_HEAD = f"""\
#:schema ./{SCHEMA_FILE}
# Written by `sillward new`. Change what you like: `sillward check` reports every mistake at once.
# An editor that understands the line above explains each key while you type."""

_SPOTS = """\
# -- spots: the places where plants stand. What you said in words became numbers: correct them, and
#    fill in what has a # before it when you have seen or measured it."""

_PLANTS = """\
# -- plants: `sillward groups WORDS` finds culture groups; a limit of your own beats the group's"""

_REST = """\
# -- how you are told: the hours below are the defaults

# [rounds]
# dusk = "sunset-90min"               # what must be under cover tonight
# morning = "sunrise+15min"
# week = "sun 18:00"

# -- channels: any Apprise URL. It is a secret: keep it out of this file, in the environment
#    (SILLWARD_CHANNELS__PHONE="ntfy://...") or in a credential file named channel-phone.
#    Take the # away when you have one.

# [[channels]]
# name = "phone"
# rounds = ["dusk", "morning", "week", "alarm"]"""


def _site(site: SiteAnswer) -> str:
    head = "# -- the site: forecasts are for this point"
    if site.found is not None:
        head += (
            f"\n#    {site.found}: the middle of the place, not your garden; better coordinates"
            "\n#    and your own height make a better forecast."
            f"\n#    Place: {geocoding.CREDIT}"
        )
    rows = _lines(
        ("[site]", ""),
        (f"name = {quoted(site.name)}", ""),
        (f"latitude = {_number(site.latitude, 4)}", "degrees north; south is negative"),
        (f"longitude = {_number(site.longitude, 4)}", "degrees east; west is negative"),
        (f"elevation = {_number(site.elevation_m)}", "m above the sea"),
        (f"zone = {quoted(site.zone)}", ""),
    )
    return f"{head}\n\n{rows}"


def _spot(spot: SpotAnswer, latitude: float) -> str:
    head = (f"[spots.{_key(spot.name)}]", "")
    if isinstance(spot, IndoorAnswer):
        night_low = (
            ("# night_low = 12", "°C it holds on the coldest nights: look, then fill in")
            if spot.night_low_c is None
            else (f"night_low = {_number(spot.night_low_c)}", "°C it holds on the coldest nights")
        )
        return _lines(head, ("indoors = true", ""), night_low)
    window = "from = 270, to = 90" if latitude < 0 else "from = 90, to = 270"
    cover, breeze = spot.cover, spot.breeze
    return _lines(
        head,
        (
            f"sky_view = {_number(cover.sky_view)}",
            f'share of the sky; assumed from "{cover.words}"',
        ),
        (f"rain = {_number(cover.rain)}", "share of the rain; likewise"),
        (
            f"wind = {_number(breeze.wind, 2)}",
            f'share of the open wind; assumed from "{breeze.words}"',
        ),
        (
            f"# sun = [{{ {window}, above = 20 }}]",
            "direct sun: azimuth, elevation",
        ),
        ("# night_offset = 0", "K, its thermometer minus the forecast"),
    )


def _plant(plant: PlantAnswer) -> str:
    rows = [("[[plants]]", ""), (f"name = {quoted(plant.name)}", "")]
    if len(plant.groups) == 1:
        rows.append((f"group = {quoted(plant.groups[0])}", ""))
    elif plant.groups:
        names = ", ".join(quoted(name) for name in plant.groups)
        rows.append((f"parents = [{names}]", "a hybrid: the tenderest limit counts"))
    rows += [(f"holder = {quoted(plant.holder)}", ""), (f"home = {quoted(plant.home)}", "")]
    if plant.shelter is not None:
        rows.append((f"shelter = {quoted(plant.shelter)}", ""))
    if plant.night_low_c is not None:
        beaten = "" if plant.group_low_c is None else f"; beats the group's {plant.group_low_c:g}"
        rows.append((f"limits.night_low = {_number(plant.night_low_c)}", f"°C, your own{beaten}"))
    elif plant.group_low_c is not None:
        rows.append((f"# limits.night_low = {plant.group_low_c:g}", "°C, what its group says"))
    return _lines(*rows)
