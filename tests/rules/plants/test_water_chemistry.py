"""Water: blends, acid for an aimed pH, and what settles in a stock."""

import numpy as np
import pytest

from sillward_rules.plants.water_chemistry import (
    ACIDS,
    CARBONIC_PKA,
    Water,
    acid_needed,
    alkalinity_left,
    charge_share,
    gypsum_share,
    meq_per_litre,
    rain_share_for,
)


def test_half_rain_halves_salt_and_alkalinity() -> None:
    blend = Water(0.62, 150, 7.6, rain=0.5).blended

    assert (blend.ec, blend.alkalinity, blend.ph) == (0.31, 75, 7.6)
    assert blend.blended == blend  # rain is mixed in once
    assert Water(0.62, rain=1.0).blended == Water(0.0)


def test_an_acid_at_its_own_pka_has_given_half() -> None:
    assert charge_share((6.35,), 6.35) == pytest.approx(0.5)
    assert charge_share(CARBONIC_PKA, 8.34) == pytest.approx(1.0, abs=0.001)  # bicarbonate alone
    assert charge_share((-3.0, 1.99), 6.0) == pytest.approx(2.0, abs=0.001)


def test_the_acid_of_a_hand_worked_example() -> None:
    # 150 mg/L are 3 mmol/L. At pH 7.6 bicarbonate is 10^1.25 / (1 + 10^1.25) = 0.9468 of the
    # carbonate (0.0018 more as carbonate), so there are 3.16 mmol/L; at pH 5.8 0.2199 of them keep
    # their charge: 0.695. The rest, 2.31, takes acid.
    assert acid_needed(150, 7.6, 5.8) == pytest.approx(2.31, abs=0.01)
    assert alkalinity_left(150, 7.6, 5.8) == pytest.approx(34.7, abs=0.5)
    # Far below the carbonate it takes all of the alkalinity and a little to make the water sour.
    assert acid_needed(150, 7.6, 3.5) == pytest.approx(3.0 + 10**-0.5, abs=0.01)


def test_the_water_that_acid_makes_is_at_the_aimed_ph() -> None:
    """Titrate back: the charge that is left must be that of the same carbonate at that pH."""
    ph = np.array([7.0, 7.6, 8.3])
    carbonate = 3.0 / charge_share(CARBONIC_PKA, ph)
    left = 3.0 - acid_needed(150, ph, 6.0)

    np.testing.assert_allclose(left / carbonate, charge_share(CARBONIC_PKA, 6.0), atol=0.002)


def test_no_acid_where_the_water_is_there_already() -> None:
    assert acid_needed(20, 5.6, 6.0) == 0
    assert acid_needed(0, None, 6.0) == pytest.approx(0, abs=0.002)


def test_a_ph_not_known_makes_a_tenth() -> None:
    usual = acid_needed(150, None, 6.0)

    assert acid_needed(150, 7.0, 6.0) == pytest.approx(usual, rel=0.12)
    assert acid_needed(150, 8.5, 6.0) == pytest.approx(usual, rel=0.12)


def test_rain_instead_of_acid() -> None:
    assert rain_share_for(150, 50) == pytest.approx(2 / 3)
    assert rain_share_for(0, 50) == 0
    assert Water(0.6, 150, rain=float(rain_share_for(150, 50))).blended.alkalinity == (
        pytest.approx(50)
    )


def test_every_acid_neutralises_what_is_asked() -> None:
    for acid in ACIDS.values():
        mol = acid.grams(2.0, 6.0) * acid.pct / 100 / acid.molar_mass
        assert mol * acid.protons(6.0) * 1000 == pytest.approx(2.0)
        assert np.isnan(acid.millilitres(2.0, 6.0)) == (acid.density is None)


def test_gypsum_settles_where_both_are_as_in_its_saturated_solution() -> None:
    # 2.4 g/L of CaSO4.2H2O: 559 mg/L of Ca and 447 mg/L of S.
    assert gypsum_share(558.7, 446.9) == pytest.approx(1.0, abs=0.001)
    assert gypsum_share(4 * 558.7, 446.9) == pytest.approx(2.0, abs=0.001)
    assert gypsum_share(1000, 0) == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: meq_per_litre(-1),
        lambda: acid_needed(100, 12.5, 6),
        lambda: acid_needed(100, 7, 1),
        lambda: Water(0.3, rain=1.5),
    ],
)
def test_impossible_numbers(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"cannot|from"):
        wrong()  # type: ignore[operator]
