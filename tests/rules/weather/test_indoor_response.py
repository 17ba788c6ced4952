"""What an indoor spot is predicted and taken to hold, and its climate by that."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import scipy.stats

from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_by_night, climate_of
from sillward_rules.weather.indoor_nights import indoor_nights
from sillward_rules.weather.indoor_response import (
    ENOUGH_NIGHTS,
    MIN_NIGHTS,
    TENTH,
    Form,
    IndoorResponse,
    _t_quantile,
    running_mean,
)
from sillward_rules.weather.night_summary import nights_of
from sillward_rules.weather.spot import Spot
from tests.support.core import HALL_FOLLOWS as HALL
from tests.support.core import MENDOZA, OPEN_BENCH, daily_curve, weather

START = datetime(2026, 5, 14, tzinfo=UTC)


def taken(response: IndoorResponse, outdoors_c: float, low: float | None) -> float:
    return float(response.taken_to_hold(np.array(outdoors_c), low, None))


@pytest.mark.parametrize("freedom", [4.0, 5.0, 8.0, 20.0, 50.0])
def test_the_tenth_of_students_t(freedom: float) -> None:
    exact = scipy.stats.t.ppf(0.1, freedom)

    assert _t_quantile(TENTH, freedom) == pytest.approx(exact, abs=0.01)


def test_the_lower_side_is_what_one_night_in_ten_falls_below() -> None:
    at = np.array(5.0)
    scale = np.sqrt(0.04 + 0.25)

    assert HALL.predict(at)[0] == pytest.approx(12.6)
    assert HALL.predict(at)[1] == pytest.approx(scale * np.sqrt(20 / 18))
    assert HALL.lower_side(at) == pytest.approx(
        scipy.stats.t.ppf(0.1, 20.0, loc=12.6, scale=scale), abs=0.01
    )


def test_a_night_colder_than_those_seen_is_less_certain() -> None:
    seen, colder, much_colder = (HALL.predict(np.array(low))[1] for low in (1.0, -1.0, -5.0))

    # What the gain leaves to a kelvin for each one outdoors, as two standard deviations.
    assert colder > 0.35 * 2.0
    assert seen < colder < much_colder


def test_it_is_no_warmer_than_on_the_mildest_night_seen() -> None:
    assert HALL.predict(np.array(15.0))[0] == HALL.predict(np.array(9.0))[0]


@pytest.mark.parametrize(
    ("form", "outdoors", "gain", "mean"),
    [
        (Form.HOLDS, 2.0, 0.0, 12.6),
        (Form.FOLLOWS, 2.0, 0.3, 11.7),
        (Form.FLOOR, 2.0, 0.0, 12.6),
        (Form.FLOOR, 7.0, 0.3, 13.2),
        (Form.LIMITED, 2.0, 0.3, 11.7),
        (Form.LIMITED, 7.0, 0.0, 12.6),
    ],
)
def test_each_form_on_either_side_of_its_bend(
    form: Form, outdoors: float, gain: float, mean: float
) -> None:
    spot = replace(HALL, form=form)

    assert spot.predict(np.array(outdoors))[0] == pytest.approx(mean)
    assert spot.gain_at(np.array(outdoors)) == gain


def test_the_running_mean_over_nights() -> None:
    lows = np.array([4.0, np.nan, 8.0, 6.0])

    assert running_mean(lows, 0) == pytest.approx(lows, nan_ok=True)
    assert running_mean(lows, 1) == pytest.approx([4.0, np.nan, 6.0, 6.0], nan_ok=True)
    assert running_mean(lows, 3, 0.0) == pytest.approx([1.0, np.nan, 2.75, 3.5625], nan_ok=True)


# -- what decisions rest on


def test_readings_that_contradict_what_was_typed_are_believed() -> None:
    assert taken(HALL, 5.0, 14.0) == pytest.approx(float(HALL.lower_side(np.array(5.0))))


def test_few_readings_only_take_away() -> None:
    few = replace(HALL, nights=ENOUGH_NIGHTS - 1)

    assert taken(few, 5.0, 10.0) == 10.0
    assert taken(few, 5.0, 12.7) == 12.7  # not surely less
    assert taken(few, 5.0, 14.0) < 12.1
    assert taken(HALL, 5.0, 10.0) > 11.5


def test_what_was_typed_counts_no_more_on_colder_nights_than_on_others() -> None:
    for low in (0.0, -5.0, -20.0):
        held = taken(HALL, low, 10.0)

        assert held == float(HALL.lower_side(np.array(low)))
        assert held == taken(HALL, low, None)


def test_colder_outdoors_never_means_more() -> None:
    lows = np.linspace(20.0, -20.0, 200)
    for form in Form:
        for level in (10.0, 13.9, 14.1, 18.0):
            for typed in ((14.0, None), (None, 6.0), (None, None)):
                spot = replace(HALL, form=form, level_c=level)
                held = spot.taken_to_hold(lows, *typed)
                assert (np.diff(held) <= 1e-9).all(), (form, level, typed)


def test_a_spot_of_which_nothing_was_typed_is_known_from_a_few_nights_on() -> None:
    few = replace(HALL, nights=MIN_NIGHTS - 1)

    assert np.isnan(taken(few, 5.0, None))
    assert taken(replace(few, nights=MIN_NIGHTS), 5.0, None) < 12.6
    question = "night_low is not given: how warm it stays at night is not known"
    assert Spot("hall", indoors=True, response=few).open_questions() == (question,)
    assert Spot("hall", indoors=True, response=HALL).open_questions() == ()


# -- in words


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "20 nights show 12.6 °C at 5.0 °C outdoors and 11.4 °C at 1.0 °C, give or take 0.6 K"),
        ({"form": Form.HOLDS}, "20 nights show 12.6 °C whatever the weather, give or take 0.6 K"),
        (
            {"form": Form.FLOOR},
            "20 nights show 12.6 °C on cold nights and 13.8 °C at 9.0 °C outdoors, give or take"
            " 0.6 K",
        ),
        (
            {"form": Form.LIMITED},
            "20 nights show 12.6 °C on mild nights and 11.4 °C at 1.0 °C outdoors, give or take"
            " 0.6 K",
        ),
        (
            {"form": Form.HOLDS, "surprise_k": 8.31},
            "20 nights show 12.6 °C whatever the weather, but the last was 8.3 K colder than that:"
            " until the next is read it is not known what it holds",
        ),
        (
            {"lag_nights": 3, "nights": 3},
            "3 nights make it 12.6 °C at 5.0 °C outdoors over the last 4 nights and 11.4 °C at"
            " 1.0 °C, give or take 0.6 K",
        ),
        ({"nights": 1}, "1 night makes it 12.6 °C at 5.0 °C outdoors, give or take 0.6 K"),
    ],
)
def test_what_a_room_holds_in_words(changes: dict[str, Any], words: str) -> None:
    assert str(replace(HALL, **changes)) == words


# -- the climate

FORECAST = weather(START, np.concatenate([daily_curve(4.0, 16.0, 48), daily_curve(1.0, 9.0, 48)]))


def test_the_lows_outdoors_are_those_of_the_archive() -> None:
    spot = Spot("hall", indoors=True, response=HALL)
    known = {
        night.night: night.low_c
        for night in nights_of(MENDOZA, FORECAST, START - timedelta(days=9))
    }

    nights = indoor_nights(MENDOZA, [spot], FORECAST)

    assert len(known) == 3
    for day, low in known.items():
        row = nights.nights.row_of(sun.night_of(MENDOZA, day))
        assert nights.nights.low_c[row] == low
        assert nights.taken_c[row, 0] == HALL.taken_to_hold(np.array(low), None, None)


def test_a_night_beyond_the_forecast_counts_as_the_coldest() -> None:
    spot = Spot("hall", indoors=True, response=HALL)
    nights = indoor_nights(MENDOZA, [spot], FORECAST)

    beyond = nights.nights.row_of(sun.night_of(MENDOZA, date(2026, 7, 1)))

    assert np.isnan(nights.nights.low_c[beyond])
    assert nights.taken_c[beyond, 0] == np.nanmin(nights.taken_c)
    nothing = indoor_nights(MENDOZA, [spot], weather(START, []))
    assert nothing.taken_c[0, 0] == HALL.taken_to_hold(np.array(HALL.coldest_c), None, None)


def test_a_night_that_is_not_known_counts_as_the_coldest_of_a_cold_week() -> None:
    spot = Spot("hall", indoors=True, response=HALL)
    days = [daily_curve(low, 9.0, 24) for low in (4.0, -6.0, 2.0)]
    days[2][:12] = np.nan
    nights = indoor_nights(MENDOZA, [spot], weather(START, np.concatenate(days)))

    assert np.isnan(nights.nights.low_c[-2:]).all()
    assert (nights.means_c[-2:, 0] == np.nanmin(nights.nights.low_c)).all()
    assert nights.means_c[-1, 0] < HALL.coldest_c


def test_nights_that_are_over_count_once_for_walls_that_remember() -> None:
    """A forecast may begin with the past days."""
    lagged = replace(HALL, lag_nights=3, recent_c=10.0, recent_night=date(2026, 5, 14))
    days = [daily_curve(low, 14.0, 24) for low in (2.0, 2.0, 6.0, 6.0)]

    nights = indoor_nights(
        MENDOZA,
        [Spot("cellar", indoors=True, response=lagged)],
        weather(START, np.concatenate(days)),
    )

    after = nights.nights.days > lagged.recent_night.toordinal()
    assert 0 < after.sum() < after.size
    first, second = nights.means_c[after, 0][:2]
    assert (first, second) == (9.0, 8.25)


def test_a_room_holds_by_night_what_was_learned() -> None:
    hall = Spot("hall", indoors=True, night_low_c=14.0, day_low_c=18.0, response=HALL)
    hourly = climate_of(MENDOZA, [OPEN_BENCH, hall], FORECAST)

    for climate in (hourly, climate_by_night(MENDOZA, hourly, FORECAST)):
        night = sun.night_of(MENDOZA, date(2026, 5, 14))
        rows = (climate.times >= night.start.timestamp()) & (climate.times <= night.end.timestamp())
        held = float(HALL.taken_to_hold(np.array(4.0), 14.0, None))
        assert climate.temp_c[rows, 1] == pytest.approx(held)
        assert climate.leaf_c[rows, 1] == pytest.approx(held)
        assert climate.temp_c[~climate.night, 1] == pytest.approx(18.0)
        assert climate.temp_c[rows, 0] != pytest.approx(held)


def test_days_that_were_colder_than_typed_are_believed() -> None:
    read = replace(HALL, day_low_c=15.0)

    def by_day(typed: float | None) -> float | None:
        return Spot("hall", indoors=True, day_low_c=typed, response=read).holds_by_day_c

    assert (by_day(18.0), by_day(12.0), by_day(None)) == (15.0, 12.0, None)


@pytest.mark.parametrize(("form", "slope"), [(Form.FOLLOWS, 0.3), (Form.HOLDS, 0.0)])
def test_a_spot_that_follows_does_so_by_its_gain(form: Form, slope: float) -> None:
    response = replace(HALL, form=form)
    porch = Spot("porch", indoors=True, night_offset_k=4.0, day_offset_k=1.0, response=response)

    climate = climate_of(MENDOZA, [porch], FORECAST)

    middle = int(np.searchsorted(climate.times, datetime(2026, 5, 15, 3, tzinfo=UTC).timestamp()))
    held = float(response.taken_to_hold(np.array(4.0), None, 4.0))
    above = FORECAST.temp_c[middle] - 4.0
    assert climate.temp_c[middle, 0] == pytest.approx(held + slope * above)
    noon = middle + 14
    assert climate.temp_c[noon, 0] == pytest.approx(FORECAST.temp_c[noon] + 1.0)


@pytest.mark.parametrize(("level", "share"), [(12.6, "least"), (4.0, "most")])
def test_in_the_morning_the_night_that_was_fades_to_the_colder_side(
    level: float, share: str
) -> None:
    """Warmth of the night is gone soon after sunrise, its cold late: as outdoors."""
    response = replace(HALL, level_c=level)
    porch = Spot("porch", indoors=True, night_offset_k=4.0, day_offset_k=1.0, response=response)
    # The next night is another, and has no part in it.
    air = np.concatenate([daily_curve(4.0, 16.0, 43), daily_curve(-9.0, 9.0, 53)])

    climate = climate_of(MENDOZA, [porch], weather(START, air))

    hour = 36
    sunrise = sun.night_of(MENDOZA, date(2026, 5, 14)).end.timestamp()
    risen = (climate.times[hour] - sunrise) / sun.COLD_MORNING.total_seconds()
    assert 0.2 < risen < 0.8
    left = {"most": 1.0 - risen**2, "least": (1.0 - risen) ** 2}[share]
    held = float(response.taken_to_hold(np.array(air[24:43].min()), None, 4.0))
    by_night = held + response.gain * (air[hour] - air[24:43].min()) - air[hour]
    assert climate.temp_c[hour, 0] - air[hour] == pytest.approx(1.0 + left * (by_night - 1.0))
