"""How times and numbers are written in JSON documents."""

import math
from collections.abc import Callable
from datetime import datetime
from typing import TypeAlias

from sillward_rules.weather.site import Site

IsoTime: TypeAlias = Callable[[datetime | None], str | None]
"""A function that writes a time as ISO 8601; None stays None."""


def iso_in_zone_of(site: Site) -> IsoTime:
    """Return a function that writes times with the offset of the site's zone."""
    return lambda at: None if at is None else iso(at, site)


def iso(at: datetime, site: Site) -> str:
    """Return a time as ISO 8601 with the offset of the site's zone, to the second."""
    return at.astimezone(site.zone).isoformat(timespec="seconds")


def plain(value: float | None, digits: int = 2) -> float | None:
    """Return a number rounded to some decimals, or None where it is not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)
