"""The wet bulb against FAO-56, ASHRAE (through psychrolib), Stull 2011, and MetPy as a warning.

Three things are called wet bulb. The psychrometric one is what a ventilated thermometer reads, and
the core's. The thermodynamic one (ASHRAE, psychrolib) saturates air at constant enthalpy: nearly
the same. The pseudo-adiabatic one (MetPy) lifts air until it is saturated and brings it down wet:
clearly lower in hot dry air.
"""

from collections.abc import Callable
from itertools import product
from typing import Any

import numpy as np
import psychrolib
import pytest

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from tests.support.cases import for_each

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

SEA_LEVEL_KPA = 101.325


@pytest.fixture(autouse=True)
def _in_si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.published("wet_bulb_of_psychrometer")
def test_wet_bulb_of_a_psychrometer(inputs: Inputs, agrees: Agrees) -> None:
    pressure = air.pressure_at(inputs["elevation_m"])

    wet = air.wet_bulb(
        inputs["temp_c"], inputs["vapour_kpa"], pressure, coefficient=inputs["coefficient"]
    )

    agrees(wet)


@pytest.mark.published("wet_bulb_of_air")
def test_wet_bulb_of_air(inputs: Inputs, agrees: Agrees) -> None:
    vapour = air.vapour_pressure(inputs["temp_c"], inputs["rh_pct"])

    agrees(air.wet_bulb(inputs["temp_c"], vapour, inputs["pressure_kpa"]))


@for_each(
    product(
        [5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100], [70.0, 80.0, 90.0, SEA_LEVEL_KPA, 105.0]
    )
)
def test_wet_bulb_is_at_most_three_tenths_above_the_thermodynamic_one(
    rh_pct: int, pressure_kpa: float
) -> None:
    """Where the wet bulb is above freezing: below, psychrolib's bulb carries ice. The gap is that
    between FAO's coefficient and the adiabatic one: 1.7 % of the depression."""
    temps = np.arange(0.0, 46.0, 2.5)
    reference = _thermodynamic(temps, rh_pct, pressure_kpa)
    above_freezing = reference > 0.1

    wet = air.wet_bulb(temps, air.vapour_pressure(temps, rh_pct), pressure_kpa)

    gap = (wet - reference)[above_freezing]
    assert gap.size
    assert (gap > -0.005).all()
    assert (gap < 0.28).all()
    assert (gap <= 0.01 + 0.017 * (temps - wet)[above_freezing]).all()


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "below_thermodynamic_k", "below_ours_k"),
    [(40, 10, 0.66, 0.85), (30, 20, 0.38, 0.51), (20, 50, 0.12, 0.18), (15, 95, 0.01, 0.02)],
)
def test_wet_bulb_of_metpy_is_another_quantity(
    temp_c: float, rh_pct: float, below_thermodynamic_k: float, below_ours_k: float
) -> None:
    """Pseudo-adiabatic: two thirds of a kelvin too low where it matters. Not to be swapped in."""
    import metpy.calc
    from metpy.units import units

    dew = metpy.calc.dewpoint_from_relative_humidity(temp_c * units.degC, rh_pct / 100)
    lifted = metpy.calc.wet_bulb_temperature(SEA_LEVEL_KPA * units.kPa, temp_c * units.degC, dew)
    pseudo_adiabatic = float(lifted.to("degC").magnitude)

    thermodynamic = float(_thermodynamic(np.array([temp_c]), rh_pct, SEA_LEVEL_KPA)[0])
    ours = float(air.wet_bulb(temp_c, air.vapour_pressure(temp_c, rh_pct), SEA_LEVEL_KPA))

    assert thermodynamic - pseudo_adiabatic == pytest.approx(below_thermodynamic_k, abs=0.03)
    assert ours - pseudo_adiabatic == pytest.approx(below_ours_k, abs=0.03)


def _thermodynamic(temps_c: Array, rh_pct: float, pressure_kpa: float) -> Array:
    pressure_pa = 1000 * pressure_kpa
    wets = [psychrolib.GetTWetBulbFromRelHum(temp, rh_pct / 100, pressure_pa) for temp in temps_c]
    return np.array(wets)
