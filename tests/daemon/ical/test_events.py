"""The events of a calendar as two readers see them: a strict one of ours, and another library."""

import os
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.ical.events import (
    CANCELLED_KEPT,
    KEPT,
    MAX_DESCRIPTION,
    MAX_SUMMARY,
    SiteCalendar,
    events_of,
    superseded,
)
from sillward.ical.ics import to_ics
from sillward.ledger import CalendarEventVersion, StoredChore
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.weather.site import Site
from tests.support.chores import a_chore
from tests.support.desks import DAY, SITE, local
from tests.support.ical_rules import Component, events_in, read

NOW = local("17:00")
NEXT_DAY = DAY + timedelta(days=1)
VOICE = Voice(SITE)
NO_ALERT = VOICE.say("no_alert")


def told_as(
    chore_id: str = f"{DAY}-carry-in-bench-to-room",
    kind: str = "carry-in",
    *,
    plants: Sequence[str] = ("Left pot", "Right pot"),
    start: datetime | None = None,
    before: datetime | None = None,
    way: tuple[str, str] | None = None,
    values: Sequence[float | None] = (3.0,),
) -> Chore:
    return a_chore(
        chore_id,
        before or local("18:40"),
        ChoreKind(kind),
        plants,
        way or ("bench", "room" if kind == "carry-in" else "bench"),
        start=start,
        at=local("07:00", NEXT_DAY),
        values=values,
    )


def stored(chore: Chore, **state: Any) -> StoredChore:
    return StoredChore(chore, **{"round": "dusk", **state})


def a_trip(
    kind: ChoreKind = ChoreKind.CARRY_IN,
    *plants: str,
    at: datetime,
    way: tuple[str, str] = ("bench", "room"),
    site: Site = SITE,
) -> Chore:
    """Return a trip that the outlook expects at this hour."""
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
        [
            SiteCalendar(
                Voice(site), events, {event.id: CalendarEventVersion(0, now) for event in events}
            )
        ]
    )


def the_event(*told: StoredChore, **more: Any) -> Component:
    (event,) = events_in(written(*told, **more))
    return event


# -- what a chore looks like


def test_carrying_in_is_the_half_hour_before_its_deadline() -> None:
    event = the_event(stored(told_as()))

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
    event = the_event(stored(told_as(plants=["Left pot"])))

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
    chore = told_as(f"{DAY}-{kind}-bench", kind, start=begins, before=local(before))

    event = the_event(stored(chore), now=local("08:00"))

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
def test_a_chore_that_lasts_all_day_is_an_all_day_event(
    kind: str, start: str | None, before: str, summary: str
) -> None:
    begins = None if start is None else local(start)
    chore = told_as(f"{DAY}-{kind}-bench", kind, start=begins, before=local(before))

    event = the_event(stored(chore), now=local("08:00"))

    assert (event.time("DTSTART"), event.time("DTEND")) == (DAY, NEXT_DAY)
    assert event.text("SUMMARY") == summary


def test_every_kind_of_chore_can_be_shown() -> None:
    told = [stored(told_as(f"{DAY}-{kind.value}-bench", kind.value)) for kind in ChoreKind]

    assert len(events_in(written(*told))) == len(ChoreKind)


def test_a_confirmed_chore_says_so() -> None:
    event = the_event(stored(told_as(), done_at=local("18:21")))

    assert event.text("SUMMARY") == "Carry in (done): 2 plants, bench to room"
    assert event.text("STATUS") == "CONFIRMED"
    assert event.text("DESCRIPTION").startswith("Done Thu 18:21\n")


def test_a_chore_that_the_grower_declined_stays_and_says_so() -> None:
    event = the_event(stored(told_as(), declined_at=local("18:21")))

    assert event.text("SUMMARY") == "Carry in (not needed): 2 plants, bench to room"
    assert event.text("STATUS") == "CONFIRMED"
    assert event.text("DESCRIPTION").startswith("Not needed, you said Thu 18:21\n")


def test_a_cancelled_chore_stays_for_some_days() -> None:
    told = stored(told_as(), called_off_at=local("17:32"))
    last = local("18:40") + CANCELLED_KEPT

    event = the_event(told, now=last)

    assert event.text("STATUS") == "CANCELLED"
    assert event.text("SUMMARY") == "Carry in (not needed): 2 plants, bench to room"
    assert event.text("DESCRIPTION").startswith("No longer needed, since Thu 17:32\n")
    assert events_in(written(told, now=last + timedelta(seconds=1))) == []


def test_a_past_chore_stays_for_a_week() -> None:
    told = stored(told_as())

    assert events_in(written(told, now=local("18:40") + KEPT))
    assert events_in(written(told, now=local("18:41") + KEPT)) == []


def test_a_chore_told_while_the_clock_was_ahead_is_left_out() -> None:
    far = DAY + timedelta(days=300)

    assert events_in(written(stored(told_as(before=local("18:40", far))))) == []


def test_an_unknown_night_is_called_unknown() -> None:
    told = the_event(stored(told_as(plants=["Left pot"], values=[None]))).text("DESCRIPTION")
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


def test_an_expected_trip_is_tentative_and_its_hour_is_rounded() -> None:
    event = the_event(expected=[a_trip(at=local("18:40", NEXT_DAY))])

    assert event.text("STATUS") == "TENTATIVE"
    assert event.text("SUMMARY") == "Carry in (expected): 2 plants, bench to room"
    assert event.moment("DTEND") == local("18:30", NEXT_DAY)
    assert event.moment("DTSTART") == local("18:00", NEXT_DAY)
    assert event.text("DESCRIPTION").splitlines() == [
        "Leaf temperature down to about 3 °C",
        "by 18:30 bench to room: Left pot, Right pot",
        "Expected, not an order yet: the hour is approximate, and a newer forecast may change it",
        NO_ALERT,
    ]


def test_an_expected_trip_out_is_never_too_early() -> None:
    event = the_event(expected=[a_trip(ChoreKind.CARRY_OUT, at=local("10:35", NEXT_DAY))])

    assert event.moment("DTSTART") == local("11:00", NEXT_DAY)
    assert event.moment("DTEND") == local("11:30", NEXT_DAY)
    assert "from 11:00 bench to room: Left pot, Right pot" in event.text("DESCRIPTION")


def test_expected_trips_of_an_evening_are_one_event_at_the_first_hour() -> None:
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


def test_a_plant_that_was_told_is_not_also_expected() -> None:
    expected = [
        a_trip(ChoreKind.CARRY_IN, "Left pot", "Fern", at=local("18:40")),
        a_trip(ChoreKind.CARRY_IN, "Left pot", at=local("18:40", NEXT_DAY)),
    ]

    rest, told, tomorrow = events_in(written(stored(told_as()), expected=expected))

    assert told.text("STATUS") == "CONFIRMED"
    assert rest.text("SUMMARY") == "Carry in (expected): Fern, bench to room"
    assert tomorrow.text("SUMMARY") == "Carry in (expected): Left pot, bench to room"


def test_a_chore_of_the_dusk_round_is_called_off_if_the_morning_omits_it() -> None:
    morning = local("08:30", NEXT_DAY)
    out = told_as(f"{NEXT_DAY}-carry-out-room-to-bench", "carry-out", start=morning)
    stay = told_as(f"{NEXT_DAY}-stay-in-room", "stay-in", start=morning)
    tonight = told_as(f"{NEXT_DAY}-stay-in-tonight-room", "stay-in")
    told = [
        stored(out),
        stored(stay, round="dusk"),
        stored(tonight),
        stored(told_as(f"{NEXT_DAY}-carry-in-bench-to-room")),
        stored(replace(out, id=f"{NEXT_DAY}-carry-out-hall-to-bench"), round="morning"),
        stored(replace(out, id=f"{NEXT_DAY}-carry-out-x-to-y"), done_at=morning),
    ]

    after = superseded(told, {str(NEXT_DAY): morning})

    assert [event.called_off_at for event in after] == [morning, morning, None, None, None, None]
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
    chore = told_as(f"{deadline.date()}-carry-in-bench-to-room", before=deadline)

    event = the_event(stored(chore), site=BERLIN, now=end - timedelta(hours=3))

    assert event.moment("DTEND") == end
    assert event.moment("DTSTART") == end - timedelta(minutes=30)


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_an_all_day_event_lasts_one_day_when_the_clocks_change(day: date) -> None:
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=BERLIN.zone)
    chore = told_as(f"{day}-stay-in-bench", "stay-in", start=noon, before=noon)

    event = the_event(stored(chore), site=BERLIN, now=noon)

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
    """Check that two readers see the same texts, and as many events as there are."""
    site = replace(SITE, name=name)
    chore = told_as(plants=[name], way=(name, f"{name}2"))
    content = written(stored(chore), expected=[a_trip(ChoreKind.CARRY_IN, name, at=NOW)])
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


def test_long_texts_are_cut_with_an_ellipsis() -> None:
    many = [f"A plant with a rather long name, number {number}, left" for number in range(500)]
    values = [number / 100 for number in range(len(many))]
    chore = told_as(plants=many, way=("f" * 80, "t" * 80), values=values)
    trip = a_trip(ChoreKind.CARRY_IN, *(f"Other {name}" for name in many), at=NOW)

    content = written(stored(chore), expected=[trip])

    for event in events_in(content):
        assert len(event.text("SUMMARY")) <= MAX_SUMMARY
        assert len(event.text("DESCRIPTION")) <= MAX_DESCRIPTION + 100
        assert event.text("DESCRIPTION").endswith(NO_ALERT)
    expected, told = (event.text("DESCRIPTION") for event in events_in(content))
    assert re.search(r"number 0, .* and 4\d\d more\n", expected)
    assert re.search(r"\n\.\.\. and 4\d more lines\n", told)
    assert len(content) < 10_000


def test_the_calendar_says_that_it_is_no_alert_and_leaks_nothing_in_its_ids() -> None:
    content = written(stored(told_as()))
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
        events = events_of([stored(told_as())], [], Voice(site), NOW)
        pages.append(
            SiteCalendar(Voice(site), events, {events[0].id: CalendarEventVersion(0, NOW)})
        )

    content = to_ics(pages)

    assert [event.text("LOCATION") for event in events_in(content)] == ["Home", "Allotment"]
    assert read(content).text("NAME") == "sillward"
