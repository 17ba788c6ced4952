"""Which plants use how much water."""

from dataclasses import replace

import pytest

from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import Traits
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.water_use import Pots, pot_width_cm, water_use_of, water_uses
from tests.support.core import plant


def test_every_culture_group_has_a_class_and_no_other_name_has_one() -> None:
    assert set(water_uses()) == set(standard_groups())


@pytest.mark.parametrize(
    ("groups", "name"),
    [
        (("agave",), "succulent"),
        (("cattleya", "miltonia"), "thin-leaved"),
        (("hibiscus",), "thirsty"),
        ((), "epiphyte"),
        (("the grower's own",), "epiphyte"),
    ],
)
def test_a_hybrid_takes_the_thirstiest_of_its_parents(groups: tuple[str, ...], name: str) -> None:
    assert water_use_of(replace(plant(), groups=groups)).name == name


def test_without_a_group_a_plant_in_a_pot_drinks_like_a_shrub() -> None:
    assert water_use_of(plant(holder="pot", velamen=False)).name == "shrub"


def test_a_pot_of_as_much_width_as_height() -> None:
    """Beeson 2010: a container of 11.4 L has an upper surface of 508 cm2, 25.4 cm wide."""
    assert pot_width_cm(11.4) == pytest.approx(25.4, abs=1.5)


def test_only_plants_with_a_pot_count() -> None:
    bare, potted = plant("Bare"), replace(plant("Potted"), pot=Pot(2.0, "bark"))

    pots = Pots.of(Traits.of([bare, potted, bare]))

    assert pots.plants.tolist() == [1]
    assert pots.capacity_l.tolist() == pytest.approx([0.36])
