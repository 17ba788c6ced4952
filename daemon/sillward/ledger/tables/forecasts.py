"""The last good forecast of each source for each site."""

import zlib
from datetime import datetime

from sillward.ledger.database import Database
from sillward.ledger.records import SavedForecast, columns_of, forecast_of, to_moment, to_text

ForecastStamp = tuple[str | None, ...]
"""When a forecast was fetched and changed, and its validators, as they are stored."""


class ForecastTable:
    """Validated bodies of forecasts, by site and source."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, site: str, forecast: SavedForecast) -> None:
        """Keep a validated forecast as the last good one of its source for the site.

        The body is tens of kB of text that repeats itself, so it is compressed in the file.
        """
        values = columns_of(forecast) | {"site": site, "body": zlib.compress(forecast.body)}
        self._database.replace("forecast", values)

    def mark_unchanged(self, site: str, source: str, fetched_at: datetime) -> None:
        """Note that the source said at this time that its last forecast is the newest (304)."""
        self._database.execute(
            "UPDATE forecast SET fetched_at = ? WHERE site = ? AND source = ?",
            to_text(fetched_at),
            site,
            source,
        )

    def get(self, site: str, source: str) -> SavedForecast | None:
        """Return the last good forecast; None if there is none or its body is damaged."""
        rows = self._database.rows(
            "SELECT * FROM forecast WHERE site = ? AND source = ?", site, source
        )
        return forecast_of(rows[0]) if rows else None

    def stamp(self, site: str, source: str) -> ForecastStamp | None:
        """Return what distinguishes this forecast from another; None if there is none.

        It is needed at every tick, and decompressing a body takes far longer.
        """
        rows = self._database.rows(
            "SELECT fetched_at, changed_at, last_modified, etag FROM forecast"
            " WHERE site = ? AND source = ?",
            site,
            source,
        )
        return tuple(rows[0]) if rows else None

    def fetched_at(self, source: str) -> dict[str, datetime]:
        """Return for each site when the last good forecast of a source was fetched."""
        rows = self._database.rows("SELECT site, fetched_at FROM forecast WHERE source = ?", source)
        return {row["site"]: to_moment(row["fetched_at"]) for row in rows}

    def forget(self, site: str, source: str) -> None:
        """Remove the forecast of this source, if there is one."""
        if self.stamp(site, source) is not None:
            self._database.execute(
                "DELETE FROM forecast WHERE site = ? AND source = ?", site, source
            )
