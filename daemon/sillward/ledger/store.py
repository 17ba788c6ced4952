"""The ledger: one SQLite file that remembers forecasts, rounds, notices, chores and plants.

Facts are kept, never schedules. A round's chores and notices are written in one transaction with
the round itself; a notice is claimed before it is sent and marked after, so that a crash in
between costs at most one repeat and never a loss.
"""

import json
import os
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from sillward.ledger.confirmations import AnswerTables
from sillward.ledger.records import Notice, Stage, notice_of, to_text

CHANCE = timedelta(days=3)
"""No notice is good for longer than this. Judgement."""


class Ledger(AnswerTables):
    """The ledger of one file. Used from one thread at a time; every write is a transaction."""

    # -- the outbox

    def waiting(self, site: str, now: datetime, longest: timedelta) -> list[Notice]:
        """Notices of a site that are due for a try, oldest first.

        One that is due later than the longest pause from now was put back before the clock was
        set back: it is due too.
        """
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ? AND state = 'waiting'"
            " AND (next_at <= ? OR next_at > ?) ORDER BY next_at, key",
            site,
            to_text(now),
            to_text(now + longest),
        )
        return [notice_of(row) for row in rows]

    def waiting_for_others(self, site: str, channels: Sequence[str]) -> list[Notice]:
        """Notices of a site that wait for none of these channels."""
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ? AND state = 'waiting'"
            " AND channel NOT IN (SELECT value FROM json_each(?)) ORDER BY next_at, key",
            site,
            json.dumps(channels),
        )
        return [notice_of(row) for row in rows]

    def hand_over(self, notice: Notice, channel: str, now: datetime) -> bool:
        """Have a notice that waits sent to another channel. False if that has it, or it is gone."""
        key = f"{notice.key.removesuffix(notice.channel)}{channel}"
        with self.transaction():
            cursor = self._db.execute(
                "UPDATE OR IGNORE notice SET key = ?, channel = ?, attempts = 0, next_at = ?,"
                " last_error = NULL, perhaps_sent = 0 WHERE key = ? AND state = 'waiting'",
                (key, channel, to_text(now), notice.key),
            )
            return cursor.rowcount == 1

    def claim(self, key: str, until: datetime) -> bool:
        """Take a waiting notice for sending. False if somebody else has it.

        The claim is this process's until that time; see `release_claims`.
        """
        with self.transaction():
            cursor = self._db.execute(
                "UPDATE notice SET state = 'sending', attempts = attempts + 1, owner = ?,"
                " next_at = ?, perhaps_sent = perhaps_sent + 1 WHERE key = ? AND state = 'waiting'",
                (os.getpid(), to_text(until), key),
            )
            return cursor.rowcount == 1

    def sent(
        self,
        key: str,
        at: datetime,
        doubt: str | None = None,
        words: tuple[str, str] | None = None,
    ) -> None:
        """Mark a claimed notice as sent. From now on its round's advice counts as followed.

        doubt: why nobody can say for sure that it arrived. words: title and body as they went out.
        """
        title, body = words or (None, None)
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'sent', sent_at = ?, last_error = ?,"
                " title = COALESCE(?, title), body = COALESCE(?, body) WHERE key = ?",
                (to_text(at), doubt, title, body, key),
            )
            rows = self._db.execute(
                "UPDATE round SET followed = 1 FROM notice WHERE notice.key = ? AND followed = 0"
                " AND round.site = notice.site AND round.round = notice.round"
                " AND round.day = notice.day RETURNING round.site, round.at, round.after",
                (key,),
            ).fetchall()
            for row in rows:
                self._follow(row["site"], row["at"], json.loads(row["after"]))

    def put_back(
        self, key: str, next_at: datetime, error: str, *, perhaps_sent: bool = False
    ) -> None:
        """Put a claimed notice back for another try.

        perhaps_sent: it may have arrived all the same. A claim counts as such until one knows.
        """
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'waiting', next_at = ?, last_error = ?,"
                " perhaps_sent = perhaps_sent - ? WHERE key = ?",
                (to_text(next_at), error, int(not perhaps_sent), key),
            )

    def expire(self, site: str, now: datetime) -> list[Notice]:
        """Give up notices of a site whose time is over; return them.

        One that was given up while the clock was ahead gets its chance back; not those of times
        long to come, which a clock that is years behind would take for it.
        """
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'waiting' WHERE site = ? AND state = 'expired'"
                " AND expires_at > ? AND expires_at <= ?",
                (site, to_text(now), to_text(now + CHANCE)),
            )
            rows = self._db.execute(
                "UPDATE notice SET state = 'expired' WHERE site = ? AND state = 'waiting'"
                " AND expires_at <= ? RETURNING *",
                (site, to_text(now)),
            ).fetchall()
        return [notice_of(row) for row in rows]

    def withdraw(self, site: str, round_: str, since: date) -> dict[str, bool]:
        """Leave unsent what still waits of a round, for it is not true any more.

        Return for each channel whether something of it, from that day on, has arrived or may have.
        """
        told = (site, round_, str(since))
        with self.transaction():
            rows = self._db.execute(
                "SELECT channel, MAX(state = 'sent' OR perhaps_sent) AS reached FROM notice"
                " WHERE site = ? AND round = ? AND day >= ? GROUP BY channel",
                told,
            ).fetchall()
            self._db.execute(
                "UPDATE notice SET state = 'not needed' WHERE state IN ('waiting', 'expired')"
                " AND site = ? AND round = ? AND day >= ?",
                told,
            )
        return {row["channel"]: bool(row["reached"]) for row in rows}

    def messages(self, site: str, round_: str, day: date) -> dict[str, int]:
        """How many messages of a round, its changes included, each channel got or is to get."""
        rows = self._rows(
            "SELECT channel, COUNT(*) AS count FROM notice WHERE site = ? AND day = ?"
            " AND (round = ? OR round LIKE ?) AND state != 'not needed' GROUP BY channel",
            site,
            str(day),
            round_,
            f"{round_} change %",
        )
        return {row["channel"]: row["count"] for row in rows}

    def release_claims(self, site: str, now: datetime) -> int:
        """Put back a site's claims whose process is gone or whose time is over. Return how many.

        Call it while this process is sending nothing. Another process that is at work keeps
        what it has.
        """
        with self.transaction():
            rows = self._db.execute(
                "SELECT key, owner, next_at FROM notice WHERE site = ? AND state = 'sending'",
                (site,),
            ).fetchall()
            free = [
                row["key"]
                for row in rows
                if row["owner"] == os.getpid()
                or not _alive(row["owner"])
                or row["next_at"] <= to_text(now)
            ]
            self._db.executemany(
                "UPDATE notice SET state = 'waiting', next_at = ? WHERE key = ?",
                [(to_text(now), key) for key in free],
            )
        return len(free)

    def drop(self, key: str) -> None:
        """Leave a notice that waits unsent, for it is not needed any more."""
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'not needed' WHERE key = ? AND state = 'waiting'", (key,)
            )

    def notices(self, site: str, most: int = 20, channel: str | None = None) -> list[Notice]:
        """The latest notices, to one channel or to all, newest first."""
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ?1 AND (?2 IS NULL OR channel = ?2)"
            " ORDER BY day DESC, next_at DESC LIMIT ?3",
            site,
            channel,
            most,
        )
        return [notice_of(row) for row in rows]

    def missed(self, site: str, first: date, last: date) -> int:
        """How many notices of these days, both included, could not be sent in time."""
        (row,) = self._rows(
            "SELECT COUNT(*) FROM notice WHERE site = ? AND state = 'expired'"
            " AND day BETWEEN ? AND ?",
            site,
            str(first),
            str(last),
        )
        return int(row[0])

    def of_round(
        self, site: str, round_: str, day: date, stage: Stage | None = Stage.TOLD
    ) -> list[Notice]:
        """The notices of one round of a day, of one stage or (None) of all, its changes' too."""
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ?1 AND day = ?3"
            " AND (round = ?2 OR (?4 IS NULL AND round LIKE ?2 || ' change %'))"
            " AND (?4 IS NULL OR stage = ?4) ORDER BY channel, key",
            site,
            round_,
            str(day),
            None if stage is None else stage.value,
        )
        return [notice_of(row) for row in rows]


def _alive(pid: int | None) -> bool:
    """Whether a process of this number runs on this machine."""
    if pid is None:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        pass
    return True
