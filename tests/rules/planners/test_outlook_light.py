"""The week sheet on light: where it is too dark for what lives there, and for whom it is not."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.explanation import explain_plant
from sillward_rules.planners.outlook import DARK_SHARE, Outlook
from sillward_rules.plants.plant import Plant
from sillward_rules.remark import SpotDark
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.light import ppfd
from sillward_rules.weather.season import day_length_h
from sillward_rules.weather.spot import Spot
from tests.support.core import MENDOZA, daily_curve, plant, utc
from tests.support.summer import DAY, NOW, START, garden, limited, sky

SITE = replace(MENDOZA, longitude=-75.0)
WEEK = 9 * 24
OPEN = Spot("bench", sky_view=1.0, wind=0.3, sun_windows=(), night_offset_k=0.0, day_offset_k=0.0)
"""Only light of the sky, all of it: what reaches the plants is diffuse_w_m2 itself."""
WARM = daily_curve(19.0, 30.0, WEEK)


def evenly(watts: float) -> Array:
    """So much light from the sky in the 14 hours from 10 to 24 UTC, none in the others."""
    hours = np.arange(WEEK) % 24
    return np.where((hours >= 11) | (hours == 0), watts, 0.0)


def light_of(noon_ppfd: float, share: float) -> float:
    """Sky light [W/m2] that gives, over 14 h, this share of what a half sine to noon_ppfd gives."""
    mean = 2 / np.pi * noon_ppfd * day_length_h(SITE, DAY) / 14
    return share * mean / float(ppfd(1.0))


def ahead(
    *plants: Plant,
    watts: float = 0.0,
    temp: Array = WARM,
    bench: Spot = OPEN,
    air: Weather | None = None,
) -> Outlook:
    weather = air or sky(temp, dew=12.0, diffuse_w_m2=evenly(watts))
    sheet = draw_up(Round.WEEK, garden(*plants, bench=bench, site=SITE), weather, {}, NOW)
    assert sheet.outlook is not None
    return sheet.outlook


def liking(light_low: float, name: str = "Test strap") -> Plant:
    return limited(plant(name), light_low=light_low)


@pytest.mark.parametrize(
    ("share", "dark"), [(0.2, True), (0.55, True), (0.65, False), (1.0, False)]
)
def test_a_week_far_under_the_need_is_too_dark(share: float, dark: bool) -> None:
    assert 0.55 < DARK_SHARE < 0.65

    said = ahead(liking(600.0), watts=light_of(600.0, share)).dark

    assert bool(said) is dark


def test_the_remark_names_spot_light_and_need() -> None:
    need = 2 / np.pi * 600 * day_length_h(SITE, DAY) * 3600 / 1e6  # mol/d of a half sine

    dark = ahead(liking(600.0), watts=light_of(600.0, 0.3)).dark

    light: Any = pytest.approx(0.3 * need, rel=0.02)
    wanted: Any = pytest.approx(need, rel=0.02)
    assert dark == (SpotDark("bench", light, "Test strap", wanted, 1),)


def test_one_remark_for_a_spot_names_the_hungriest_plant() -> None:
    plants = (liking(300.0, "a"), liking(900.0, "b"), liking(500.0, "c"), liking(10.0, "shade"))

    (dark,) = ahead(*plants, watts=light_of(300.0, 0.3)).dark

    assert isinstance(dark, SpotDark)
    assert (dark.spot, dark.neediest, dark.plant_count) == ("bench", "b", 3)


def test_shade_cloth_counts() -> None:
    watts = light_of(600.0, 1.0)

    assert not ahead(liking(600.0), watts=watts).dark
    assert ahead(liking(600.0), watts=watts, bench=replace(OPEN, shade=0.6)).dark


def test_a_plant_without_a_limit_for_light_is_content() -> None:
    assert not ahead(plant(), watts=0.0).dark


def test_plants_at_rest_may_stand_in_the_dark() -> None:
    start, now = utc("2026-06-19T00:00"), utc("2026-06-20T12:00")
    cool = daily_curve(6.0, 16.0, WEEK)
    made = garden(limited(plant(night_low=0.0), light_low=600.0), bench=OPEN, site=SITE)

    for temp, dark in ((cool, False), (WARM, True)):
        air = sky(temp, dew=3.0, start=start, now=now, diffuse_w_m2=20.0, direct_w_m2=0.0)
        outlook = draw_up(Round.WEEK, made, air, {}, now).outlook
        assert outlook is not None
        assert bool(outlook.dark) is dark


def test_light_that_is_not_known_is_not_called_dark() -> None:
    unknown = sky(WARM, dew=12.0, diffuse_w_m2=np.nan, direct_w_m2=np.nan)

    assert ahead(liking(600.0), air=unknown).dark == ()


def test_two_days_of_forecast_say_nothing_about_light() -> None:
    short = sky(daily_curve(19.0, 30.0, 60), dew=12.0, direct_w_m2=0.0)
    assert short.times[0] == START.timestamp()

    assert ahead(liking(600.0), air=short).dark == ()


def test_indoors_nobody_knows_the_light() -> None:
    inside = replace(liking(600.0), home="room", shelter=None)

    assert ahead(inside, watts=0.0).dark == ()


def test_too_dark_is_told_at_any_longitude() -> None:
    air = sky(WARM, dew=12.0, direct_w_m2=0.0, diffuse_w_m2=5.0)

    for longitude in (-75.0, MENDOZA.longitude, -67.5):
        made = garden(liking(600.0), bench=OPEN, site=replace(MENDOZA, longitude=longitude))
        outlook = draw_up(Round.WEEK, made, air, {}, NOW).outlook
        assert outlook is not None
        assert outlook.dark, longitude


def test_the_account_of_a_plant_knows_the_light_of_its_day() -> None:
    made = garden(liking(600.0), bench=OPEN)
    air = sky(WARM, dew=12.0, direct_w_m2=0.0, diffuse_w_m2=evenly(100.0))

    dli = explain_plant(made.plants[0], made, air, {}, NOW).dli

    # 14 h of 100 W/m2; 2.057 umol/J is 0.45 of 4.57 (Thimijan and Heins 1983).
    assert dli == pytest.approx(14 * 3600 * 100 * 2.057e-6, rel=0.01)
