"""A ledger that an older sillward wrote: it opens, keeps what it knows, and goes on."""

import json
import sqlite3
from contextlib import closing
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sillward.errors import LedgerError
from sillward.ledger import (
    CalendarEventVersion,
    CallSchedule,
    Ledger,
    Notice,
    NoticeState,
    SavedForecast,
)
from sillward.ledger.migrations import MIGRATIONS, migrate
from sillward.ledger.schema import SCHEMA_VERSION
from sillward.ledger.tables.readings import HandReading
from sillward.reports.sheet_json import chore_document
from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason, only
from sillward_rules.plants.state import ColdHistory, OpenOrder, PlantState
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
DAY = date(2026, 5, 14)
SITE = "Test court"
AIR = Quantity.TEMPERATURE
COURT = Site(SITE, -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))

VERSION_1 = """
CREATE TABLE forecast (
    site TEXT NOT NULL, source TEXT NOT NULL, fetched_at TEXT NOT NULL, body BLOB NOT NULL,
    PRIMARY KEY (site, source)
) STRICT;
CREATE TABLE round (
    site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL, at TEXT NOT NULL,
    after TEXT NOT NULL, followed INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (site, round, day)
) STRICT;
CREATE TABLE notice (
    key TEXT PRIMARY KEY, site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL,
    channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'sending', 'sent', 'expired', 'not needed')),
    attempts INTEGER NOT NULL DEFAULT 0, next_at TEXT NOT NULL, expires_at TEXT NOT NULL,
    sent_at TEXT, last_error TEXT, perhaps_sent INTEGER NOT NULL DEFAULT 0, owner INTEGER
) STRICT;
CREATE TABLE chore (
    site TEXT NOT NULL, id TEXT NOT NULL, kind TEXT NOT NULL, before TEXT NOT NULL,
    document TEXT NOT NULL, done_at TEXT, PRIMARY KEY (site, id)
) STRICT;
CREATE TABLE plant_state (
    site TEXT NOT NULL, plant TEXT NOT NULL, spot TEXT NOT NULL, since TEXT,
    assumed INTEGER NOT NULL, misted_at TEXT, fed_at TEXT, rinsed_at TEXT,
    came_from TEXT,
    PRIMARY KEY (site, plant)
) STRICT;
CREATE TABLE mark (name TEXT PRIMARY KEY, at TEXT NOT NULL, text TEXT NOT NULL) STRICT;
PRAGMA user_version = 1;
"""
"""The schema of version 1, as store.py had it in the commit before d82eb79."""

VERSION_2 = VERSION_1.replace(
    "came_from TEXT,\n", "came_from TEXT, brighter_since TEXT,\n"
).replace("user_version = 1", "user_version = 2")
"""The schema of version 2, as store.py had it up to commit 58dd67d."""

AT = "2026-05-14T20:00:00.000000+00:00"
AFTER = {
    "Test strap": {
        "spot": "room",
        "since": AT,
        "assumed": 1,
        "misted_at": None,
        "fed_at": "2026-05-10T11:00:00+00:00",
        "rinsed_at": None,
        "came_from": "bench",
    }
}
"""What a round of version 1 put down to hold once it has been sent: no brighter_since in it."""


BODY = b'{"hourly": "a forecast"}'


@pytest.fixture(params=[1, 2], ids=["version 1", "version 2"])
def version(request: pytest.FixtureRequest) -> int:
    number: int = request.param
    return number


@pytest.fixture
def old(version: int, tmp_path: Path) -> Path:
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as database, database:
        database.executescript({1: VERSION_1, 2: VERSION_2}[version])
        states = [
            ("strap", "room", "2026-05-04T20:15:00+00:00", 0, None, None, None, None),
            (
                "moth",
                "bench",
                "2026-05-13T13:00:00+00:00",
                1,
                "2026-05-13T14:00:00+00:00",
                "2026-05-11T11:00:00+00:00",
                "2026-05-11T11:20:00+00:00",
                "room",
            ),
        ]
        database.executemany(
            "INSERT INTO plant_state (site, plant, spot, since, assumed, misted_at, fed_at,"
            " rinsed_at, came_from) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [(SITE, *state) for state in states],
        )
        database.execute(
            "INSERT INTO round VALUES (?, 'dusk', ?, ?, ?, 0)",
            (SITE, str(DAY), "2026-05-14T19:30:00+00:00", json.dumps(AFTER)),
        )
        database.execute(
            "INSERT INTO notice (key, site, round, day, channel, title, body, state, next_at,"
            " expires_at) VALUES ('k', ?, 'dusk', ?, 'phone', 't', 'b', 'waiting', ?, ?)",
            (SITE, str(DAY), "2026-05-14T19:30:00+00:00", "2026-05-15T10:00:00+00:00"),
        )
        database.execute(
            "INSERT INTO forecast VALUES (?, 'Test', ?, ?)",
            (SITE, "2026-05-14T19:00:00+00:00", BODY),
        )
    return path


MOTH = PlantState(
    "bench",
    datetime(2026, 5, 13, 13, tzinfo=UTC),
    assumed=True,
    misted_at=datetime(2026, 5, 13, 14, tzinfo=UTC),
    fed_at=datetime(2026, 5, 11, 11, tzinfo=UTC),
    rinsed_at=datetime(2026, 5, 11, 11, 20, tzinfo=UTC),
    came_from="room",
)


def test_an_old_file_keeps_its_states(old: Path) -> None:
    with closing(Ledger(old)) as ledger:
        states = ledger.plant_states.of_site(SITE)

    assert states == {
        "strap": PlantState("room", datetime(2026, 5, 4, 20, 15, tzinfo=UTC), assumed=False),
        "moth": MOTH,
    }


def test_everything_else_is_there_too(old: Path) -> None:
    with closing(Ledger(old)) as ledger:
        assert ledger.rounds.enqueued_at(SITE, "dusk", DAY) == datetime(
            2026, 5, 14, 19, 30, tzinfo=UTC
        )
        assert [notice.key for notice in ledger.notices.latest(SITE)] == ["k"]
        fetched_at = datetime(2026, 5, 14, 19, tzinfo=UTC)
        assert ledger.forecasts.get(SITE, "Test") == SavedForecast(
            "Test", fetched_at, fetched_at, BODY
        )


def test_it_is_of_the_new_version_then_and_has_the_columns_and_indices_of_a_new_file(
    old: Path, tmp_path: Path
) -> None:
    new = tmp_path / "new.sqlite3"
    for path in (old, new):
        Ledger(path).close()

    def shape(path: Path) -> tuple[int, dict[str, list[object]]]:
        with closing(sqlite3.connect(path)) as database:
            (version,) = database.execute("PRAGMA user_version").fetchone()
            tables = [
                row[0]
                for row in database.execute("SELECT name FROM sqlite_master WHERE type='table'")
            ]
            indices = [
                row[0].strip()
                for row in database.execute(
                    "SELECT sql FROM sqlite_master WHERE type='index' AND sql IS NOT NULL"
                )
            ]
            return version, {
                "indices": sorted(indices),
                **{
                    table: database.execute(f"PRAGMA table_info({table})").fetchall()
                    for table in sorted(tables)
                },
            }

    assert shape(old) == shape(new)
    assert shape(old)[0] == SCHEMA_VERSION


def test_opening_it_again_changes_nothing_more(old: Path) -> None:
    for _ in range(3):
        with closing(Ledger(old)) as ledger:
            assert ledger.plant_states.of_site(SITE)["moth"] == MOTH


def test_the_new_part_of_a_state_is_kept_after_the_migration(old: Path) -> None:
    brighter = replace(MOTH, brighter_since=NOW)
    with closing(Ledger(old)) as ledger:
        ledger.keep_round(
            SITE, "morning", DAY, NOW, notices=[], chores=[], states_now={"moth": brighter}
        )
    with closing(Ledger(old)) as again:
        assert again.plant_states.of_site(SITE)["moth"] == brighter
        assert again.plant_states.of_site(SITE)["strap"].brighter_since is None


def test_a_round_put_down_by_the_old_version_is_followed_when_it_is_sent(old: Path) -> None:
    with closing(Ledger(old)) as ledger:
        assert ledger.notices.claim("k", NOW + timedelta(minutes=2))
        ledger.mark_sent("k", NOW)
        state = ledger.plant_states.of_site(SITE)["Test strap"]

    assert state.spot == "room"
    assert state.assumed
    assert state.came_from == "bench"
    assert state.fed_at == datetime(2026, 5, 10, 11, tzinfo=UTC)
    assert state.brighter_since is None


def test_every_part_of_a_state_goes_through_a_round_and_back(tmp_path: Path) -> None:
    asked = OpenOrder("bench", "room", NOW - timedelta(hours=3))
    cold = ColdHistory(DAY - timedelta(days=1), 0.25, 14.5)
    whole = replace(MOTH, brighter_since=NOW - timedelta(days=2), asked=asked, cold=cold)
    assert all(value is not None for value in asdict(whole).values())
    with closing(Ledger(tmp_path / "new.sqlite3")) as ledger:
        ledger.keep_round(
            SITE, "morning", DAY, NOW, notices=[], chores=[], states_now={"moth": whole}
        )

        assert ledger.plant_states.of_site(SITE) == {"moth": whole}


def as_of_8(path: Path) -> Path:
    """A file of version 8, which knew nothing of the nights that plants went through."""
    with closing(Ledger(path)) as ledger:
        ledger.plant_states.keep(SITE, {"moth": MOTH})
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("ALTER TABLE plant_state DROP COLUMN cold")
        for table in ("sensor", "reading_hour", "hand_reading", "set_aside", "reading_edition"):
            database.execute(f"DROP TABLE {table}")
        database.execute("ALTER TABLE night DROP COLUMN warming")
        for table in ("deed", "diary", "absence", "device"):
            database.execute(f"DROP TABLE {table}")
        for column in ("done_by", "declined_at", "later_until"):
            database.execute(f"ALTER TABLE chore DROP COLUMN {column}")
        database.execute("ALTER TABLE confirmation DROP COLUMN person")
        database.execute("ALTER TABLE plant_state DROP COLUMN declined")
        database.execute("ALTER TABLE plant_state DROP COLUMN care")
        newer = ("accepted_limit", "harmful_night", "plant_year", "coldest_night")
        for table in (*newer, "kept_collection"):
            database.execute(f"DROP TABLE {table}")
        database.execute("PRAGMA user_version = 8")
    return path


def test_a_file_of_version_8_is_taken_over_and_keeps_nights_from_then_on(tmp_path: Path) -> None:
    path = as_of_8(tmp_path / "ledger.sqlite3")
    cold = ColdHistory(DAY, 0.37, 12.5)
    with closing(Ledger(path)) as ledger:
        assert ledger.plant_states.of_site(SITE) == {"moth": MOTH}
        ledger.plant_states.keep(SITE, {"moth": replace(MOTH, cold=cold)})
    with closing(Ledger(path)) as again:
        assert again.plant_states.of_site(SITE)["moth"].cold == cold


def test_a_round_that_was_put_down_by_version_8_is_followed_without_nights(tmp_path: Path) -> None:
    """What a round holds once it is sent was written before there were nights in a state."""
    path = as_of_8(tmp_path / "ledger.sqlite3")
    until = NOW + timedelta(hours=15)
    notice = Notice(
        "k", SITE, "dusk", str(DAY), "phone", "t", "b", NoticeState.WAITING, 0, NOW, until
    )
    inside = replace(MOTH, spot="room")
    with closing(Ledger(path)) as ledger:
        ledger.keep_round(
            SITE,
            "dusk",
            DAY,
            NOW,
            notices=[notice],
            chores=[],
            states_now={},
            states_once_delivered={"moth": inside},
        )
    with closing(sqlite3.connect(path)) as database, database:
        (after,) = database.execute("SELECT states_once_delivered FROM round").fetchone()
        old = {plant: {**state} for plant, state in json.loads(after).items()}
        for state in old.values():
            del state["cold"]
        database.execute("UPDATE round SET states_once_delivered = ?", (json.dumps(old),))
    with closing(Ledger(path)) as ledger:
        assert ledger.notices.claim("k", NOW + timedelta(minutes=1))
        ledger.mark_sent("k", NOW)
        assert ledger.plant_states.of_site(SITE) == {"moth": inside}


def test_there_is_a_step_from_every_older_version() -> None:
    assert sorted(MIGRATIONS) == list(range(1, SCHEMA_VERSION))


def test_what_is_new_works_after_the_migration(old: Path) -> None:
    fetched_at = NOW + timedelta(hours=1)
    night = NightForecast(DAY, 14.0, 3.1, NOW + timedelta(hours=14), None, 0.6, 0.25, 24.8)
    with closing(Ledger(old)) as ledger:
        ledger.forecasts.mark_unchanged(SITE, "Test", fetched_at)
        ledger.call_schedules.keep("Test", CallSchedule(NOW))
        ledger.nights.keep(SITE, "Test", NOW, [night])
        number = ledger.readings.add_by_hand(SITE, HandReading("wall", AIR, 3.4, NOW), NOW)
    with closing(Ledger(old)) as again:
        stored = again.forecasts.get(SITE, "Test")
        assert stored is not None
        assert (stored.fetched_at, stored.body) == (fetched_at, BODY)
        assert again.call_schedules.get("Test") == CallSchedule(NOW)
        assert again.nights.since(SITE, DAY) == [("Test", NOW, night)]
        assert [reading.id for reading in again.readings.by_hand(SITE)] == [number]


def contents(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as database:
        return [*database.iterdump(), str(database.execute("PRAGMA user_version").fetchone())]


@pytest.mark.parametrize(
    "damage",
    [
        "ALTER TABLE forecast RENAME TO elsewhere",
        "CREATE TABLE night (what TEXT)",
    ],
    ids=["at its start", "at its end"],
)
def test_a_migration_that_fails_leaves_the_old_file_as_it_was(old: Path, damage: str) -> None:
    with closing(sqlite3.connect(old)) as database, database:
        database.execute(damage)
    before = contents(old)

    with pytest.raises(LedgerError):
        Ledger(old)

    assert contents(old) == before


def test_the_number_of_a_change_is_taken_out_of_the_name_of_its_round(old: Path) -> None:
    rounds = ["dusk change 1", "dusk change 12", "dusk change 3 too soon", "blind over"]
    with closing(sqlite3.connect(old)) as database, database:
        for number, name in enumerate(rounds):
            at = str(NOW + timedelta(minutes=number))
            database.execute(
                "INSERT INTO round VALUES (?, ?, ?, ?, '{}', 0)", (SITE, name, str(DAY), at)
            )
            database.execute(
                "INSERT INTO notice (key, site, round, day, channel, title, body, state, next_at,"
                " expires_at) VALUES (?, ?, ?, ?, 'phone', 't', 'b', 'sent', ?, ?)",
                (name, SITE, name, str(DAY), at, at),
            )

    with closing(Ledger(old)) as ledger:
        kept = {
            notice.key: (notice.round, notice.change_number)
            for notice in ledger.notices.latest(SITE)
        }
        shown = {notice.round_name for notice in ledger.notices.latest(SITE)}
        told = [
            ledger.rounds.enqueued_at(SITE, name, DAY, change)
            for name, change in (("dusk", 1), ("dusk", 12), ("dusk too soon", 3), ("blind over", 0))
        ]
        assert ledger.rounds.change_count(SITE, "dusk", DAY) == 2
        assert ledger.notices.count_by_channel(SITE, "dusk", DAY) == {"phone": 3}

    assert kept == {
        "k": ("dusk", 0),
        "dusk change 1": ("dusk", 1),
        "dusk change 12": ("dusk", 12),
        "dusk change 3 too soon": ("dusk too soon", 3),
        "blind over": ("blind over", 0),
    }
    assert told == [NOW + timedelta(minutes=number) for number in range(4)]
    assert {"dusk", "dusk change 1", "dusk change 12", "blind over"} <= shown


def of_version(path: Path, version: int) -> sqlite3.Connection:
    """An empty file of version 2, brought to a later version by the steps that lead there."""
    database = sqlite3.connect(path)
    database.executescript(VERSION_2)
    migrate(database, 2, version)
    database.execute(f"PRAGMA user_version = {version}")
    return database


def test_orders_that_were_told_before_the_migration_are_open_after_it(tmp_path: Path) -> None:
    """Of a plant whose order was acknowledged nothing is open."""
    path = tmp_path / "ledger.sqlite3"
    due = NOW - timedelta(minutes=40)
    told = {
        "id": f"{DAY}-carry-in-bench-to-room", "chore": "carry-in", "plants": ["open"],
        "from": "bench", "to": "room", "not_before": None, "before": due.isoformat(),
        "because": [], "chance": None, "confirmed": None, "overdue_since": None,
    }  # fmt: skip
    with closing(of_version(path, 5)) as database, database:
        database.execute(
            "INSERT INTO chore (site, id, kind, before, document, round)"
            " VALUES (?, ?, 'carry-in', ?, ?, 'dusk')",
            (SITE, told["id"], due.isoformat(), json.dumps(told)),
        )
        database.executemany(
            "INSERT INTO plant_state (site, plant, spot, since, assumed, came_from)"
            " VALUES (?, ?, 'room', ?, ?, ?)",
            [(SITE, "open", due.isoformat(), 1, "bench"), (SITE, "done", due.isoformat(), 0, None)],
        )

    with closing(Ledger(path)) as ledger:
        known = ledger.plant_states.of_site(SITE)

    assert known["open"].asked == OpenOrder("bench", "room", due)
    assert known["done"].asked is None


DUE = datetime(2026, 5, 14, 20, 15, tzinfo=UTC)
ORDER = f"{DAY}-carry-in-bench-to-room"


def as_version_7_kept_it(chore: Chore, **more: str) -> str:
    """A chore as the public sheet shows it."""
    return json.dumps(chore_document(chore, COURT) | more)


def insert_chore(database: sqlite3.Connection, chore: Chore, **more: str) -> dict[str, object]:
    row: dict[str, object] = {
        "site": SITE, "id": chore.id, "kind": chore.kind.value, "before": chore.before.isoformat(),
        "document": as_version_7_kept_it(chore, **more), "done_at": None, "round": "dusk",
        "reminded_at": None, "passed_on_at": None, "called_off_at": None,
    }  # fmt: skip
    database.execute(
        f"INSERT INTO chore ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
        tuple(row.values()),
    )
    return row


def a_rich_chore(kind: ChoreKind) -> Chore:
    """Everything that the public sheet shows of a chore."""
    night = Reason(
        "Strap", "leaf temperature", 3.14, "°C", 8.0, DUE + timedelta(hours=12), "your own limit",
        hours=5.5, degree_hours=12.25, chance=0.68, until=DUE + timedelta(hours=14),
    )  # fmt: skip
    gust = Reason(
        "Strap", "gust at the plants", 19.5, "m/s", 15.0, DUE, "the limit of baskets", above=True
    )
    unknown = Reason("Moth", "leaf temperature", None, "°C", None, DUE, there=7.25)
    return Chore(
        ORDER if kind is ChoreKind.CARRY_IN else f"{DAY}-{kind.value}-bench",
        kind,
        ("Strap", "Moth"),
        "bench",
        "room",
        DUE - timedelta(hours=2),
        DUE,
        Grounds.of((("Strap",), replace(night, also=(gust,))), (("Moth",), unknown)),
    )


@pytest.mark.parametrize("kind", ChoreKind)
def test_a_chore_that_was_kept_as_the_public_sheet_shows_it_is_the_same_chore(
    kind: ChoreKind, tmp_path: Path
) -> None:
    path, chore = tmp_path / "ledger.sqlite3", a_rich_chore(kind)
    with closing(of_version(path, 7)) as database, database:
        insert_chore(database, chore)

    with closing(Ledger(path)) as ledger:
        (kept,) = ledger.chores.of_day(SITE, DAY)

    assert kept.chore == chore
    assert kept.changed_at is None
    assert json.dumps(chore_document(kept.chore, COURT)) == as_version_7_kept_it(chore)


def test_what_was_open_or_overdue_stays_so(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    late = replace(
        a_rich_chore(ChoreKind.CARRY_IN), unconfirmed=("Strap", "Moth"), overdue_since=DUE
    )
    out = replace(a_rich_chore(ChoreKind.CARRY_OUT), unconfirmed=("Moth",))
    with closing(of_version(path, 7)) as database, database:
        insert_chore(database, late)
        insert_chore(database, out)

    with closing(Ledger(path)) as ledger:
        assert {kept.id: kept.chore for kept in ledger.chores.of_day(SITE, DAY)} == {
            late.id: late, out.id: out,
        }  # fmt: skip


def test_the_time_of_a_change_is_taken_out_of_the_document_of_a_chore(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(of_version(path, 7)) as database, database:
        insert_chore(database, a_rich_chore(ChoreKind.CARRY_IN), changed=NOW.isoformat())

    with closing(Ledger(path)) as ledger:
        (kept,) = ledger.chores.of_day(SITE, DAY)

    assert kept.changed_at == NOW


def test_schedules_and_calendar_events_outlast_the_new_names_of_their_tables(
    tmp_path: Path,
) -> None:
    path, at = tmp_path / "ledger.sqlite3", NOW.isoformat()
    with closing(of_version(path, 7)) as database, database:
        database.execute("INSERT INTO poll VALUES ('Test', ?, 2, NULL, 5, 'why', NULL)", (at,))
        database.execute("INSERT INTO event VALUES (?, 'a', 'digest', 3, ?)", (SITE, at))

    with closing(Ledger(path)) as ledger:
        schedule = ledger.call_schedules.get("Test")
        versions = ledger.calendar_events.versions(SITE, {"a": "digest"}, NOW)

    assert schedule == CallSchedule(NOW, failures=2, calls=5, reason="why")
    assert versions == {"a": CalendarEventVersion(3, NOW)}


def test_what_was_confirmed_before_the_migration_can_be_undone_after_it(tmp_path: Path) -> None:
    path, chore = tmp_path / "ledger.sqlite3", a_rich_chore(ChoreKind.CARRY_IN)
    part, rest = only(chore, ["Strap"]), only(chore, ["Moth"])
    with closing(of_version(path, 7)) as database, database:
        whole = insert_chore(database, chore)
        database.execute("DELETE FROM chore")
        insert_chore(database, rest)
        insert_chore(database, replace(part, id=f"{ORDER}-done"))
        database.execute("UPDATE chore SET done_at = ? WHERE id LIKE '%-done'", (NOW.isoformat(),))
        undo = {"chores": [whole], "made": {ORDER: f"{ORDER}-done"}, "before": {}, "after": {}}
        database.execute(
            "INSERT INTO answer (site, at, undo) VALUES (?, ?, ?)",
            (SITE, NOW.isoformat(), json.dumps(undo)),
        )

    with closing(Ledger(path)) as ledger:
        confirmation = ledger.confirmations.last(SITE)
        assert confirmation is not None
        ledger.undo(SITE, confirmation)
        (again,) = ledger.chores.of_day(SITE, DAY)

    assert (again.chore, again.open) == (chore, True)
