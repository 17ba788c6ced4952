"""The ledger on a real SQLite file: what goes in comes out, and nothing goes in by halves."""

import os
import sqlite3
import stat
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sillward.errors import LedgerError, NotOursError
from sillward.ledger import CallSchedule, Ledger, Notice, NoticeState, SavedForecast
from sillward.ledger.opening import FileOpener
from sillward.ledger.postgres import PostgresDatabase
from sillward.ledger.schema import SCHEMA_VERSION
from sillward.ledger.tables import nights
from sillward.ledger.tables.nights import ARCHIVE_DAYS, ARCHIVE_ROWS
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.night_summary import NightForecast
from tests.support.chores import a_chore
from tests.support.ledger_places import PLACES, place_of

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
PAUSE = timedelta(minutes=15)
UNTIL = NOW + timedelta(minutes=2)
DAY = date(2026, 5, 14)
SITE = "Test court"
ORDER = "2026-05-14-carry-in-bench-room"


@pytest.fixture(params=PLACES)
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    opened = Ledger(place_of(request, tmp_path))
    yield opened
    opened.close()


@contextmanager
def opened(path: Path) -> Iterator[Ledger]:
    ledger = Ledger(path)
    try:
        yield ledger
    finally:
        ledger.close()


def a_notice(channel: str = "phone", **changes: Any) -> Notice:
    notice = Notice(
        key=f"{SITE}/{DAY}/dusk/{channel}",
        site=SITE,
        round="dusk",
        day=str(DAY),
        channel=channel,
        title="Carry in 2 plants by 17:15",
        body="17:15 bench > room: Test strap\nLeaf 3.1 °C at 07:00",
        state=NoticeState.WAITING,
        attempts=0,
        next_at=NOW,
        expires_at=NOW + timedelta(hours=12),
    )
    return replace(notice, **changes)


def order(before: str = "2026-05-14T17:15:00-03:00", chore_id: str = ORDER) -> Chore:
    return a_chore(chore_id, datetime.fromisoformat(before))


def keep(
    ledger: Ledger,
    *notices: Notice,
    chores: tuple[Chore, ...] = (),
    round_: str = "dusk",
    **states: PlantState,
) -> None:
    ledger.keep_round(
        SITE, round_, DAY, NOW, notices=list(notices), chores=list(chores), states_now=states
    )


# -- the file


def test_only_the_owner_can_read_a_new_ledger(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "down" / "ledger.sqlite3"

    with opened(path) as ledger:
        keep(ledger, a_notice())

        kept = [path, *path.parent.glob("ledger.sqlite3-*")]
        assert [stat.S_IMODE(file.stat().st_mode) for file in kept] == [0o600] * len(kept)
        assert len(kept) == 3  # with -wal and -shm: these hold the same secrets
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_ledger_is_there_again_when_it_is_opened_again(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        keep(ledger, a_notice())

    with opened(path) as again:
        assert again.notices.latest(SITE) == [a_notice()]


def test_a_ledger_of_a_newer_version_is_refused_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path):
        pass
    database = sqlite3.connect(path)
    database.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    database.close()

    with pytest.raises(
        LedgerError, match=rf"newer sillward \(version {SCHEMA_VERSION + 1}\); update first"
    ):
        Ledger(path)


def test_a_file_that_is_no_ledger_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    path.write_bytes(b"Dear diary, the strap-leaf has a new root. " * 100)
    before = path.read_bytes()

    with pytest.raises(NotOursError, match="is not a ledger"):
        Ledger(path)

    assert path.read_bytes() == before


def test_a_folder_in_place_of_the_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NotOursError, match="is a folder"):
        Ledger(tmp_path)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("no folder")

    with pytest.raises(LedgerError, match="state"):
        Ledger(tmp_path / "state" / "ledger.sqlite3")


@contextmanager
def as_somebody_without_privileges() -> Iterator[None]:
    """File modes mean nothing to root, under which containers often run tests."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "read-only"
    folder.mkdir(mode=0o555)

    with (
        as_somebody_without_privileges(),
        pytest.raises(LedgerError, match="Permission denied"),
    ):
        Ledger(folder / "ledger.sqlite3")


def test_a_ledger_that_is_locked_by_another_is_an_error_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        ledger.database.connection.execute("PRAGMA busy_timeout = 0")  # do not wait for it here

        with pytest.raises(LedgerError, match="locked"):
            ledger.marks.set("fetch failed", NOW, "Invented source: answered 500")

        other.execute("ROLLBACK")
        other.close()
        ledger.marks.set("fetch failed", NOW, "Invented source: answered 500")


# -- round trips


def test_notices_come_back_as_they_were(ledger: Ledger) -> None:
    phone, mail = a_notice(), a_notice("mail", state=NoticeState.NOT_NEEDED, title="Nothing – °C ✓")

    keep(ledger, phone, mail)

    assert ledger.notices.of_round(SITE, "dusk", DAY) == [mail, phone]
    assert ledger.rounds.enqueued_at(SITE, "dusk", DAY) == NOW


def test_chores_come_back_as_they_were_and_by_deadline(ledger: Ledger) -> None:
    late = order("2026-05-15T10:00:00-03:00", "2026-05-15-carry-out-room-bench")

    keep(ledger, chores=(late, order()))

    first, second = ledger.chores.due_since(SITE, NOW - timedelta(days=1))
    assert (first.chore, second.chore) == (order(), late)
    assert first.before == datetime(2026, 5, 14, 20, 15, tzinfo=UTC)
    assert first.kind is ChoreKind.CARRY_IN
    assert first.done_at is None


def test_chores_whose_deadline_is_over_are_left_out(ledger: Ledger) -> None:
    keep(ledger, chores=(order(),))

    assert ledger.chores.due_since(SITE, datetime(2026, 5, 14, 20, 16, tzinfo=UTC)) == []


def test_a_chore_that_is_told_again_takes_the_new_deadline_and_stays_done(ledger: Ledger) -> None:
    covering = replace(order(), kind=ChoreKind.COVER)
    keep(ledger, chores=(covering,))
    ledger.confirm(SITE, NOW, {ORDER: None}, {})

    later = replace(covering, before=covering.before - timedelta(minutes=30))
    keep(ledger, chores=(later,), round_="morning")

    (chore,) = ledger.chores.due_since(SITE, NOW - timedelta(days=1))
    assert chore.before == datetime(2026, 5, 14, 19, 45, tzinfo=UTC)
    assert chore.done_at == NOW


def test_carrying_in_at_another_hour_is_open_although_it_was_done_before(ledger: Ledger) -> None:
    keep(ledger, chores=(order(),))
    ledger.confirm(SITE, NOW, {ORDER: None}, {})

    keep(ledger, chores=(order("2026-05-14T18:45:00-03:00"),), round_="morning")

    done, again = ledger.chores.due_since(SITE, NOW - timedelta(days=1))
    assert (done.done_at, done.id) == (NOW, f"{ORDER}-done")
    assert again.open
    assert again.id == ORDER


def test_states_come_back_as_they_were(ledger: Ledger) -> None:
    rich = PlantState("room", NOW, False, NOW - timedelta(hours=9), NOW - timedelta(days=6), NOW)
    plain = PlantState("bench")

    keep(ledger, strap=rich, curls=plain)

    assert ledger.plant_states.of_site(SITE) == {"strap": rich, "curls": plain}


def test_a_new_state_replaces_the_old_one_of_that_plant_only(ledger: Ledger) -> None:
    keep(ledger, strap=PlantState("bench"), curls=PlantState("bench"))

    ledger.confirm(SITE, NOW, {"any": None}, {"strap": PlantState("room", NOW, assumed=False)})

    assert {name: state.spot for name, state in ledger.plant_states.of_site(SITE).items()} == {
        "strap": "room",
        "curls": "bench",
    }


def test_a_mark_remembers_the_last_time(ledger: Ledger) -> None:
    ledger.marks.set("fetch failed", NOW - timedelta(hours=1), "answered 500")
    ledger.marks.set("fetch failed", NOW, "cannot be reached")

    mark = ledger.marks.all()["fetch failed"]
    assert (mark.at, mark.text) == (NOW, "cannot be reached")


def test_a_mark_that_is_taken_away_is_gone_and_the_others_stay(ledger: Ledger) -> None:
    ledger.marks.set("clock", NOW, "600 by Invented source")
    ledger.marks.set("fetch failed", NOW, "cannot be reached")

    ledger.marks.remove("clock")
    ledger.marks.remove("never there")

    assert list(ledger.marks.all()) == ["fetch failed"]


def test_times_of_any_zone_are_the_same_moments(ledger: Ledger) -> None:
    there = NOW.astimezone(datetime.fromisoformat("2026-05-14T17:00:00-03:00").tzinfo)

    keep(ledger, a_notice(next_at=there))

    assert [notice.key for notice in ledger.notices.due(SITE, NOW, PAUSE)] == [a_notice().key]


def test_sites_do_not_see_each_other(ledger: Ledger) -> None:
    keep(ledger, a_notice(), chores=(order(),), strap=PlantState("room"))

    assert ledger.notices.latest("Elsewhere") == []
    assert ledger.chores.due_since("Elsewhere", NOW - timedelta(days=9)) == []
    assert ledger.plant_states.of_site("Elsewhere") == {}
    assert ledger.rounds.enqueued_at("Elsewhere", "dusk", DAY) is None


# -- forecasts and schedules


A_FORECAST = SavedForecast(
    source="Invented source",
    fetched_at=NOW,
    changed_at=NOW - timedelta(hours=3),
    body=bytes(range(256)) * 40,
    last_modified="Thu, 14 May 2026 19:30:12 GMT",
    etag='W/"5-é"',
)


def test_the_last_forecast_of_a_source_is_kept_byte_by_byte(ledger: Ledger) -> None:
    bare = SavedForecast("Other source", NOW, NOW, b"")

    ledger.forecasts.keep(SITE, replace(A_FORECAST, body=b"older", etag="older"))
    for stored in (A_FORECAST, bare):
        ledger.forecasts.keep(SITE, stored)
    ledger.forecasts.keep("Elsewhere", replace(A_FORECAST, body=b"not here"))

    assert ledger.forecasts.get(SITE, "Invented source") == A_FORECAST
    assert ledger.forecasts.get(SITE, "Other source") == bare
    assert ledger.forecasts.get(SITE, "Third source") is None
    assert ledger.forecasts.get("Nowhere", "Invented source") is None


def test_a_confirmed_forecast_was_fetched_later_and_is_the_same(ledger: Ledger) -> None:
    other = replace(A_FORECAST, source="Other source")
    for stored in (A_FORECAST, other):
        ledger.forecasts.keep(SITE, stored)
    ledger.forecasts.keep("Elsewhere", A_FORECAST)
    later = NOW + timedelta(hours=1)

    ledger.forecasts.mark_unchanged(SITE, "Invented source", later)

    assert ledger.forecasts.get(SITE, "Invented source") == replace(A_FORECAST, fetched_at=later)
    assert ledger.forecasts.get(SITE, "Other source") == other
    assert ledger.forecasts.get("Elsewhere", "Invented source") == A_FORECAST


def test_a_forecast_that_is_not_there_cannot_be_confirmed(ledger: Ledger) -> None:
    ledger.forecasts.mark_unchanged(SITE, "Invented source", NOW)

    assert ledger.forecasts.get(SITE, "Invented source") is None


def test_a_body_of_a_real_size_takes_less_room_than_it_is_long(ledger: Ledger) -> None:
    body = b",".join(b"%.1f" % (hour % 24 / 2) for hour in range(9000))

    ledger.forecasts.keep(SITE, replace(A_FORECAST, body=body))

    (size,) = ledger.database.connection.execute("SELECT length(body) FROM forecast").fetchone()
    assert size < len(body) / 5


@pytest.mark.parametrize("damage", [b"", b"{}", b"\x00" * 40])
def test_a_body_that_is_damaged_is_no_forecast_and_makes_room_for_one(
    ledger: Ledger, damage: bytes
) -> None:
    ledger.forecasts.keep(SITE, A_FORECAST)
    ledger.database.execute("UPDATE forecast SET body = ?", damage)

    assert ledger.forecasts.get(SITE, "Invented source") is None

    ledger.forecasts.keep(SITE, A_FORECAST)
    assert ledger.forecasts.get(SITE, "Invented source") == A_FORECAST


def test_a_body_that_was_cut_off_is_no_forecast(ledger: Ledger) -> None:
    ledger.forecasts.keep(SITE, A_FORECAST)
    ledger.database.connection.execute(
        "UPDATE forecast SET body = substr(body, 1, length(body) - 3)"
    )

    assert ledger.forecasts.get(SITE, "Invented source") is None


def test_schedules_come_back_as_they_were(ledger: Ledger) -> None:
    bare = CallSchedule(NOW)
    rich = CallSchedule(
        NOW + timedelta(minutes=20),
        failures=4,
        day=DAY,
        calls=31,
        reason="answered 429",
        not_before=NOW + timedelta(minutes=10),
    )

    for poll in (bare, rich):
        ledger.call_schedules.keep("Invented source", poll)
    ledger.call_schedules.keep("Other source", bare)

    assert ledger.call_schedules.get("Invented source") == rich
    assert ledger.call_schedules.get("Other source") == bare
    assert ledger.call_schedules.get("Third source") is None


# -- the archive of nights


def a_night(night: date = DAY, fetched_at: datetime = NOW, **changes: Any) -> NightForecast:
    low_at = datetime(night.year, night.month, night.day, 10, tzinfo=UTC) + timedelta(days=1)
    values = NightForecast(
        night=night,
        lead_h=(low_at - fetched_at) / timedelta(hours=1),
        low_c=3.1,
        low_at=low_at,
        dew_point_c=-1.5,
        wind_m_s=0.62,
        cloud=0.25,
        high_c=24.8,
        sd_k=1.37,
    )
    return replace(values, **changes)


def days(count: int) -> list[date]:
    return [DAY + timedelta(days=offset) for offset in range(count)]


def test_nights_come_back_as_they_were(ledger: Ledger) -> None:
    rich = a_night()
    bare = a_night(
        DAY + timedelta(days=1), dew_point_c=None, wind_m_s=None, cloud=None, high_c=None, sd_k=None
    )
    extreme = a_night(DAY + timedelta(days=2), low_c=-67.7, dew_point_c=-0.0, cloud=1.0)

    ledger.nights.keep(SITE, "Invented source", NOW, [rich, bare, extreme])

    assert ledger.nights.since(SITE, DAY) == [
        ("Invented source", NOW, night) for night in (rich, bare, extreme)
    ]


def test_values_are_kept_to_hundredths_and_times_to_seconds(ledger: Ledger) -> None:
    night, at = a_night(low_c=-3.14159, sd_k=0.0049), NOW + timedelta(microseconds=123456)

    ledger.nights.keep(SITE, "Invented source", at, [night])

    ((_, fetched_at, kept),) = ledger.nights.since(SITE, DAY)
    assert (kept.low_c, kept.sd_k, fetched_at) == (-3.14, 0.0, NOW)
    assert kept.lead_h == (night.low_at - NOW) / timedelta(hours=1)


def test_nights_are_told_by_night_then_by_source_then_as_they_came(ledger: Ledger) -> None:
    later = NOW + timedelta(hours=1)
    for at in (later, NOW):
        for source in ("Second source", "First source"):
            nights = [a_night(day, at) for day in reversed(days(2))]
            ledger.nights.keep(SITE, source, at, nights)

    told = [(night.night, source, at) for source, at, night in ledger.nights.since(SITE, DAY)]

    assert told == [
        (day, source, at)
        for day in days(2)
        for source in ("First source", "Second source")
        for at in (NOW, later)
    ]


def test_nights_are_told_of_one_site_from_a_date_on_by_one_source_or_all(ledger: Ledger) -> None:
    for site in (SITE, "Elsewhere"):
        for source in ("First source", "Second source"):
            ledger.nights.keep(site, source, NOW, [a_night(day) for day in days(3)])

    told = ledger.nights.since(SITE, days(3)[1], "Second source")

    assert [(source, night.night) for source, _, night in told] == [
        ("Second source", day) for day in days(3)[1:]
    ]
    assert len(ledger.nights.since(SITE, days(3)[1])) == 4
    assert ledger.nights.since(SITE, days(3)[1], "Third source") == []
    assert ledger.nights.since("Nowhere", DAY) == []


def test_lows_are_told_of_one_source_once_they_have_passed(ledger: Ledger) -> None:
    for number, source in enumerate(("First source", "Second source")):
        nights = [a_night(day, low_c=3.25 + number) for day in days(3)]
        ledger.nights.keep(SITE, source, NOW, nights)
    second_low = a_night(days(3)[1]).low_at

    told = ledger.nights.past_lows(SITE, "First source", second_low, NOW)

    assert sorted(
        zip(told.night.tolist(), told.lead_h.tolist(), told.low_c.tolist(), strict=True)
    ) == [
        (day.toordinal(), (a_night(day).low_at - NOW) / timedelta(hours=1), 3.25) for day in days(2)
    ]
    assert ledger.nights.sources(SITE) == ["First source", "Second source"]
    assert ledger.nights.sources("Elsewhere") == []
    later = NOW + timedelta(seconds=1)
    for nothing in (
        ledger.nights.past_lows(SITE, "First source", second_low, later),
        ledger.nights.past_lows("Elsewhere", "First source", second_low, NOW),
    ):
        assert nothing.night.size == 0


def test_nights_of_the_same_moment_are_kept_once(ledger: Ledger) -> None:
    ledger.nights.keep(SITE, "Invented source", NOW, [a_night(low_c=5.0)])
    ledger.nights.keep(SITE, "Invented source", NOW, [a_night(low_c=4.0)])

    assert [night.low_c for _, _, night in ledger.nights.since(SITE, DAY)] == [4.0]


def test_nights_are_kept_all_or_none(ledger: Ledger) -> None:
    absurd = a_night(DAY + timedelta(days=9), low_c=1e18)  # beyond the integers of both databases

    with pytest.raises((LedgerError, OverflowError)):
        ledger.nights.keep(SITE, "Invented source", NOW, [*map(a_night, days(8)), absurd])

    assert ledger.nights.since(SITE, DAY) == []


def test_nights_too_long_ago_leave_the_archive(ledger: Ledger) -> None:
    nights = [a_night(day) for day in days(3)]
    for site in (SITE, "Elsewhere"):
        ledger.nights.keep(site, "Invented source", NOW, nights)

    ledger.nights.prune(NOW + timedelta(days=ARCHIVE_DAYS))
    assert len(ledger.nights.since(SITE, DAY)) == 3

    ledger.nights.prune(NOW + timedelta(days=ARCHIVE_DAYS + 2))

    for site in (SITE, "Elsewhere"):
        assert [night.night for _, _, night in ledger.nights.since(site, DAY)] == [days(3)[2]]


def test_of_too_many_nights_the_oldest_leave(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(nights, "ARCHIVE_ROWS", 5)
    for at in (NOW, NOW + timedelta(hours=1)):
        for site in (SITE, "Elsewhere"):
            ledger.nights.keep(site, "Invented source", at, [a_night(day, at) for day in days(2)])

    ledger.nights.prune(NOW)

    left = [
        (night.night, at)
        for site in (SITE, "Elsewhere")
        for _, at, night in ledger.nights.since(site, DAY)
    ]
    assert sorted(left) == [
        (DAY, NOW + timedelta(hours=1)),
        *[(days(2)[1], NOW)] * 2,
        *[(days(2)[1], NOW + timedelta(hours=1))] * 2,
    ]


def test_a_full_archive_stays_under_50_mb() -> None:
    """Two months of two sources that change every hour and reach eight nights ahead, every value
    as long as it gets. The room for each row hardly depends on how many there are."""
    rows, long_name = 0, "Court " * 40
    with closing(Ledger(":memory:")) as ledger:
        for hour in range(24 * 60):
            at = NOW + timedelta(hours=hour, seconds=hour * 7 % 400)
            ahead = [a_night(at.date() + timedelta(days=n), at, low_c=-45.67) for n in range(8)]
            for source in ("First source", "Second source"):
                ledger.nights.keep(long_name, source, at, ahead)
                rows += len(ahead)

        (pages,) = ledger.database.connection.execute("PRAGMA page_count").fetchone()
        (page_size,) = ledger.database.connection.execute("PRAGMA page_size").fetchone()

    assert pages * page_size / rows * ARCHIVE_ROWS < 50e6


# -- what nobody expects


@pytest.mark.parametrize(
    "name", ["", "O'Hara's \"patio\"", "a;b -- c", "庭 🌿", "two\nlines", "x" * 5000, "nul\0nul"]
)
def test_odd_names_of_sites_and_sources_are_names(ledger: Ledger, name: str) -> None:
    if isinstance(ledger.database, PostgresDatabase):  # whose text cannot hold it
        name = name.replace("\0", "\ufffd")
    stored = replace(A_FORECAST, source=name)

    ledger.forecasts.keep(name, stored)
    ledger.call_schedules.keep(name, CallSchedule(NOW))
    ledger.nights.keep(name, name, NOW, [a_night()])

    assert ledger.forecasts.get(name, name) == stored
    assert ledger.call_schedules.get(name) == CallSchedule(NOW)
    assert ledger.nights.since(name, DAY) == [(name, NOW, a_night())]


@pytest.mark.parametrize("years", [-56, -1, 1, 20])
def test_times_of_a_clock_that_is_wrong_are_kept_like_any(ledger: Ledger, years: int) -> None:
    """1970 is what a board without a clock battery believes; 2046 is beyond 32-bit seconds."""
    at = NOW.replace(year=NOW.year + years)
    stored = replace(A_FORECAST, fetched_at=at, changed_at=at)
    night = a_night(at.date(), at)

    ledger.forecasts.keep(SITE, stored)
    ledger.call_schedules.keep("Invented source", CallSchedule(at, day=at.date()))
    ledger.nights.keep(SITE, "Invented source", at, [night])
    ledger.nights.prune(at)

    assert ledger.forecasts.get(SITE, "Invented source") == stored
    assert ledger.call_schedules.get("Invented source") == CallSchedule(at, day=at.date())
    assert ledger.nights.since(SITE, at.date()) == [("Invented source", at, night)]


# -- all or nothing


def test_a_round_that_was_told_before_leaves_nothing_behind(ledger: Ledger) -> None:
    keep(ledger, a_notice())

    with pytest.raises(LedgerError):
        keep(ledger, a_notice("mail"), chores=(order(),), strap=PlantState("room"))

    assert ledger.notices.latest(SITE) == [a_notice()]
    assert ledger.chores.due_since(SITE, NOW - timedelta(days=1)) == []
    assert ledger.plant_states.of_site(SITE) == {}


def test_a_round_whose_last_part_fails_leaves_nothing_behind(ledger: Ledger) -> None:
    keep(ledger, a_notice("mail"))

    with pytest.raises(LedgerError):
        keep(ledger, a_notice("phone"), a_notice("tablet", state="lost"), round_="morning")

    assert ledger.rounds.enqueued_at(SITE, "morning", DAY) is None
    assert [notice.channel for notice in ledger.notices.latest(SITE)] == ["mail"]


def test_a_notice_that_is_there_already_stays_as_it_is_and_stops_no_round(ledger: Ledger) -> None:
    keep(ledger, a_notice("mail"))
    ledger.notices.claim(a_notice("mail").key, NOW)
    ledger.mark_sent(a_notice("mail").key, NOW)

    keep(ledger, a_notice("phone"), a_notice("mail"), round_="morning")

    assert ledger.rounds.enqueued_at(SITE, "morning", DAY) == NOW
    states = {notice.channel: notice.state for notice in ledger.notices.latest(SITE)}
    assert states == {"mail": "sent", "phone": "waiting"}


def test_a_state_that_a_notice_cannot_have_is_refused(ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match=r"CHECK|check"):
        keep(ledger, a_notice(state="lost"))


def test_an_error_of_somebody_else_within_a_transaction_undoes_it(ledger: Ledger) -> None:
    def write_and_fail() -> None:
        with ledger.database.transaction():
            ledger.database.connection.execute(
                "INSERT INTO mark VALUES ('half', '2026-05-14', 'done')"
            )
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_and_fail()

    assert ledger.marks.all() == {}
    ledger.marks.set("whole", NOW, "done")


# -- the life of a notice


def test_notices_wait_for_their_time_and_come_oldest_first(ledger: Ledger) -> None:
    keep(
        ledger,
        a_notice("later", next_at=NOW + timedelta(seconds=1)),
        a_notice("second", next_at=NOW),
        a_notice("first", next_at=NOW - timedelta(seconds=30)),
        a_notice("silent", state=NoticeState.NOT_NEEDED),
    )

    assert [notice.channel for notice in ledger.notices.due(SITE, NOW, PAUSE)] == [
        "first",
        "second",
    ]


def test_a_notice_is_claimed_once(ledger: Ledger) -> None:
    keep(ledger, a_notice())

    assert ledger.notices.claim(a_notice().key, UNTIL)

    assert not ledger.notices.claim(a_notice().key, UNTIL)
    assert ledger.notices.due(SITE, NOW, PAUSE) == []
    (notice,) = ledger.notices.latest(SITE)
    assert (notice.state, notice.attempts) == ("sending", 1)


def test_nothing_is_claimed_that_is_not_there(ledger: Ledger) -> None:
    assert not ledger.notices.claim("Test court/2026-05-14/dusk/nobody", UNTIL)


def test_a_sent_notice_keeps_when_and_forgets_its_error(ledger: Ledger) -> None:
    keep(ledger, a_notice(last_error="refused"))
    ledger.notices.claim(a_notice().key, UNTIL)

    ledger.mark_sent(a_notice().key, NOW + timedelta(seconds=2))

    (notice,) = ledger.notices.latest(SITE)
    assert notice.state == NoticeState.SENT
    assert notice.sent_at == NOW + timedelta(seconds=2)
    assert notice.last_error is None
    assert not ledger.notices.claim(notice.key, UNTIL)


def test_a_notice_put_back_waits_with_its_reason(ledger: Ledger) -> None:
    keep(ledger, a_notice())
    ledger.notices.claim(a_notice().key, UNTIL)

    later = NOW + timedelta(seconds=30)
    ledger.notices.put_back(a_notice().key, later, "channel phone: refused", attempt=1)

    assert ledger.notices.due(SITE, NOW + timedelta(seconds=29), PAUSE) == []
    (notice,) = ledger.notices.due(SITE, NOW + timedelta(seconds=30), PAUSE)
    assert (notice.attempts, notice.last_error) == (1, "channel phone: refused")


def test_notices_whose_time_is_over_are_given_up_and_told(ledger: Ledger) -> None:
    keep(ledger, a_notice(expires_at=NOW), a_notice("mail", expires_at=NOW + timedelta(seconds=1)))

    given_up = ledger.notices.expire(SITE, NOW)

    assert [(notice.channel, notice.state) for notice in given_up] == [("phone", "expired")]
    assert [notice.channel for notice in ledger.notices.due(SITE, NOW, PAUSE)] == ["mail"]
    assert ledger.notices.expire(SITE, NOW) == []


def test_what_is_withdrawn_is_sent_no_more_and_who_had_it_is_known(ledger: Ledger) -> None:
    given_up = a_notice("old", state=NoticeState.EXPIRED, expires_at=NOW + timedelta(hours=1))
    keep(
        ledger,
        a_notice(),
        a_notice("mail", state=NoticeState.SENT),
        a_notice("cut off", perhaps_sent=True),
        given_up,
    )

    reached = ledger.notices.withdraw(SITE, "dusk", DAY)

    assert reached == {"phone": False, "mail": True, "cut off": True, "old": False}
    assert ledger.notices.due(SITE, NOW, PAUSE) == []
    assert ledger.notices.expire(SITE, NOW) == []
    assert ledger.notices.due(SITE, NOW, PAUSE) == []


def test_what_is_withdrawn_is_of_one_round_from_one_day_on(ledger: Ledger) -> None:
    keep(ledger, a_notice())

    assert ledger.notices.withdraw(SITE, "morning", DAY) == {}
    assert ledger.notices.withdraw("Far court", "dusk", DAY) == {}
    assert ledger.notices.withdraw(SITE, "dusk", DAY + timedelta(days=1)) == {}
    assert len(ledger.notices.due(SITE, NOW, PAUSE)) == 1


def test_what_is_sent_or_not_needed_does_not_expire(ledger: Ledger) -> None:
    keep(ledger, a_notice(state=NoticeState.SENT), a_notice("mail", state=NoticeState.NOT_NEEDED))

    assert ledger.notices.expire(SITE, NOW + timedelta(days=9)) == []


def test_claims_of_a_killed_process_are_released_with_their_attempts(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as ledger:
        keep(ledger, a_notice(), a_notice("mail", state=NoticeState.SENT))
        ledger.notices.claim(a_notice().key, UNTIL)

    with opened(path) as again:
        assert again.notices.release_claims(SITE, NOW) == 1

        (notice,) = again.notices.due(SITE, NOW, PAUSE)
        assert (notice.channel, notice.attempts) == ("phone", 1)
        assert again.notices.release_claims(SITE, NOW) == 0


def test_the_latest_notices_come_first_and_at_most_so_many(ledger: Ledger) -> None:
    for offset in range(5):
        day = str(DAY + timedelta(days=offset))
        keep(ledger, a_notice(key=day, day=day), round_=f"round {offset}")

    assert [notice.day for notice in ledger.notices.latest(SITE, most=2)] == [
        "2026-05-18",
        "2026-05-17",
    ]


# -- two at once


def test_two_connections_see_each_others_writes_and_share_no_claim(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with opened(path) as daemon, opened(path) as by_hand:
        keep(daemon, a_notice())

        assert by_hand.notices.due(SITE, NOW, PAUSE) == [a_notice()]
        assert by_hand.notices.claim(a_notice().key, UNTIL)
        assert not daemon.notices.claim(a_notice().key, UNTIL)
        by_hand.mark_sent(a_notice().key, NOW)
        assert daemon.notices.latest(SITE)[0].state == NoticeState.SENT
        with pytest.raises(LedgerError):
            keep(by_hand, a_notice("mail"))


def test_two_processes_may_open_a_new_ledger_at_once(tmp_path: Path) -> None:
    """At the first start: the service, and a `sillward status` to see how it does."""
    path = tmp_path / "ledger.sqlite3"
    outcome: list[Exception] = []

    def open_second() -> None:
        try:
            Ledger(path).close()
        except (LedgerError, NotOursError) as error:
            outcome.append(error)

    second = threading.Thread(target=open_second)

    class FirstOpener(FileOpener):
        def create(self) -> None:
            second.start()
            super().create()

    class First(Ledger):
        opener_type = FirstOpener

    First(path).close()
    second.join(10)

    assert outcome == []


def test_a_call_is_taken_by_one_of_two_until_its_time_is_over(ledger: Ledger) -> None:
    until = NOW + timedelta(minutes=2)
    assert ledger.call_schedules.claim("Source", NOW, until)  # it was never called
    ledger.call_schedules.keep("Source", CallSchedule(NOW))

    assert ledger.call_schedules.claim("Source", NOW, until)
    assert not ledger.call_schedules.claim("Source", NOW + timedelta(seconds=1), until)
    assert ledger.call_schedules.claim("Source", until, until + timedelta(minutes=2))


def test_a_forecast_of_each_site_says_when_it_was_fetched(ledger: Ledger) -> None:
    for site, minutes in (("here", 0), ("there", 5)):
        at = NOW + timedelta(minutes=minutes)
        ledger.forecasts.keep(site, SavedForecast("Source", at, at, b"{}"))
    ledger.forecasts.keep("here", SavedForecast("Other", NOW, NOW, b"{}"))

    found = ledger.forecasts.fetched_at("Source")

    assert found == {"here": NOW, "there": NOW + timedelta(minutes=5)}
