"""What `why` says of the coldest hour: enough to work the spot's temperature out again."""

import math
import re
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from sillward.reports import why
from sillward.reports.coldest_hour import coldest_hour
from sillward.wording.voice import Voice
from sillward_rules.explanation import Explanation, explain_plant
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.spot import Spot
from tests.daemon.forecast.test_cloud_by_height import BENCH, NOW, STATE, from_open_meteo
from tests.support import core

VOICE = Voice(core.MENDOZA)
HOLLOW = replace(BENCH, night_offset_k=-3.0, rain=1.0)


def explanation(spot: Spot, weather: Weather) -> Explanation:
    spots = (spot, core.WARM_ROOM)
    household = core.collection(core.plant(night_low=14.0), spots=spots)
    return explain_plant(household.plants[0], household, weather, STATE, NOW)


def sentence(spot: Spot, weather: Weather) -> str:
    return " ".join(coldest_hour(explanation(spot, weather), VOICE))


def test_the_share_of_the_night_offset_is_told_with_what_takes_it_away() -> None:
    windy = replace(from_open_meteo(), wind_m_s=from_open_meteo().wind_m_s * 0 + 8.0)
    half = replace(windy, cloud=windy.cloud * 0 + 0.5)

    told = sentence(HOLLOW, half)

    # sqrt(2 / 8) * (1 - 0.5^2) = 0.375 of -3 K are -1.125 K
    assert "forecast 15.0 °C; -1.1 °C makes 13.9 °C here: 38 % of the night offset of -3 °C" in told
    assert "(wind 8.0 m/s at 10 m, cloud 50 %)" in told
    assert "rain" not in told


def test_high_cloud_is_told_by_what_it_holds() -> None:
    assert "cloud 100 % holds warmth like 16 % of low cloud" in sentence(
        BENCH, from_open_meteo(0, 0, 100)
    )
    assert "holds warmth" not in sentence(BENCH, from_open_meteo(100, 0, 0))
    assert "holds warmth" not in sentence(BENCH, from_open_meteo())


def test_a_leaf_that_is_judged_as_wet_is_told_in_the_table_and_in_words() -> None:
    dry = from_open_meteo()
    shower = replace(dry, rain_mm=dry.rain_mm + 0.5)

    wet, not_wet = (explanation(HOLLOW, weather) for weather in (shower, dry))

    assert "wet with rain: evaporation cools it" in " ".join(coldest_hour(wet, VOICE))
    rows = [line for line in why.text(wet, (), VOICE).splitlines() if re.match(r"[* ]\d\d:", line)]
    assert [line.startswith("*") for line in rows if "~" not in line].count(True) == 0
    assert any("~" in line for line in rows)
    assert "~ leaf wet with rain" in why.text(wet, (), VOICE)
    assert "~" not in why.text(not_wet, (), VOICE)


def test_what_is_not_known_is_said_to_be_not_known() -> None:
    forecast = from_open_meteo()
    unknown = replace(forecast, wind_m_s=forecast.wind_m_s * math.nan)

    told = sentence(HOLLOW, replace(unknown, cloud=forecast.cloud * math.nan))

    assert "100 % of the night offset of -3 °C (wind not known, cloud not known)" in told


def test_a_spot_that_holds_itself_has_no_such_hour() -> None:
    held = replace(core.WARM_ROOM, name="bench")

    assert sentence(held, from_open_meteo()) == ""


def test_a_spot_without_offsets_is_told_without_them() -> None:
    told = sentence(BENCH, from_open_meteo(0, 0, 100))

    assert "offset" not in told
    assert told.startswith("coldest at ")


@pytest.mark.parametrize("night_offset_k", [-3.0, 2.0])
@pytest.mark.parametrize("day_offset_k", [None, 1.0])
def test_every_hour_can_be_worked_out_again(
    night_offset_k: float, day_offset_k: float | None
) -> None:
    spot = replace(BENCH, night_offset_k=night_offset_k, day_offset_k=day_offset_k)
    report: dict[str, Any] = why.document(
        explanation(spot, from_open_meteo(30, 40, 100)), (), core.MENDOZA
    )

    deep = 0
    for hour in report["hours"]:
        forecast, warming = hour["forecast"], hour["warming_cloud"]
        assert hour["temp_c"] == pytest.approx(forecast["temp_c"] + hour["offset_k"], abs=0.02)
        assert warming == pytest.approx(0.3 + 0.1 * 0.68 + 0.6 * 0.16, abs=0.01)
        left = math.sqrt(2 / max(forecast["wind_m_s"], 2)) * (1 - warming * forecast["cloud"])
        assert hour["offset_share"] == pytest.approx(
            max(left, 0.25) if night_offset_k < 0 else left, abs=0.01
        )
        at = datetime.fromisoformat(hour["at"]).astimezone(ZoneInfo("UTC"))
        if NOW + timedelta(hours=4) < at < NOW + timedelta(hours=14):
            deep += 1
            expected = night_offset_k * hour["offset_share"]
            assert hour["offset_k"] == pytest.approx(expected, abs=0.02)
    assert deep > 8


def test_after_sunrise_it_is_told_how_far_the_night_still_counts() -> None:
    forecast = from_open_meteo()
    falling = forecast.temp_c - 0.2 * (forecast.times - forecast.times[0]) / 3600.0
    told = sentence(HOLLOW, replace(forecast, temp_c=falling))

    found = re.search(r"(\d+) % of the way from day to night so soon after sunrise", told)
    assert found is not None
    assert 0 < int(found[1]) < 100


def test_what_a_thermometer_shows_tonight_is_told_with_what_is_left_of_it() -> None:
    """The parts add up to the air that is told."""
    weather = from_open_meteo()
    plain = explanation(HOLLOW, weather)
    hour = next(hour for hour in plain.hours if hour.deciding)
    assert hour.temp_c is not None
    read = hour.at.timestamp() - 3600
    ends = (read, read + 7200)
    at = datetime.fromtimestamp(read, hour.at.tzinfo)
    course = NightCourse(at, 4.0, 7.0, True, ends, (-3.0, -3.0), (0.5, 0.9))
    text = sentence(replace(HOLLOW, tonight=course), weather)

    assert "the thermometer there showed 4.0 °C at " in text
    assert f", told 7.0 °C: 3.0 °C of that left by then makes {hour.temp_c - 3.0:.1f} °C" in text
    assert f"makes {hour.temp_c:.1f} °C here" in text
