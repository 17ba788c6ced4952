"""What `sillward season --keep` leaves in the ledger, and what the week sheet says of it.

Kept is when nights are safe for each limit at each spot. A spot that was described anew since, or
another place on the map, has another climate: what was kept of it is not told any more.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime

from sillward.ledger import Ledger
from sillward_rules.plants.collection import Collection
from sillward_rules.replay.season import NightLimit, SeasonOutlook
from sillward_rules.replay.season_turn import SafePart, safe_part, season_turn
from sillward_rules.sheet import Sheet
from sillward_rules.weather.season import GROWS
from sillward_rules.weather.year_day import YearDay

SEASON_MARK = "season"
"""The mark that holds it, followed by the site."""


def keep_season(
    ledger: Ledger, collection: Collection, outlook: SeasonOutlook, now: datetime
) -> int:
    """Keep when nights are safe, in place of what was kept before; return for how many limits."""
    parts = [part for limit in outlook.limits if (part := safe_part(limit)) is not None]
    written = [
        {
            "spot": part.limit.spot,
            "place": _fingerprint(collection, part.limit.spot),
            "limit_c": part.limit.limit_c,
            "rest_limit_c": part.limit.rest_limit_c,
            "grows": part.limit.grows,
            "since": _written(part.since),
            "until": _written(part.until),
            "years": part.years,
        }
        for part in parts
    ]
    ledger.marks.set(_mark(collection), now, json.dumps(written))
    return len(written)


def with_season(sheet: Sheet, collection: Collection, ledger: Ledger) -> Sheet:
    """Return a sheet of the week with what past years say of the coming weeks, if that is kept."""
    if sheet.outlook is None:
        return sheet
    today = collection.site.local_date(sheet.at)
    turn = season_turn(collection, _kept(ledger, collection), today)
    return sheet if turn is None else replace(sheet, outlook=replace(sheet.outlook, season=turn))


def _mark(collection: Collection) -> str:
    return f"{SEASON_MARK}, {collection.site.name}"


def _kept(ledger: Ledger, collection: Collection) -> list[SafePart]:
    """Return what is kept of spots that are as they were; nothing if it cannot be read."""
    mark = ledger.marks.get(_mark(collection))
    if mark is None:
        return []
    try:
        return list(_read(mark.text, collection))
    except (AttributeError, KeyError, TypeError, ValueError):
        return []


def _read(text: str, collection: Collection) -> Iterator[SafePart]:
    spots = {spot.name for spot in collection.spots}
    for part in json.loads(text):
        spot = part["spot"]
        if spot in spots and part["place"] == _fingerprint(collection, spot):
            rest, grows = part["rest_limit_c"], part["grows"]
            limit = NightLimit(
                spot,
                float(part["limit_c"]),
                None if rest is None else float(rest),
                grows if grows in GROWS else None,
            )
            yield SafePart(limit, _day(part["since"]), _day(part["until"]), int(part["years"]))


def _fingerprint(collection: Collection, spot: str) -> str:
    """Return a text that changes with anything that the grower says of the climate of a spot."""
    site = collection.site
    place = (site.latitude, site.longitude, site.elevation_m, collection.spot(spot))
    return hashlib.sha256(repr(place).encode()).hexdigest()[:16]


def _written(day: YearDay | None) -> list[int] | None:
    return None if day is None else [day.month, day.day]


def _day(written: tuple[int, int] | None) -> YearDay | None:
    return None if written is None else YearDay.of(date(2001, *written))
