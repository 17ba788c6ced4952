"""A year of invented forecasts and readings for the packaged example, to show what they teach.

The nights are those of the packaged past weather. Two invented models tell them a week ahead, and
thermometers hang at the two spots outdoors. The pergola is colder on calm nights than its grower
has said; the thermometer at the wall bench is hung somewhere else in winter.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward.archive import read_archive
from sillward.assembly import examples
from sillward.assembly.app import App
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.night_summary import NightForecast, nights_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot_offset import weather_share
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

KEYS = {"Cordillera model": "cordillera", "Pampas model": "pampas"}
"""The invented models, the one in use first, and their keys in the settings."""

ERRORS = (1.25, 0.9), (0.85, -0.4)
"""How large their errors are against `USUAL_ERROR_K`, and how far off they are on average [K]."""

FETCHED_AT_H = 18.0
"""When their forecasts are fetched, each day [h, UTC]: 15:00 in Mendoza."""

DRIFT_K = 0.12
"""How much further off the first model is for each day ahead [K]."""

MOVED = date(2025, 7, 20)
"""The first night after the thermometer of the wall bench was hung somewhere else."""

_SEED = 1130


def year() -> tuple[App, Ledger]:
    """Return the packaged example on the day after its past year, and a ledger in memory."""
    app, file = examples.past_year()
    site, (first, last) = app.site, examples.PAST_YEAR
    past = read_archive(file, site).weather
    before = datetime.fromtimestamp(int(past.times[0]) - HOUR_S, UTC)
    nights = [night for night in nights_of(site, past, before) if first <= night.night <= last]
    rng = np.random.default_rng(_SEED)
    ledger = Ledger(IN_MEMORY)
    in_use, *_ = KEYS
    for source, (size, bias_k) in zip(KEYS, ERRORS, strict=True):
        drift_k = DRIFT_K if source == in_use else 0.0
        off_k = bias_k + _errors(rng, len(nights), size) + drift_k * np.arange(len(USUAL_ERROR_K))
        for fetched_at, told in _told(nights, off_k):
            ledger.nights.keep(site.name, source, fetched_at, told)
    for spot, off_k in _spots(rng, site, past).items():
        hours = by_the_hour(past.times, past.temp_c + off_k)
        ledger.readings.keep(site.name, spot, Quantity.TEMPERATURE, "logger", hours)
    return app, ledger


def _errors(rng: np.random.Generator, nights: int, size: float) -> Array:
    """Return the errors of a model (night, day ahead) [K]: each day ahead adds its part."""
    usual = np.array(USUAL_ERROR_K)
    added = np.sqrt(np.diff(usual**2, prepend=0.0))
    return np.asarray(size * np.cumsum(rng.standard_normal((nights, usual.size)) * added, axis=1))


def _told(
    nights: list[NightForecast], off_k: Array
) -> Iterator[tuple[datetime, list[NightForecast]]]:
    """Yield each day's forecast: when it is fetched, and what it says of the next nights."""
    for row, night in enumerate(nights):
        midnight = datetime.combine(night.night, datetime.min.time(), UTC)
        fetched_at = midnight + timedelta(hours=FETCHED_AT_H)
        yield (
            fetched_at,
            [
                NightForecast(
                    night=ahead.night,
                    lead_h=(ahead.low_at - fetched_at) / timedelta(hours=1),
                    low_c=ahead.low_c + float(off_k[row + day, day]),
                    low_at=ahead.low_at,
                    dew_point_c=ahead.dew_point_c,
                    wind_m_s=ahead.wind_m_s,
                    cloud=ahead.cloud,
                    high_c=ahead.high_c,
                )
                for day, ahead in enumerate(nights[row : row + off_k.shape[1]])
            ],
        )


def _spots(rng: np.random.Generator, site: Site, past: Weather) -> dict[str, Array]:
    """Return by how much the spots outdoors are warmer than the site at each hour [K]."""
    share = weather_share(past.wind_m_s, past.cloud)
    local_noon = np.array([site.middle_of_day(MOVED).timestamp()])
    moved = past.times >= local_noon
    day = ((past.times - past.times[0]) // (24 * HOUR_S)).astype(np.int64)

    def of_night(sd_k: float) -> Array:
        return np.asarray(rng.normal(0.0, sd_k, int(day[-1]) + 1)[day])

    return {
        "pergola": -0.4 - 1.6 * (share - 0.5) + of_night(0.5),
        "wall bench": np.where(moved, -1.9, 1.6) + of_night(0.5),
    }
