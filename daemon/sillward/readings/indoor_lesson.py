"""What the readings of an indoor spot teach: what it holds, against the forecasts of its nights."""

from collections.abc import Sequence
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
from sillward_rules.weather import sun
from sillward_rules.weather.indoor_response import IndoorResponse
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
    last_night: date,
    now: datetime,
) -> IndoorResponse | None:
    """Return what an indoor spot holds by its readings.

    None without a night that was read and forecast. sources, since: as in `lesson_of`. last_night:
    the evening of the last night that is over.
    """
    read = {low.night: low.low_c for low in lows_read(ledger, site, spot.name, since)}
    if not read:
        return None
    first = min(read) - BEFORE_FIRST
    nights = [first + timedelta(days=n) for n in range((last_night - first).days + 1)]
    begins = {night: sun.night_of(site, night).start for night in nights}
    told = {
        night: forecast.low_c
        for night, (_, forecast) in ledger.nights.before(site.name, sources, begins).items()
    }
    known = sorted({*read, *told})
    response = learn_response(
        known,
        np.array([read.get(night, np.nan) for night in known]),
        np.array([told.get(night, np.nan) for night in known]),
        Typed(spot.night_low_c, spot.night_offset_k),
    )
    if response is None:
        return None
    sensors = ledger.readings.of_spot(site.name, spot.name, Quantity.TEMPERATURE, since)
    by_day = [lows_by_day(site, hours, now) for hours in sensors.values()]
    lowest = np.fmin.reduce(by_day) if by_day else np.empty(0)
    return replace(response, day_low_c=contradicted_day_low(lowest, spot.day_low_c))
