"""What the readings of one spot teach: its nights, and how its correction was learned from them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np

from sillward.ledger import Ledger
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.night_correction import CorrectionCourse, Nights, learn, nights_at
from sillward_rules.readings.night_lows import NightLow, lows_at_spot
from sillward_rules.weather import sun
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

LEARNED_FROM = timedelta(days=400)
"""Nights longer ago teach nothing. Judgement: the archive of forecasts goes back as far, and the
filter has forgotten them long before."""

HANGS_RIGHT = "thermometer hangs right"
"""The mark in the ledger, by site and spot, that lists the nights since which a thermometer that
shows something else has been said to hang right."""

Told = tuple[str, NightForecast]
"""A source, and what it said of a night."""


@dataclass(frozen=True, slots=True, eq=False)
class Lesson:
    """What the readings of one spot teach.

    Args:
        lows: the low of each night that was read there.
        told: what was forecast at dusk for the site, of those nights for which it is known, and
            for each the name of its source.
        course: how the correction was learned from these nights.
    """

    spot: Spot
    lows: Sequence[NightLow]
    told: Mapping[date, Told]
    course: CorrectionCourse


def lesson_of(
    ledger: Ledger,
    site: Site,
    spot: Spot,
    sources: Sequence[str],
    since: datetime,
    before: date | None = None,
) -> Lesson | None:
    """Return what the readings of a spot teach; None without a night that was read and forecast.

    sources: their forecasts count, of each night that of the first which had one.
    since: earlier nights are left out. before: later ones, from that of this date on.
    """
    lows = lows_read(ledger, site, spot.name, since)
    if before is not None:
        lows = [low for low in lows if low.night < before]
    begins = {low.night: sun.night_of(site, low.night).start for low in lows}
    told = ledger.nights.before(site.name, sources, begins)
    read = [low for low in lows if low.night in told]
    if not read:
        return None
    explained = hangs_right(ledger, site, spot.name)
    course = _course(spot, tuple(read), tuple(told[low.night] for low in read), tuple(explained))
    return Lesson(spot, lows, told, course)


@lru_cache(maxsize=64)
def _course(
    spot: Spot, lows: tuple[NightLow, ...], told: tuple[Told, ...], explained: tuple[date, ...]
) -> CorrectionCourse:
    """Return how a correction is learned. Kept, as readings of one spot change nothing of others,
    and most change nothing of the past nights."""
    return learn(_nights(spot, lows, told), explained)


def lows_read(ledger: Ledger, site: Site, spot: str, since: datetime) -> list[NightLow]:
    """Return the low of each night at a spot that was read, from a moment on."""
    sensors = ledger.readings.of_spot(site.name, spot, Quantity.TEMPERATURE, since)
    by_hand = [
        (reading.at, reading.value, reading.night)
        for reading in ledger.readings.by_hand(site.name, spot, since)
        if reading.quantity is Quantity.TEMPERATURE
    ]
    return lows_at_spot(site, sensors, by_hand)


def hangs_right(ledger: Ledger, site: Site, spot: str) -> list[date]:
    """Return the nights since which the thermometer of a spot has been said to hang right."""
    mark = ledger.marks.get(hangs_right_mark(site, spot))
    return [] if mark is None else [date.fromisoformat(day) for day in mark.text.split()]


def hangs_right_mark(site: Site, spot: str) -> str:
    """Return the name of the mark that lists these nights."""
    return f"{HANGS_RIGHT}, {site.name}, {spot}"


def _nights(spot: Spot, lows: Sequence[NightLow], told: Sequence[Told]) -> Nights:
    """Return nights that were read and forecast, as the filter takes them."""
    low_c = np.array([low.low_c for low in lows])
    return nights_at(spot, [low.night for low in lows], low_c, [each for _, each in told])
