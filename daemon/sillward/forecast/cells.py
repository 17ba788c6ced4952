"""Sites near each other that share a forecast.

Forecasts are not fetched for each of many households: a source is asked for the middle of a *cell*,
a piece of the map about as fine as its models, within a band of elevation. The answer is stored
once, and corrected for the elevation of each site (`sillward_rules.weather.height`).

The provider is given an elevation, the middle of the band, as for a single site: it then picks a
cell of its model on land at about that elevation. Without one (`elevation=nan`) Open-Meteo no
longer prefers land, so that a terrace by the sea would get the night over water; and the models
that it combines have different elevations, of which an answer names only one. No site is further
than `BAND_M` / 2 from the elevation that was asked for, which is 0.65 K.
"""

import math
import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

BAND_M = 200.0
"""Sites within an elevation band of this height share a source's forecast [m]. Judgement: corrected
for a site half a band away by the standard lapse rate, it is off by less than the usual error of a
night."""

_ZONE = ZoneInfo("UTC")

_KEY = re.compile(r"cell (-?[0-9.]+) (-?[0-9.]+) (-?[0-9]+) m")


class HasCells(Protocol):
    """What can be asked about a cell: a source, or an ensemble."""

    @property
    def name(self) -> str:
        """The name under which the ledger stores its answers."""

    @property
    def cell_deg(self) -> float:
        """The width of its cells, to the north and to the east [°]."""

    @property
    def band_m(self) -> float:
        """The height of their elevation bands [m]."""


def cell_of(provider: HasCells, site: Site) -> Site:
    """Return the cell that a site lies in, as a site of its own; for a cell, the cell itself.

    Its name is its key in the ledger. No household can have it: a folder's name has no space.
    """
    deg = provider.cell_deg
    north = _middle(min(site.latitude, 90.0 - deg / 2), deg)
    east = _middle((site.longitude + 180.0) % 360.0 - 180.0, deg)
    height_m = _middle(site.elevation_m, provider.band_m)
    name = f"cell {north:.4f} {east:.4f} {height_m:.0f} m"
    return Site(name, round(north, 4), round(east, 4), height_m, _ZONE)


def cells_of(provider: HasCells, sites: Iterable[Site]) -> dict[str, Site]:
    """Return the cells in which these sites lie, each once, by their keys."""
    cells = (cell_of(provider, site) for site in sites)
    return {cell.name: cell for cell in cells}


def cell_named(name: str) -> Site | None:
    """Return the cell of a key in the ledger; None if the key is not a cell's."""
    found = _KEY.fullmatch(name)
    if found is None:
        return None
    north, east, height_m = (float(one) for one in found.groups())
    return Site(name, north, east, height_m, _ZONE)


def next_dusk(cell: Site, now: datetime) -> datetime:
    """Return the next sunset at a cell."""
    today = (now.astimezone(UTC) + timedelta(hours=cell.longitude / 15.0)).date()
    days = (today + timedelta(days=shift) for shift in (-1, 0, 1))  # in the north it may be late
    sunsets = (sun.day_events(cell, day).sunset for day in days)
    return next((at for at in sunsets if at > now), now + timedelta(days=1))


def _middle(value: float, width: float) -> float:
    return (math.floor(value / width) + 0.5) * width
