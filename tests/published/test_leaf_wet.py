"""A wet leaf at night against the thermodynamic wet bulb of psychrolib 2.5 (ASHRAE)."""

from itertools import product

import psychrolib
import pytest

from sillward_rules.physics import air
from sillward_rules.physics.leaf import leaf_temperature
from sillward_rules.physics.surface import LEAF
from tests.support.cases import for_each

TEMPS = [4.0, 10.0, 16.0, 22.0]
HUMIDITIES = [35.0, 55.0, 75.0, 92.0]


def at_night(
    temp_c: float, rh_pct: float, wind_m_s: float, sky_view: float, kpa: float, *, wet: bool
) -> float:
    vapour = air.vapour_pressure(temp_c, rh_pct)
    return float(
        leaf_temperature(
            temp_c, vapour, wind_m_s, 0.0, sky_view, pressure_kpa=kpa, shape=LEAF, wet=wet
        )
    )


def wet_bulb(temp_c: float, rh_pct: float, kpa: float) -> float:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return float(psychrolib.GetTWetBulbFromRelHum(temp_c, rh_pct / 100, kpa * 1000))


@for_each(product(TEMPS, HUMIDITIES, [101.325, 71.9]))
def test_without_a_sky_a_wet_leaf_is_between_the_wet_bulb_and_the_air(
    temp_c: float, rh_pct: float, kpa: float
) -> None:
    """What it sees is as warm as the air and warms it; the windier, the less that matters."""
    bulb = wet_bulb(temp_c, rh_pct, kpa)
    calm, breeze, gale = (
        at_night(temp_c, rh_pct, wind, 0.0, kpa, wet=True) for wind in (0.2, 2.0, 50.0)
    )

    # Vapour moves faster than heat here (0.147 to 0.135), which is worth some tenths.
    assert bulb - 0.45 <= gale <= breeze <= calm < temp_c
    assert gale == pytest.approx(bulb, abs=0.45)


@for_each(product(TEMPS, HUMIDITIES, [0.2, 1.0], [0.3, 1.0]))
def test_under_a_clear_sky_it_is_not_further_below_the_wet_bulb_than_the_sky_takes(
    temp_c: float, rh_pct: float, wind_m_s: float, sky_view: float
) -> None:
    """The sky takes at most what it takes of a dry leaf on which no dew forms."""
    bulb = wet_bulb(temp_c, rh_pct, 101.325)
    wet, dry = (
        at_night(temp_c, rh_pct, wind_m_s, sky_view, 101.325, wet=wet) for wet in (True, False)
    )
    no_dew = at_night(temp_c, 20.0, wind_m_s, sky_view, 101.325, wet=False)

    assert bulb - (temp_c - no_dew) - 0.45 <= wet <= dry + 1e-6
