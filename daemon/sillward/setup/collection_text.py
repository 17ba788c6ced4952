"""A first collection as TOML text, from the answers; comments explain what was assumed.

This module is pure.
"""

from collections.abc import Sequence

from sillward.forecast import geocoding
from sillward.setup.answers import (
    IndoorAnswer,
    PhoneAnswer,
    PlantAnswer,
    SiteAnswer,
    SpotAnswer,
)
from sillward.setup.plant_tables import degrees, plant_tables
from sillward.setup.toml_text import aligned, key_text, number_text, quoted
from sillward.text.units import Temperature, Units

SCHEMA_FILE = "sillward.schema.json"
"""The schema in the folder of the collection, where editors find it."""


def collection_text(
    site: SiteAnswer,
    spots: Sequence[SpotAnswer],
    plants: Sequence[PlantAnswer],
    phone: PhoneAnswer | None = None,
    *,
    together: bool = False,
) -> str:
    """Return the whole file.

    together: whether plants that are alike share a table, without a comment on each.
    """
    parts = [_HEAD, _site(site), _SPOTS]
    parts += [_spot(spot, site.latitude, site.unit) for spot in spots]
    parts += [_PLANTS]
    parts += (
        plant_tables(plants, unit=site.unit)
        if together
        else [_plant(plant, site.unit) for plant in plants]
    )
    parts += [_ROUNDS, *([_FAHRENHEIT] if site.unit == "°F" else []), *_channels(phone)]
    return "\n\n".join(parts) + "\n"


_HEAD = f"""\
#:schema ./{SCHEMA_FILE}
# Written by `sillward new`. Change what you like: `sillward check` reports every mistake at once.
# An editor that understands the line above explains each key while you type."""

_SPOTS = """\
# -- spots: the places where plants stand. Your answers became numbers: correct them, and
#    fill in what has a # before it when you have seen or measured it."""

_PLANTS = """\
# -- plants: `sillward groups WORDS` finds culture groups; a limit of your own beats the group's"""

_ROUNDS = """\
# -- how you are told: the hours below are the defaults

# [rounds]
# dusk = "sunset-90min"               # what must be under cover tonight
# morning = "sunrise+15min"
# week = "sun 18:00\""""

_FAHRENHEIT = """\
[notices]
temperature = "°F"  # in messages and reports; in this file all temperatures are in °C
# clock = "12 h"
# wind = "mph\""""

_NO_CHANNEL = """\
# -- channels: any Apprise URL. It is a secret: keep it out of this file, in the environment
#    (SILLWARD_CHANNELS__PHONE="ntfy://...") or in a credential file named channel-phone.
#    Remove the # when you have one.

# [[channels]]
# name = "phone"
# rounds = ["dusk", "morning", "week", "alarm"]"""


def _channels(phone: PhoneAnswer | None) -> list[str]:
    if phone is None:
        return [_NO_CHANNEL]
    head = f"""\
# -- channels: their URLs are secrets, and not in this file. That of {phone.name} is taken from
#    SILLWARD_CHANNELS__{phone.name.upper()}, or from the credential file channel-{phone.name}."""
    rounds = 'rounds = ["dusk", "morning", "week", "alarm"]'
    return [head, f"[[channels]]\nname = {quoted(phone.name)}\n{rounds}"]


def _site(site: SiteAnswer) -> str:
    head = "# -- the site: forecasts are for this point"
    if site.found is not None:
        head += (
            f"\n#    {site.found}: the middle of the place, not your garden; better coordinates"
            "\n#    and your own height make a better forecast."
            f"\n#    Place: {geocoding.CREDIT}"
        )
    rows = aligned(
        ("[site]", ""),
        (f"name = {quoted(site.name)}", ""),
        (f"latitude = {number_text(site.latitude, 4)}", "degrees north; south is negative"),
        (f"longitude = {number_text(site.longitude, 4)}", "degrees east; west is negative"),
        (f"elevation = {number_text(site.elevation_m)}", "m above the sea"),
        (f"zone = {quoted(site.zone)}", ""),
    )
    return f"{head}\n\n{rows}"


def _spot(spot: SpotAnswer, latitude: float, unit: Temperature) -> str:
    head = (f"[spots.{key_text(spot.name)}]", "")
    if isinstance(spot, IndoorAnswer):
        known = spot.night_low_c is not None
        value = spot.night_low_c if spot.night_low_c is not None else 12.0
        held = f"{degrees(value, unit)} it holds on the coldest nights"
        line = f"night_low = {number_text(value, 3)}"
        night_low = (line, held) if known else (f"# {line}", f"{held}: look, then fill in")
        return aligned(head, ("indoors = true", ""), night_low)
    window = "from = 270, to = 90" if latitude < 0 else "from = 90, to = 270"
    cover, breeze = spot.cover, spot.breeze
    kelvin = " (1.8 °F)" if unit == "°F" else ""
    return aligned(
        head,
        (
            f"sky_view = {number_text(cover.sky_view)}",
            f'share of the sky; assumed from "{cover.words}"',
        ),
        (f"rain = {number_text(cover.rain)}", "share of the rain; likewise"),
        (
            f"wind = {number_text(breeze.wind, 2)}",
            f'share of the open wind; assumed from "{breeze.words}"',
        ),
        (
            f"# sun = [{{ {window}, above = 20 }}]",
            "direct sun: azimuth, elevation",
        ),
        ("# night_offset = 0", f"K{kelvin}, its thermometer minus the forecast"),
    )


def _plant(plant: PlantAnswer, unit: Temperature) -> str:
    rows = [("[[plants]]", ""), (f"name = {quoted(plant.name)}", "")]
    if len(plant.groups) == 1:
        rows.append((f"group = {quoted(plant.groups[0])}", ""))
    elif plant.groups:
        names = ", ".join(quoted(name) for name in plant.groups)
        rows.append((f"parents = [{names}]", "a hybrid: the tenderest limit counts"))
    rows += [(f"holder = {quoted(plant.holder)}", ""), (f"home = {quoted(plant.home)}", "")]
    if plant.shelter is not None:
        rows.append((f"shelter = {quoted(plant.shelter)}", ""))
    own_c, group_c = plant.night_low_c, plant.group_low_c
    if own_c is not None:
        beaten = (
            ""
            if group_c is None
            else f"; beats the group's {Units(unit).bare(group_c, '°C')} {unit}"
        )
        comment = f"{degrees(own_c, unit)}, your own{beaten}"
        rows.append((f"limits.night_low = {number_text(own_c, 3)}", comment))
    elif group_c is not None:
        comment = f"{degrees(group_c, unit)}, what its group says"
        rows.append((f"# limits.night_low = {group_c:g}", comment))
    return aligned(*rows)
