"""What wind and rain containers outdoors stand without a limit of their own."""

from dataclasses import replace

import numpy as np
import pytest

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.plant import HOLDERS, Holder
from sillward_rules.plants.storm_limits import STORM_LIMITS
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.spot import Spot
from tests.support.core import daily_curve, plant, utc
from tests.support.summer import HOURS, garden, limited, sky

EVENING = utc("2026-01-20T21:30")
MILD = daily_curve(17.0, 27.0, HOURS)
COURTYARD = Spot("bench", night_offset_k=0.0)
"""Of its wind and rain nothing is said."""


def told(holder: Holder, *, gust_m_s: float = 5.0, rain_mm: float = 0.0) -> set[ChoreKind]:
    """What is told in the evening of such an hour in the night, of a plant out in a courtyard."""
    night = np.arange(HOURS) == 51  # to midnight at the site
    air = sky(
        MILD,
        dew=12.0,
        now=EVENING,
        gust_m_s=np.where(night, gust_m_s, 5.0),
        rain_mm=np.where(night, rain_mm, 0.0),
    )
    stands = STORM_LIMITS[holder]
    assert stands.gust_high
    assert stands.rain_high
    hardy = limited(
        plant(night_low=2.0, rot="low"),
        gust_high=stands.gust_high.value,
        rain_high=stands.rain_high.value,
    )
    of = garden(replace(hardy, holder=holder), bench=COURTYARD)
    return {chore.kind for chore in draw_up(Round.DUSK, of, air, {}, EVENING).chores}


@pytest.mark.parametrize("holder", HOLDERS)
def test_a_hurricane_is_told_of_whatever_it_grows_in(holder: Holder) -> None:
    """38 m/s over open land, where trees fall: beyond the 32.7 m/s of Beaufort 12."""
    assert told(holder, gust_m_s=38.0) == {ChoreKind.SECURE}


@pytest.mark.parametrize("holder", HOLDERS)
def test_a_breeze_is_not_told_of(holder: Holder) -> None:
    """13 m/s is the top of a strong breeze, Beaufort 6."""
    assert not told(holder, gust_m_s=13.0)


def test_what_hangs_is_blown_about_before_what_stands() -> None:
    assert told("basket", gust_m_s=24.0) == told("mount", gust_m_s=24.0) == {ChoreKind.SECURE}
    assert not told("pot", gust_m_s=24.0)


@pytest.mark.parametrize(("rain_mm", "covered"), [(8.0, False), (40.0, True)])
def test_cover_before_a_cloudburst_and_not_before_a_shower(rain_mm: float, covered: bool) -> None:
    assert (ChoreKind.COVER in told("pot", rain_mm=rain_mm)) is covered
