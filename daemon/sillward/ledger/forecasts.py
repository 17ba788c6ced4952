"""What the ledger remembers of forecasts: the last good ones, who is asked when, and the nights."""

import zlib
from collections.abc import Sequence
from datetime import UTC, date, datetime

from sillward.ledger.database import Database
from sillward.ledger.records import (
    NIGHT_COLUMNS,
    Poll,
    StoredForecast,
    columns_of,
    forecast_of,
    night_of,
    night_values,
    poll_of,
    to_text,
)
from sillward_rules.weather.night_summary import NightForecast

ARCHIVE_DAYS = 400
"""Nights longer ago leave the archive. Judgement: a year, and a month to hold it against."""

ARCHIVE_ROWS = 800_000
"""Most forecasts of a night in the archive: at 45 bytes each they stay under 50 MB. Names of site
and source are not in these rows: a long one makes them no longer. Judgement: one site with two
sources that change every hour and reach eight nights ahead makes 154,000."""


ForecastStamp = tuple[str | None, ...]
"""When a forecast was fetched and changed, and its validators, as they lie in the file."""


class ForecastTables(Database):
    """Forecasts, schedules of calls and the archive of nights, beside the file itself."""

    def keep_forecast(self, site: str, stored: StoredForecast) -> None:
        """Keep a validated forecast as the last good one of its source for the site.

        The body is tens of kB of text that repeats itself: it lies compressed in the file.
        """
        values = columns_of(stored) | {"site": site, "body": zlib.compress(stored.body)}
        with self.transaction():
            self._replace("forecast", values)

    def confirm_forecast(self, site: str, source: str, fetched_at: datetime) -> None:
        """The source said at this time that the forecast at hand is still its last."""
        with self.transaction():
            self._db.execute(
                "UPDATE forecast SET fetched_at = ? WHERE site = ? AND source = ?",
                (to_text(fetched_at), site, source),
            )

    def forecast(self, site: str, source: str) -> StoredForecast | None:
        """The last good forecast of a source; None if there is none or its body is damaged."""
        rows = self._rows("SELECT * FROM forecast WHERE site = ? AND source = ?", site, source)
        return forecast_of(rows[0]) if rows else None

    def forecast_stamp(self, site: str, source: str) -> ForecastStamp | None:
        """What tells the last good forecast of a source from another, without its body.

        None if there is none. It is asked at every tick, and unpacking a body takes far longer.
        """
        rows = self._rows(
            "SELECT fetched_at, changed_at, last_modified, etag FROM forecast"
            " WHERE site = ? AND source = ?",
            site,
            source,
        )
        return tuple(rows[0]) if rows else None

    def forget_forecast(self, site: str, source: str) -> None:
        """Forget what is kept under this name, if anything is."""
        if self.forecast_stamp(site, source) is not None:
            with self.transaction():
                self._db.execute(
                    "DELETE FROM forecast WHERE site = ? AND source = ?", (site, source)
                )

    def keep_poll(self, source: str, poll: Poll) -> None:
        """Keep when a source is to be asked again."""
        with self.transaction():
            self._replace("poll", columns_of(poll) | {"source": source})

    def poll(self, source: str) -> Poll | None:
        """When a source is to be asked again; None if it never was asked."""
        rows = self._rows("SELECT * FROM poll WHERE source = ?", source)
        return poll_of(rows[0]) if rows else None

    # -- the archive of nights

    def keep_nights(
        self, site: str, source: str, fetched_at: datetime, nights: Sequence[NightForecast]
    ) -> None:
        """Put what a forecast said of its nights into the archive.

        Kept are whole seconds and hundredths of each value; lead_h follows from the times.
        """
        with self.transaction():
            self._db.execute(
                "INSERT INTO archive (site, source) VALUES (?, ?) ON CONFLICT DO NOTHING",
                (site, source),
            )
            (archive,) = self._db.execute(
                "SELECT id FROM archive WHERE site = ? AND source = ?", (site, source)
            ).fetchone()
            self._db.executemany(
                f"INSERT OR REPLACE INTO night (archive, {', '.join(NIGHT_COLUMNS)})"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(archive, *night_values(night, fetched_at)) for night in nights],
            )

    def nights(
        self, site: str, since: date, source: str | None = None
    ) -> list[tuple[str, datetime, NightForecast]]:
        """What was forecast, by a source or by all, for the nights from a date on.

        Source, time of fetching and forecast: by night, then by source, then as they came.
        """
        rows = self._rows(
            f"SELECT archive.source, {', '.join(NIGHT_COLUMNS)} FROM night"
            " JOIN archive ON archive.id = night.archive WHERE archive.site = ?1"
            " AND (?2 IS NULL OR archive.source = ?2) AND night.night >= ?3"
            " ORDER BY night.night, archive.source, night.fetched_at",
            site,
            source,
            since.toordinal(),
        )
        return [(source, *night_of(*values)) for source, *values in rows]

    def prune_archive(self, now: datetime) -> None:
        """Drop nights that are too long ago, and the oldest of too many."""
        oldest = now.astimezone(UTC).date().toordinal() - ARCHIVE_DAYS
        with self.transaction():
            self._db.execute("DELETE FROM night WHERE night < ?", (oldest,))
            (count,) = self._db.execute("SELECT COUNT(*) FROM night").fetchone()
            self._db.execute(
                "DELETE FROM night WHERE (archive, night, fetched_at) IN ("
                "SELECT archive, night, fetched_at FROM night ORDER BY night, fetched_at LIMIT ?)",
                (max(0, count - ARCHIVE_ROWS),),
            )
