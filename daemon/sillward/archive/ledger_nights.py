"""A ledger of ours: what its archive says of past nights, drawn hour by hour.

The archive has no hours, only the low and the high that each forecast gave. The newest forecast of
a night stands for what came, and the hours between are drawn. That shows which nights were cold and
by how much forecasts changed, not the minute of a deadline.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from datetime import date, datetime, timedelta

import numpy as np

from sillward.archive import columns
from sillward.archive.columns import Column
from sillward.archive.table import Table
from sillward.errors import LedgerError, one_line
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward.ledger import copies
from sillward.ledger.integrity import is_marked_ours
from sillward.ledger.sqlite_database import SqliteDatabase
from sillward.ledger.tables.nights import NightArchive
from sillward_rules.arrays import Array
from sillward_rules.weather import sun
from sillward_rules.weather.daily_course import course_between_lows
from sillward_rules.weather.hourly import hours_within
from sillward_rules.weather.learned_error import STAND_IN_WITHIN_H
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Night

LEAD_DAYS = range(1, 8)
"""Days ahead whose forecasts are read: the week round looks no further."""

BEFORE_H = 6.0
"""A forecast of a lead day is best this long before that day is over [h], as in
`uncertainty.USUAL_LEAD_H`."""

MAX_NIGHTS = 2000
"""From the first night of an archive to the last. Judgement: it keeps 400 days; a clock that was
wrong may have added others."""

DRAWN = (
    "the ledger has lows and highs, no hours: they are drawn (Parton and Logan 1981), so that the"
    " hours of deadlines are rough"
)


def read(body: bytes, site: Site, reader: Reading) -> Table:
    """Return what a ledger knows of the nights of a site.

    It is read from a copy in memory, without what is still in its -wal file. Raise SourceError for
    the database of another program, or without nights of this site.
    """
    source, told = _told(body, site, reader)
    return _table(source, told, site, reader)


def of_archive(
    archive: NightArchive, site: Site, since: date, within_h: float, reader: Reading
) -> Table:
    """Return what an archive that is open knows of the nights of a site from a date on.

    within_h: how long before its low the forecast of a night may have been made [h]. Raise
    SourceError if it knows of none.
    """
    told = archive.since(site.name, since)
    if not told:
        reader.refuse("knows of no night yet")
    return _table(*_of_one_source(told), site, reader, within_h)


def _table(
    source: str,
    told: Sequence[NightForecast],
    site: Site,
    reader: Reading,
    within_h: float = STAND_IN_WITHIN_H,
) -> Table:
    first, last = min(night.night for night in told), max(night.night for night in told)
    count = (last - first).days + 1
    if count > MAX_NIGHTS or not 1970 <= first.year <= last.year < 2200:
        reader.refuse(f"is a ledger with nights from {first} to {last}: a clock was wrong")
    nights = [sun.night_of(site, first + timedelta(days=day)) for day in range(count)]
    by_night: list[list[NightForecast]] = [[] for _ in nights]
    for forecast in told:
        number = (forecast.night - first).days
        if nights[number].start <= forecast.low_at <= nights[number].cold_until:
            by_night[number].append(forecast)
    came = [_last(forecasts, within_h) for forecasts in by_night]
    if not any(came):
        reader.refuse("is a ledger that knows of no night until shortly before its low")
    times = hours_within(nights[0].start, nights[-1].cold_until)
    highs = np.array([_high(forecasts) for forecasts in by_night])
    found = _drawn(times, nights, came, highs, 0)
    for day in LEAD_DAYS:
        ahead = [_ahead(forecasts, day) for forecasts in by_night]
        if any(ahead):
            found += _drawn(times, nights, ahead, highs, day)
    return Table(f"ledger ({one_line(source, 40)})", times, found, None, (DRAWN,))


def _told(body: bytes, site: Site, reader: Reading) -> tuple[str, list[NightForecast]]:
    """Return the source that says most of the nights of a site, and what it says of them."""
    try:
        with closing(copies.in_memory()) as db:
            copies.load(db, body)
            if not is_marked_ours(db):
                reader.refuse("is the database of another program")
            database = SqliteDatabase("")
            database.connection = db
            told = NightArchive(database).since(site.name, date.min)
            if not told:
                known = {row["site"] for row in database.rows("SELECT site FROM archive")}
                names = ", ".join(f'"{one_line(name, 30)}"' for name in sorted(known)[:5])
                reader.refuse(f'is a ledger without nights of "{site.name}"; it knows {names}')
    except (sqlite3.Error, LedgerError, ValueError, TypeError, ArithmeticError, OSError) as error:
        reader.refuse(f"is a ledger that cannot be read: {one_line(error, 80)}")
    return _of_one_source(told)


def _of_one_source(
    told: Sequence[tuple[str, datetime, NightForecast]],
) -> tuple[str, list[NightForecast]]:
    """Return the source that says most of these nights, and what it says of them."""
    source, _ = Counter(source for source, _, _ in told).most_common(1)[0]
    return source, [forecast for name, _, forecast in told if name == source]


def _last(forecasts: Sequence[NightForecast], within_h: float) -> NightForecast | None:
    """Return the last forecast of a night before its low; None if that was long before."""
    last = min(forecasts, key=lambda forecast: forecast.lead_h, default=None)
    return last if last is not None and last.lead_h <= within_h else None


def _ahead(forecasts: Sequence[NightForecast], day: int) -> NightForecast | None:
    """Return the forecast of a night that was made so many days before its low."""
    of_day = [forecast for forecast in forecasts if 24 * (day - 1) < forecast.lead_h <= 24 * day]
    best_h = 24 * day - BEFORE_H
    return min(of_day, key=lambda forecast: abs(forecast.lead_h - best_h), default=None)


def _high(forecasts: Sequence[NightForecast]) -> float:
    """Return the high of the day before a night, by the newest forecast that has it."""
    with_high = [forecast for forecast in forecasts if forecast.high_c is not None]
    newest = min(with_high, key=lambda forecast: forecast.lead_h, default=None)
    return np.nan if newest is None or newest.high_c is None else newest.high_c


def _drawn(
    times: np.ndarray,
    nights: Sequence[Night],
    lows: Sequence[NightForecast | None],
    highs: Array,
    lead_day: int,
) -> list[tuple[Column, Array]]:
    """Return the columns of one lead day (time,), drawn through the lows of its forecasts."""

    def of_each(name: str) -> Array:
        values = [None if low is None else getattr(low, name) for low in lows]
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    sunrise = np.array([night.end.timestamp() for night in nights])
    low_at = np.array(
        [
            (night.end if low is None else low.low_at).timestamp()
            for night, low in zip(nights, lows, strict=True)
        ]
    )
    own_highs = of_each("high_c")
    temp_c = course_between_lows(
        times,
        low_at=low_at,
        low_c=of_each("low_c"),
        sunrise=sunrise,
        # of the evening, and the day, that come after each night
        sunset=np.roll([night.start.timestamp() for night in nights], -1),
        high_c=np.roll(np.where(np.isnan(own_highs), highs, own_highs), -1),
    )
    between = {
        name: np.where(np.isnan(temp_c), np.nan, np.interp(times, low_at, of_each(field)))
        for name, field in (
            ("dew_point_2m", "dew_point_c"),
            ("wind_speed_10m", "wind_m_s"),
            ("cloud_cover", "cloud"),
        )
    }
    series = {
        "temperature_2m": temp_c,
        "dew_point_2m": np.minimum(between["dew_point_2m"], temp_c),
        "wind_speed_10m": between["wind_speed_10m"],
        "cloud_cover": 100 * between["cloud_cover"],
    }
    return [
        (Column(name, name, columns.spelled(open_meteo.READ[name].unit), lead_day), values)
        for name, values in series.items()
    ]
