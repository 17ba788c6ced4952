"""What readings have taught about a spot, for JSON."""

from typing import Any

import numpy as np

from sillward.reports.json_encoding import plain
from sillward_rules.weather.indoor_response import IndoorResponse
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import USUAL_ERROR_K


def learned_document(spot: Spot) -> dict[str, Any] | None:
    """Return what was learned of a spot as plain types; None if nothing was."""
    if spot.response is not None:
        return _indoors(spot.response)
    return None if spot.learned is None else _outdoors(spot.learned)


def _outdoors(learned: LearnedNights) -> dict[str, Any]:
    return {
        "nights": learned.nights,
        "last": str(learned.last),
        "warmer_than_forecast_k": plain(learned.total_k),
        "as_read_k": plain(learned.read_k),
        "give_or_take_k": plain(learned.sd_k),
        "beside_night_offset_k": plain(learned.bias_k(learned.usual)),
        "by_kind_of_night": learned.error.by_kind,
        "doubt": plain(learned.usual.own - learned.usual.unsure_k2 / USUAL_ERROR_K[0] ** 2),
        "since": None if learned.since is None else str(learned.since),
        "asks": learned.asks,
    }


def _indoors(response: IndoorResponse) -> dict[str, Any]:
    _, sd_k = response.predict(np.array(response.usual_outdoors_c))
    return {
        "nights": response.nights,
        "last": str(response.last_night),
        "form": response.form.value,
        "usual_low_c": plain(response.usual_c),
        "usual_outdoors_c": plain(response.usual_outdoors_c),
        "give_or_take_k": plain(float(sd_k)),
        "level_c": plain(response.level_c),
        "at_outdoors_c": plain(response.outdoors_at_c),
        "gain": plain(response.gain),
        "lag_nights": response.lag_nights,
        "day_low_c": plain(response.day_low_c),
    }
