"""The ledger: what the daemon must not forget, in one SQLite file.

Facts are kept, never schedules. `Ledger` has an object for each table, and the transactions that
concern several of them: a round is written together with its chores and notices, a confirmation
together with the states that follow from it.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import ClassVar, Self

from sillward.errors import ConfigError, NotOursError
from sillward.ledger.ledger_file import IN_MEMORY, LedgerFile
from sillward.ledger.ownership import refuse_place
from sillward.ledger.records import (
    Activity,
    Notice,
    state_of,
    state_to_plain,
    states_from_json,
)
from sillward.ledger.tables.calendar import CalendarTable
from sillward.ledger.tables.calls import CallTable
from sillward.ledger.tables.chores import ChoreTable
from sillward.ledger.tables.confirmations import Confirmation, ConfirmationTable
from sillward.ledger.tables.forecasts import ForecastTable
from sillward.ledger.tables.marks import MarkTable
from sillward.ledger.tables.nights import NightArchive
from sillward.ledger.tables.notices import NoticeTable
from sillward.ledger.tables.plants import PlantTable
from sillward.ledger.tables.rounds import RoundTable
from sillward_rules.chore import Chore
from sillward_rules.plants.state import PlantState

KEPT_DAYS = 60
"""Rounds, notices and chores longer ago are forgotten: well beyond any review. Judgement."""

FOLLOWED_WITHIN = timedelta(days=3)
"""No notice of a round is sent later than this."""

AHEAD = timedelta(hours=12)
"""A round that was told so far in the future was told by a clock that was wrong. Judgement."""


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Ledger:
    """The ledger of one file. Used from one thread at a time; every write is a transaction.

    Everything raises LedgerError if the file cannot be read or written.
    """

    file_type: ClassVar[type[LedgerFile]] = LedgerFile

    def __init__(
        self,
        path: Path | str,
        *,
        clock: Callable[[], datetime] = _utc_now,
        resilient: bool = False,
    ) -> None:
        """Open or create the file. Raise LedgerError if it cannot be used, NotOursError if what is
        there is not ours.

        clock: for the names of what is set aside. resilient: see `open_or_in_memory`.
        """
        self.file = self.file_type(path, clock=clock, resilient=resilient)
        self.database = self.file.database
        self.forecasts = ForecastTable(self.database)
        self.calls = CallTable(self.database)
        self.nights = NightArchive(self.database)
        self.rounds = RoundTable(self.database)
        self.notices = NoticeTable(self.database)
        self.chores = ChoreTable(self.database)
        self.confirmations = ConfirmationTable(self.database)
        self.plants = PlantTable(self.database)
        self.calendar = CalendarTable(self.database)
        self.marks = MarkTable(self.database)

    @classmethod
    def open_or_in_memory(
        cls, path: Path | str, *, clock: Callable[[], datetime] = _utc_now
    ) -> Self:
        """Open the ledger for the service, which must go on whatever the disk does.

        A damaged file is set aside and the newest sound copy takes its place, else an empty
        ledger; the mark "history reset" then says so. Where that cannot be, or nothing can be
        written, the ledger is `in_memory`. Raise ConfigError for a path that can never be a ledger,
        NewerLedgerError for the ledger of a newer sillward.
        """
        if str(path) != IN_MEMORY:
            refuse_place(Path(path))
        try:
            return cls(path, clock=clock, resilient=True)
        except NotOursError as error:
            raise ConfigError([str(error)]) from error

    @property
    def in_memory(self) -> bool:
        """Whether the ledger is in memory because its file cannot be used just now."""
        return self.file.in_memory

    def close(self) -> None:
        """Close the file."""
        self.file.close()

    # -- rounds

    def keep_round(
        self,
        site: str,
        round_: str,
        day: date,
        at: datetime,
        *,
        notices: Sequence[Notice],
        chores: Sequence[Chore],
        states: Mapping[str, PlantState],
        after: Mapping[str, PlantState] | None = None,
        usable: bool = True,
    ) -> None:
        """Write a round with its notices, chores and plant states.

        states holds now; after holds once somebody has been told: from the first notice of the
        round that is sent. usable: whether there was a forecast to go by.
        """
        with self.database.transaction():
            self.rounds.insert(site, round_, day, at, after or {}, usable=usable)
            for notice in notices:
                self.notices.insert(notice)
            for chore in chores:
                self.chores.write(site, round_, chore)
            self.plants.keep(site, states)

    def keep_change(
        self,
        site: str,
        round_: str,
        change: int,
        day: date,
        at: datetime,
        *,
        notices: Sequence[Notice],
        chores: Sequence[tuple[Chore, datetime | None]],
        called_off: Sequence[str],
        after: Mapping[str, PlantState],
        instead_of: Sequence[str] = (),
    ) -> None:
        """Write what has changed about a round.

        change: its number among the changes of the round, from 1. chores: as they are from now on,
        each with the time at which its hour became another one or plants joined it, if that was so.
        called_off: ids of those that are not needed any more. What was to hold after the round and
        its earlier changes holds no more; `after` does, once a notice of any of them is sent.
        instead_of: keys of notices that wait, and are not to be sent any more.
        """
        with self.database.transaction():
            self.rounds.insert(site, round_, day, at, after, change=change)
            self.rounds.set_after(site, round_, day, after)
            for notice in notices:
                self.notices.insert(notice)
            for chore, changed_at in chores:
                self.chores.write(site, round_, chore, changed_at=changed_at)
            self.chores.call_off(site, called_off, at)
            for key in instead_of:
                self.notices.drop(key)

    def enqueue(
        self,
        site: str,
        at: datetime,
        notices: Sequence[Notice],
        *,
        reminded: Sequence[str] = (),
        passed_on: Sequence[str] = (),
    ) -> None:
        """Put notices about chores that were told before into the outbox.

        reminded, passed_on: ids of the chores of which these notices remind, or tell others.
        """
        with self.database.transaction():
            for notice in notices:
                self.notices.insert(notice)
            self.chores.mark_reminded(site, reminded, at)
            self.chores.mark_passed_on(site, passed_on, at)

    def mark_sent(
        self,
        key: str,
        at: datetime,
        doubt: str | None = None,
        words: tuple[str, str] | None = None,
    ) -> None:
        """Mark a claimed notice as sent. From now on its round's advice counts as followed.

        doubt: why it is not certain that it arrived. words: title and body as they went out.
        """
        with self.database.transaction():
            self.notices.mark_sent(key, at, doubt, words)
            followed = self.rounds.mark_followed(key)
            if followed is not None:
                site, after = followed["site"], states_from_json(followed["after"])
                self.plants.keep(site, self._not_confirmed_since(site, followed["at"], after))

    def states_after(self, site: str, round_: str, day: date) -> dict[str, PlantState]:
        """Return the state of each plant once a round, or its last change, has been sent."""
        states, last = self.plants.states(site), self.rounds.last_after(site, round_, day)
        if last is None:
            return states
        return states | self._not_confirmed_since(site, *last)

    def _not_confirmed_since(
        self, site: str, told_at: str, after: Mapping[str, PlantState]
    ) -> dict[str, PlantState]:
        """Return the states after a round, without the plants that were confirmed since."""
        confirmed = self.plants.confirmed_since(site, told_at)
        return {plant: state for plant, state in after.items() if plant not in confirmed}

    def disown(self, site: str, now: datetime) -> int:
        """Forget rounds of a site that a clock far ahead has told. Return how many.

        They are told when their day comes; what was sent of them stays known under another key,
        what they asked for is not asked for.
        """
        with self.database.transaction():
            rounds = self.rounds.remove_told_after(site, now + AHEAD)
            for told in rounds:
                round_, day, change = told["round"], told["day"], told["change"]
                self.notices.set_apart(site, round_, day, change, told["at"])
                if not change:
                    self.chores.remove_of_round(site, round_, day)
        return len(rounds)

    # -- confirmations

    def confirm(
        self,
        site: str,
        at: datetime,
        done: Mapping[str, Sequence[str] | None],
        states: Mapping[str, PlantState],
    ) -> None:
        """Mark chores as done, each for some of its plants or (None) for all.

        What is done for some becomes a chore of its own; the others stay to be done. How all was
        before is kept, so that it can be undone. states: those that follow.
        """
        with self.database.transaction():
            known = self.plants.states(site)
            rows, made = [], dict[str, str]()
            for chore_id, plants in done.items():
                row = self.chores.row(site, chore_id)
                if row is not None:
                    rows.append(row)
                    part = self.chores.finish(row, at, plants)
                    made |= {} if part is None else {chore_id: part}
            self.plants.keep(site, states)
            undo = {
                "chores": rows,
                "made": made,
                "before": {plant: state_to_plain(known.get(plant)) for plant in states},
                "after": {plant: state_to_plain(state) for plant, state in states.items()},
            }
            self.confirmations.insert(site, at, undo)

    def undo(self, site: str, confirmation: Confirmation) -> list[str]:
        """Take a confirmation back: its chores are open again, its plants stand as before it.

        What has changed about a chore meanwhile stays: who has joined it, and its hour. Return the
        plants of which something else is known by now: these stay as they are.
        """
        before, after = confirmation.undo["before"], confirmation.undo["after"]
        with self.database.transaction():
            now = self.plants.states(site)
            moved = [plant for plant in after if state_to_plain(now.get(plant)) != after[plant]]
            for row in confirmation.undo["chores"]:
                self.chores.reopen(row, confirmation.undo["made"].get(row["id"]))
            for plant in after:
                if plant in moved:
                    continue
                if before[plant] is None:
                    self.plants.forget(site, plant)
                else:
                    self.plants.keep(site, {plant: state_of(before[plant])})
            self.confirmations.remove(confirmation)
        return moved

    # -- all of it

    def activity(self, site: str, since: date) -> Activity:
        """Return how much was told since a day: rounds at dusk, and what became of notices."""
        return Activity(
            *self.rounds.usable_dusks(site, since), *self.notices.sent_and_lost(site, since)
        )

    def prune(self, now: datetime) -> None:
        """Forget what is too long ago to matter to anybody."""
        oldest = now - timedelta(days=KEPT_DAYS)
        with self.database.transaction():
            self.rounds.prune(oldest.date(), (now - FOLLOWED_WITHIN).date())
            self.notices.prune(oldest.date())
            self.chores.prune(oldest)
            self.confirmations.prune(oldest)
            self.calendar.prune(oldest.date())

    # -- the file

    def to_memory(self) -> None:
        """Leave a file that cannot be written; see `LedgerFile.to_memory`."""
        self.file.to_memory()

    def to_file(self) -> bool:
        """Go back to the file, if that can be; see `LedgerFile.to_file`."""
        return self.file.to_file()

    def copy_daily(self, now: datetime) -> None:
        """Copy the file once a day; see `LedgerFile.copy_daily`."""
        self.file.copy_daily(now)
