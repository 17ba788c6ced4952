"""What a thermometer takes from the rest of a night: at its spot alone, from its reading on."""

import numpy as np
import pytest

from sillward_rules.weather.climate import climate_by_night, climate_of
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.spot import Spot
from tests.support.core import MENDOZA, WARM_ROOM, daily_curve, utc, weather

MAY = utc("2026-05-13T00:00")
READ = utc("2026-05-14T02:30").timestamp()
COURSE = NightCourse(
    utc("2026-05-14T02:30"), 8.0, 10.0, True, (READ, READ + 7200.0), (-2.0, -1.0), (0.5, 1.0)
)
WEATHER = weather(MAY, daily_curve(5, 20, 48), wind_m_s=0.5, cloud=0.0)


def test_air_and_leaf_are_colder_by_the_departure_and_only_then() -> None:
    plain = Spot("plain", sky_view=0.6)
    watched = Spot("watched", sky_view=0.6, tonight=COURSE)
    hourly = climate_of(MENDOZA, (plain, watched), WEATHER)
    climate = climate_by_night(MENDOZA, hourly, WEATHER)
    apart = climate.temp_c[:, 1] - climate.temp_c[:, 0]
    inside = (climate.times >= READ) & (climate.times <= READ + 7200)
    expected = -2.0 + (climate.times[inside] - READ) / 7200

    assert apart[inside] == pytest.approx(expected)
    assert not apart[~inside].any()
    assert inside.sum() == 9
    leaf = climate.leaf_c[:, 1] - climate.leaf_c[:, 0]
    assert leaf[inside] == pytest.approx(expected, abs=0.1)
    assert climate.offset_k[:, 1] == pytest.approx(climate.offset_k[:, 0] + apart)


def test_a_spot_with_a_climate_of_its_own_is_as_it_is() -> None:
    spot = Spot("room", indoors=True, night_low_c=16.0, tonight=COURSE)
    climate = climate_of(MENDOZA, (spot, WARM_ROOM), WEATHER)

    assert np.all(climate.temp_c[:, 0] == climate_of(MENDOZA, (spot,), WEATHER).temp_c[:, 0])
    assert climate.temp_c[:, 0].min() == 16.0


def test_a_course_is_whole_and_never_warmer() -> None:
    with pytest.raises(ValueError, match="never warmer"):
        NightCourse(COURSE.read_at, 8.0, 7.0, False, (READ,), (1.0,), (0.5,))
    with pytest.raises(ValueError, match="for each moment"):
        NightCourse(COURSE.read_at, 8.0, 7.0, False, (READ,), (-1.0,), ())
    with pytest.raises(ValueError, match="for each moment"):
        NightCourse(COURSE.read_at, 8.0, 7.0, False, (), (), ())
