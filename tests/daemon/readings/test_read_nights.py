"""What was read at the spots, as it judges the forecasts for the site."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import date, timedelta

import numpy as np
import pytest

from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward.readings.read_nights import ReadNights, thermometers
from sillward_rules.plants.collection import Collection
from sillward_rules.weather import sun
from sillward_rules.weather.learned_error import LEAD_H, MIN_NIGHTS
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import usual_error_k
from tests.support import past_readings
from tests.support.core import MENDOZA, collection, plant, utc
from tests.support.fakes import FakeClock, FakeSource

NOW = utc("2026-11-20T18:00")
SITE = MENDOZA
SPOTS = (
    Spot("bench", sky_view=0.5),
    Spot("pergola", sky_view=0.5, night_offset_k=0.8),
    Spot("hall", indoors=True, night_low_c=14.0),
)
NIGHTS = 200
EARLY_K, LATE_K, SPOT_K = 2.6, 2.0, 0.5
"""Errors of forecasts two nights before, and before sunset; and of each spot by itself."""


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


def yard() -> Collection:
    return collection(plant(home="bench", shelter="hall"), spots=SPOTS)


def store(ledger: Ledger, *, reads: bool = True) -> ForecastStore:
    read = ReadNights(ledger, lambda: [yard()]) if reads else None
    return ForecastStore([FakeSource()], ledger, FakeClock(NOW), read_nights=read)


def nights_of(ledger: Ledger, spots_k: dict[str, Sequence[float]], nights: int = NIGHTS) -> None:
    """So many nights until yesterday, at spots that are off by so much on each of them."""
    rng = np.random.default_rng(12)
    last = sun.night_at_or_after(SITE, NOW).day
    source = FakeSource().name
    for ago in range(nights, 0, -1):
        night = last - timedelta(days=ago)
        came_c = float(rng.normal(6.0, 3.0))
        late_c = came_c + float(rng.normal(0.0, LATE_K))
        early_c = late_c + float(rng.normal(0.0, (EARLY_K**2 - LATE_K**2) ** 0.5))
        for low_c, hours in ((early_c, 30.0), (late_c, 5.0)):
            past_readings.told(ledger, SITE, source, night, low_c, hours_before_sunset=hours)
        for spot, off_k in spots_k.items():
            low_c = came_c + off_k[nights - ago] + float(rng.normal(0.0, SPOT_K))
            past_readings.read(ledger, SITE, spot, night, low_c)


def sd_at(found: ForecastStore, lead_h: float) -> float:
    learned = found.learned_error(SITE, FakeSource().name)
    assert learned is not None
    return learned.sd_k[LEAD_H.index(lead_h)]


def expected_k(error_k: float, lead_h: float, nights: int = NIGHTS) -> float:
    """What so many nights teach of a true error, with what is usual."""
    usual = float(usual_error_k(lead_h)) ** 2
    return float(((30 * usual + nights * (error_k**2 + SPOT_K**2)) / (30 + nights)) ** 0.5)


@pytest.mark.parametrize("off_k", [0.0, -3.0])
def test_the_error_is_what_is_left_after_the_correction_of_each_spot(
    ledger: Ledger, off_k: float
) -> None:
    """What a spot is off is told with its correction; it is not in the error of forecasts again."""
    nights_of(ledger, {"bench": [off_k] * NIGHTS, "pergola": [1.5] * NIGHTS, "hall": [9] * NIGHTS})

    found = store(ledger)

    # Nights that are forecast far off the last ones are drawn back to these: right in part.
    assert 0.83 < sd_at(found, 18.0) / expected_k(LATE_K, 18.0) < 1.05
    assert 0.83 < sd_at(found, 42.0) / expected_k(EARLY_K, 42.0) < 1.05
    learned = found.learned_error(SITE, FakeSource().name)
    assert learned is not None
    assert learned.origin == f"errors learned from {NIGHTS} nights with readings"


def test_readings_may_show_less_than_is_usual_which_forecasts_alone_never_do(
    ledger: Ledger,
) -> None:
    rng = np.random.default_rng(3)
    last = sun.night_at_or_after(SITE, NOW).day
    for ago in range(90, 0, -1):
        night, low_c = last - timedelta(days=ago), float(rng.normal(6.0, 3.0))
        for hours in (5.0, 30.0):
            past_readings.told(
                ledger, SITE, FakeSource().name, night, low_c, hours_before_sunset=hours
            )
        past_readings.read(ledger, SITE, "bench", night, low_c + float(rng.normal(0.0, 0.7)))

    assert sd_at(store(ledger), 18.0) < 1.2
    assert store(ledger, reads=False).learned_error(SITE, FakeSource().name) is None


def test_few_nights_that_were_read_do_not_count_alone(ledger: Ledger) -> None:
    nights_of(ledger, {"bench": [-3.0] * (MIN_NIGHTS - 1)}, MIN_NIGHTS - 1)

    assert store(ledger).learned_error(SITE, FakeSource().name) is None


def test_a_thermometer_that_was_moved_is_no_error_of_forecasts(ledger: Ledger) -> None:
    nights_of(ledger, {"bench": [0.0] * 100 + [-9.0] * 100})

    read = ReadNights(ledger, lambda: [yard()])(SITE, FakeSource().name, utc("2020-01-01"), NOW)

    assert sd_at(store(ledger), 18.0) == pytest.approx(expected_k(LATE_K, 18.0), rel=0.12)
    assert 180 <= len(read) < 195, "the nights after the change are left out"


def test_only_spots_outdoors_of_this_site_count(ledger: Ledger) -> None:
    nights_of(ledger, {"hall": [9.0] * 40, "gone": [3.0] * 40}, 40)
    read = ReadNights(ledger, lambda: [yard()])

    assert read(SITE, FakeSource().name, utc("2020-01-01"), NOW) == {}
    assert ReadNights(ledger, list)(SITE, FakeSource().name, utc("2020-01-01"), NOW) == {}


def test_each_place_of_a_thermometer_is_a_column(ledger: Ledger) -> None:
    nights_of(ledger, {"pergola": [0.5] * 60, "bench": [0.0] * 30 + [-9.0] * 30}, 60)
    past_readings.read(ledger, SITE, "hall", date(2026, 11, 1), 14.0)

    names, read = thermometers(ledger, yard(), [FakeSource().name], utc("2020-01-01"))

    assert names == ["bench", "pergola"]
    assert read.low_c.shape == (60, 3)
    known = np.isfinite(read.low_c).sum(axis=0).tolist()
    assert sorted(known[:2]) == pytest.approx([30, 30], abs=2)
    assert known[2] == 60
    assert (np.isfinite(read.low_c[:, :2]).sum(axis=1) == 1).all()


def test_without_readings_there_is_nothing(ledger: Ledger) -> None:
    names, read = thermometers(ledger, yard(), [FakeSource().name], utc("2020-01-01"))

    assert names == []
    assert read.night.size == 0
    assert read.low_c.shape == (0, 0)
