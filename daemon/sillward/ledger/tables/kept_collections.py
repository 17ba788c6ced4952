"""The collection of each site that was last in force, for a start at which its file is wrong."""

from dataclasses import dataclass
from datetime import datetime

from sillward.ledger.database import Database
from sillward.ledger.records import to_moment, to_text


@dataclass(frozen=True, slots=True)
class KeptCollection:
    """A collection that was in force.

    file: the path of its file; digest: of the file's content.
    since: when it came into force. tables: its content (`config.kept_tables`).
    """

    site: str
    file: str
    digest: str
    since: datetime
    tables: bytes


class KeptCollectionTable:
    """One collection for each site."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def since(self, site: str) -> datetime | None:
        """Return since when the one of a site is in force; None if none is kept."""
        rows = self._database.rows("SELECT since FROM kept_collection WHERE site = ?", site)
        return to_moment(rows[0][0]) if rows else None

    def keep(self, kept: KeptCollection) -> None:
        """Keep one, in place of that of its site, and of what its file had for another site."""
        with self._database.transaction():
            own, values = self._database.own_rows()
            self._database.execute(
                f"DELETE FROM kept_collection WHERE file = ?{own}", kept.file, *values
            )
            self._database.replace(
                "kept_collection",
                {
                    "site": kept.site,
                    "file": kept.file,
                    "digest": kept.digest,
                    "since": to_text(kept.since),
                    "tables": kept.tables,
                },
            )

    def of_site(self, site: str) -> KeptCollection | None:
        """Return the one that is kept of a site."""
        return self._first("site", site)

    def of_file(self, file: str) -> KeptCollection | None:
        """Return the one that is kept of a file."""
        return self._first("file", file)

    def _first(self, column: str, value: str) -> KeptCollection | None:
        rows = self._database.rows(f"SELECT * FROM kept_collection WHERE {column} = ?", value)
        if not rows:
            return None
        site, file, digest, since, tables = rows[0]
        return KeptCollection(site, file, digest, to_moment(since), bytes(tables))
