"""The ledger: what the daemon must not forget, in a SQLite file or on a PostgreSQL server.

Facts are kept, never schedules. `Ledger` has an object for each table, and the transactions that
concern several of them: a round is written together with its chores and notices, a confirmation
together with the states that follow from it.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any, ClassVar, Protocol, Self

from sillward.errors import ConfigError, NotOursError
from sillward.ledger.address import PostgresAddress
from sillward.ledger.database import Database
from sillward.ledger.ledger_file import IN_MEMORY, LedgerFile
from sillward.ledger.opening import FileOpener
from sillward.ledger.ownership import refuse_place
from sillward.ledger.records import (
    Activity,
    Notice,
    state_of,
    state_to_plain,
    states_from_json,
    to_moment,
)
from sillward.ledger.tables.absences import AbsenceTable
from sillward.ledger.tables.accepted_limits import AcceptedLimitTable
from sillward.ledger.tables.calendar_events import CalendarEventTable
from sillward.ledger.tables.call_schedules import CallScheduleTable
from sillward.ledger.tables.chores import ChoreTable
from sillward.ledger.tables.coldest_nights import ColdestNightTable
from sillward.ledger.tables.confirmations import Answer, Confirmation, ConfirmationTable
from sillward.ledger.tables.deeds import DeedTable
from sillward.ledger.tables.devices import DeviceTable
from sillward.ledger.tables.diary import DiaryTable
from sillward.ledger.tables.forecasts import ForecastTable
from sillward.ledger.tables.harmful_nights import HarmfulNightTable
from sillward.ledger.tables.kept_collections import KeptCollectionTable
from sillward.ledger.tables.marks import MarkTable
from sillward.ledger.tables.nights import NightArchive
from sillward.ledger.tables.notices import NoticeTable
from sillward.ledger.tables.plant_states import PlantStateTable
from sillward.ledger.tables.plant_years import PlantYearTable
from sillward.ledger.tables.readings import ReadingTable
from sillward.ledger.tables.rounds import RoundTable
from sillward_rules.chore import Chore
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import (
    has_moved_since,
    with_care,
    with_declined,
    with_place_of,
    without_answer,
)

KEPT_DAYS = 60
"""Rounds, notices and chores longer ago are forgotten. Judgement: well beyond any review."""

ABSENCES_KEPT = timedelta(days=400)
"""Absences that ended longer ago are forgotten. Judgement: they are few, and a clock that is some
months ahead must not forget one that is still to come."""

DELIVERED_WITHIN = timedelta(days=3)
"""No notice of a round is sent later than this."""

MAX_CLOCK_AHEAD = timedelta(hours=12)
"""A round that was enqueued further in the future than this was enqueued by a wrong clock.
Judgement: far more than a clock that is set can be off."""


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Place(Protocol):
    """Where a ledger is: a file (`LedgerFile`) or a server (`postgres.PostgresPlace`)."""

    path: str

    @property
    def database(self) -> Database:
        """What the tables are in."""
        ...

    @property
    def in_memory(self) -> bool:
        """Whether the ledger is in memory because its place cannot be used just now."""
        ...

    @property
    def can_go_to_memory(self) -> bool:
        """Whether it goes on in memory where its place cannot be used."""
        ...

    def close(self) -> None:
        """Close it."""
        ...

    def rest(self) -> None:
        """Close it until `wake`."""
        ...

    def wake(self) -> None:
        """Open it again after `rest`. Raise LedgerError or NotOursError if that fails."""
        ...

    def to_memory(self) -> None:
        """Leave a place that cannot be written, and go on in memory."""
        ...

    def to_file(self) -> bool:
        """Go back to it with all that was done in memory. Return whether that succeeded."""
        ...

    def copy_daily(self, now: datetime) -> None:
        """Put a copy beside it once a day."""
        ...


def _on_server(address: PostgresAddress, household: str | None, *, resilient: bool) -> Place:
    """Return a place on a server."""
    Ledger.require_postgres()
    from sillward.ledger.postgres import PostgresPlace  # only now: few need psycopg

    return PostgresPlace(address, household, resilient=resilient)


class Ledger:
    """The ledger in one place. Used from one thread at a time; every write is a transaction.

    Everything raises LedgerError if it cannot be read or written.
    """

    opener_type: ClassVar[type[FileOpener]] = FileOpener

    def __init__(
        self,
        path: Path | str | PostgresAddress | Place,
        *,
        clock: Callable[[], datetime] = _utc_now,
        resilient: bool = False,
        household: str | None = None,
    ) -> None:
        """Open or create it. Raise LedgerError if it cannot be used, NotOursError if what is there
        is not ours.

        Args:
            clock: gives the time for the names of files that are set aside.
            resilient: see `open_or_in_memory`.
            household: on a server, which holds those of many: whose it is. Its transactions wait
                for no other household's, its marks are its own, and it forgets no other's rows.
        """
        self.file: Place
        if isinstance(path, PostgresAddress):
            self.file = _on_server(path, household, resilient=resilient)
        elif isinstance(path, Path | str):
            self.file = LedgerFile(self.opener_type(str(path), clock), resilient=resilient)
        else:
            self.file = path
        self.database = self.file.database
        self.forecasts = ForecastTable(self.database)
        self.call_schedules = CallScheduleTable(self.database)
        self.nights = NightArchive(self.database)
        self.readings = ReadingTable(self.database)
        self.rounds = RoundTable(self.database)
        self.notices = NoticeTable(self.database)
        self.chores = ChoreTable(self.database)
        self.confirmations = ConfirmationTable(self.database)
        self.deeds = DeedTable(self.database)
        self.plant_states = PlantStateTable(self.database)
        self.calendar_events = CalendarEventTable(self.database)
        self.devices = DeviceTable(self.database)
        self.diary = DiaryTable(self.database)
        self.accepted_limits = AcceptedLimitTable(self.database)
        self.harmful_nights = HarmfulNightTable(self.database)
        self.plant_years = PlantYearTable(self.database)
        self.coldest_nights = ColdestNightTable(self.database)
        self.kept_collections = KeptCollectionTable(self.database)
        self.marks = MarkTable(self.database)
        self.provider_marks = self.marks
        """The marks about providers of forecasts: what failed, and by how much clocks differ."""
        self._owned: Ledger | None = None
        self.absences = AbsenceTable(self.database)

    @classmethod
    def open_or_in_memory(
        cls,
        path: Path | str | PostgresAddress,
        *,
        clock: Callable[[], datetime] = _utc_now,
        household: str | None = None,
    ) -> Self:
        """Open the ledger for the service, which must go on whatever the disk does.

        A damaged file is set aside and the newest sound copy takes its place, else an empty
        ledger; the mark "history reset" then says so. Where that cannot be, or nothing can be
        written, the ledger is `in_memory`. Raise ConfigError for a path that can never be a ledger,
        NewerLedgerError for the ledger of a newer sillward. One on a server is never in memory:
        while that cannot be reached, everything raises LedgerError.
        """
        if not isinstance(path, PostgresAddress) and str(path) != IN_MEMORY:
            refuse_place(Path(path))
        try:
            return cls(path, clock=clock, resilient=True, household=household)
        except NotOursError as error:
            raise ConfigError([str(error)]) from error

    @staticmethod
    def require_postgres() -> None:
        """Raise ConfigError unless what a ledger on a server needs is installed."""
        if find_spec("psycopg") is None:
            msg = "a ledger on PostgreSQL needs psycopg: pip install '.[postgres]' in the checkout"
            raise ConfigError([msg])

    @property
    def in_memory(self) -> bool:
        """Whether the ledger is in memory because its file cannot be used just now."""
        return self.file.in_memory

    def share(self, common: "Ledger", *, owned: bool = False) -> None:
        """Keep forecasts, and how their providers are called, in a ledger that several share.

        owned: it is closed together with this one.
        """
        self.forecasts, self.call_schedules = common.forecasts, common.call_schedules
        self.provider_marks = common.marks
        self._owned = common if owned else None

    def rest(self) -> None:
        """Close it until `wake`, with what it shares with others if that is its own to close."""
        for ledger in (self, self._owned):
            if ledger is not None:
                ledger.file.rest()

    def wake(self) -> None:
        """Open it again after `rest`. Raise LedgerError or NotOursError if that fails."""
        if self._owned is not None:
            self._owned.file.wake()
        try:
            self.file.wake()
        except BaseException:
            if self._owned is not None:
                self._owned.file.rest()
            raise

    def close(self) -> None:
        """Close it."""
        self.file.close()
        if self._owned is not None:
            self._owned.close()

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
        states_now: Mapping[str, PlantState],
        states_once_delivered: Mapping[str, PlantState] | None = None,
        had_forecast: bool = True,
    ) -> None:
        """Write a round with its notices, its chores and the plant states that follow from it.

        Args:
            states_now: the states that hold from now on.
            states_once_delivered: the states that hold from the first notice that is sent.
            had_forecast: whether a forecast that could be used was there.
        """
        with self.database.transaction():
            self.rounds.insert(
                site, round_, day, at, states_once_delivered or {}, had_forecast=had_forecast
            )
            for notice in notices:
                self.notices.insert(notice)
            for chore in chores:
                self.chores.write(site, round_, chore)
            self.plant_states.keep(site, states_now)

    def keep_change(
        self,
        site: str,
        round_: str,
        change_number: int,
        day: date,
        at: datetime,
        *,
        notices: Sequence[Notice],
        chores: Sequence[tuple[Chore, datetime | None]],
        called_off: Sequence[str],
        states_once_delivered: Mapping[str, PlantState],
        replaces: Sequence[str] = (),
    ) -> None:
        """Write what has changed about a round.

        Args:
            change_number: its number among the changes of the round, from 1.
            chores: the chores as they are from now on, each with the time at which its hour was
                moved or plants joined it, or None if neither was so.
            called_off: ids of the chores that are not needed any more.
            states_once_delivered: the states that hold once a notice of this change, of an earlier
                one or of the round itself is sent. They replace those of the round.
            replaces: keys of waiting notices that are not to be sent any more.
        """
        with self.database.transaction():
            self.rounds.insert(
                site, round_, day, at, states_once_delivered, change_number=change_number
            )
            self.rounds.replace_states_once_delivered(site, round_, day, states_once_delivered)
            for notice in notices:
                self.notices.insert(notice)
            for chore, changed_at in chores:
                self.chores.write(site, round_, chore, changed_at=changed_at)
            self.chores.call_off(site, called_off, at)
            for key in replaces:
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
        """Enqueue notices about chores of a round that was enqueued before.

        Args:
            reminded: ids of the chores that these notices repeat to the same channels.
            passed_on: ids of the chores that these notices tell to another channel.
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
        """Mark a claimed notice as sent, and its round as delivered.

        Args:
            doubt: why it is not certain that it arrived, or None if its channel took it.
            words: title and body as they went out, or None if they were the stored ones.
        """
        with self.database.transaction():
            self.notices.mark_sent(key, at, doubt, words)
            delivered = self.rounds.mark_delivered(key)
            if delivered is not None:
                site, enqueued_at = delivered["site"], delivered["enqueued_at"]
                states = states_from_json(delivered["states_once_delivered"])
                self.plant_states.keep(site, self._as_answered(site, enqueued_at, states))

    def states_once_delivered(self, site: str, round_: str, day: date) -> dict[str, PlantState]:
        """Return the state of each plant once a round, or its last change, has been delivered."""
        states, last = (
            self.plant_states.of_site(site),
            self.rounds.last_undelivered(site, round_, day),
        )
        if last is None:
            return states
        return states | self._as_answered(site, *last)

    def _as_answered(
        self, site: str, since: str, states: Mapping[str, PlantState]
    ) -> dict[str, PlantState]:
        """Return these states with what the grower has answered since a stored time.

        Plants whose place was confirmed since stay where they are known to be.
        """
        known, enqueued_at = self.plant_states.of_site(site), to_moment(since)
        confirmed = self.plant_states.confirmed_since(site, since)
        found: dict[tuple[int, int, bool], PlantState] = {}  # many plants share both states
        answered = {}
        for plant, made in states.items():
            now = known.get(plant)
            key = (id(made), id(now), plant in confirmed)
            if key not in found:
                said = () if now is None else now.declined
                later = [one for one in said if one.at >= enqueued_at]
                state = with_declined(with_care(made, now), said, later)
                found[key] = with_place_of(state, now) if now and plant in confirmed else state
            answered[plant] = found[key]
        return answered

    def forget_rounds_of_wrong_clock(self, site: str, now: datetime) -> int:
        """Forget the rounds that were enqueued while the clock was far ahead. Return how many.

        Where the ledger is on a server its clock has to agree: it may be the clock of this machine
        that is far behind, and those of others that are right.

        Such a round is told again when its day comes. Those of its notices that were sent are kept
        under another key; those that still wait are not sent. Its chores that are not
        confirmed are removed.
        """
        with self.database.transaction():
            if not self.rounds.has_enqueued_after(site, now + MAX_CLOCK_AHEAD):
                return 0
            latest = max(now, self.database.server_now() or now) + MAX_CLOCK_AHEAD
            rounds = self.rounds.remove_enqueued_after(site, latest)
            for row in rounds:
                round_, day, change_number = row["round"], row["day"], row["change_number"]
                self.notices.set_apart(site, round_, day, change_number, row["enqueued_at"])
                if not change_number:
                    self.chores.remove_of_round(site, round_, day)
        return len(rounds)

    # -- answers

    def transaction(self) -> AbstractContextManager[None]:
        """Make all that is read and written in this context one transaction, or none of it."""
        return self.database.transaction()

    def confirm(
        self,
        site: str,
        at: datetime,
        done: Mapping[str, Sequence[str] | None],
        states: Mapping[str, PlantState],
        *,
        answer: Answer = Answer.DONE,
        person: str | None = None,
    ) -> None:
        """Record that chores are done, or not needed.

        What is closed for some plants becomes a chore of its own; the rest stays open. The rows
        from before are kept, so that the answer can be undone.

        Args:
            done: for the id of each chore the plants for which it is closed, or None for all.
            states: the states of the plants that follow from it.
            person: who says so, where that is known.
        """
        with self.database.transaction():
            rows, made = [], dict[str, str]()
            for chore_id, plants in done.items():
                row = self.chores.row(site, chore_id)
                if row is not None:
                    rows.append(row)
                    part = self.chores.close(row, answer, at, plants, person)
                    made |= {} if part is None else {chore_id: part}
            self._keep_answer(site, at, answer, person, states, chores=rows, made=made)

    def put_off(
        self, site: str, at: datetime, until: Mapping[str, datetime], person: str | None = None
    ) -> None:
        """Record until when chores are put off, by their ids."""
        with self.database.transaction():
            rows = []
            for chore_id, later in until.items():
                row = self.chores.row(site, chore_id)
                if row is not None:
                    rows.append(row)
                    self.chores.put_off(site, chore_id, later)
            self._keep_answer(site, at, Answer.LATER, person, {}, chores=rows, made={})

    def keep_moved(
        self,
        site: str,
        at: datetime,
        states: Mapping[str, PlantState],
        person: str | None = None,
    ) -> None:
        """Record where plants stand now."""
        with self.database.transaction():
            self._keep_answer(site, at, Answer.MOVED, person, states, chores=[], made={})

    def _keep_answer(
        self,
        site: str,
        at: datetime,
        answer: Answer,
        person: str | None,
        states: Mapping[str, PlantState],
        *,
        chores: Sequence[Mapping[str, Any]],
        made: Mapping[str, str],
    ) -> None:
        """Write the states that follow from an answer, and what is needed to undo it."""
        known = self.plant_states.of_site(site)
        self.plant_states.keep(site, states)
        undo = {
            "what": answer.value,
            "chores": chores,
            "made": made,
            "before": {plant: state_to_plain(known.get(plant)) for plant in states},
            "after": {plant: state_to_plain(state) for plant, state in states.items()},
        }
        self.confirmations.insert(site, at, undo, person)

    def undo(self, site: str, confirmation: Confirmation) -> list[str]:
        """Take an answer back: its chores are open again, its plants stand as before it.

        What has changed about a chore since then stays: plants that joined it, and its hour.
        Return the plants that have moved since the answer: they stay where they are.
        """
        with self.database.transaction():
            moved = self._undo_states(site, confirmation)
            for row in confirmation.undo["chores"]:
                if confirmation.answer is Answer.LATER:
                    self.chores.restore_hour(row)
                else:
                    part = confirmation.undo["made"].get(row["id"])
                    self.chores.reopen(row, part, confirmation.answer, confirmation.at)
            self.confirmations.remove(confirmation)
        return moved

    def _undo_states(self, site: str, confirmation: Confirmation) -> list[str]:
        """Take out of the states of plants what an answer has changed; return who has moved."""
        before, known = confirmation.undo["before"], self.plant_states.of_site(site)
        moved = []
        for plant, plain in confirmation.undo["after"].items():
            state, earlier, after = known.get(plant), before[plant], state_of(plain)
            if state == after and earlier is None:
                self.plant_states.forget(site, plant)
                continue
            if state is None or earlier is None:
                moved.append(plant)
                continue
            was = state_of(earlier)
            if has_moved_since(state, was, after):
                moved.append(plant)
            self.plant_states.keep(site, {plant: without_answer(state, was, after)})
        return moved

    # -- all of it

    def activity(self, site: str, since: date) -> Activity:
        """Return how many rounds and notices there were since a day, and what became of them."""
        return Activity(
            *self.rounds.dusks_with_forecast(site, since), *self.notices.sent_and_lost(site, since)
        )

    def prune(self, now: datetime) -> None:
        """Forget what is older than its time of keeping."""
        oldest = now - timedelta(days=KEPT_DAYS)
        with self.database.transaction():
            self.rounds.prune(oldest.date(), (now - DELIVERED_WITHIN).date())
            self.notices.prune(oldest.date())
            for site, chores in self.chores.due_before(oldest).items():
                self.plant_years.count(site, chores)
            self.chores.prune(oldest)
            self.confirmations.prune(oldest)
            self.deeds.prune(oldest)
            self.calendar_events.prune(oldest.date())
            self.absences.prune((now - ABSENCES_KEPT).date())
            self.readings.prune(now)

    # -- the file

    def to_memory(self) -> None:
        """Leave a file that cannot be written; see `LedgerFile.to_memory`."""
        self.file.to_memory()

    def to_file(self) -> bool:
        """Go back to the file, if that can be; see `LedgerFile.to_file`."""
        went_back = self.file.to_file()
        if went_back:
            self.readings.note_change_everywhere()
        return went_back

    def copy_daily(self, now: datetime) -> None:
        """Copy the file once a day; see `LedgerFile.copy_daily`."""
        self.file.copy_daily(now)
