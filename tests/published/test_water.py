"""Acids for water against extension tables."""

from collections.abc import Callable
from typing import Any

import pytest

from sillward_rules.plants.fertiliser import US_GALLON_L
from sillward_rules.plants.salt_balance import leaching_requirement
from sillward_rules.plants.water_chemistry import ACIDS, Acid, meq_per_litre

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

FLUID_OUNCE_ML = 29.5735


@pytest.mark.published("acid_ounces")
def test_acid_for_a_hundred_gallons(inputs: Inputs, agrees: Agrees) -> None:
    acid = Acid(
        "", "", inputs["pct"], inputs["density"], inputs["molar_mass"], tuple(inputs["pkas"])
    )
    millilitres = acid.millilitres(meq_per_litre(inputs["alkalinity"]), inputs["ph"])

    agrees(millilitres * 100 * US_GALLON_L / FLUID_OUNCE_ML)


@pytest.mark.published("acid_ppm")
def test_what_an_acid_brings(inputs: Inputs, agrees: Agrees) -> None:
    agrees(ACIDS[inputs["key"]].ppm(meq_per_litre(inputs["alkalinity"]), inputs["ph"]))


@pytest.mark.published("leaching_requirement")
def test_the_share_that_must_run_through(inputs: Inputs, agrees: Agrees) -> None:
    agrees(leaching_requirement(inputs["water_ec"], inputs["bearable_ec"]))


@pytest.mark.published("water_applied")
def test_the_water_with_what_runs_through(inputs: Inputs, agrees: Agrees) -> None:
    agrees(inputs["used"] / (1 - leaching_requirement(inputs["water_ec"], inputs["bearable_ec"])))
