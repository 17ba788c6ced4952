"""Evapotranspiration and drought beyond the worked examples."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.physics.air import saturation_vapour_pressure
from sillward_rules.physics.evapotranspiration import (
    CALMEST_M_S,
    reference_evapotranspiration,
    stress_coefficient,
)

TEMPS, SHARES = st.floats(-10, 45), st.floats(0, 1)


def hour(temp_c: float, rh: float, wind_m_s: float, net_w_m2: float) -> float:
    vapour = rh * saturation_vapour_pressure(temp_c)
    return float(
        reference_evapotranspiration(
            temp_c, vapour, wind_m_s, net_w_m2, pressure_kpa=92.0, night=net_w_m2 < 0
        )
    )


@given(TEMPS, SHARES, SHARES, st.floats(0, 10), st.floats(0, 700), st.floats(0, 300))
def test_more_sun_or_drier_air_never_takes_less(
    temp_c: float, rh: float, drier: float, wind_m_s: float, net_w_m2: float, more: float
) -> None:
    taken = hour(temp_c, rh, wind_m_s, net_w_m2)

    assert taken >= 0.0
    assert hour(temp_c, rh, wind_m_s, net_w_m2 + more) >= taken
    assert hour(temp_c, rh * drier, wind_m_s, net_w_m2) >= taken - 1e-12


def test_dew_waters_no_pot_and_calm_air_is_not_quite_still() -> None:
    assert hour(10.0, 1.0, 1.0, -60.0) == 0.0
    assert hour(25.0, 0.4, 0.0, 200.0) == hour(25.0, 0.4, CALMEST_M_S, 200.0) > 0.0


def test_what_is_not_known_is_not_known() -> None:
    known = [20.0, 1.0, 1.0, 100.0]
    for missing in range(4):
        temp, vapour, wind, net = (np.nan if i == missing else v for i, v in enumerate(known))
        taken = reference_evapotranspiration(
            temp, vapour, wind, net, pressure_kpa=92.0, night=False
        )
        assert np.isnan(taken)


@given(SHARES, SHARES, st.floats(0, 0.95))
def test_less_water_never_means_less_stress(share: float, other: float, depletion: float) -> None:
    less, more = sorted((share, other))
    low, high = stress_coefficient([less, more], depletion)

    assert 0.0 <= low <= high <= 1.0
    if less >= 1 - depletion:
        assert low == 1.0
