"""The size of plants against published bulk densities and guidance on lifting."""

from collections.abc import Callable
from typing import Any

import pytest

from sillward_rules.plants import size

Inputs = dict[str, Any]
Agrees = Callable[[object], None]


@pytest.mark.published("wet_medium")
def test_weight_of_a_litre_that_was_watered(inputs: Inputs, agrees: Agrees) -> None:
    agrees(size.WET_KG_PER_L[inputs["medium"]])


@pytest.mark.published("heavy")
def test_heavy_begins_at_the_least_that_is_published(inputs: Inputs, agrees: Agrees) -> None:
    agrees(size.is_heavy(inputs["kg"]))
