"""The calendar file: versions of its events, when it is rewritten, and what it may replace."""

import logging
import os
import stat
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward import files
from sillward.errors import CalendarError, LedgerError
from sillward.ical.events import (
    Status,
)
from sillward.ical.ics import uid_of
from sillward.ical.publisher import (
    RETRY_AFTER,
    CalendarPublisher,
    site_calendar,
    write_calendar,
)
from sillward.ledger import CalendarEventVersion, Ledger
from sillward.ledger.ledger import KEPT_DAYS
from sillward.ledger.tables.calendar_events import CalendarEventTable
from sillward.links.page_links import PageLinks
from sillward.wording.voice import Voice
from sillward_rules.sheet import Round
from tests.support.desks import DAY, SITE, World, a_household, a_plant, a_world, local
from tests.support.ical_rules import Component, events_in

NOW = local("17:00")
NEXT_DAY = DAY + timedelta(days=1)
VOICE = Voice(SITE)


# -- versions


def test_a_sequence_number_rises_only_with_a_change() -> None:
    ledger = Ledger(":memory:")
    later = NOW + timedelta(hours=1)

    first = ledger.calendar_events.versions("Home", {"a": "1", "b": "1"}, NOW)
    same = ledger.calendar_events.versions("Home", {"a": "1"}, later)
    other = ledger.calendar_events.versions("Home", {"a": "2", "b": "1", "c": "1"}, later)
    elsewhere = ledger.calendar_events.versions("Hut", {"a": "3"}, later)

    assert first == {"a": CalendarEventVersion(0, NOW), "b": CalendarEventVersion(0, NOW)}
    assert same == {"a": CalendarEventVersion(0, NOW)}
    assert other == {
        "a": CalendarEventVersion(1, later),
        "b": CalendarEventVersion(0, NOW),
        "c": CalendarEventVersion(0, later),
    }
    assert elsewhere == {"a": CalendarEventVersion(0, later)}


def test_an_event_that_returns_counts_on() -> None:
    ledger = Ledger(":memory:")
    ledger.calendar_events.versions("Home", {"a": "1"}, NOW)
    ledger.calendar_events.versions("Home", {}, NOW)

    assert ledger.calendar_events.versions("Home", {"a": "2"}, NOW)["a"].sequence == 1


def test_a_clock_that_is_set_back_makes_no_change_older() -> None:
    ledger = Ledger(":memory:")
    ledger.calendar_events.versions("Home", {"a": "1"}, NOW)

    assert ledger.calendar_events.versions("Home", {"a": "2"}, NOW - timedelta(days=9))[
        "a"
    ] == CalendarEventVersion(1, NOW)


def test_a_restart_does_not_reset_the_number(tmp_path: Path) -> None:
    for number in range(3):
        ledger = Ledger(tmp_path / "ledger.sqlite3")
        assert (
            ledger.calendar_events.versions("Home", {"a": str(number)}, NOW)["a"].sequence == number
        )
        ledger.close()


def test_unchanged_events_write_nothing(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite3")
    ledger.calendar_events.versions("Home", {"a": "1"}, NOW)
    log = tmp_path / "ledger.sqlite3-wal"
    before = log.read_bytes()

    ledger.calendar_events.versions("Home", {"a": "1"}, NOW + timedelta(days=1))

    assert before
    assert log.read_bytes() == before
    ledger.close()


def test_versions_are_forgotten_with_their_chores() -> None:
    ledger = Ledger(":memory:")
    old, kept = f"{DAY}-mist-bench", f"{DAY + timedelta(days=2)}-expected-carry-in"
    ledger.calendar_events.versions("Home", {old: "1", kept: "1"}, NOW)

    ledger.prune(NOW + timedelta(days=KEPT_DAYS + 1))

    after = ledger.calendar_events.versions("Home", {old: "2", kept: "2"}, NOW)
    assert {event: version.sequence for event, version in after.items()} == {old: 0, kept: 1}


# -- the daemon's file


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "sillward.ics"


def shown(path: Path) -> dict[str, Component]:
    return {event.raw("UID"): event for event in events_in(path.read_bytes())}


def summaries(path: Path) -> list[str]:
    return [event.text("SUMMARY") for event in events_in(path.read_bytes())]


def newer(world: World, low_c: float) -> None:
    """Make the next forecast due, with this low."""
    world.source.low_c = low_c
    world.clock.move(minutes=80)
    plan = world.ledger.call_schedules.get(world.source.name)
    assert plan is not None
    due = replace(plan, next_at=world.clock.now - timedelta(hours=1))
    world.ledger.call_schedules.keep(world.source.name, due)


def test_expected_trips_become_the_told_ones_and_nothing_doubles(path: Path) -> None:
    world = a_world("12:00", low_c=6.5)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()
    tonight = uid_of(SITE, f"{DAY}-expected-carry-in")
    before = shown(path)

    world.clock.now = NOW
    desk.tick()
    publisher.update()
    after = shown(path)

    assert before[tonight].text("SUMMARY") == "Carry in (expected): 2 plants, bench to room"
    assert tonight not in after
    told = after[uid_of(SITE, f"{DAY}-carry-in-bench-to-room")]
    assert told.text("STATUS") == "CONFIRMED"
    of_tonight = [event for event in after.values() if event.time("DTEND") == told.time("DTEND")]
    assert of_tonight == [told]
    tentative = {event.text("STATUS") for event in after.values()} - {"CONFIRMED"}
    assert tentative == {Status.TENTATIVE.value}  # the nights after this one


def test_a_chore_goes_through_its_states_with_a_number_for_each(path: Path) -> None:
    world = a_world("17:00", low_c=6.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()
    chore = f"{DAY}-carry-in-bench-to-room"
    first = shown(path)[uid_of(SITE, chore)]

    newer(world, 12.0)
    desk.tick()
    publisher.update()
    off = shown(path)[uid_of(SITE, chore)]
    world.ledger.confirm(
        SITE.name, world.clock.now, {f"{NEXT_DAY}-carry-out-room-to-bench": None}, {}
    )
    unchanged = uid_of(SITE, chore)
    publisher.update()

    assert (first.raw("SEQUENCE"), first.text("STATUS")) == ("0", "CONFIRMED")
    assert (off.raw("SEQUENCE"), off.text("STATUS")) == ("1", "CANCELLED")
    assert first.moment("LAST-MODIFIED") == NOW
    assert off.moment("LAST-MODIFIED") == off.moment("DTSTAMP") == world.clock.now
    assert shown(path)[unchanged].properties == off.properties


def test_a_confirmation_shows_at_the_next_tick(path: Path) -> None:
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()

    world.clock.move(minutes=30)
    world.ledger.confirm(SITE.name, world.clock.now, {f"{DAY}-carry-in-bench-to-room": None}, {})
    publisher.update()

    assert "Carry in (done): 2 plants, bench to room" in summaries(path)


def test_the_file_is_written_only_when_something_changed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    written: list[Path] = []
    write = files.write

    def seen(to: Path, data: bytes, *, mode: int, exclusive: bool) -> None:
        written.append(to)
        write(to, data, mode=mode, exclusive=exclusive)

    monkeypatch.setattr(files, "write", seen)

    for _ in range(20):
        desk.tick()
        publisher.update()
        world.clock.move(seconds=30)
    CalendarPublisher(path, [desk.context]).update()  # after a restart

    assert written == [path]


def test_a_deleted_file_is_written_again(path: Path) -> None:
    world = a_world("17:00")
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()
    before = path.read_bytes()
    path.unlink()

    publisher.update()

    assert path.read_bytes() == before


def test_old_chores_leave_as_days_pass(path: Path) -> None:
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()
    told = uid_of(SITE, f"{DAY}-carry-in-bench-to-room")
    world.source.failing = True
    assert told in shown(path)

    world.clock.move(days=9)
    publisher.update()

    assert shown(path) == {}  # no forecast either: nothing is expected


def test_without_a_clock_nothing_is_written(path: Path) -> None:
    world = a_world()
    world.clock.now = datetime(1970, 1, 1, 5, tzinfo=UTC)

    CalendarPublisher(path, [world.desk.context]).update()

    assert not path.exists()


def test_a_failure_is_logged_now_and_then_and_harms_no_notice(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    folder = tmp_path / "not there"
    publisher = CalendarPublisher(folder / "sillward.ics", [desk.context])
    caplog.set_level(logging.WARNING)

    for _ in range(5):
        desk.tick()
        publisher.update()
        world.clock.move(seconds=30)
    warned = [message for message in caplog.messages if message.startswith("calendar.failed")]
    folder.mkdir()
    publisher.update()
    too_soon = (folder / "sillward.ics").exists()
    world.clock.move(seconds=RETRY_AFTER.total_seconds())
    publisher.update()

    assert warned == [
        f"calendar.failed reason=calendar {folder}/sillward.ics: there is no folder {folder}"
    ]
    assert not too_soon
    assert summaries(folder / "sillward.ics")
    assert len(world.post.pushes) == 1


@pytest.mark.parametrize("error", [LedgerError("disk full"), RuntimeError("a defect")])
def test_whatever_fails_is_not_raised(
    error: Exception, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = a_world()

    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr(CalendarEventTable, "versions", fail)

    CalendarPublisher(path, [world.desk.context]).update()

    assert not path.exists()


def test_two_sites_are_in_one_file(path: Path) -> None:
    world = a_world("17:00", low_c=3.0)
    here = world.desk
    world.household = a_household(name="Hut", plants=(a_plant("Fern"),))
    there = world.desk
    for desk in (here, there):
        desk.tick()

    CalendarPublisher(path, [here.context, there.context]).update()

    places = {event.text("LOCATION") for event in events_in(path.read_bytes())}
    assert places == {"Test court", "Hut"}


@pytest.mark.parametrize("days", [21, pytest.param(365, marks=pytest.mark.slow)])
def test_a_year_of_days_stays_small(days: int, path: Path) -> None:
    """Two rounds a day, cold and mild nights in turn, every second order confirmed."""
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    numbers: dict[str, tuple[int, object]] = {}
    largest = 0
    for day in range(days):
        for hour in ("08:35", "17:05"):
            world.clock.now = local(hour, DAY + timedelta(days=day))
            world.source.low_c = 3.0 if day % 5 < 3 else 14.0
            desk.tick()
            if day % 2:
                for chore in world.ledger.chores.due_since(SITE.name, world.clock.now):
                    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: None}, {})
            publisher.update()
            content = path.read_bytes()
            largest = max(largest, len(content))
            _check_numbers(events_in(content), numbers)
    (events,) = world.ledger.database.rows("SELECT COUNT(*) FROM calendar_event")

    assert largest < 40_000
    assert events[0] < 20 * (KEPT_DAYS + 10)
    assert max(number for number, _ in numbers.values()) > 0
    assert desk.defects.events == []


def _check_numbers(events: Sequence[Component], numbers: dict[str, tuple[int, object]]) -> None:
    """Check that a number is one higher exactly where something else has changed."""
    for event in events:
        number = int(event.raw("SEQUENCE"))
        content = {
            name: values
            for name, values in event.properties.items()
            if name not in ("SEQUENCE", "DTSTAMP", "LAST-MODIFIED")
        }
        before, known = numbers.get(event.raw("UID"), (-1, None))
        assert number == before + (content != known)
        numbers[event.raw("UID")] = number, content


# -- the file itself


def calendar(rest: bytes = b"") -> bytes:
    return b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//sillward//sillward//EN\r\n" + rest


def test_a_new_file_is_for_its_owner_and_one_that_is_there_keeps_its_mode(path: Path) -> None:
    write_calendar(path, calendar(b"1"))
    private = stat.S_IMODE(path.stat().st_mode)
    path.chmod(0o644)
    write_calendar(path, calendar(b"2"))

    assert private == 0o600
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
    assert path.read_bytes() == calendar(b"2")
    assert list(path.parent.iterdir()) == [path]


def test_an_empty_file_may_be_put_there_first(path: Path) -> None:
    path.touch(mode=0o640)

    write_calendar(path, calendar())

    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_link_stays_a_link(path: Path, tmp_path: Path) -> None:
    target = tmp_path / "elsewhere.ics"
    write_calendar(target, calendar(b"old"))
    path.symlink_to(target)

    write_calendar(path, calendar())

    assert path.is_symlink()
    assert target.read_bytes() == calendar()


def test_a_dangling_link_creates_no_file(path: Path, tmp_path: Path) -> None:
    path.symlink_to(tmp_path / "elsewhere.ics")

    with pytest.raises(CalendarError, match="leads nowhere"):
        write_calendar(path, calendar())

    assert os.listdir(tmp_path) == [path.name]


def test_the_calendar_of_another_program_is_not_overwritten(path: Path) -> None:
    theirs = calendar().replace(b"sillward", b"another")
    path.write_bytes(theirs)

    with pytest.raises(CalendarError, match="holds something else"):
        write_calendar(path, calendar())

    assert path.read_bytes() == theirs


@pytest.fixture
def ledger_file(tmp_path: Path) -> Path:
    Ledger(tmp_path / "ledger.sqlite3").close()
    return tmp_path / "ledger.sqlite3"


def test_a_file_that_is_no_calendar_is_not_overwritten(ledger_file: Path) -> None:
    before = ledger_file.read_bytes()

    with pytest.raises(CalendarError, match="holds something else"):
        write_calendar(ledger_file, calendar())

    assert ledger_file.read_bytes() == before


def test_a_place_that_is_no_file_is_told(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for place, words in (
        (tmp_path, "is a folder"),
        (pipe, "is a pipe"),
        (tmp_path / "none" / "x.ics", "there is no folder"),
        (tmp_path / "a\0b", "null"),
        (tmp_path / ("x" * 300), "too long"),
    ):
        with pytest.raises(CalendarError, match=words):
            write_calendar(place, calendar())


def test_a_write_that_fails_leaves_the_old_file_and_no_other(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_calendar(path, calendar(b"old"))

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CalendarError, match=r"calendar .*: No space left on device"):
        write_calendar(path, calendar(b"new"))

    assert path.read_bytes() == calendar(b"old")
    assert list(path.parent.iterdir()) == [path]


def test_a_calendar_needs_no_forecast() -> None:
    world = a_world("17:00", low_c=3.0)
    world.desk.tick()

    made = site_calendar(world.ledger, VOICE, (), NOW)

    assert [event.status for event in made.events] == [Status.CONFIRMED] * len(made.events)
    assert made.events
    assert world.ledger.rounds.enqueued_at(SITE.name, Round.DUSK.value, DAY) is not None


def test_events_lead_to_the_page_where_they_are_answered(tmp_path: Path) -> None:
    world = a_world("17:00")
    desk = world.desk
    desk.tick()
    path = tmp_path / "calendar.ics"
    publisher = CalendarPublisher(path, [desk.context])
    publisher.update()
    plain = events_in(path.read_bytes())
    assert plain
    assert all("URL" not in event.properties for event in plain)

    desk.context.links = PageLinks(b"k" * 32, "https://plants.example")
    publisher.update()
    linked = events_in(path.read_bytes())
    assert {event.raw("URL") for event in linked} == {"https://plants.example/"}
    assert all(event.raw("SEQUENCE") == "1" for event in linked)
    assert b"/t/" not in path.read_bytes(), "a calendar is read by more people than may answer"
