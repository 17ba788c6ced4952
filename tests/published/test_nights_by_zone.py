"""Nights are the right hours wherever clocks are odd: beside half and quarter hours, and on the
dates around both clock changes of a year.

Held against zoneinfo (the evening's date told by hand, the changes found by walking through the
year) and NREL's Solar Position Algorithm as pvlib has it; neither shares code with the core.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest

from sillward_rules.chore import ChoreKind
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site
from tests.support.core import collection, fetched, plant, weather

HORIZON_DEG = -0.833
"""US Naval Observatory: the centre of the sun when its upper edge is on the horizon (50')."""

EITHER_WAY_DEG = 0.1
DELTA_T_S = 69.0
LIMIT_C, MILD_C, COLD_C = 13.0, 20.0, 2.0

HOUR = timedelta(hours=1)
HALF_PAST_THREE = time(3, 30)

# zone, latitude, longitude (degrees, rounded; from memory), year
STEADY = [
    ("Asia/Kolkata", 22.57, 88.36, 2026),
    ("Asia/Kathmandu", 27.72, 85.32, 2026),
    ("Asia/Yangon", 16.87, 96.2, 2026),
    ("Asia/Kabul", 34.53, 69.17, 2026),
    ("Asia/Colombo", 6.93, 79.85, 2026),
    ("Australia/Darwin", -12.46, 130.84, 2026),
    ("Australia/Eucla", -31.68, 128.88, 2026),
    ("Pacific/Marquesas", -9.0, -139.5, 2026),
    ("Asia/Shanghai", 43.83, 87.62, 2026),  # two hours late in the west
    ("Pacific/Kiritimati", 1.87, -157.4, 2026),  # UTC+14
]
"""Clocks that are never changed: beside half and quarter hours, or far from the sun."""

CHANGED = [
    ("Asia/Tehran", 35.69, 51.39, 2022),  # the last year of its summer time; the gap at midnight
    ("Australia/Adelaide", -34.93, 138.6, 2026),
    ("Australia/Lord_Howe", -31.55, 159.08, 2026),  # summer time is half an hour
    ("America/St_Johns", 47.56, -52.71, 2026),
    ("Pacific/Chatham", -43.95, -176.56, 2026),  # changes at 02:45, east of the date line by clock
    ("Europe/Lisbon", 38.72, -9.14, 2026),
    ("Europe/London", 51.5, -0.13, 2026),
    ("Europe/Dublin", 53.35, -6.26, 2026),  # winter time is the exception there
    ("Europe/Berlin", 52.52, 13.4, 2026),
    ("Atlantic/Azores", 37.74, -25.67, 2026),  # changes at midnight and at one
    ("America/New_York", 40.69, -74.17, 2026),
    ("America/Los_Angeles", 34.05, -118.24, 2026),
    ("America/Havana", 23.13, -82.36, 2026),  # the gap at midnight
    ("America/Santiago", -33.45, -70.67, 2026),  # likewise, in the southern spring
    ("America/Asuncion", -25.28, -57.63, 2024),  # likewise; its last year of changes
    ("Africa/Cairo", 30.04, 31.24, 2026),  # likewise; back at midnight too
    ("Asia/Beirut", 33.89, 35.5, 2026),  # likewise
    ("Australia/Sydney", -33.87, 151.21, 2026),
    ("Pacific/Auckland", -36.85, 174.76, 2026),
    ("Pacific/Norfolk", -29.03, 167.95, 2026),
]
"""Clocks that are changed twice in that year, some beside half hours as well."""

LOOKED_AT = (date(2026, 3, 29), date(2026, 10, 25))
"""Dates for clocks that are never changed: those on which Europe changes its own."""


@dataclass(frozen=True)
class Place:
    """A site and the moments around which its nights are looked at (UTC)."""

    site: Site
    moments: tuple[datetime, ...]

    @property
    def dates(self) -> list[date]:
        """The local dates around the moments, from three days before to two after."""
        middles = [at.astimezone(self.site.zone).date() for at in self.moments]
        return [middle + timedelta(days=days) for middle in middles for days in range(-3, 3)]

    def by_clock(self, day: date, clock: time, fold: int = 0) -> datetime:
        """What the clocks on the wall say, in UTC; a skipped time as much later as the skip."""
        return datetime.combine(day, clock.replace(fold=fold), self.site.zone).astimezone(UTC)


def changes(zone: ZoneInfo, year: int) -> list[datetime]:
    """Every minute at which the zone's clocks are changed in a year (UTC)."""

    def offset(at: datetime) -> timedelta | None:
        return at.astimezone(zone).utcoffset()

    start = datetime(year, 1, 1, tzinfo=UTC)
    hours = [start + count * HOUR for count in range(366 * 24)]
    return [
        next(
            hour + timedelta(minutes=minute)
            for minute in range(1, 61)
            if offset(hour + timedelta(minutes=minute)) != offset(hour)
        )
        for hour in hours
        if offset(hour) != offset(hour + HOUR)
    ]


@cache
def place_of(name: str, latitude: float, longitude: float, year: int) -> Place:
    zone = ZoneInfo(name)
    moments = changes(zone, year) or [
        datetime.combine(day, time(12), zone).astimezone(UTC) for day in LOOKED_AT
    ]
    return Place(Site(name, latitude, longitude, 0, zone), tuple(moments))


ZONES = [*STEADY, *CHANGED]


def _cases(zones: Sequence[tuple[str, float, float, int]]) -> list[object]:
    """Return the cases of a test; every second zone is in the slow set."""
    return [
        pytest.param(zone, marks=[pytest.mark.slow] if number % 2 else [], id=zone[0])
        for number, zone in enumerate(zones)
    ]


anywhere = pytest.mark.parametrize("zone", _cases(ZONES))
where_clocks_change = pytest.mark.parametrize("zone", _cases(CHANGED))


@pytest.fixture
def place(zone: tuple[str, float, float, int]) -> Place:
    return place_of(*zone)


def elevation(site: Site, hours: list[datetime]) -> np.ndarray:
    """Of the sun's centre, refraction left out [deg], by pvlib."""
    position = pvlib.solarposition.spa_python(
        pd.DatetimeIndex(hours), site.latitude, site.longitude, delta_t=DELTA_T_S
    )
    return np.asarray(position["elevation"])


def dark_hours(place: Place, evening: date) -> tuple[set[datetime], set[datetime]]:
    """The full UTC hours from noon of a date to noon of the next, by the clocks on the wall, at
    which the sun is down: those that must be in the night, and those that may be."""
    noon, next_noon = (
        place.by_clock(day, time(12)) for day in (evening, evening + timedelta(days=1))
    )
    first = noon.replace(minute=0) + (HOUR if noon.minute else timedelta(0))
    hours = [first + count * HOUR for count in range(26) if first + count * HOUR < next_noon]
    up = elevation(place.site, hours) - HORIZON_DEG
    must = {at for at, above in zip(hours, up, strict=True) if above < -EITHER_WAY_DEG}
    may = {at for at, above in zip(hours, up, strict=True) if above < EITHER_WAY_DEG}
    return must, may


def mild_but(cold: datetime) -> Weather:
    """Six mild days with one cold hour in the middle."""
    start = cold - timedelta(hours=72)
    temp = np.full(144, MILD_C)
    temp[72] = COLD_C
    return weather(start, temp)


def carried_in(place: Place, of: Weather, evening: date) -> list[datetime]:
    """When it is coldest, by the dusk sheet of a date, told at 15:00; nothing if nobody goes in."""
    now = place.by_clock(evening, time(15))
    household = collection(plant(night_low=LIMIT_C), site=place.site)
    sheet = draw_up(Round.DUSK, household, fetched(of, now), {}, now)
    return [
        chore.because[0].at.astimezone(UTC)
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN
    ]


def judged_cold(place: Place, cold: datetime) -> dict[date, list[datetime]]:
    """The evenings around a cold hour whose dusk sheets carry in, with the hour they name."""
    day = cold.astimezone(place.site.zone).date()
    evenings = [day + timedelta(days=days) for days in (-2, -1, 0, 1)]
    of = mild_but(cold)
    found = {evening: carried_in(place, of, evening) for evening in evenings}
    return {evening: hours for evening, hours in found.items() if hours}


def evening_of(place: Place, at: datetime) -> date:
    """By hand: up to noon by the clock on the wall an hour belongs to the evening before."""
    local = at.astimezone(place.site.zone)
    return local.date() if local.hour >= 12 else local.date() - timedelta(days=1)


def test_clocks_are_changed_twice_or_never() -> None:
    assert {len(changes(ZoneInfo(name), year)) for name, _, _, year in STEADY} == {0}
    assert {len(changes(ZoneInfo(name), year)) for name, _, _, year in CHANGED} == {2}


@anywhere
def test_a_night_is_the_hours_at_which_the_sun_is_down(place: Place) -> None:
    for evening in place.dates:
        must, may = dark_hours(place, evening)
        night = sun.night_of(place.site, evening)
        first = night.start.replace(minute=0, second=0, microsecond=0)
        hours = {first + count * HOUR for count in range(26)}
        inside = {at for at in hours if night.start <= at <= night.end}

        assert must <= inside <= may, evening
        assert 7 <= len(must) <= 16
        assert evening_of(place, night.start) == evening_of(place, night.end) == evening


@anywhere
def test_the_rows_of_a_night_are_the_hours_at_which_the_sun_is_down(place: Place) -> None:
    for middle in place.moments:
        day = middle.astimezone(place.site.zone).date()
        start = datetime.combine(day - timedelta(days=4), time(0), UTC)
        of = weather(start, np.full(8 * 24, MILD_C))
        scene = Scene(collection(site=place.site), of, {}, middle)
        for days in range(-2, 3):
            evening = day + timedelta(days=days)
            must, may = dark_hours(place, evening)
            night = sun.night_of(place.site, evening)

            rows = scene.rows(night.start, night.end)

            told = {datetime.fromtimestamp(int(at), UTC) for at in of.times[rows]}
            assert must <= told <= may, evening


@anywhere
@pytest.mark.parametrize("days", [-1, 0, 1])
def test_a_cold_hour_before_dawn_is_the_night_of_the_evening_before(
    place: Place, days: int
) -> None:
    """03:30 by the clock, taken to the full UTC hour before it: 02:45 to 03:30."""
    for middle in place.moments:
        day = middle.astimezone(place.site.zone).date() + timedelta(days=days)
        cold = place.by_clock(day, HALF_PAST_THREE).replace(minute=0)

        assert evening_of(place, cold) == day - timedelta(days=1)
        assert judged_cold(place, cold) == {day - timedelta(days=1): [cold]}


@where_clocks_change
def test_a_cold_hour_beside_the_change_is_the_night_in_which_clocks_change(place: Place) -> None:
    """Two full hours before the change and two from it on: the repeated hour both times, and what
    is either side of a skip."""
    for change in place.moments:
        before = (change - timedelta(seconds=1)).replace(minute=0, second=0)
        for count in (-1, 0, 1, 2):
            cold = before + count * HOUR
            evening = evening_of(place, cold)
            must, _ = dark_hours(place, evening)

            assert cold in must
            assert judged_cold(place, cold) == {evening: [cold]}


def test_the_repeated_hour_both_times_and_the_skipped_one() -> None:
    """Europe/Berlin, 25 October 2026: 02:00 comes twice; 29 March: 02:30 never."""
    place = place_of("Europe/Berlin", 52.52, 13.4, 2026)
    back, skip = date(2026, 10, 25), date(2026, 3, 29)

    twice = [place.by_clock(back, time(2), fold) for fold in (0, 1)]
    never = place.by_clock(skip, time(2, 30)).replace(minute=0)

    assert twice == [datetime(2026, 10, 25, hour, tzinfo=UTC) for hour in (0, 1)]
    assert never == datetime(2026, 3, 29, 1, tzinfo=UTC)
    assert [judged_cold(place, cold) for cold in twice] == [
        {date(2026, 10, 24): [cold]} for cold in twice
    ]
    assert judged_cold(place, never) == {date(2026, 3, 28): [never]}
