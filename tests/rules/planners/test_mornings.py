"""What a night asks for between full hours, at sunset, at sunrise and in the morning after it."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.explanation import explain_plant
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.shelter import spot_lows
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_by_night, climate_of
from sillward_rules.weather.hourly import Weather, at_moments, moment
from sillward_rules.weather.lows import tonight
from sillward_rules.weather.spot import Spot
from tests.support.core import (
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    fetched,
    plant,
    utc,
    weather,
)

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")  # 17:00 at the site
NIGHT = sun.night_of(MENDOZA, date(2026, 5, 14))  # 21:42 to 11:17 UTC; its cold ends at 13:17
HOURS = 120
WALL = Spot("wall", sky_view=0.6, wind=0.3, sun_windows=(), night_offset_k=0.0)


def sky(level: float = 15.0, **hours: float) -> Weather:
    """One temperature at all hours, but for such as d15h12=9.0: 12:00 UTC on the 15th."""
    temp = np.full(HOURS, level)
    for name, value in hours.items():
        day, hour = name[1:].split("h")
        temp[(int(day) - 13) * 24 + int(hour)] = value
    return fetched(weather(START, temp), DUSK)


def dusk(of: Weather, *plants: Plant, **given: object) -> Sheet:
    return draw_up(Round.DUSK, collection(*plants, **given), of, {}, DUSK)  # type: ignore[arg-type]


def carried(sheet: Sheet) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]


# -- the morning


def test_cold_that_comes_after_sunrise_is_the_nights() -> None:
    (chore,) = carried(dusk(sky(d15h12=9.0)))

    (reason,) = chore.because
    assert (reason.value, reason.at) == (9.0, utc("2026-05-15T12:00"))
    # Under 13 °C from a third of an hour after 11:00 until two thirds after 12:00, UTC.
    assert reason.hours == pytest.approx(4 / 3, abs=0.01)
    assert reason.until == pytest.approx(utc("2026-05-15T12:40"), abs=timedelta(seconds=1))
    assert reason.chance is not None
    assert reason.chance > 0.95


def test_cold_more_than_two_hours_after_sunrise_is_the_days() -> None:
    assert not carried(dusk(sky(d15h14=9.0, d15h15=9.0)))


def test_a_growers_own_night_ends_at_sunrise() -> None:
    table = {"name": "own", "watch": "temperature", "below": "12 °C", "asks": "carry in"}
    by_night, problems = read_rule({**table, "hours": "night"})
    assert by_night is not None, problems
    longer, problems = read_rule({**table, "hours": "sunset to sunrise+2h"})
    assert longer is not None, problems

    assert not carried(dusk(sky(d15h12=9.0), rules=[by_night]))
    assert carried(dusk(sky(d15h12=9.0), rules=[longer]))


def test_the_standard_rule_holds_for_as_long_as_a_nights_cold_counts() -> None:
    cold = next(rule for rule in standard_rules() if rule.name == "cold night")

    assert cold.hours.of_night(MENDOZA, NIGHT) == (NIGHT.start, NIGHT.cold_until)


def test_a_plant_outside_is_not_sent_in_for_the_end_of_last_nights_cold() -> None:
    """In the morning it is what is left of the night before, and none of tonight's."""
    now = utc("2026-05-15T11:45")
    cold = fetched(sky(d15h10=9.0, d15h11=9.0, d15h12=9.0), now)

    sheet = draw_up(Round.MORNING, collection(), cold, {"Test strap": PlantState("bench")}, now)

    assert not carried(sheet)


def test_a_plant_inside_goes_out_when_the_leaf_is_back_above_its_limit() -> None:
    now = utc("2026-05-15T11:20")
    cold = fetched(sky(20.0, d15h10=9.0, d15h11=9.0, d15h12=9.0), now)

    sheet = draw_up(Round.MORNING, collection(), cold, {"Test strap": PlantState("room")}, now)

    (out,) = (chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT)
    # 14 °C, its limit and 1 K, five elevenths after 12:00; and an hour of that.
    assert out.not_before == utc("2026-05-15T13:30")


def test_a_morning_that_is_not_known_leaves_the_night_unjudged() -> None:
    known = sky()
    gap = known.temp_c.copy()
    gap[60:63] = np.nan  # 12:00 to 14:00 UTC on the 15th
    later = known.temp_c.copy()
    later[63:67] = np.nan

    (chore,) = carried(dusk(replace(known, temp_c=gap)))

    assert chore.because[0].value is None
    assert not carried(dusk(replace(known, temp_c=later)))


# -- between full hours


@pytest.mark.parametrize(("before", "after"), [(21, 22), (13, 14)])
def test_cold_at_the_edge_of_a_night_is_seen_although_no_full_hour_of_it_is_cold(
    before: int, after: int
) -> None:
    """A dip at 21:00 UTC is over by 22:00; the sun sets at 21:42. Likewise as the morning ends."""
    day, cold_hour = (14, before) if before == 21 else (15, after)
    sheet = dusk(sky(**{f"d{day}h{cold_hour}": 0.0}), plant())

    (chore,) = carried(sheet)

    (reason,) = chore.because
    edge = NIGHT.start if before == 21 else NIGHT.cold_until
    assert reason.at == moment(edge.timestamp())
    share = (edge.minute * 60 + edge.second) / 3600
    expected = 15.0 * share if before == 21 else 15.0 * (1 - share)
    assert reason.value == pytest.approx(expected, abs=0.02)


def test_a_leaf_that_is_coldest_between_two_hours_is_seen() -> None:
    """The sky clears while wind and warmth come: at once for the leaf, slowly for the air."""
    wind, cloud = np.full(HOURS, 3.0), np.zeros(HOURS)
    wind[:53], cloud[:53] = 0.0, 1.0
    clearing = replace(sky(**{f"d15h{hour:02}": 16.0 for hour in range(5, 24)}), cloud=cloud)
    clearing = replace(clearing, wind_m_s=wind)
    hourly = climate_of(MENDOZA, (WALL,), clearing)
    finer = climate_by_night(MENDOZA, hourly, clearing)

    between = (finer.times > clearing.times[52]) & (finer.times < clearing.times[53])

    assert between.sum() == 3
    assert finer.leaf_c[between, 0].min() < hourly.leaf_c[[52, 53], 0].min() - 0.1


def test_at_full_hours_the_finer_climate_is_the_hourly_one() -> None:
    random = np.random.default_rng(5)
    of = replace(
        sky(),
        temp_c=random.normal(10, 3, HOURS),
        dew_point_c=random.normal(5, 3, HOURS),
        cloud=random.random(HOURS),
        wind_m_s=random.random(HOURS) * 5,
        rain_mm=np.where(random.random(HOURS) < 0.2, 1.0, 0.0),
        diffuse_w_m2=np.where(np.arange(HOURS) % 24 > 11, 80.0, 0.0),
    )
    hourly = climate_of(MENDOZA, (WALL, OPEN_BENCH, WARM_ROOM), of)
    finer = climate_by_night(MENDOZA, hourly, of)

    rows = np.searchsorted(finer.times, hourly.times)

    assert finer.times[rows].tolist() == hourly.times.tolist()
    for name in (
        "temp_c",
        "leaf_c",
        "wind_m_s",
        "light_w_m2",
        "rain_mm",
        "crown_wet_h",
        "rain_wet_h",
    ):
        np.testing.assert_array_equal(getattr(finer, name)[rows], getattr(hourly, name))


def test_the_moments_are_hours_by_day_and_quarters_at_night_with_sunset_and_sunrise() -> None:
    of = sky()
    at = sun.moments_of_nights(MENDOZA, of.times, 900)

    assert np.all(np.diff(at) > 0)
    assert set(of.times.tolist()) <= set(at.tolist())
    for edge in (NIGHT.start, NIGHT.end, NIGHT.cold_until):
        assert edge.timestamp() in at
    inside = (at >= NIGHT.start.timestamp()) & (at <= NIGHT.cold_until.timestamp())
    assert np.diff(at[inside]).max() == 900
    noon = (at >= utc("2026-05-15T15:00").timestamp()) & (at <= utc("2026-05-15T20:00").timestamp())
    assert set(np.diff(at[noon])) == {3600}
    assert sun.moments_of_nights(MENDOZA, of.times[:0], 900).size == 0


def test_what_is_between_the_hours_of_a_weather() -> None:
    of = replace(sky(d14h23=10.0), rain_mm=np.arange(HOURS, dtype=np.float64))
    at = np.array([46.0, 46.75, 47.0, 47.5]) * 3600 + of.times[0]

    between = at_moments(of, at)

    assert between.temp_c.tolist() == [15.0, 11.25, 10.0, 12.5]
    assert between.rain_mm.tolist() == [46.0, 47.0, 47.0, 48.0]


# -- what is told


def test_all_that_tells_the_nights_low_tells_the_same_one() -> None:
    """The lowest is at sunrise, 11:17 UTC: warmer at 11:00, and the sun is up at 12:00."""
    cold = sky(10.0, d15h12=1.0, d15h13=20.0)
    household = collection(plant(home="wall"), spots=(WALL, OPEN_BENCH, WARM_ROOM))
    scene = Scene(household, cold, {}, DUSK)

    sheet = draw_up(Round.DUSK, household, cold, {}, DUSK)
    (chore,) = carried(sheet)
    (low,) = (
        low
        for low in tonight(household.site, household.spots, cold, DUSK).lows
        if low.spot == "wall"
    )
    explanation = explain_plant(household.plants[0], household, cold, {}, DUSK)
    (deciding,) = (hour for hour in explanation.hours if hour.deciding)

    assert low.leaf_c is not None
    assert chore.because[0].value == round(low.leaf_c, 2)
    assert chore.because[0].at == low.at == deciding.at
    assert deciding.leaf_c == low.leaf_c == sheet.lows["wall"]
    assert float(spot_lows(scene, NIGHT)[0]) == low.leaf_c
    assert low.leaf_c == min(hour.leaf_c for hour in explanation.hours if hour.leaf_c is not None)
    assert explanation.cold_h == pytest.approx(chore.because[0].hours, abs=0.01)
