"""What the readings of an indoor spot teach: what it holds, against the forecasts of its nights."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward.ledger import Ledger
from sillward.readings.spot_lesson import lows_read
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.indoors import (
    Typed,
    contradicted_day_low,
    learn_response,
    lows_by_day,
)
from sillward_rules.readings.night_lows import low_so_far
from sillward_rules.weather import sun
from sillward_rules.weather.indoor_response import IndoorResponse, running_mean
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

BEFORE_FIRST = timedelta(days=10)
"""So long before the first night that was read indoors the nights outdoors are looked at, which
walls may remember. Judgement: three times the longest memory that is tried."""


def response_of(
    ledger: Ledger,
    site: Site,
    spot: Spot,
    sources: Sequence[str],
    since: datetime,
    now: datetime,
) -> IndoorResponse | None:
    """Return what an indoor spot holds by its readings; None unless a night was read and forecast.

    What was read in the night that goes on counts only if it is below what the spot is taken to
    hold: it may become lower yet.

    sources, since: as in `lesson_of`.
    """
    read = {low.night: low.low_c for low in lows_read(ledger, site, spot.name, since)}
    sensors = ledger.readings.of_spot(site.name, spot.name, Quantity.TEMPERATURE, since)
    tonight = sun.night_at_or_after(site, now)
    so_far = [low_so_far(hours, tonight, now) for hours in sensors.values()]
    lows = [low[0] for low in so_far if low is not None]
    if not read and not lows:
        return None
    first = min([*read, tonight.day]) - BEFORE_FIRST
    nights = [first + timedelta(days=n) for n in range((tonight.day - first).days + 1)]
    begins = {night: sun.night_of(site, night).start for night in nights}
    before = ledger.nights.before(site.name, sources, begins)
    told = {night: forecast.low_c for night, (_, forecast) in before.items()}
    response = _learned(spot, read, told, tonight.day)
    if lows and tonight.day not in read and tonight.day in told:
        low, outdoors_c = min(lows), told[tonight.day]
        if response is None or low < _taken(spot, response, outdoors_c):
            response = _learned(spot, {**read, tonight.day: low}, told, tonight.day)
    if response is None:
        return None
    by_day = [lows_by_day(site, hours, now) for hours in sensors.values()]
    lowest = np.fmin.reduce(by_day) if by_day else np.empty(0)
    return replace(response, day_low_c=contradicted_day_low(lowest, spot.day_low_c))


def _learned(
    spot: Spot, read: Mapping[date, float], told: Mapping[date, float], tonight: date
) -> IndoorResponse | None:
    """Return what the lows read indoors and told for outdoors teach of a night [°C]."""
    known = sorted({*read, *told})
    return learn_response(
        known,
        np.array([read.get(night, np.nan) for night in known]),
        np.array([told.get(night, np.nan) for night in known]),
        Typed(spot.night_low_c, spot.night_offset_k),
        tonight,
    )


def _taken(spot: Spot, response: IndoorResponse, outdoors_c: float) -> float:
    """Return what a spot is taken to hold in a night of this low outdoors [°C]."""
    mean_c = running_mean(np.array([outdoors_c]), response.lag_nights, response.recent_c)
    return float(response.taken_to_hold(mean_c, spot.night_low_c, spot.night_offset_k)[0])
