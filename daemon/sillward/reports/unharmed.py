"""What `sillward damage --none --json` prints."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.reports.json_encoding import iso_in_zone_of
from sillward_rules.weather.site import Site


def document(
    nights: Sequence[HarmfulNight], site: Site, now: datetime, *, taken_back: bool
) -> dict[str, Any]:
    """Return as plain types what the answer was about that no damage is seen.

    open: whether a night is asked about again.
    """
    return {
        "schema": 1,
        "site": site.label,
        "at": iso_in_zone_of(site)(now),
        "taken_back": taken_back,
        "nights": [
            {
                "plant": night.plant,
                "night": str(night.night),
                "low_c": round(night.low_c, 2),
                "open": taken_back or night.answered_at is None,
            }
            for night in nights
        ],
    }
