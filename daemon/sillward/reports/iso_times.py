"""Times in JSON documents."""

from collections.abc import Callable
from datetime import datetime
from typing import TypeAlias

from sillward.ledger.chore_codec import iso
from sillward_rules.weather.site import Site

IsoTime: TypeAlias = Callable[[datetime | None], str | None]
"""A function that writes a time as ISO 8601; None stays None."""


def iso_in_zone_of(site: Site) -> IsoTime:
    """Return a function that writes times with the offset of the site's zone."""
    return lambda at: None if at is None else iso(at, site)
