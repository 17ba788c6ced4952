"""Rounds: each due once on each local date, whatever the clocks and the sun do there."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward.config.household import Rounds
from sillward.service import due_rounds
from sillward.service.due_rounds import Occasion
from sillward_rules.sheet import Round
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Daylight, day_events
from sillward_rules.weather.time_expressions import parse_moment, parse_weekly

BERLIN = Site("Berlin", 52.5, 13.4, 34, ZoneInfo("Europe/Berlin"))
NEW_YORK = Site("New York", 40.7, -74.0, 10, ZoneInfo("America/New_York"))
LORD_HOWE = Site("Lord Howe", -31.55, 159.08, 5, ZoneInfo("Australia/Lord_Howe"))
SANTIAGO = Site("Santiago", -33.45, -70.67, 520, ZoneInfo("America/Santiago"))
MENDOZA = Site("Mendoza", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))
KIRITIMATI = Site("Kiritimati", 1.87, -157.4, 3, ZoneInfo("Pacific/Kiritimati"))
TROMSO = Site("Tromsø", 69.65, 18.96, 10, ZoneInfo("Europe/Oslo"))

CHANGING = [BERLIN, NEW_YORK, LORD_HOWE, SANTIAGO]
"""Clocks change by an hour, by half an hour (Lord Howe), and at midnight (Santiago)."""

FIRST, DAYS = date(2026, 1, 1), 730
STEP = timedelta(minutes=20)

# Skipped or repeated somewhere: 02:30 in Berlin and New York, 02:15 in Lord Howe (skipped),
# 01:45 there and 01:30 in New York (repeated), 00:30 in Santiago (skipped), 23:30 (repeated).
CLOCKS = ["00:00", "00:30", "01:30", "01:45", "02:15", "02:30", "23:30", "sunset-90min"]


def named(site: Site) -> str:
    return site.name


def told(moment: str = "sunset-90min", *, morning: str | None = None) -> Rounds:
    return Rounds(
        dusk=parse_moment(moment),
        morning=parse_moment(morning or moment),
        week=parse_weekly(f"sun {moment}"),
    )


def days(first: date = FIRST, count: int = DAYS) -> Iterator[date]:
    return (first + timedelta(days=offset) for offset in range(count))


def clock_changes(site: Site) -> list[date]:
    """Local dates within the two years at whose start and end the offset differs."""

    def offset(day: date) -> timedelta | None:
        return datetime.combine(day, time(0), tzinfo=site.zone).utcoffset()

    return [day for day in days() if offset(day) != offset(day + timedelta(days=1))]


@pytest.mark.parametrize("site", CHANGING, ids=named)
def test_the_sites_change_their_clocks_twice_a_year(site: Site) -> None:
    """Without this the tests below could pass by testing nothing."""
    assert len(clock_changes(site)) == 4


@pytest.mark.parametrize("moment", CLOCKS)
@pytest.mark.parametrize("site", [*CHANGING, MENDOZA, KIRITIMATI], ids=named)
def test_every_round_becomes_due_once_on_each_local_date(site: Site, moment: str) -> None:
    """Two years in steps of twenty minutes, as a daemon that always runs goes through them."""
    start = datetime(2025, 12, 28, tzinfo=UTC).timestamp()
    ticks = np.arange(start, start + (DAYS + 8) * 86400, STEP.total_seconds())

    found = [occasion for day in days() for occasion in due_rounds.of_day(site, told(moment), day)]

    for occasion in found:
        first = np.searchsorted(ticks, occasion.due_at.timestamp())
        assert ticks[first] < occasion.until.timestamp()
        assert site.local_date(occasion.due_at) == occasion.day
    counted = Counter((occasion.round, occasion.day) for occasion in found)
    assert set(counted.values()) == {1}
    assert [day for round_, day in counted if round_ is Round.DUSK] == list(days())
    assert [day for round_, day in counted if round_ is Round.MORNING] == list(days())
    assert all(day.weekday() == 6 for round_, day in counted if round_ is Round.WEEK)
    assert sum(round_ is Round.WEEK for round_, _ in counted) == 104


@pytest.mark.parametrize("moment", CLOCKS)
@pytest.mark.parametrize("site", [*CHANGING, KIRITIMATI], ids=named)
def test_a_round_comes_about_a_day_after_the_one_before(site: Site, moment: str) -> None:
    by_round: dict[Round, list[Occasion]] = {round_: [] for round_ in Round}
    for day in days():
        for occasion in due_rounds.of_day(site, told(moment), day):
            by_round[occasion.round].append(occasion)

    for round_, least in ((Round.DUSK, 1), (Round.MORNING, 1), (Round.WEEK, 7)):
        for before, after in pairwise(by_round[round_]):
            apart = after.due_at - before.due_at - timedelta(days=least)
            assert abs(apart) <= timedelta(hours=1, minutes=5)


@pytest.mark.parametrize("moment", CLOCKS)
@pytest.mark.parametrize("site", CHANGING, ids=named)
def test_ticks_around_a_clock_change_meet_each_round_once(site: Site, moment: str) -> None:
    """Asked tick by tick, the answer is the same: every date, and no date twice."""
    for change in clock_changes(site):
        now = datetime.combine(change - timedelta(days=2), time(0), tzinfo=UTC)
        met: dict[tuple[Round, date], datetime] = {}
        for _ in range(int(timedelta(days=5) / STEP)):
            for occasion in due_rounds.occasions(site, told(moment), now):
                assert occasion.due_at <= now < occasion.until
                met.setdefault((occasion.round, occasion.day), now)
            now += STEP

        for day in days(change - timedelta(days=1), 3):
            assert (Round.DUSK, day) in met
            assert (Round.MORNING, day) in met
        fresh = [occasion for occasion in met if occasion[1] >= change - timedelta(days=1)]
        due = {
            (occasion.round, occasion.day): occasion.due_at
            for _, day in fresh
            for occasion in due_rounds.of_day(site, told(moment), day)
        }
        assert all(timedelta(0) <= met[occasion] - due[occasion] < STEP for occasion in fresh)


@pytest.mark.parametrize(
    ("site", "day", "clock", "utc"),
    [
        (BERLIN, date(2026, 3, 29), "02:30", "2026-03-29T01:30"),  # clocks show 03:30
        (BERLIN, date(2026, 10, 25), "02:30", "2026-10-25T00:30"),  # the first of two
        (BERLIN, date(2026, 3, 30), "00:30", "2026-03-29T22:30"),  # the day after the change
        (NEW_YORK, date(2026, 3, 8), "02:30", "2026-03-08T07:30"),
        (NEW_YORK, date(2026, 11, 1), "01:30", "2026-11-01T05:30"),
        (LORD_HOWE, date(2026, 10, 4), "02:15", "2026-10-03T15:45"),  # by half an hour only
        (LORD_HOWE, date(2026, 4, 5), "01:45", "2026-04-04T14:45"),
        (SANTIAGO, date(2026, 9, 6), "00:30", "2026-09-06T04:30"),  # there is no midnight
        (SANTIAGO, date(2026, 4, 4), "23:30", "2026-04-05T02:30"),
    ],
)
def test_a_clock_time_that_is_skipped_or_repeated_is_one_moment(
    site: Site, day: date, clock: str, utc: str
) -> None:
    occasions = due_rounds.of_day(site, told(clock), day)

    due = {occasion.round: occasion.due_at for occasion in occasions}
    assert due[Round.DUSK] == datetime.fromisoformat(utc).replace(tzinfo=UTC)


# -- how long a round is worth telling


def test_dusk_is_worth_telling_until_sunrise_and_morning_until_noon() -> None:
    day = date(2026, 5, 14)

    morning, dusk = due_rounds.of_day(MENDOZA, told("17:00", morning="08:30"), day)

    assert morning.until == MENDOZA.middle_of_day(day)
    assert dusk.until == day_events(MENDOZA, day + timedelta(days=1)).sunrise


def test_a_morning_round_after_noon_is_still_worth_telling_for_an_hour() -> None:
    morning, *_ = due_rounds.of_day(MENDOZA, told("17:00", morning="14:00"), date(2026, 5, 14))

    assert morning.until - morning.due_at == timedelta(hours=1)


def test_a_week_sheet_is_worth_telling_for_a_day() -> None:
    *_, week = due_rounds.of_day(MENDOZA, told("17:00"), date(2026, 5, 17))

    assert week.round is Round.WEEK
    assert week.until - week.due_at == timedelta(hours=24)


def local(text: str, site: Site = MENDOZA) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=site.zone)


@pytest.mark.parametrize(
    ("now", "due"),
    [
        ("2026-05-14 08:29", []),
        ("2026-05-14 08:30", [Round.MORNING]),
        ("2026-05-14 15:00", []),
        ("2026-05-14 17:00", [Round.DUSK]),
        ("2026-05-15 03:00", [Round.DUSK]),
        ("2026-05-15 08:29", []),
        ("2026-05-17 18:00", [Round.DUSK, Round.WEEK]),
        ("2026-05-18 10:00", [Round.WEEK, Round.MORNING]),
    ],
)
def test_what_is_due_at_an_hour(now: str, due: list[Round]) -> None:
    plan = Rounds(parse_moment("17:00"), parse_moment("08:30"), parse_weekly("sun 18:00"))

    found = due_rounds.occasions(MENDOZA, plan, local(now))

    assert [occasion.round for occasion in found] == due


def test_every_dusk_moment_that_a_file_may_say_is_told_on_some_tick() -> None:
    """In Berlin's June the night lasts seven hours: sunset+8h is after sunrise."""
    (dusk,) = [
        occasion
        for occasion in due_rounds.of_day(BERLIN, told("sunset+8h"), date(2026, 6, 20))
        if occasion.round is Round.DUSK
    ]

    assert dusk.due_at < dusk.until


# -- the next ones, and the one that is meant


@pytest.mark.parametrize("site", [*CHANGING, MENDOZA, KIRITIMATI], ids=named)
def test_the_next_round_is_in_the_future_and_none_is_left_out(site: Site) -> None:
    plan = told("00:30", morning="06:00")
    for change in clock_changes(site)[:2] or [FIRST]:
        now = datetime.combine(change - timedelta(days=1), time(0), tzinfo=UTC)
        for _ in range(int(timedelta(days=3) / STEP)):
            ahead = due_rounds.upcoming(site, plan, now)

            assert set(ahead) == set(Round)
            for round_, within in ((Round.DUSK, 1), (Round.MORNING, 1), (Round.WEEK, 7)):
                wait = ahead[round_].due_at - now
                assert timedelta(0) < wait <= timedelta(days=within, hours=1)
            now += STEP


def test_a_round_told_now_is_the_one_that_is_due() -> None:
    plan = told("17:00", morning="08:30")

    at_night = due_rounds.current(MENDOZA, plan, Round.DUSK, local("2026-05-15 02:00"))

    assert at_night.day == date(2026, 5, 14)


def test_a_round_told_early_is_todays() -> None:
    plan = told("17:00", morning="08:30")

    early = due_rounds.current(MENDOZA, plan, Round.DUSK, local("2026-05-14 16:00"))

    assert early.day == date(2026, 5, 14)
    assert early.due_at == local("2026-05-14 17:00")


def test_a_week_sheet_can_be_told_on_any_day() -> None:
    now = local("2026-05-13 10:00")

    midweek = due_rounds.current(MENDOZA, told("17:00"), Round.WEEK, now)

    assert midweek.day == date(2026, 5, 13)
    assert midweek.due_at <= now < midweek.until


@pytest.mark.parametrize(
    ("now", "nearest"),
    [
        ("2026-05-14 03:00", Round.DUSK),
        ("2026-05-14 07:00", Round.MORNING),
        ("2026-05-14 12:00", Round.MORNING),
        ("2026-05-14 14:00", Round.DUSK),
        ("2026-05-14 22:00", Round.DUSK),
    ],
)
def test_a_look_is_about_the_round_nearest_in_time(now: str, nearest: Round) -> None:
    assert due_rounds.nearest(MENDOZA, local(now)) is nearest


# -- where the sun does not set or rise


@pytest.mark.parametrize(
    ("middle", "daylight"),
    [
        (date(2026, 6, 21), Daylight.ALWAYS_UP),
        (date(2026, 12, 21), Daylight.ALWAYS_DOWN),
        (date(2026, 5, 18), None),  # the first days without a sunset
        (date(2026, 7, 26), None),  # and the last
        (date(2026, 11, 26), None),
        (date(2026, 1, 15), None),
    ],
)
def test_rounds_by_the_sun_exist_in_polar_day_and_night(
    middle: date, daylight: Daylight | None
) -> None:
    plan = told("sunset-90min", morning="sunrise+15min")
    for day in days(middle - timedelta(days=4), 8):
        assert daylight in (None, day_events(TROMSO, day).daylight)

        occasions = list(due_rounds.of_day(TROMSO, plan, day))

        assert {occasion.round for occasion in occasions} >= {Round.DUSK, Round.MORNING}
        assert all(occasion.due_at < occasion.until for occasion in occasions)
        for hour in range(0, 24, 6):
            now = datetime.combine(day, time(hour), tzinfo=UTC)
            due_rounds.occasions(TROMSO, plan, now)
            due_rounds.nearest(TROMSO, now)
            assert set(due_rounds.upcoming(TROMSO, plan, now)) == set(Round)


def test_dusk_comes_once_a_day_through_a_polar_summer() -> None:
    plan = told("sunset-90min", morning="sunrise+15min")
    due = []
    for day in days(date(2026, 5, 10), 20):
        due += [
            occasion.due_at
            for occasion in due_rounds.of_day(TROMSO, plan, day)
            if occasion.round is Round.DUSK
        ]

    apart = [after - before for before, after in pairwise(due)]
    assert min(apart) > timedelta(hours=18)
    assert max(apart) < timedelta(hours=30)
