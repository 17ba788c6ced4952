"""Forecasts without members are as uncertain as the site's past nights have shown."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward.forecast.ensemble import Ensemble
from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger, SavedForecast
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.learned_error import MIN_NIGHTS
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.site import Site
from tests.support import core
from tests.support.bodies import dumped, ensemble_body
from tests.support.fakes import FakeClock, FakeSource

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
NOW = datetime(2026, 5, 14, 16, 20, tzinfo=UTC)
SOURCE = FakeSource()
LEARNED = ((30 * 1.3**2 + 64 * (3.0**2 + 1)) / 94) ** 0.5
"""What 64 nights teach that were 3 K off on the afternoon before (18 hours)."""


@dataclass
class World:
    """A store with a forecast, and the archive of its nights."""

    store: ForecastStore
    ledger: Ledger
    clock: FakeClock

    def past_nights(self, nights: int, source: str = SOURCE.name, site: str = SITE.name) -> None:
        """Past nights, each forecast an hour before its low, and 3 K off 18 hours before."""
        for ago in range(1, nights + 1):
            low_at = NOW - timedelta(days=ago - 1, hours=6)
            off_k = 3.0 if ago % 2 else -3.0
            for lead_h, low_c in ((18, 5.0 + off_k), (1, 5.0)):
                night = NightForecast(
                    night=(low_at - timedelta(hours=12)).date(),
                    lead_h=lead_h,
                    low_c=low_c,
                    low_at=low_at,
                    dew_point_c=None,
                    wind_m_s=None,
                    cloud=None,
                    high_c=None,
                )
                self.ledger.nights.keep(site, source, low_at - timedelta(hours=lead_h), [night])


@pytest.fixture
def world() -> Iterator[World]:
    clock = FakeClock(NOW)
    with closing(Ledger(":memory:")) as ledger:
        ledger.forecasts.keep(SITE.name, SavedForecast(SOURCE.name, NOW, NOW, b"3.0"))
        yield World(ForecastStore([SOURCE], ledger, clock), ledger, clock)


def test_a_forecast_has_the_error_that_past_nights_have_taught(world: World) -> None:
    world.past_nights(64)

    weather = world.store.weather(SITE)

    assert weather.spread is not None
    in_18_h = int(np.searchsorted(weather.times, (NOW + timedelta(hours=18)).timestamp()))
    assert weather.spread.sd_k[in_18_h] == pytest.approx(LEARNED, abs=0.01)
    assert weather.spread.knows(np.arange(weather.times.size))


def test_a_sheet_says_from_how_many_nights(world: World) -> None:
    world.past_nights(64)
    collection = core.collection()

    sheet = draw_up(Round.DUSK, collection, world.store.weather(SITE), {}, NOW)

    assert sheet.spread == "errors learned from 64 nights"


def test_nothing_is_learned_from_few_nights_other_sources_or_other_sites(world: World) -> None:
    world.past_nights(MIN_NIGHTS - 1)
    world.past_nights(64, source="Other weather")
    world.past_nights(64, site="Elsewhere")

    assert world.store.weather(SITE).spread is None


def test_the_members_of_an_ensemble_count_before_what_was_learned(world: World) -> None:
    world.past_nights(64)
    ensemble = Ensemble()
    members = dumped(ensemble_body(11, NOW.replace(hour=0, minute=0)))
    world.ledger.forecasts.keep(SITE.name, SavedForecast(ensemble.name, NOW, NOW, members))
    world.store.ensemble = ensemble

    weather = world.store.weather(SITE)

    assert weather.spread is not None
    assert weather.spread.origin == "11 members of ECMWF"


def test_the_night_that_goes_on_teaches_nothing_and_a_day_later_it_does(world: World) -> None:
    world.past_nights(MIN_NIGHTS)
    world.clock.now = NOW - timedelta(hours=7)  # an hour before the last of these lows

    before = world.store.learned_error(SITE, SOURCE.name)
    world.clock.move(days=1)
    after = world.store.learned_error(SITE, SOURCE.name)

    assert before is None
    assert after is not None


def test_what_was_learned_is_worked_out_once_a_day(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[datetime] = []
    past_lows = world.ledger.nights.past_lows

    def counted(site: str, source: str, now: datetime, since: datetime) -> PastLows:
        asked.append(now)
        return past_lows(site, source, now, since)

    monkeypatch.setattr(world.ledger.nights, "past_lows", counted)
    for hours in (0, 1, 7, 8):  # midnight in UTC comes after seven hours and forty minutes
        world.clock.now = NOW + timedelta(hours=hours)
        world.store.weather(SITE)

    assert asked == [NOW, NOW + timedelta(hours=8)]


def test_lead_times_count_from_when_these_numbers_first_came(world: World) -> None:
    """As in the archive, which keeps a forecast when it changes and not when it is confirmed."""
    world.past_nights(64)
    fetched = NOW - timedelta(hours=12)
    for confirmed in (fetched, NOW):
        saved = SavedForecast(SOURCE.name, confirmed, fetched, b"3.0")
        world.ledger.forecasts.keep(SITE.name, saved)

    spread = world.store.weather(SITE).spread

    assert spread is not None
    times = world.store.weather(SITE).times
    in_18_h = int(np.searchsorted(times, (fetched + timedelta(hours=18)).timestamp()))
    before, here = spread.sd_k[in_18_h - 1 : in_18_h + 1]
    assert here == pytest.approx(LEARNED, abs=0.01)
    assert before < here - 0.02  # it rises until then, and is level for the next nights


MOVED = replace(SITE, latitude=-32.5)


def test_a_site_that_moved_learns_from_new_nights_alone(world: World) -> None:
    world.past_nights(64)
    world.store.note_place(SITE, NOW - timedelta(days=100))

    assert world.store.learned_error(SITE, SOURCE.name) is not None
    assert world.store.learned_error(MOVED, SOURCE.name) is None
    world.store.note_place(MOVED, NOW - timedelta(days=40, hours=6))
    world.store.forget(MOVED)
    again = world.store.learned_error(MOVED, SOURCE.name)

    assert again is not None
    assert max(again.nights) == 40


def test_a_store_that_forgets_a_site_forgets_what_it_learned(world: World) -> None:
    assert world.store.learned_error(SITE, SOURCE.name) is None
    world.past_nights(64)
    assert world.store.learned_error(SITE, SOURCE.name) is None, "once a day"

    world.store.forget(SITE)

    assert world.store.learned_error(SITE, SOURCE.name) is not None


@pytest.mark.parametrize(
    ("now_at", "is_moved"),
    [
        (SITE, False),
        (replace(SITE, latitude=-32.8904, elevation_m=783.0), False),
        (replace(SITE, longitude=-68.80), True),
        (replace(SITE, elevation_m=900.0), True),
    ],
)
def test_a_site_has_moved_by_more_than_a_kilometre_or_ten_metres_of_height(
    world: World, now_at: Site, is_moved: bool
) -> None:
    world.past_nights(64)
    world.store.note_place(SITE, NOW)

    assert (world.store.learned_error(now_at, SOURCE.name) is None) == is_moved
