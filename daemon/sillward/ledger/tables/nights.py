"""The archive of nights: what each forecast said of the nights that it covered."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward.ledger.database import Database
from sillward.ledger.records import NIGHT_COLUMNS, night_of, night_values
from sillward_rules.arrays import HOUR_S
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.past_lows import PastLows

ARCHIVE_DAYS = 400
"""Nights longer ago leave the archive. Judgement: a year, and a month to compare with."""

ARCHIVE_ROWS = 800_000
"""The most forecasts of a night in the archive: at 45 bytes each they stay under 50 MB. Names of
site and source are not in these rows, so that a long name makes them no longer. Judgement: one site
with two sources that change every hour and reach eight nights ahead makes 154,000."""

TOLD_WITHIN = timedelta(hours=24)
"""An older forecast does not say what was told at a moment. Judgement: from then on it is expired,
and nights are treated as cold (`weather.hourly.EXPIRED_AFTER`)."""


class NightArchive:
    """Forecasts of nights, by site, source, night and time of fetching."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(
        self, site: str, source: str, fetched_at: datetime, nights: Sequence[NightForecast]
    ) -> None:
        """Put what a forecast said of its nights into the archive.

        Kept are whole seconds and hundredths of each value; lead_h follows from the times.
        """
        database = self._database
        with database.transaction():
            database.execute(
                "INSERT INTO archive (site, source) VALUES (?, ?) ON CONFLICT DO NOTHING",
                site,
                source,
            )
            ((archive,),) = database.rows(
                "SELECT id FROM archive WHERE site = ? AND source = ?", site, source
            )
            database.replace_each(
                "night", [(archive, *night_values(night, fetched_at)) for night in nights]
            )

    def has(self, site: str, source: str, night: date, fetched_at: datetime) -> bool:
        """Whether the archive has what a source, asked at this time, said of a night."""
        return bool(
            self._database.rows(
                "SELECT 1 FROM night WHERE archive ="
                " (SELECT id FROM archive WHERE site = ? AND source = ?)"
                " AND night = ? AND fetched_at = ?",
                site,
                source,
                night.toordinal(),
                int(fetched_at.timestamp()),
            )
        )

    def since(
        self, site: str, first: date, source: str | None = None
    ) -> list[tuple[str, datetime, NightForecast]]:
        """Return what was forecast, by one source or by all, for the nights from a date on.

        Each is a source, the time of fetching and the forecast, sorted by night, by source and by
        that time.
        """
        rows = self._database.rows(
            f"SELECT archive.source, {', '.join(NIGHT_COLUMNS)} FROM night"
            " JOIN archive ON archive.id = night.archive WHERE archive.site = ?"
            " AND (? IS NULL OR archive.source = ?) AND night.night >= ?"
            " ORDER BY night.night, archive.source, night.fetched_at",
            site,
            source,
            source,
            first.toordinal(),
        )
        return [(source, *night_of(*values)) for source, *values in rows]

    def first(self, site: str) -> date | None:
        """Return the first night of a site that a forecast was kept of; None if there is none."""
        ((night,),) = self._database.rows(
            "SELECT MIN(night) FROM night JOIN archive ON archive.id = night.archive"
            " WHERE archive.site = ?",
            site,
        )
        return None if night is None else date.fromordinal(night)

    def sources(self, site: str) -> list[str]:
        """Return the sources of which the archive has nights of a site, by name."""
        rows = self._database.rows(
            "SELECT source FROM archive WHERE site = ? ORDER BY source", site
        )
        return [row["source"] for row in rows]

    def before(
        self, site: str, sources: Sequence[str], moments: Mapping[date, datetime]
    ) -> dict[date, tuple[str, NightForecast]]:
        """Return what was forecast for each night before a moment, with the name of its source.

        It is the newest forecast of the first of the sources that had one at most `TOLD_WITHIN`
        before. Nights for which there is none are left out.
        """
        found: dict[date, tuple[str, NightForecast]] = {}
        for source in sources:
            for night in moments.keys() - found.keys():
                last = int(moments[night].timestamp())
                rows = self._database.rows(
                    f"SELECT {', '.join(NIGHT_COLUMNS)} FROM night WHERE archive ="
                    " (SELECT id FROM archive WHERE site = ? AND source = ?) AND night = ?"
                    " AND fetched_at BETWEEN ? AND ? ORDER BY fetched_at DESC LIMIT 1",
                    site,
                    source,
                    night.toordinal(),
                    last - int(TOLD_WITHIN.total_seconds()),
                    last,
                )
                if rows:
                    found[night] = source, night_of(*rows[0])[1]
        return found

    def past_lows(self, site: str, source: str, now: datetime, since: datetime) -> PastLows:
        """Return what one source said, from a moment on, of the nights whose low has passed.

        There may be tens of thousands of forecasts.
        """
        rows = self._database.rows(
            "SELECT night, low_at - fetched_at, low, sd FROM night"
            " JOIN archive ON archive.id = night.archive"
            " WHERE archive.site = ? AND archive.source = ? AND low_at <= ?"
            " AND fetched_at >= ?",
            site,
            source,
            int(now.timestamp()),
            int(since.timestamp()),
        )
        table = np.array([tuple(row) for row in rows], dtype=np.float64).reshape(-1, 4)
        night, lead_s, low, sd = table.T
        return PastLows(night.astype(np.int64), lead_s / HOUR_S, low / 100, sd / 100)

    def prune(self, now: datetime) -> None:
        """Drop nights that are too long ago, and the oldest if there are too many."""
        oldest = now.astimezone(UTC).date().toordinal() - ARCHIVE_DAYS
        database = self._database
        with database.transaction():
            _, site = database.own_rows()
            own = "archive IN (SELECT id FROM archive WHERE site = ?)" if site else "1 = 1"
            database.execute(f"DELETE FROM night WHERE night < ? AND {own}", oldest, *site)
            ((count,),) = database.rows(f"SELECT COUNT(*) FROM night WHERE {own}", *site)
            if count <= ARCHIVE_ROWS:
                return
            database.execute(
                "DELETE FROM night WHERE (archive, night, fetched_at) IN ("
                f"SELECT archive, night, fetched_at FROM night WHERE {own}"
                " ORDER BY night, fetched_at LIMIT ?)",
                *(*site, count - ARCHIVE_ROWS),
            )
