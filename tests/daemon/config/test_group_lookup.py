"""Common names in the collection, in `groups` and in `check`."""

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward.cli import main
from sillward.config import group_lookup
from sillward.config.loader import load_household
from sillward.errors import ConfigError
from sillward.setup import plant_questions
from sillward.text.columns import WIDTH
from sillward_rules.plants.groups import standard_groups
from tests.support.paths import COLLECTIONS

GOOD = (COLLECTIONS / "good.toml").read_text(encoding="utf-8")


def told(*words: str) -> list[str]:
    """What `groups` prints for these words."""
    result = CliRunner().invoke(main, ["groups", *words])
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= WIDTH
    return lines


def with_moth(tmp_path: Path, line: str, *, more: str = "") -> Path:
    """The good collection with other words for the group of its moth orchid."""
    path = tmp_path / "household.toml"
    text = GOOD.replace('group = "phalaenopsis"', line)
    path.write_text(text + more, encoding="utf-8")
    return path


def errors(path: Path) -> tuple[str, ...]:
    with pytest.raises(ConfigError) as caught:
        load_household(path)
    return caught.value.lines


# -- sillward groups


@pytest.mark.parametrize(
    ("words", "head", "first"),
    [
        ("moth orchid", "moth orchid: phalaenopsis", "phalaenopsis  "),
        ("frangipani", "frangipani: plumeria", "plumeria  "),
        ("air plant", "air plant: tillandsia xeric or tillandsia mesic", "tillandsia xeric  "),
        ("Christmas cactus", None, "christmas cactus  "),
        ("ferns", None, "fern  "),
        ("palm", None, "palm  "),
        ("aloe", None, "aloe  "),
        ("jade", "jade: jade plant", "jade plant  "),
        ("cattleya", None, "cattleya  "),
        ("mother-in-law's tongue", "mother-in-law's tongue: snake plant", "snake plant  "),
    ],
)
def test_common_names_find_the_group(words: str, head: str | None, first: str) -> None:
    for asked in (words.split(), [words], words.upper().split()):
        lines = told(*asked)
        if head is not None:
            assert lines.pop(0) == head
        assert lines[0].startswith(first)


def test_a_name_of_one_group_finds_no_other_by_half_of_it() -> None:
    assert [line for line in told("moth", "orchid") if "jewel" in line] == []
    assert len(told("moth", "orchid")) == 2


def test_other_groups_with_the_words_follow_and_say_why() -> None:
    text = " ".join(" ".join(told("palm")).split())

    assert "Cycas revoluta, Zamia, Dioon (also sago palm, cardboard palm)" in text
    assert "Yucca gigantea, Beaucarnea (also ponytail palm)" in text


def test_a_species_that_is_not_listed_is_shown_with_its_genus() -> None:
    head, first, *_ = told("Aeonium", "lindleyi")

    assert head == "Aeonium lindleyi is not listed; its genus is: aeonium"
    assert first.startswith("aeonium  ")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("phaleanopsis", "; did you mean phalaenopsis?"),
        ("catleya", "; did you mean cattleya?"),
        ("toad orchid", "; `sillward groups` lists them all"),
        ("tiger lily", "; `sillward groups` lists them all"),
    ],
)
def test_what_is_not_found_is_guessed_by_its_letters_alone(words: str, said: str) -> None:
    assert " ".join(told(*words.split())) == f"no group has all these words{said}"


def test_all_groups_are_listed_without_words() -> None:
    lines = told()

    assert [
        name for name in standard_groups() if not any(line.startswith(name) for line in lines)
    ] == []
    assert not any("(also" in line for line in lines)


# -- the collection


@pytest.mark.parametrize("name", ["moth orchid", "Moth Orchids", "Phalaenopsis", "phalaenopsis"])
def test_a_common_name_is_taken_for_its_group(tmp_path: Path, name: str) -> None:
    household = load_household(with_moth(tmp_path, f'group = "{name}"'))

    plant = next(plant for plant in household.collection.plants if plant.name == "Moth orchid")
    assert plant.groups == ("phalaenopsis",)
    of_plant = replace(plant.limits, gust_high=None, rain_high=None)  # by how it stands
    assert of_plant == standard_groups()["phalaenopsis"].limits


def test_parents_go_by_common_names_too(tmp_path: Path) -> None:
    household = load_household(with_moth(tmp_path, 'parents = ["moth orchid", "fox brush orchid"]'))

    plant = next(plant for plant in household.collection.plants if plant.name == "Moth orchid")
    assert plant.groups == ("phalaenopsis", "aerides")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('group = "moth orchid"', "moth orchid: phalaenopsis; pot"),
        ('group = "phalaenopsis"', "  phalaenopsis; pot"),
        ('parents = ["moth orchid", "aerides"]', "moth orchid: phalaenopsis x aerides; pot"),
        ('group = "rosette succulent"', "rosette succulent: echeveria; pot"),
        (
            'group = "rosette succulent"',
            '? "rosette succulent" is now echeveria, aeonium or agave; taken as echeveria, '
            "the tenderest, until you name one",
        ),
        ('group = "epiphytic cactus"', "epiphytic cactus: rhipsalis; pot"),
    ],
)
def test_check_says_what_a_name_was_taken_for(tmp_path: Path, line: str, said: str) -> None:
    path = with_moth(tmp_path, line)

    result = CliRunner().invoke(main, ["check", "--full", "--collection", str(path)])

    assert " ".join(said.split()) in " ".join(result.stdout.split())


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            'group = "air plant"',
            '"air plant" may be tillandsia xeric or tillandsia mesic: '
            "name one, or several as parents",
        ),
        ('group = "toad orchid"', '"toad orchid" is not a culture group; `sillward groups` lists'),
        ('group = "phaleanopsis"', '"phaleanopsis" is not a culture group; did you mean phal'),
        ('group = "Aeonium lindleyi"', "is not a culture group; did you mean aeonium?"),
    ],
)
def test_what_is_not_one_group_is_refused_with_what_it_may_be(
    tmp_path: Path, line: str, said: str
) -> None:
    (error,) = errors(with_moth(tmp_path, line))

    assert said in error


def test_a_rule_chooses_plants_by_common_names(tmp_path: Path) -> None:
    rule = """
[[rules]]
name = "draught"
watch = "gust"
above = "5 m/s"
asks = "note"
plants.group = ["Moth orchids", "vandas"]
"""
    household = load_household(with_moth(tmp_path, 'group = "moth orchid"', more=rule))

    chosen = household.collection.rules[-1].plants.group
    assert chosen == ("phalaenopsis", "vanda strap-leaf", "vanda terete")


def test_ten_thousand_unknown_names_are_told_quickly(tmp_path: Path) -> None:
    names = ", ".join(f'"unknown parent {number}"' for number in range(10_000))

    told_ = errors(with_moth(tmp_path, f"parents = [{names}]"))

    assert sum("did you mean" in line or "lists them" in line for line in told_) <= 51


# -- sillward new


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("moth orchid", "phalaenopsis"),
        ("my old moth orchid", "phalaenopsis"),
        ("kitchen-door aloes", "aloe"),
        ("frangipani", "plumeria"),
        ("big fern by the stairs", "fern"),
    ],
)
def test_new_finds_common_names(words: str, first: str) -> None:
    assert plant_questions.search_groups(words)[0].name == first


def test_new_finds_nothing_by_a_word_that_many_share() -> None:
    assert plant_questions.search_groups("zzz plant") == []


@pytest.mark.parametrize(
    ("text", "parents"),
    [
        ("cattleya x laelia", ["cattleya", "laelia"]),
        ("cattleya × laelia", ["cattleya", "laelia"]),
        ("cattleya, laelia", ["cattleya", "laelia"]),
        ("phalaenopsis, white", ["phalaenopsis, white"]),
        ("moth orchid", ["moth orchid"]),
    ],
)
def test_the_parents_of_a_hybrid_are_told_apart(text: str, parents: list[str]) -> None:
    assert group_lookup.parents_in(text) == parents


def test_a_hybrid_finds_the_groups_of_each_parent() -> None:
    names = [group.name for group in group_lookup.find_groups(["cattleya", "x", "laelia"])]

    assert names[0] == "cattleya"
    assert "laelia mexican" in names
