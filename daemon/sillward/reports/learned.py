"""What readings have taught about a spot, for JSON."""

from typing import Any

from sillward.reports.json_encoding import plain
from sillward_rules.weather.learned_nights import LearnedNights


def learned_document(learned: LearnedNights | None) -> dict[str, Any] | None:
    """Return what was learned as plain types; None if nothing was."""
    if learned is None:
        return None
    return {
        "nights": learned.nights,
        "last": str(learned.last),
        "warmer_than_forecast_k": plain(learned.total_k),
        "give_or_take_k": plain(learned.sd_k),
        "beside_night_offset_k": plain(learned.level_k),
        "calm_adds_k": plain(learned.calm_k),
        "doubt_calm": plain(learned.calm_factor),
        "doubt_other": plain(learned.other_factor),
        "since": None if learned.since is None else str(learned.since),
        "asks": learned.asks,
    }
