"""Rows read one by one: a row that cannot be read is logged and left out, and costs no other."""

import logging
from collections.abc import Callable, Iterable
from typing import Generic, TypeVar

from sillward.ledger.database import Row

log = logging.getLogger(__name__)

Record = TypeVar("Record")


class RowReader(Generic[Record]):
    """Reads the rows of a table as records.

    what : what a row is, for the log. key : the column that names it there, beside its site.
    """

    def __init__(self, read: Callable[[Row], Record], what: str, key: str) -> None:
        self._read = read
        self._what = what
        self._key = key
        self._logged: set[tuple[str, str]] = set()
        """Site and key of the unreadable rows that have been logged: once is enough."""

    def can_read(self, row: Row) -> bool:
        """Whether a row can be read."""
        return self._record_or_none(row) is not None

    def readable(self, rows: Iterable[Row]) -> list[Record]:
        """Return the records of these rows, without those that cannot be read."""
        records = []
        for row in rows:
            record = self._record_or_none(row)
            if record is not None:
                records.append(record)
            elif (name := (row["site"], row[self._key])) not in self._logged:
                self._logged.add(name)
                log.error(
                    "ledger.unreadable_%s site=%s %s=%s", self._what, name[0], self._key, name[1]
                )
        return records

    def _record_or_none(self, row: Row) -> Record | None:
        try:
            return self._read(row)
        except (ValueError, KeyError, TypeError, AttributeError):
            return None
