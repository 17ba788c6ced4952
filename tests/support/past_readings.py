"""A ledger with past nights: what was forecast of each at dusk, and what was read at a spot."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from sillward.ledger import Ledger
from sillward.ledger.tables.readings import HandReading
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather import sun
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site

AIR = Quantity.TEMPERATURE


def told(
    ledger: Ledger,
    site: Site,
    source: str,
    night: date,
    low_c: float,
    *,
    hours_before_sunset: float = 1.5,
    wind_m_s: float | None = 1.0,
    cloud: float | None = 0.0,
    sd_k: float | None = None,
) -> None:
    """Write what a source said of a night, so long before its sunset; calm and clear by default."""
    of = sun.night_of(site, night)
    fetched_at = of.start - timedelta(hours=hours_before_sunset)
    lead_h = (of.end - fetched_at) / timedelta(hours=1)
    forecast = NightForecast(night, lead_h, low_c, of.end, None, wind_m_s, cloud, None, sd_k)
    ledger.nights.keep(site.name, source, fetched_at, [forecast])


def read(ledger: Ledger, site: Site, spot: str, night: date, low_c: float) -> int:
    """Write the lowest of a night, read on a minimum thermometer in the morning."""
    at = sun.night_of(site, night).end + timedelta(hours=2)
    return ledger.readings.add_by_hand(site.name, HandReading(spot, AIR, low_c, at, night), at)


def past_nights(
    ledger: Ledger,
    site: Site,
    source: str,
    spot: str,
    before: datetime,
    errors_k: Sequence[float],
    low_c: float = 9.0,
) -> list[date]:
    """Write the last nights before a moment, with what came less what was forecast at dusk."""
    last = sun.night_at_or_after(site, before).day
    nights = [last - timedelta(days=days) for days in range(len(errors_k), 0, -1)]
    for night, error_k in zip(nights, errors_k, strict=True):
        told(ledger, site, source, night, low_c)
        read(ledger, site, spot, night, low_c + error_k)
    return nights
