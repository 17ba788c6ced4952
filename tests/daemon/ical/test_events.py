"""The calendar: what a phone shows of the chores, by a strict reader and by another library's."""

import logging
import os
import re
import stat
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward import files
from sillward.errors import CalendarError, LedgerError
from sillward.ical.events import (
    CANCELLED_KEPT,
    KEPT,
    MAX_DESCRIPTION,
    MAX_SUMMARY,
    SiteCalendar,
    Status,
    events_of,
    superseded,
)
from sillward.ical.ics import to_ics, uid_of
from sillward.ical.publisher import (
    RETRY_AFTER,
    CalendarPublisher,
    site_calendar,
    write_calendar,
)
from sillward.ledger import EventVersion, Ledger, StoredChore
from sillward.ledger.ledger import KEPT_DAYS
from sillward.ledger.tables.calendar import CalendarTable
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.sheet import Round
from sillward_rules.weather.site import Site
from tests.support.desks import DAY, SITE, World, a_household, a_plant, a_world, local
from tests.support.ical_rules import Component, events_in, read

NOW = local("17:00")
NEXT_DAY = DAY + timedelta(days=1)
VOICE = Voice(SITE)
NO_ALERT = VOICE.say("no_alert")


def a_document(
    chore_id: str = f"{DAY}-carry-in-bench-to-room",
    kind: str = "carry-in",
    *,
    plants: Sequence[str] = ("Left pot", "Right pot"),
    start: datetime | None = None,
    before: datetime | None = None,
    way: tuple[str, str] | None = None,
) -> dict[str, Any]:
    before = before or local("18:40")
    from_spot, to_spot = way or ("bench", "room" if kind == "carry-in" else "bench")
    at = local("07:00", NEXT_DAY)
    return {
        "id": chore_id,
        "chore": kind,
        "plants": list(plants),
        "from": from_spot,
        "to": to_spot,
        "not_before": None if start is None else start.isoformat(),
        "before": before.isoformat(),
        "because": [
            {
                "plant": name,
                "quantity": "leaf temperature",
                "value": 3.0,
                "unit": "°C",
                "limit": 8.0,
                "at": at.isoformat(),
                "origin": "your own limit",
            }
            for name in plants
        ],
        "chance": None,
    }


def stored(document: dict[str, Any], **state: Any) -> StoredChore:
    before = datetime.fromisoformat(document["before"])
    return StoredChore(
        document["id"], document["chore"], before, document, **{"round": "dusk", **state}
    )


def a_trip(
    kind: ChoreKind = ChoreKind.CARRY_IN,
    *plants: str,
    at: datetime,
    way: tuple[str, str] = ("bench", "room"),
    site: Site = SITE,
) -> Chore:
    """A walk that the outlook expects at this hour."""
    names = plants or ("Left pot", "Right pot")
    reason = Reason(names[0], "leaf temperature", 3.4, "°C", 8.0, at, "your own limit")
    out = kind is ChoreKind.CARRY_OUT
    return Chore(
        id=f"{site.local_date(at)}-{kind.value}-{'-to-'.join(way)}",
        kind=kind,
        plants=names,
        from_spot=way[0],
        to_spot=way[1],
        not_before=at if out else None,
        before=at + timedelta(hours=4) if out else at,
        grounds=Grounds.of((names, reason)),
    )


def written(
    *told: StoredChore, expected: Sequence[Chore] = (), site: Site = SITE, now: datetime = NOW
) -> bytes:
    events = events_of(told, expected, Voice(site), now)
    return to_ics(
        [SiteCalendar(Voice(site), events, {one.id: EventVersion(0, now) for one in events})]
    )


def the_event(*told: StoredChore, **more: Any) -> Component:
    (event,) = events_in(written(*told, **more))
    return event


# -- what a chore looks like


def test_carrying_in_is_the_half_hour_before_its_deadline() -> None:
    event = the_event(stored(a_document()))

    assert event.moment("DTSTART") == local("18:10")
    assert event.moment("DTEND") == local("18:40")
    assert event.text("SUMMARY") == "Carry in: 2 plants, bench to room"
    assert event.text("STATUS") == "CONFIRMED"
    assert event.text("CATEGORIES") == "Carry in"
    assert event.text("DESCRIPTION") == (
        "Left pot, Right pot: leaf temperature down to 3.0 °C at 07:00, needs 8 °C (yours)\n"
        + NO_ALERT
    )


def test_one_plant_is_named() -> None:
    event = the_event(stored(a_document(plants=["Left pot"])))

    assert event.text("SUMMARY") == "Carry in: Left pot, bench to room"


@pytest.mark.parametrize(
    ("kind", "start", "before", "span", "summary"),
    [
        ("carry-out", "10:35", "14:00", ("10:35", "11:05"), "Put out: 2 plants, bench to bench"),
        ("carry-out", None, "10:35", ("10:05", "10:35"), "Put out: 2 plants, bench to bench"),
        ("mist", "08:30", "09:10", ("08:30", "09:10"), "Mist: 2 plants, bench"),
        ("mist", "09:10", "09:10", ("08:40", "09:10"), "Mist: 2 plants, bench"),
        ("feed", "08:30", "08:45", ("08:30", "08:45"), "Feed: 2 plants, bench"),
        ("flush", "09:00", "09:20", ("09:00", "09:20"), "Rinse: 2 plants, bench"),
        ("shade", None, "11:00", ("10:30", "11:00"), "Shade: 2 plants, bench"),
        ("cover", None, "18:40", ("18:10", "18:40"), "Cover: 2 plants, bench"),
        ("secure", None, "15:00", ("14:30", "15:00"), "Secure against gusts: 2 plants, bench"),
        ("damp-down", None, "12:00", ("11:30", "12:00"), "Damp down: 2 plants, bench"),
    ],
)
def test_each_kind_has_its_hours(
    kind: str, start: str | None, before: str, span: tuple[str, str], summary: str
) -> None:
    begins = None if start is None else local(start)
    document = a_document(f"{DAY}-{kind}-bench", kind, start=begins, before=local(before))

    event = the_event(stored(document), now=local("08:00"))

    assert (event.moment("DTSTART"), event.moment("DTEND")) == (local(span[0]), local(span[1]))
    assert event.text("SUMMARY") == summary


@pytest.mark.parametrize(
    ("kind", "start", "before", "summary"),
    [
        ("stay-in", "08:00", "19:00", "Keep in: 2 plants, bench"),
        ("stay-in", None, "23:00", "Keep in tonight: 2 plants, bench"),
        ("stop-wetting", None, "15:30", "Keep crowns dry after 15:30: 2 plants, bench"),
        ("stop-wetting", "09:00", "09:00", "Keep crowns dry: 2 plants, bench"),
    ],
)
def test_what_holds_all_day_is_of_the_day_and_of_no_hour(
    kind: str, start: str | None, before: str, summary: str
) -> None:
    begins = None if start is None else local(start)
    document = a_document(f"{DAY}-{kind}-bench", kind, start=begins, before=local(before))

    event = the_event(stored(document), now=local("08:00"))

    assert (event.time("DTSTART"), event.time("DTEND")) == (DAY, NEXT_DAY)
    assert event.text("SUMMARY") == summary


def test_every_kind_of_chore_can_be_shown() -> None:
    told = [stored(a_document(f"{DAY}-{one.value}-bench", one.value)) for one in ChoreKind]

    assert len(events_in(written(*told))) == len(ChoreKind)


def test_what_is_done_says_so() -> None:
    event = the_event(stored(a_document(), done_at=local("18:21")))

    assert event.text("SUMMARY") == "Carry in (done): 2 plants, bench to room"
    assert event.text("STATUS") == "CONFIRMED"
    assert event.text("DESCRIPTION").startswith("Done Thu 18:21\n")


def test_what_is_called_off_stays_for_some_days_and_then_goes() -> None:
    told = stored(a_document(), called_off_at=local("17:32"))
    last = local("18:40") + CANCELLED_KEPT

    event = the_event(told, now=last)

    assert event.text("STATUS") == "CANCELLED"
    assert event.text("SUMMARY") == "Carry in (not needed): 2 plants, bench to room"
    assert event.text("DESCRIPTION").startswith("No longer needed, since Thu 17:32\n")
    assert events_in(written(told, now=last + timedelta(seconds=1))) == []


def test_what_was_to_do_stays_for_a_week() -> None:
    told = stored(a_document())

    assert events_in(written(told, now=local("18:40") + KEPT))
    assert events_in(written(told, now=local("18:41") + KEPT)) == []


def test_what_a_clock_that_was_ahead_told_is_left_out() -> None:
    far = DAY + timedelta(days=300)

    assert events_in(written(stored(a_document(before=local("18:40", far))))) == []


def test_a_night_of_which_nothing_is_known_is_said_to_be_so() -> None:
    document = a_document(plants=["Left pot"])
    document["because"][0]["value"] = None

    told = the_event(stored(document)).text("DESCRIPTION")
    trip = a_trip(at=local("18:40"))
    unknown = replace(trip.grounds.reasons[0], value=None)
    expected = the_event(
        expected=[replace(trip, grounds=Grounds.of((tuple(trip.plants), unknown)))]
    )

    assert "the night is not known, so it is treated as cold" in told
    assert expected.text("DESCRIPTION").startswith(
        "Tonight's weather is not known: assume it will be cold\n"
    )


# -- what is expected


def test_an_expected_trip_is_tentative_and_its_hour_rough() -> None:
    event = the_event(expected=[a_trip(at=local("18:40", NEXT_DAY))])

    assert event.text("STATUS") == "TENTATIVE"
    assert event.text("SUMMARY") == "Carry in (expected): 2 plants, bench to room"
    assert event.moment("DTEND") == local("18:30", NEXT_DAY)
    assert event.moment("DTSTART") == local("18:00", NEXT_DAY)
    assert event.text("DESCRIPTION").splitlines() == [
        "Leaf temperature down to about 3 °C",
        "by 18:30 bench to room: Left pot, Right pot",
        "Expected, not an order yet: the hour is rough, and a newer forecast may change it",
        NO_ALERT,
    ]


def test_going_out_is_expected_no_sooner_than_it_may() -> None:
    event = the_event(expected=[a_trip(ChoreKind.CARRY_OUT, at=local("10:35", NEXT_DAY))])

    assert event.moment("DTSTART") == local("11:00", NEXT_DAY)
    assert event.moment("DTEND") == local("11:30", NEXT_DAY)
    assert "from 11:00 bench to room: Left pot, Right pot" in event.text("DESCRIPTION")


def test_the_walks_expected_of_an_evening_are_one_event_by_the_first_hour() -> None:
    event = the_event(
        expected=[
            a_trip(ChoreKind.CARRY_IN, "Left pot", at=local("18:40")),
            a_trip(ChoreKind.CARRY_IN, "Fern", at=local("17:20"), way=("wall", "hall")),
        ]
    )

    assert event.text("SUMMARY") == "Carry in (expected): 2 plants"
    assert event.moment("DTEND") == local("17:00")
    assert event.text("DESCRIPTION").splitlines()[1:3] == [
        "by 17:00 wall to hall: Fern",
        "by 18:30 bench to room: Left pot",
    ]


def test_a_plant_that_was_told_is_not_expected_beside_it() -> None:
    expected = [
        a_trip(ChoreKind.CARRY_IN, "Left pot", "Fern", at=local("18:40")),
        a_trip(ChoreKind.CARRY_IN, "Left pot", at=local("18:40", NEXT_DAY)),
    ]

    rest, told, tomorrow = events_in(written(stored(a_document()), expected=expected))

    assert told.text("STATUS") == "CONFIRMED"
    assert rest.text("SUMMARY") == "Carry in (expected): Fern, bench to room"
    assert tomorrow.text("SUMMARY") == "Carry in (expected): Left pot, bench to room"


def test_what_the_eve_told_and_the_morning_does_not_is_called_off() -> None:
    morning = local("08:30", NEXT_DAY)
    out = a_document(f"{NEXT_DAY}-carry-out-room-to-bench", "carry-out", start=morning)
    stay = a_document(f"{NEXT_DAY}-stay-in-room", "stay-in", start=morning)
    tonight = a_document(f"{NEXT_DAY}-stay-in-tonight-room", "stay-in")
    told = [
        stored(out),
        stored(stay, round="dusk"),
        stored(tonight),
        stored(a_document(f"{NEXT_DAY}-carry-in-bench-to-room")),
        stored({**out, "id": f"{NEXT_DAY}-carry-out-hall-to-bench"}, round="morning"),
        stored({**out, "id": f"{NEXT_DAY}-carry-out-x-to-y"}, done_at=morning),
    ]

    after = superseded(told, {str(NEXT_DAY): morning})

    assert [one.called_off_at for one in after] == [morning, morning, None, None, None, None]
    assert superseded(told, {str(DAY): morning}) == told


# -- clocks that are changed

BERLIN = Site("Balkon", 52.5, 13.4, 40, ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("before", "end"),
    [
        ("2026-10-25T02:30:00+02:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2026-10-25T02:30:00+01:00", datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
        ("2026-03-29T03:10:00+02:00", datetime(2026, 3, 29, 1, 10, tzinfo=UTC)),
    ],
)
def test_the_hour_that_comes_twice_and_the_one_that_is_skipped(before: str, end: datetime) -> None:
    deadline = datetime.fromisoformat(before)
    document = a_document(f"{deadline.date()}-carry-in-bench-to-room", before=deadline)

    event = the_event(stored(document), site=BERLIN, now=end - timedelta(hours=3))

    assert event.moment("DTEND") == end
    assert event.moment("DTSTART") == end - timedelta(minutes=30)


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_what_holds_all_day_holds_one_day_when_the_clocks_change(day: date) -> None:
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=BERLIN.zone)
    document = a_document(f"{day}-stay-in-bench", "stay-in", start=noon, before=noon)

    event = the_event(stored(document), site=BERLIN, now=noon)

    assert (event.time("DTSTART"), event.time("DTEND")) == (day, day + timedelta(days=1))


@pytest.mark.parametrize(
    "zone", ["Asia/Kathmandu", "Australia/Lord_Howe", "Europe/Berlin", "Pacific/Chatham"]
)
def test_expected_hours_are_full_or_half_by_every_clock(zone: str) -> None:
    site = Site("Anywhere", 10.0, 10.0, 0, ZoneInfo(zone))
    for minutes in range(0, 60 * 24 * 400, 997):
        at = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
        voice, trip = Voice(site), a_trip(ChoreKind.CARRY_OUT, at=at, site=site)
        into = events_of([], [a_trip(at=at, site=site)], voice, at)[0].end
        out = events_of([], [trip], voice, at)[0].start

        assert isinstance(into, datetime)
        assert isinstance(out, datetime)
        assert timedelta(0) <= at - into < timedelta(minutes=30)
        assert timedelta(0) <= out - at < timedelta(minutes=30)
        assert into.astimezone(site.zone).minute in (0, 30)


# -- names, and what they must not do

HOSTILE = [
    "a,b;c\\d",
    'Fern "the ; old", \\n',
    "x\r\nEND:VEVENT\r\nBEGIN:VALARM",
    "x\nATTENDEE:mailto:a@b.invalid",
    "x\u2028y\u2029z\x85\x0b\x0c\x00\x1b[31m",
    "\u202eevil\u202c\ud800",
    "Ö" * 80,
    "🌵" * 80,
    "é\u0301" * 40,
    "می\u200cخواهم",
    "\\",
    "\\\\n",
    "   ",
    "^n^'",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_text_and_nothing_else(name: str) -> None:
    _shown_safely(name)


@given(st.text(min_size=1, max_size=80))
def test_any_name_is_text_and_nothing_else(name: str) -> None:
    _shown_safely(name)


def _shown_safely(name: str) -> None:
    """Two readers see the same texts, and as many events as there are."""
    site = replace(SITE, name=name)
    document = a_document(plants=[name], way=(name, f"{name}2"))
    content = written(stored(document), expected=[a_trip(ChoreKind.CARRY_IN, name, at=NOW)])
    events = events_in(content)
    library = icalendar.Calendar.from_ical(content)
    both = [
        *zip(events, library.walk("VEVENT"), strict=True),
        (read(written(site=site)), icalendar.Calendar.from_ical(written(site=site))),
    ]

    assert len(events) in (1, 2)  # an expected trip of the plant that was told is left out
    for ours, theirs in both:
        for key in {"SUMMARY", "DESCRIPTION"} & ours.properties.keys():
            assert ours.text(key) == str(theirs[key])
    told = events[0].text("SUMMARY")
    assert all(sign in told for sign in name[:20] if sign.isalnum())


def test_what_is_too_long_is_cut_and_shows_it() -> None:
    many = [f"A plant with a rather long name, number {number}" for number in range(500)]
    document = a_document(plants=many, way=("f" * 80, "t" * 80))
    for number, reason in enumerate(document["because"]):
        reason["value"] = number / 100
    trip = a_trip(ChoreKind.CARRY_IN, *(f"Other {one}" for one in many), at=NOW)

    content = written(stored(document), expected=[trip])

    for event in events_in(content):
        assert len(event.text("SUMMARY")) <= MAX_SUMMARY
        assert len(event.text("DESCRIPTION")) <= MAX_DESCRIPTION + 100
        assert event.text("DESCRIPTION").endswith(NO_ALERT)
    expected, told = (event.text("DESCRIPTION") for event in events_in(content))
    assert re.search(r"number 0, .* and 4\d\d more\n", expected)
    assert re.search(r"\n\.\.\. and 4\d more lines\n", told)
    assert len(content) < 10_000


def test_the_calendar_says_that_it_is_no_alert_and_leaks_nothing_in_its_ids() -> None:
    content = written(stored(a_document()))
    calendar = read(content)

    assert NO_ALERT in calendar.text("DESCRIPTION")
    assert calendar.text("NAME") == calendar.text("X-WR-CALNAME") == "Test court (sillward)"
    assert b"VALARM" not in content
    assert b"ORGANIZER" not in content
    uid = calendar.parts[0].raw("UID")
    assert "bench" not in uid
    assert os.uname().nodename not in uid


def test_sites_share_a_file_and_are_told_apart() -> None:
    pages = []
    for name in ("Home", "Allotment"):
        site = replace(SITE, name=name)
        events = events_of([stored(a_document())], [], Voice(site), NOW)
        pages.append(SiteCalendar(Voice(site), events, {events[0].id: EventVersion(0, NOW)}))

    content = to_ics(pages)

    assert [one.text("LOCATION") for one in events_in(content)] == ["Home", "Allotment"]
    assert read(content).text("NAME") == "sillward"


# -- versions


def test_a_number_rises_with_each_change_and_only_then() -> None:
    ledger = Ledger(":memory:")
    later = NOW + timedelta(hours=1)

    first = ledger.calendar.versions("Home", {"a": "1", "b": "1"}, NOW)
    same = ledger.calendar.versions("Home", {"a": "1"}, later)
    other = ledger.calendar.versions("Home", {"a": "2", "b": "1", "c": "1"}, later)
    elsewhere = ledger.calendar.versions("Hut", {"a": "3"}, later)

    assert first == {"a": EventVersion(0, NOW), "b": EventVersion(0, NOW)}
    assert same == {"a": EventVersion(0, NOW)}
    assert other == {
        "a": EventVersion(1, later),
        "b": EventVersion(0, NOW),
        "c": EventVersion(0, later),
    }
    assert elsewhere == {"a": EventVersion(0, later)}


def test_what_went_and_comes_again_counts_on() -> None:
    ledger = Ledger(":memory:")
    ledger.calendar.versions("Home", {"a": "1"}, NOW)
    ledger.calendar.versions("Home", {}, NOW)

    assert ledger.calendar.versions("Home", {"a": "2"}, NOW)["a"].sequence == 1


def test_a_clock_that_is_set_back_makes_no_change_older() -> None:
    ledger = Ledger(":memory:")
    ledger.calendar.versions("Home", {"a": "1"}, NOW)

    assert ledger.calendar.versions("Home", {"a": "2"}, NOW - timedelta(days=9))[
        "a"
    ] == EventVersion(1, NOW)


def test_a_restart_does_not_reset_the_number(tmp_path: Path) -> None:
    for number in range(3):
        ledger = Ledger(tmp_path / "ledger.sqlite3")
        assert ledger.calendar.versions("Home", {"a": str(number)}, NOW)["a"].sequence == number
        ledger.close()


def test_what_is_as_it_was_writes_nothing(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite3")
    ledger.calendar.versions("Home", {"a": "1"}, NOW)
    log = tmp_path / "ledger.sqlite3-wal"
    before = log.read_bytes()

    ledger.calendar.versions("Home", {"a": "1"}, NOW + timedelta(days=1))

    assert before
    assert log.read_bytes() == before
    ledger.close()


def test_versions_are_forgotten_with_their_chores() -> None:
    ledger = Ledger(":memory:")
    old, kept = f"{DAY}-mist-bench", f"{DAY + timedelta(days=2)}-expected-carry-in"
    ledger.calendar.versions("Home", {old: "1", kept: "1"}, NOW)

    ledger.prune(NOW + timedelta(days=KEPT_DAYS + 1))

    after = ledger.calendar.versions("Home", {old: "2", kept: "2"}, NOW)
    assert {one: version.sequence for one, version in after.items()} == {old: 0, kept: 1}


# -- the daemon's file


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "sillward.ics"


def shown(path: Path) -> dict[str, Component]:
    return {one.raw("UID"): one for one in events_in(path.read_bytes())}


def summaries(path: Path) -> list[str]:
    return [one.text("SUMMARY") for one in events_in(path.read_bytes())]


def newer(world: World, low_c: float) -> None:
    """The next forecast is due, and says this."""
    world.source.low_c = low_c
    world.clock.move(minutes=80)
    plan = world.ledger.calls.get(world.source.name)
    assert plan is not None
    due = replace(plan, next_at=world.clock.now - timedelta(hours=1))
    world.ledger.calls.keep(world.source.name, due)


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
    of_tonight = [one for one in after.values() if one.time("DTEND") == told.time("DTEND")]
    assert of_tonight == [told]
    tentative = {one.text("STATUS") for one in after.values()} - {"CONFIRMED"}
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
    world.ledger.finish(SITE.name, f"{NEXT_DAY}-carry-out-room-to-bench", world.clock.now, {})
    unchanged = uid_of(SITE, chore)
    publisher.update()

    assert (first.raw("SEQUENCE"), first.text("STATUS")) == ("0", "CONFIRMED")
    assert (off.raw("SEQUENCE"), off.text("STATUS")) == ("1", "CANCELLED")
    assert first.moment("LAST-MODIFIED") == NOW
    assert off.moment("LAST-MODIFIED") == off.moment("DTSTAMP") == world.clock.now
    assert shown(path)[unchanged].properties == off.properties


def test_what_is_acknowledged_shows_at_the_next_tick(path: Path) -> None:
    world = a_world("17:00", low_c=3.0)
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()

    world.clock.move(minutes=30)
    world.ledger.finish(SITE.name, f"{DAY}-carry-in-bench-to-room", world.clock.now, {})
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


def test_a_file_that_was_taken_away_comes_again(path: Path) -> None:
    world = a_world("17:00")
    desk = world.desk
    publisher = CalendarPublisher(path, [desk.context])
    desk.tick()
    publisher.update()
    before = path.read_bytes()
    path.unlink()

    publisher.update()

    assert path.read_bytes() == before


def test_days_that_pass_take_what_is_old_out(path: Path) -> None:
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


def test_a_failure_is_told_in_the_log_once_in_a_while_and_harms_no_notice(
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
    warned = [one for one in caplog.messages if one.startswith("calendar.failed")]
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

    monkeypatch.setattr(CalendarTable, "versions", fail)

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

    places = {one.text("LOCATION") for one in events_in(path.read_bytes())}
    assert places == {"Test court", "Hut"}


@pytest.mark.parametrize("days", [21, pytest.param(365, marks=pytest.mark.slow)])
def test_a_year_of_days_stays_small(days: int, path: Path) -> None:
    """Two rounds a day, cold and mild nights by turns, every second order acknowledged."""
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
                for one in world.ledger.chores.due_since(SITE.name, world.clock.now):
                    world.ledger.finish(SITE.name, one.id, world.clock.now, {})
            publisher.update()
            content = path.read_bytes()
            largest = max(largest, len(content))
            _check_numbers(events_in(content), numbers)
    (events,) = world.ledger.database.rows("SELECT COUNT(*) FROM event")

    assert largest < 40_000
    assert events[0] < 20 * (KEPT_DAYS + 10)
    assert max(number for number, _ in numbers.values()) > 0
    assert desk.defects.events == []


def _check_numbers(events: Sequence[Component], numbers: dict[str, tuple[int, object]]) -> None:
    """A number is one higher where anything else is another than before, and the same elsewhere."""
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


def test_a_link_that_leads_nowhere_makes_no_file_there(path: Path, tmp_path: Path) -> None:
    path.symlink_to(tmp_path / "elsewhere.ics")

    with pytest.raises(CalendarError, match="leads nowhere"):
        write_calendar(path, calendar())

    assert os.listdir(tmp_path) == [path.name]


def test_the_calendar_of_another_program_is_not_written_over(path: Path) -> None:
    theirs = calendar().replace(b"sillward", b"another")
    path.write_bytes(theirs)

    with pytest.raises(CalendarError, match="holds something else"):
        write_calendar(path, calendar())

    assert path.read_bytes() == theirs


@pytest.fixture
def ledger_file(tmp_path: Path) -> Path:
    Ledger(tmp_path / "ledger.sqlite3").close()
    return tmp_path / "ledger.sqlite3"


def test_what_is_no_calendar_is_not_written_over(ledger_file: Path) -> None:
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


def test_a_page_needs_no_forecast() -> None:
    world = a_world("17:00", low_c=3.0)
    world.desk.tick()

    made = site_calendar(world.ledger, VOICE, (), NOW)

    assert [one.status for one in made.events] == [Status.CONFIRMED] * len(made.events)
    assert made.events
    assert world.ledger.rounds.told_at(SITE.name, Round.DUSK.value, DAY) is not None
