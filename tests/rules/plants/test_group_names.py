"""Common names, genera and slips of the pen: which group is meant."""

import tomllib
from collections import Counter
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.plants.group_names import (
    alias_named,
    alias_within,
    aliases_by_group,
    folded,
    genus_of,
    names_like,
    standard_aliases,
)
from sillward_rules.plants.groups import standard_groups

DATA = tomllib.loads(
    resources.files("sillward_rules.plants").joinpath("group_names.toml").read_text()
)
OWN = {folded(name): name for name in standard_groups()}


def groups_of(name: str) -> tuple[str, ...]:
    alias = alias_named(name)
    return () if alias is None else alias.groups


def test_every_name_is_there_once_and_leads_to_a_group() -> None:
    written = [name for names in DATA["names"].values() for name in names]
    written += [*DATA["shared"], *DATA["former"]]

    assert [name for name, many in Counter(map(folded, written)).items() if many > 1] == []
    assert len(written) >= 250
    for group, names in DATA["names"].items():
        assert group in standard_groups()
        for name in names:
            assert groups_of(name) == (group,), name
    for name, groups in (DATA["shared"] | DATA["former"]).items():
        assert len(groups) > 1
        assert set(groups) <= set(standard_groups())
        assert groups_of(name) == tuple(groups), name


def test_every_group_has_its_own_name_and_others() -> None:
    assert [name for name in standard_groups() if groups_of(name) != (name,)] == []
    assert [name for name, others in aliases_by_group().items() if not others] == []


def test_no_plural_is_the_name_of_another_group() -> None:
    for alias in standard_aliases().values():
        plural = alias_named(f"{alias.name}s")
        assert plural is None or plural.groups == alias.groups, alias.name


@pytest.mark.parametrize(
    ("name", "groups"),
    [
        ("moth orchid", ("phalaenopsis",)),
        ("frangipani", ("plumeria",)),
        ("air plant", ("tillandsia xeric", "tillandsia mesic")),
        ("Christmas cactus", ("christmas cactus",)),
        ("fern", ("fern",)),
        ("palm", ("palm",)),
        ("aloe", ("aloe",)),
        ("MOTH  ORCHIDS", ("phalaenopsis",)),
        ("moth-orchid", ("phalaenopsis",)),
        ("Christmas cacti", ("christmas cactus",)),
        ("Peace lilies", ("chilling-sensitive aroid",)),
        ("avocadoes", ("avocado",)),
        ("birds of paradise", ("strelitzia",)),
        ("Mother-in-law\u2019s Tongue", ("snake plant",)),
        ("mother in laws tongue", ("snake plant",)),
        ("Phal\u00e6nopsis", ("phalaenopsis",)),
        ("Phala\u00ebnopsis", ("phalaenopsis",)),
        ("\u00d7 Brassocattleya", ("cattleya",)),
        ("geranium", ("pelargonium",)),
        ("Neofinetia", ("neofinetia",)),
        ("Zygocactus", ("christmas cactus",)),
        ("rhipsalis", ("rhipsalis",)),
        ("tulip", ()),
        ("", ()),
        ("x" * 10_000, ()),
    ],
)
def test_what_growers_say_leads_to_the_group(name: str, groups: tuple[str, ...]) -> None:
    assert groups_of(name) == groups


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("phaleanopsis", ["phalaenopsis"]),
        ("catleya", ["cattleya"]),
        ("moth orchd", ["moth orchid"]),
        ("hibicus", ["hibiscus"]),
        ("monsteria", ["monstera"]),
        ("vanda strapleaf", ["vanda strap-leaf"]),
        ("bougainvilla", ["bougainvillea"]),
        # One word in common is no likeness.
        ("toad orchid", []),
        ("silver plant", []),
        ("tiger lily", []),
        ("pine lily", []),
        ("xyzzy", []),
        ("", []),
        ("orchid " * 2_000, []),
    ],
)
def test_a_slip_of_the_pen_is_seen_by_its_letters(typed: str, meant: list[str]) -> None:
    assert names_like(typed) == meant


@given(st.sampled_from(sorted(name for name in OWN if len(name) > 6)), st.data())
def test_two_swapped_letters_are_forgiven(name: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(name) - 2).filter(lambda at: " " not in name[at : at + 2]))
    slipped = name[:at] + name[at + 1] + name[at] + name[at + 2 :]

    assert alias_named(slipped) or OWN[name] in names_like(slipped)


@given(st.text(max_size=80))
def test_any_text_can_be_asked_for(text: str) -> None:
    for found in (alias_named(text), alias_within(text), genus_of(text)):
        assert found is None or set(found.groups) <= set(standard_groups())
    assert len(names_like(text)) <= 3


def test_the_name_of_a_plant_tells_its_kind() -> None:
    found = alias_within("My old moth orchid by the door")
    assert found is not None
    assert found.groups == ("phalaenopsis",)
    assert alias_within("Grandmother's pride") is None


def test_a_species_that_is_not_listed_goes_with_its_genus() -> None:
    found = genus_of("Schlumbergera orssichiana")
    assert found is not None
    assert found.groups == ("christmas cactus",)
    assert genus_of("moth balls") is None
    assert genus_of("Schlumbergera") is None


@pytest.mark.parametrize("name", ["rosette succulent", "epiphytic cactus"])
def test_a_group_that_was_split_is_taken_for_its_tenderest_part(name: str) -> None:
    alias = alias_named(name)
    assert alias is not None
    assert alias.former

    for limit in ("night_low", "brief_low"):
        values = [getattr(standard_groups()[group].limits, limit).value for group in alias.groups]
        assert values[0] == max(values), limit
