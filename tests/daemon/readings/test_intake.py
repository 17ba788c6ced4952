"""What is kept of readings, what is set aside, and that nothing is lost or counts twice."""

from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sillward.errors import SourceError, UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import READINGS_DAYS
from sillward.readings.forecast_here import ForecastHere
from sillward.readings.intake import Intake, Source, TakenIn, sensor_name
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.quality import Reason
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import night_of
from tests.support import core

AIR, HUMIDITY = Quantity.TEMPERATURE, Quantity.HUMIDITY
SPOTS = (core.OPEN_BENCH, Spot("pergola", night_offset_k=0.0), core.WARM_ROOM)
GARDEN = core.collection(spots=SPOTS)
SITE = GARDEN.site.name
START = datetime(2026, 5, 12, 3, tzinfo=UTC)  # midnight by the clocks there
NOW = START + timedelta(days=3)
COURSE = core.daily_curve(8.0, 22.0, 72)
WEATHER = core.weather(START - timedelta(hours=3), COURSE)
EVERY_S = 600


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


@pytest.fixture
def take(ledger: Ledger) -> Callable[..., TakenIn]:
    def taken(
        values: Array,
        spot: Spot = core.OPEN_BENCH,
        start: datetime = START,
        quantity: Quantity = AIR,
        sensor: str = "logger",
        now: datetime = NOW,
    ) -> TakenIn:
        times = int(start.timestamp()) + EVERY_S * np.arange(values.size)
        intake = Intake(ledger, GARDEN, WEATHER)
        return intake.take(Source(spot, quantity, sensor), times, values, now)

    return taken


def as_told(hours: int = 48) -> Array:
    """Six readings an hour that follow the forecast, in hundredths as loggers have them."""
    at = np.arange(hours * 6) / 6 + 3
    return np.interp(at, np.arange(COURSE.size), COURSE).round(2)


def kept(ledger: Ledger, spot: str = "bench", quantity: Quantity = AIR) -> int:
    found = ledger.readings.of_spot(SITE, spot, quantity)
    return sum(int(hours.count.sum()) for hours in found.values())


def test_what_is_sound_is_kept_and_twice_adds_nothing(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    first, again = take(as_told()), take(as_told())

    assert (first.count, first.new, dict(first.set_aside)) == (288, 288, {})
    assert (again.count, again.new) == (288, 0)
    assert kept(ledger) == 288


def test_every_reading_is_kept_or_set_aside(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    values = as_told()
    values[10], values[50], values[-1] = 85.0, values[50] - 15.0, values[-1] + 14.0
    found = take(values)

    assert dict(found.set_aside) == {Reason.IMPOSSIBLE: 1, Reason.JUMP: 2}
    assert found.new == kept(ledger) == 285
    noted = {each.reason: each for each in ledger.readings.set_aside_since(SITE, START)}
    assert noted[Reason.IMPOSSIBLE].example == "85 °C"
    assert sum(each.count for each in ledger.readings.set_aside_since(SITE, START)) == 3
    assert take(values).new == 0
    assert sum(each.count for each in ledger.readings.set_aside_since(SITE, START)) == 3


def test_sun_on_the_sensor_leaves_its_nights(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    values = as_told()
    values[12 * 6 : 15 * 6] += np.linspace(9.0, 12.0, 18)  # from noon to three by the clocks there
    found = take(values)

    assert dict(found.set_aside) == {Reason.SUN: 18}
    (hours,) = ledger.readings.of_spot(SITE, "bench", AIR).values()
    assert len(hours) == 45
    night = night_of(GARDEN.site, START.date())
    assert hours.low[hours.hour >= night.start.timestamp()].min() == pytest.approx(8.0)


def without_forecast(ledger: Ledger, values: Array, start: datetime = START) -> TakenIn:
    times = int(start.timestamp()) + EVERY_S * np.arange(values.size)
    return Intake(ledger, GARDEN).take(
        Source(core.OPEN_BENCH, AIR, "logger"), times, values.copy(), NOW
    )


def in_the_sun() -> Array:
    values = as_told()
    values[12 * 6 : 15 * 6] += 11.0
    return values


def test_what_was_in_doubt_stays_so_when_its_forecast_is_gone(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    take(in_the_sun())
    later = without_forecast(ledger, in_the_sun())

    assert later.new == 0
    assert dict(later.set_aside) == {Reason.SUN: 18}
    assert sum(each.count for each in ledger.readings.set_aside_since(SITE, START)) == 18


def test_what_was_stuck_is_still_in_a_longer_file(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    values = as_told()
    values[18 * 6 : 30 * 6] = 14.0

    assert dict(take(values[: 27 * 6 + 3]).set_aside) == {Reason.STUCK: 9 * 6 + 3}
    assert dict(take(values).set_aside) == {Reason.STUCK: 12 * 6}
    assert dict(without_forecast(ledger, values).set_aside) == {Reason.STUCK: 12 * 6}


def test_other_readings_of_hours_that_were_in_doubt_are_judged_by_themselves(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    values = in_the_sun()
    take(values[12 * 6 : 15 * 6], start=START + timedelta(hours=12))

    assert without_forecast(ledger, as_told()).new == 288


def test_sun_at_both_ends_of_a_day_leaves_the_night_between(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    """In America the afternoon lies at both ends of a day by UTC."""
    values = as_told()
    sunny = np.zeros(values.size, bool)
    for hour in (11, 17, 35, 41):  # sun from 8 to 11 before, and in the afternoon
        sunny[hour * 6 : hour * 6 + 6] = True
    values[sunny] += 11.0
    for hour in (11, 17, 35, 41):
        of_hour = values[hour * 6 : hour * 6 + 6]
        assert take(of_hour, start=START + timedelta(hours=hour)).new == 0

    found = take(values)
    assert (found.new, dict(found.set_aside)) == (288 - 24, {Reason.SUN: 24})


def test_all_readings_are_accounted_for(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    values = in_the_sun()
    values[3], values[40:52] = 85.0, 12.0
    take(as_told(), SPOTS[1])
    for known in (False, True):
        found = take(values)
        counted = sum(found.set_aside.values()) + found.too_old + found.repeated
        assert counted + (kept(ledger) if known else found.new) == found.count


def test_a_twin_is_judged_by_what_is_kept_of_the_other(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    take(as_told(), SPOTS[1])
    assert take(as_told()).new == 0
    ledger.readings.forget(SITE, "pergola", AIR, "logger")

    assert take(as_told()).new == 288
    assert ledger.readings.set_aside_since(SITE, START) == []


def test_a_jump_at_the_end_of_a_file_is_judged_anew_in_a_longer_one(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    values = as_told()
    values[30 * 6 :] += 13.0
    values[38 * 6 :] -= 5.0

    assert dict(take(values[: 30 * 6 + 1], core.WARM_ROOM).set_aside) == {Reason.JUMP: 1}
    assert dict(take(values, core.WARM_ROOM).set_aside) == {}
    assert ledger.readings.set_aside_since(SITE, START) == []


def test_humidity_slightly_above_saturation_is_saturation(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    found = take(np.array([98.0, 101.5, 105.0, 105.1]), quantity=HUMIDITY)

    assert (found.new, dict(found.set_aside)) == (3, {Reason.IMPOSSIBLE: 1})
    (hours,) = ledger.readings.of_spot(SITE, "bench", HUMIDITY).values()
    assert (hours.high[0], hours.last[0]) == (100.0, 100.0)


def test_a_stuck_sensor_is_set_aside_outdoors_alone(take: Callable[..., TakenIn]) -> None:
    values = as_told()
    values[18 * 6 : 30 * 6] = 14.0

    assert dict(take(values).set_aside) == {Reason.STUCK: 72}
    assert dict(take(values, core.WARM_ROOM).set_aside) == {}


def test_the_same_file_for_another_spot_is_not_used(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    take(as_told())
    found = take(as_told(), SPOTS[1])

    assert dict(found.set_aside) == {f"{Reason.TWIN}: logger at bench": 288}
    assert kept(ledger, "pergola") == 0


def test_another_thermometer_needs_a_name_of_its_own(
    ledger: Ledger, take: Callable[..., TakenIn]
) -> None:
    take(as_told())
    with pytest.raises(UsageError, match="another thermometer"):
        take(as_told() + 0.7)
    take(as_told() + 0.7, sensor="second")

    assert kept(ledger) == 576


def test_a_longer_file_of_the_same_sensor_adds_the_rest(take: Callable[..., TakenIn]) -> None:
    values = as_told()

    assert take(values[:100]).new == 100
    assert take(values).new == 188
    assert take(values[60:], start=START + timedelta(hours=10)).new == 0


def test_most_of_a_file_cannot_be(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    with pytest.raises(SourceError, match=r"such as 81\.5 °C, are outside of what can be"):
        take(as_told() * 0.1 + 80.0 - as_told()[0] * 0.1 + 1.5)

    assert ledger.readings.names(SITE) == []


def test_readings_of_long_ago_are_counted(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    long_ago = NOW - timedelta(days=READINGS_DAYS, hours=12)
    found = take(np.full(144, 11.0), start=long_ago)

    assert (found.count, found.new, found.too_old) == (144, 72, 72)


def test_all_of_it_long_ago_or_ahead(ledger: Ledger, take: Callable[..., TakenIn]) -> None:
    assert take(as_told(2), start=NOW - timedelta(days=2000)).too_old == 12
    with pytest.raises(
        SourceError, match=r"dated in the future: was the clock of the logger right"
    ):
        take(as_told(2), start=NOW + timedelta(days=1))
    ahead = take(as_told(2), start=NOW - timedelta(minutes=70))
    assert dict(ahead.set_aside) == {Reason.CLOCK_AHEAD: 4}
    assert kept(ledger) == 8


def test_numbers_beyond_all_bounds_are_set_aside(take: Callable[..., TakenIn]) -> None:
    values = as_told()
    values[3:7] = [1e308, -1e308, np.inf, -np.inf]

    assert dict(take(values).set_aside) == {Reason.IMPOSSIBLE: 4}


def test_a_sensor_is_named_by_its_number_or_by_the_grower() -> None:
    assert sensor_name(None, None) == "logger"
    assert sensor_name(None, "107") == "logger 107"
    assert sensor_name(" by the door ", "107") == "by the door"
    for name in ("", " ", "x" * 61, "a\x1b[31m", "a\nb", "a\u202eb"):
        with pytest.raises(UsageError, match="a sensor needs a name"):
            sensor_name(name, None)


def test_the_forecast_at_a_spot() -> None:
    here = ForecastHere(GARDEN.site, core.OPEN_BENCH, WEATHER)
    half_past = START + timedelta(minutes=30)
    night = night_of(GARDEN.site, START.date())

    assert here.at(AIR, half_past) == pytest.approx((COURSE[3] + COURSE[4]) / 2)
    assert here.at(AIR, START - timedelta(days=9)) is None
    assert here.low(night) == pytest.approx(8.0)
    assert here.low(night_of(GARDEN.site, (START - timedelta(days=9)).date())) is None
    assert ForecastHere(GARDEN.site, core.OPEN_BENCH, None).at(AIR, START) is None
    room = ForecastHere(GARDEN.site, core.WARM_ROOM, WEATHER)
    assert room.at(HUMIDITY, half_past) == pytest.approx(50.0)
