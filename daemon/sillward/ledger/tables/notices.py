"""The notices: those that wait to be sent, and what became of the others.

A row that cannot be read is logged and left out, so that it holds up no other notice; `unreadable`
counts such rows.
"""

from collections.abc import Collection, Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta

from sillward.ledger.database import Database
from sillward.ledger.records import Notice, Stage, column_value, notice_of, to_moment, to_text
from sillward.ledger.subjects import TOO_SOON
from sillward.ledger.tables.row_reader import RowReader

REVIVABLE_FOR = timedelta(days=3)
"""No notice expires later than this after it was written. Judgement: the longest-lived, those of
the week round, expire after a day."""


class NoticeTable:
    """Notices by their key, which says what each is for (see `Notice`).

    A notice is claimed before it is sent and marked after, so that a crash in between costs at most
    one repeat and never a loss.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(notice_of, "notice", "key")

    def insert(self, notice: Notice) -> None:
        """Write a notice, unless there is one with its key already."""
        values = [column_value(getattr(notice, field.name)) for field in fields(Notice)]
        marks = ", ".join("?" * len(values))
        names = ", ".join(field.name for field in fields(Notice))
        self._database.execute(
            f"INSERT INTO notice ({names}) VALUES ({marks}) ON CONFLICT (key) DO NOTHING", *values
        )

    # -- what is to be sent

    def due(self, site: str, now: datetime, longest_pause: timedelta) -> list[Notice]:
        """Return the notices of a site that are due for a try, oldest first.

        No pause between two attempts is longer than `longest_pause`. A notice that is due later
        than that was put back while the clock was ahead: it is due too.
        """
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND state = 'waiting'"
            " AND (next_at <= ? OR next_at > ?) ORDER BY next_at, key",
            site,
            to_text(now),
            to_text(now + longest_pause),
        )
        return self._reader.readable(rows)

    def waiting_for_others(self, site: str, channels: Sequence[str]) -> list[Notice]:
        """Return the notices of a site that wait for none of these channels."""
        others = f" AND channel NOT IN ({', '.join('?' * len(channels))})" if channels else ""
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND state = 'waiting'"
            f"{others} ORDER BY next_at, key",
            site,
            *channels,
        )
        return self._reader.readable(rows)

    def under_way(self, site: str) -> list[tuple[datetime, datetime]]:
        """Return of each notice of a site that waits, or is being sent, when it is tried or its
        claim ends, and when it is given up."""
        rows = self._database.rows(
            "SELECT next_at, expires_at FROM notice"
            " WHERE site = ? AND state IN ('waiting', 'sending')",
            site,
        )
        return [(to_moment(row["next_at"]), to_moment(row["expires_at"])) for row in rows]

    def hand_over(self, notice: Notice, channel: str, now: datetime) -> bool:
        """Give a waiting notice to another channel. Return False if that has it, or it is gone."""
        key = f"{notice.key.removesuffix(notice.channel)}{channel}"
        changed = self._database.execute(
            "UPDATE notice SET key = ?, channel = ?, attempts = 0, next_at = ?,"
            " last_error = NULL, perhaps_sent = 0 WHERE key = ? AND state = 'waiting'"
            " AND NOT EXISTS (SELECT 1 FROM notice WHERE key = ?)",
            key,
            channel,
            to_text(now),
            notice.key,
            key,
        )
        return changed == 1

    def claim(self, key: str, until: datetime) -> bool:
        """Take a waiting notice for sending. Return False if another process has it.

        The claim is this process's until that time; see `release_claims`.
        """
        changed = self._database.execute(
            "UPDATE notice SET state = 'sending', attempts = attempts + 1, owner = ?,"
            " next_at = ?, perhaps_sent = perhaps_sent + 1 WHERE key = ? AND state = 'waiting'",
            self._database.worker,
            to_text(until),
            key,
        )
        return changed == 1

    def release_claims(self, site: str, now: datetime, but: Collection[str] = ()) -> int:
        """Put back a site's claims whose process is gone or whose time is over. Return how many.

        Another process that is at work keeps what it has.

        but: the keys of what this process is sending, however long that takes.
        """
        with self._database.transaction():
            rows = self._database.rows(
                "SELECT key, owner, next_at FROM notice WHERE site = ? AND state = 'sending'", site
            )
            free = [
                row["key"]
                for row in rows
                if row["key"] not in but
                and (
                    row["owner"] == self._database.worker
                    or not self._database.is_at_work(row["owner"])
                    or row["next_at"] <= to_text(now)
                )
            ]
            self._database.execute_each(
                "UPDATE notice SET state = 'waiting', next_at = ? WHERE key = ?",
                [(to_text(now), key) for key in free],
            )
        return len(free)

    def mark_sent(
        self, key: str, at: datetime, doubt: str | None, words: tuple[str, str] | None
    ) -> None:
        """Mark a claimed notice as sent; see `Ledger.mark_sent`."""
        title, body = words or (None, None)
        self._database.execute(
            "UPDATE notice SET state = 'sent', sent_at = ?, last_error = ?,"
            " title = COALESCE(?, title), body = COALESCE(?, body) WHERE key = ?",
            to_text(at),
            doubt,
            title,
            body,
            key,
        )

    def put_back(
        self, key: str, next_at: datetime, error: str, *, attempt: int, perhaps_sent: bool = False
    ) -> None:
        """Put a claimed notice back for another try, unless it is not needed any more.

        With `perhaps_sent` it may have arrived all the same. A claim counts as an attempt that may
        have arrived until its outcome is known.

        attempt: the number of the attempt that failed. If another has been claimed since, because
            the time of this claim was over, the notice is left to that one.
        """
        self._database.execute(
            "UPDATE notice SET state = 'waiting', next_at = ?, last_error = ?,"
            " perhaps_sent = perhaps_sent - ? WHERE key = ? AND attempts = ?"
            " AND state IN ('waiting', 'sending')",
            to_text(next_at),
            error,
            int(not perhaps_sent),
            key,
            attempt,
        )

    # -- what is not to be sent any more

    def expire(self, site: str, now: datetime) -> list[Notice]:
        """Give up the waiting notices of a site that have expired, and return them.

        A notice that was given up while the clock was ahead waits again if it has not expired after
        all. It must expire within `REVIVABLE_FOR`: to a clock that is years behind, all the notices
        of the last years seem to expire in the future.
        """
        with self._database.transaction():
            self._database.execute(
                "UPDATE notice SET state = 'waiting' WHERE site = ? AND state = 'expired'"
                " AND expires_at > ? AND expires_at <= ?",
                site,
                to_text(now),
                to_text(now + REVIVABLE_FOR),
            )
            rows = self._database.rows(
                "UPDATE notice SET state = 'expired' WHERE site = ? AND state = 'waiting'"
                " AND expires_at <= ? RETURNING *",
                site,
                to_text(now),
            )
        return self._reader.readable(rows)

    def withdraw(self, site: str, round_: str, since: date) -> dict[str, bool]:
        """Leave the waiting notices of a round or alarm unsent, because they are untrue by now.

        Return for each channel whether a notice of it, from that day on, has arrived or may have.
        """
        with self._database.transaction():
            rows = self._database.rows(
                "SELECT channel, MAX(CASE WHEN state = 'sent' OR perhaps_sent != 0 THEN 1 ELSE 0"
                " END) AS reached FROM notice"
                " WHERE site = ? AND round = ? AND day >= ? GROUP BY channel",
                site,
                round_,
                str(since),
            )
            self._database.execute(
                "UPDATE notice SET state = 'not needed'"
                " WHERE state IN ('waiting', 'sending', 'expired')"
                " AND site = ? AND round = ? AND day >= ?",
                site,
                round_,
                str(since),
            )
        return {row["channel"]: bool(row["reached"]) for row in rows}

    def drop(self, key: str) -> None:
        """Leave a waiting notice unsent, because it is not needed any more."""
        self._database.execute(
            "UPDATE notice SET state = 'not needed' WHERE key = ? AND state = 'waiting'", key
        )

    def drop_of_channel(self, site: str, channel: str) -> None:
        """Send nothing that waits for a channel, or is just being tried."""
        self._database.execute(
            "UPDATE notice SET state = 'not needed'"
            " WHERE site = ? AND channel = ? AND state IN ('waiting', 'sending')",
            site,
            channel,
        )

    def set_apart(
        self, site: str, round_: str, day: str, change_number: int, enqueued_at: str
    ) -> None:
        """Leave the notices of a round or change unsent, and file those sent under another key.

        The round can then be enqueued again.
        """
        self._database.execute(
            f"UPDATE notice SET key = key || ' told ' || ?, round = round || '{TOO_SOON}',"
            " state = CASE state WHEN 'sent' THEN 'sent' ELSE 'not needed' END"
            " WHERE site = ? AND day = ? AND round = ? AND change_number = ?",
            enqueued_at,
            site,
            day,
            round_,
            change_number,
        )

    def prune(self, oldest: date) -> None:
        """Drop the notices before a day."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM notice WHERE day < ?{own}", str(oldest), *site)

    # -- rows that cannot be read

    def unreadable(self, site: str, since: date) -> int:
        """Return how many unsent notices since a day cannot be read."""
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND day >= ?"
            " AND state NOT IN ('sent', 'not needed')",
            site,
            str(since),
        )
        return sum(not self._reader.can_read(row) for row in rows)

    # -- what has become of them

    def latest(self, site: str, most: int = 20, channel: str | None = None) -> list[Notice]:
        """Return the latest notices, to one channel or to all, newest first."""
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND (? IS NULL OR channel = ?)"
            " ORDER BY day DESC, next_at DESC LIMIT ?",
            site,
            channel,
            channel,
            most,
        )
        return self._reader.readable(rows)

    def of_days(self, site: str, first: date, last: date) -> list[Notice]:
        """Return the notices of these days, both included, newest first."""
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND day BETWEEN ? AND ?"
            " ORDER BY day DESC, next_at DESC, key",
            site,
            str(first),
            str(last),
        )
        return self._reader.readable(rows)

    def of_round(
        self, site: str, round_: str, day: date, stage: Stage | None = Stage.TOLD
    ) -> list[Notice]:
        """Return the notices of a round, in the order of their channels.

        Only those of one stage are returned, without those of changes; with `stage` None all are.
        """
        rows = self._database.rows(
            "SELECT * FROM notice WHERE site = ? AND day = ? AND round = ?"
            " AND (? IS NULL OR (stage = ? AND change_number = 0)) ORDER BY channel, key",
            site,
            str(day),
            round_,
            stage,
            stage,
        )
        return self._reader.readable(rows)

    def count_by_channel(self, site: str, round_: str, day: date) -> dict[str, int]:
        """Return how many notices of a round and its changes each channel got or is to get.

        Alarms count for none.
        """
        rows = self._database.rows(
            "SELECT channel, COUNT(*) AS count FROM notice WHERE site = ? AND day = ? AND round = ?"
            f" AND state != 'not needed' AND stage != '{Stage.ALARM}' GROUP BY channel",
            site,
            str(day),
            round_,
        )
        return {row["channel"]: row["count"] for row in rows}

    def count_expired(self, site: str, first: date, last: date) -> int:
        """Return how many notices of these days, both included, expired."""
        (row,) = self._database.rows(
            "SELECT COUNT(*) FROM notice WHERE site = ? AND state = 'expired'"
            " AND day BETWEEN ? AND ?",
            site,
            str(first),
            str(last),
        )
        return int(row[0])

    def sent_and_lost(self, site: str, since: date) -> tuple[int, int]:
        """Return how many notices since a day their channels took, and how many expired."""
        (row,) = self._database.rows(
            "SELECT COUNT(CASE WHEN state = 'sent' AND last_error IS NULL THEN 1 END) AS sent,"
            " COUNT(CASE WHEN state = 'expired' THEN 1 END) AS lost FROM notice"
            " WHERE site = ? AND day >= ?",
            site,
            str(since),
        )
        return row["sent"], row["lost"]
