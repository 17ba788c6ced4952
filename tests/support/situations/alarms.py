"""Situations of alarms: what cannot wait for a round."""

import tempfile
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

from sillward.errors import LedgerError
from sillward.ledger import Ledger
from sillward.ledger.sqlite_database import SqliteDatabase
from sillward.text.units import Units
from tests.support.collection_files import FORTY, SIX, garden
from tests.support.fakes import FakeClock
from tests.support.invented_weather import Sky
from tests.support.situations.dusk import COLD, MILD
from tests.support.situations.situation import Told, alarm, situation
from tests.support.staged_day import StagedDay, staged_day

NEVER = 'remind = "never"'


def blinded(units: Units, sky: Sky = COLD, pots: str | None = None) -> StagedDay:
    """Play 24 hours without a new forecast, the last one of nine in the morning."""
    played = staged_day(pots or garden(SIX), "09:10", sky, units=units, notices=NEVER)
    played.desk.tick()
    played.wire.failing = "answered 503"
    played.sleep("09:15", 1)
    return played


@situation("push-alarms", imperial=True)
def blind(units: Units) -> Told:
    """The source has failed for a day; the last it said of tonight was cold."""
    return alarm(blinded(units), "blind")


@situation("push-alarms", imperial=True)
def blind_with_forty(units: Units) -> Told:
    """Likewise, with forty plants on four spots."""
    return alarm(blinded(units, MILD, garden(FORTY)), "blind")


@situation("push-alarms", imperial=True)
def blind_from_the_start(units: Units) -> Told:
    """There never was a forecast."""
    played = staged_day(garden(SIX), "10:00", COLD, units=units)
    played.wire.failing = "answered 503"
    played.play("10:25")
    return alarm(played, "blind")


@situation("push-alarms", imperial=True)
def blind_as_no_forecast_can_be_true(units: Units) -> Told:
    """For a day and a half the source has told the same temperature for all hours."""
    played = staged_day(garden(SIX), "09:10", COLD, units=units, notices=NEVER)
    played.desk.tick()
    played.wire.sky = replace(COLD, told=lambda temp: 15 + 0 * temp)
    played.play("11:00", 1, step=20)
    return alarm(played, "blind")


@situation("push-alarms", imperial=True)
def sighted(units: Units) -> Told:
    """After a blind day there is a forecast again, of a cold night."""
    played = blinded(units)
    played.wire.failing = None
    played.play("12:00", 1, step=20)
    return alarm(played, "blind over")


@situation("push-alarms", imperial=True)
def sighted_and_warm(units: Units) -> Told:
    """After a blind day there is a forecast again, of a warm night."""
    played = blinded(units)
    played.wire.failing, played.wire.sky = None, MILD
    played.play("12:00", 1, step=20)
    return alarm(played, "blind over")


@situation("push-alarms")
def the_clock_is_wrong(units: Units) -> Told:
    """The forecast's server is ahead of us."""
    return alarm(off_clock(units), "clock")


@situation("push-alarms")
def the_clock_is_right_again(units: Units) -> Told:
    """... and is not any more."""
    played = off_clock(units)
    played.wire.off = None
    played.wire.ahead_by(seconds=0)
    played.play("15:00", step=20)
    return alarm(played, "clock over")


def off_clock(units: Units) -> StagedDay:
    played = staged_day(garden(SIX), "10:00", MILD, units=units)
    played.wire.ahead_by(minutes=12)
    played.play("10:25")
    return played


@situation("push-alarms", imperial=True)
def the_clock_was_never_set(units: Units) -> Told:
    """It is 1970."""
    played = staged_day(garden(SIX), "10:00", MILD, units=units)
    played.clock.now = played.clock.now.replace(year=1970)
    played.desk.tick()
    return alarm(played, "clock")


@contextmanager
def on_disk() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder) / "ledger.sqlite3"


@contextmanager
def full_disk() -> Iterator[None]:
    """Nothing can be written to a file."""
    real = SqliteDatabase.transaction

    def transaction(database: SqliteDatabase) -> AbstractContextManager[None]:
        if not database.is_in_memory:
            msg = "ledger: database or disk is full"
            raise LedgerError(msg)
        return real(database)

    with patch.object(SqliteDatabase, "transaction", transaction):
        yield


@situation("push-alarms")
def nothing_can_be_written(units: Units) -> Told:
    """The disk is full."""
    with on_disk() as path, closing(Ledger(path)) as ledger:
        played = staged_day(garden(SIX), "10:00", MILD, units=units, ledger=ledger)
        with full_disk():
            played.play("10:05", step=1)
        return alarm(played, "ledger")


@situation("push-alarms")
def it_can_be_written_again(units: Units) -> Told:
    """... and there is room again."""
    with on_disk() as path, closing(Ledger(path)) as ledger:
        played = staged_day(garden(SIX), "10:00", MILD, units=units, ledger=ledger)
        with full_disk():
            played.play("10:05", step=1)
        played.play("10:30")
        return alarm(played, "ledger over")


@situation("push-alarms")
def memory_lost(units: Units) -> Told:
    """The file was damaged, and there was no copy."""
    with on_disk() as path:
        Ledger(path).close()
        path.write_bytes(b"no ledger" * 1000)
        clock = FakeClock(staged_day(garden(SIX), "10:00", MILD).clock.now)
        with closing(Ledger.open_or_in_memory(path, clock=clock)) as ledger:
            played = staged_day(garden(SIX), "10:00", MILD, units=units, ledger=ledger)
            played.play("10:25")
            return alarm(played, "history")
