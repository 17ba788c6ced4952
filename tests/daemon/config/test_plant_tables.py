"""Many plants in few lines: names, counts, defaults, and what is different about one of them."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.config import plant_tables
from sillward.config.changes import read_change
from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.config.plant_tables import laid_over
from sillward.errors import ConfigError
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Pot
from tests.support.config_errors import without_line_numbers
from tests.support.paths import EXAMPLES

HEAD = """\
site = { name = "Yard", latitude = -32.9, longitude = -68.9, elevation = 780, zone = "UTC" }
spots = { bench = {}, pergola = {}, sunroom = { indoors = true, night_low = 14 } }
"""

DEFAULTS = """\
[defaults]
holder = "pot"
home = "bench"
shelter = "sunroom"
pot = { litres = 2, medium = "bark" }
limits = { night_low = 9, gust_high = 8 }
"""


def household_of(tmp_path: Path, text: str, *changes: str) -> Household:
    path = tmp_path / "yard.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_household(path, changes=[read_change(change) for change in changes])


def plants_of(tmp_path: Path, text: str, *changes: str) -> dict[str, Plant]:
    plants = household_of(tmp_path, text, *changes).collection.plants
    return {plant.name: plant for plant in plants}


def errors_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        household_of(tmp_path, text)
    lines = without_line_numbers(caught.value.lines)
    return [line.removeprefix("yard.toml: ") for line in lines]


# -- names and counts


def test_names_make_a_plant_each_and_nothing_else_differs(tmp_path: Path) -> None:
    alike = 'group = "cattleya"\nholder = "basket"\nhome = "bench"\nshelter = "sunroom"\n'
    apart = "".join(f'[[plants]]\nname = "{name}"\n{alike}' for name in ("A", "B", "C"))

    together = household_of(tmp_path, f'[[plants]]\nnames = ["A", "B", "C"]\n{alike}')

    assert together == household_of(tmp_path, apart)


def test_a_count_numbers_them_and_a_larger_one_keeps_the_names(tmp_path: Path) -> None:
    table = '[[plants]]\nname = "Moth"\ncount = {}\ngroup = "phalaenopsis"\n'

    nine = list(plants_of(tmp_path, DEFAULTS + table.format(9)))
    twelve = list(plants_of(tmp_path, DEFAULTS + table.format(12)))

    assert nine == [f"Moth {number}" for number in range(1, 10)]
    assert twelve[:9] == nine
    assert twelve[9:] == ["Moth 10", "Moth 11", "Moth 12"]


def test_the_large_example_is_short() -> None:
    path = EXAMPLES / "three-hundred-plants.toml"

    collection = load_household(path).collection

    assert len(collection.plants) == 300
    assert len(path.read_text(encoding="utf-8").splitlines()) < 100


def test_a_shared_name_chooses_all_of_them(tmp_path: Path) -> None:
    text = """
[[plants]]
name = "Moth"
count = 2
group = "phalaenopsis"
[[plants]]
name = "Lime"
group = "citrus tender"
[[rules]]
name = "wind"
watch = "gust"
above = "5 m/s"
asks = "note"
plants = { name = ["Moth", "Lime"] }
[[feeds]]
name = "weak"
npk = "20-20-20"
ppm_n = 50
water_ec = 0.1
plants = { name = "Moth" }
"""
    collection = household_of(tmp_path, DEFAULTS + text).collection

    assert collection.rules[-1].plants.name == ("Moth 1", "Moth 2", "Lime")
    assert collection.feeds[0].plants.name == ("Moth 1", "Moth 2")


def test_a_name_that_one_plant_has_chooses_that_plant(tmp_path: Path) -> None:
    text = """
[[plants]]
names = ["Moth"]
group = "phalaenopsis"
[[plants]]
name = "Moth"
count = 2
group = "phalaenopsis"
[[rules]]
name = "wind"
watch = "gust"
above = "5 m/s"
asks = "note"
plants = { name = "Moth" }
"""
    assert household_of(tmp_path, DEFAULTS + text).collection.rules[-1].plants.name == ("Moth",)


# -- defaults, and what is different


def test_a_plant_s_own_word_counts_and_tables_are_laid_over_key_by_key(tmp_path: Path) -> None:
    text = """
[[plants]]
names = ["A", "B"]
group = "cattleya"
home = "pergola"
pot.litres = 5
limits.night_low = 12
but.B.limits.night_low = 15
but.B.pot.dark = true
"""
    a, b = plants_of(tmp_path, DEFAULTS + text).values()

    assert (a.holder, a.home, a.shelter) == ("pot", "pergola", "sunroom")
    assert (a.pot, b.pot) == (Pot(5, "bark"), Pot(5, "bark", dark=True))
    assert a.limits.night_low is not None
    assert b.limits.night_low is not None
    assert (a.limits.night_low.value, b.limits.night_low.value) == (12, 15)
    assert a.limits.gust_high == b.limits.gust_high
    assert a.limits.gust_high is not None


def test_a_group_takes_the_place_of_parents_and_the_other_way_round(tmp_path: Path) -> None:
    text = """
[defaults]
holder = "basket"
home = "bench"
group = "cattleya"
[[plants]]
names = ["A", "B"]
parents = ["cattleya", "brassavola"]
but.B.group = "aloe"
[[plants]]
name = "C"
"""
    plants = plants_of(tmp_path, text)

    assert [plant.groups for plant in plants.values()] == [
        ("cattleya", "brassavola"),
        ("aloe",),
        ("cattleya",),
    ]


def test_what_the_defaults_say_can_be_taken_back(tmp_path: Path) -> None:
    text = """
[[plants]]
names = ["A", "B"]
group = "aloe"
shelter = false
pot = false
but.B = { shelter = "sunroom", pot = { litres = 1, medium = "moss" }, span = false }
"""
    a, b = plants_of(tmp_path, DEFAULTS.replace("home", "span = 40\nhome") + text).values()

    assert (a.shelter, a.pot, a.span_cm) == (None, None, 40)
    assert (b.shelter, b.pot, b.span_cm) == ("sunroom", Pot(1, "moss"), None)


def test_a_plant_that_lives_in_the_default_shelter_stays_there(tmp_path: Path) -> None:
    text = '[[plants]]\nnames = ["A", "B"]\ngroup = "aloe"\nbut.B.home = "sunroom"\n'

    a, b = plants_of(tmp_path, DEFAULTS + text).values()

    assert (a.shelter, b.home, b.shelter) == ("sunroom", "sunroom", None)


def test_a_part_of_a_pot_counts_for_plants_that_give_the_rest(tmp_path: Path) -> None:
    text = """
[defaults]
holder = "pot"
home = "bench"
pot.medium = "bark"
[[plants]]
names = ["A", "B"]
group = "aloe"
but.B.pot.litres = 3
"""
    a, b = plants_of(tmp_path, text).values()

    assert (a.pot, b.pot) == (None, Pot(3, "bark"))


def test_one_plant_alone_may_be_written_as_several(tmp_path: Path) -> None:
    text = """
[[plants]]
names = ["A"]
group = "aloe"
but.A.home = "pergola"
[[plants]]
name = "B"
count = 1
group = "aloe"
"""
    plants = plants_of(tmp_path, DEFAULTS + text)

    assert {name: plant.home for name, plant in plants.items()} == {"A": "pergola", "B 1": "bench"}


layers = st.dictionaries(
    st.sampled_from(["group", "parents", "home", "shelter", "holder", "limits", "pot", "span"]),
    st.sampled_from(["x", "y", False, {"litres": 1}, {"medium": "z", "litres": 2}, {}]),
)


@given(layers, layers, layers)
def test_the_last_layer_counts_and_an_empty_one_changes_nothing(
    one: dict[str, object], two: dict[str, object], three: dict[str, object]
) -> None:
    assert laid_over(one, two, {}) == laid_over(one, two)
    for key, value in three.items():
        if value is not False and not isinstance(value, dict) and key not in ("shelter", "pot"):
            assert laid_over(one, two, three)[key] == value


# -- changes for a replay


def test_one_of_several_can_be_changed_or_all(tmp_path: Path) -> None:
    text = """
[[plants]]
names = ["A", "B"]
group = "aloe"
but.B.limits.night_low = 15
[[plants]]
name = "Moth"
count = 11
group = "phalaenopsis"
"""

    def lows(*changes: str) -> list[float]:
        plants = plants_of(tmp_path, DEFAULTS + text, *changes).values()
        return [low.value for plant in plants if (low := plant.limits.night_low) is not None]

    assert lows() == [9, 15, *[9] * 11]
    assert lows("plants.Moth 1.limits.night_low=12") == [9, 15, 12, *[9] * 10]
    assert lows("plants.*.limits.night_low=12") == [12] * 13


# -- what is wrong

TWO = '[[plants]]\nnames = ["A", "B"]\ngroup = "aloe"\n'


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            TWO + '[[plants]]\nname = "B"\ngroup = "aloe"\n',
            ['plants[1] "B": the name is already taken by plants[0]; make it unique'],
        ),
        (
            TWO.replace('"A"', '"M 2"') + '[[plants]]\nname = "M"\ncount = 3\ngroup = "aloe"\n',
            ['plants[1] "M": the name "M 2" is already taken by plants[0]; make it unique'],
        ),
        (
            TWO.replace('"B"', '"A"'),
            ['plants[0] "A" and 1 more: the name "A" is there twice; make it unique'],
        ),
        (
            TWO + 'name = "C"\n',
            ['plants[0] "C": give name, or names for plants that are alike, not both'],
        ),
        (
            TWO + "count = 3\n",
            [
                'plants[0] "A" and 1 more: count goes with name; with names their number is the '
                "count"
            ],
        ),
        (TWO.replace('["A", "B"]', "[]"), ["plants[0]: names: must not be empty"]),
        (
            TWO.replace('"B"', "5"),
            ['plants[0] "A" and 1 more: names[1] 5: must be text in quotes'],
        ),
        (
            '[[plants]]\nname = "M"\ncount = 1001\ngroup = "aloe"\n',
            ['plants[0] "M": count 1001: must be at most 1000'],
        ),
        (
            TWO + 'but.C.home = "pergola"\n',
            ['plants[0] "A" and 1 more: but.C: is none of these plants (A, B)'],
        ),
        (
            '[[plants]]\nname = "A"\ngroup = "aloe"\nbut.A.home = "pergola"\n',
            ['plants[0] "A": but is for one of several plants, by names or count'],
        ),
        (
            TWO + 'but.B.home = "patio"\n',
            [
                'plants[0] "A" and 1 more: but.B: home "patio" is not one of your spots '
                "(spots: bench, pergola, sunroom)"
            ],
        ),
        (
            TWO + 'but.B.shelter = "bench"\n',
            [
                'plants[0] "A" and 1 more: but.B: home and shelter are the same spot; '
                "leave shelter out"
            ],
        ),
        (
            TWO + "but.B.limits.nigth_low = 5\n",
            ['plants[0] "A" and 1 more: unknown key "but.B.limits.nigth_low"; did you mean'],
        ),
        (
            TWO + 'but.B.colour = "red"\n',
            [
                'plants[0] "A" and 1 more: unknown key "but.B.colour" (known: group, parents, '
                "holder, home, shelter, velamen, worth, pot, span, limits)"
            ],
        ),
        (
            TWO + "but.B.limits.brief_low = 10\n",
            [
                'plants[0] "A" and 1 more: but.B: limits.brief_low 10 is above limits.night_low 9',
            ],
        ),
        (
            '[[plants]]\nname = "' + "x" * 79 + '"\ncount = 3\ngroup = "aloe"\n',
            ["plants[0]"],
        ),
    ],
)
def test_a_mistake_in_a_table_of_many_is_told_once(
    tmp_path: Path, text: str, told: list[str]
) -> None:
    lines = errors_of(tmp_path, DEFAULTS + text)

    assert len(lines) == len(told)
    assert all(line.startswith(start) for line, start in zip(lines, told, strict=True))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (('"pot"', '"bucket"'), ["defaults: holder \"bucket\": must be 'basket', 'mount', "]),
        (
            ('"bench"', '"patio"'),
            ['defaults: home "patio" is not one of your spots (spots: bench, pergola, sunroom)'],
        ),
        (("night_low = 9", "night_low = 90"), ["defaults: limits.night_low 90: must be at most"]),
        (("[defaults]", '[defaults]\nname = "A"'), ['defaults: unknown key "name" (known: group,']),
        (("[defaults]", '[defaults]\ngroup = "qqq"'), ['defaults: "qqq" is not a culture group']),
    ],
)
def test_a_mistake_in_the_defaults_is_told_once_and_not_of_every_plant(
    tmp_path: Path, change: tuple[str, str], told: list[str]
) -> None:
    lines = errors_of(tmp_path, DEFAULTS.replace(*change, 1) + TWO.replace('group = "aloe"', ""))

    assert len(lines) == len(told)
    assert all(line.startswith(start) for line, start in zip(lines, told, strict=True))


def test_what_no_table_says_is_missing_by_the_name_of_its_plant(tmp_path: Path) -> None:
    lines = errors_of(tmp_path, TWO.replace('group = "aloe"', "pot.litres = 2"))

    where = 'plants[0] "A" and 1 more'
    assert lines == [
        f"{where}: holder is missing; give it here or in [defaults]",
        f"{where}: home is missing; give it here or in [defaults]",
        f"{where}: give group, or parents, or at least limits.night_low of your own",
        f"{where}: pot.medium is missing",
    ]


def test_a_short_file_cannot_make_plants_without_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plant_tables, "MAX_PLANTS", 50)
    table = '[[plants]]\nname = "M{}"\ncount = 10\ngroup = "aloe"\n'
    tables = [table.format(number) for number in range(8)]

    lines = errors_of(tmp_path, DEFAULTS + "".join(tables))

    assert lines == ['plants[5] "M5": makes more than 50 plants in all']


def test_a_spot_that_many_plants_have_wrong_is_one_line(tmp_path: Path) -> None:
    table = '[[plants]]\nname = "{}"\ngroup = "aloe"\nholder = "pot"\nhome = "{}"\n'
    text = "".join(table.format(f"Aloe {number}", "pergolla") for number in range(80))

    lines = errors_of(tmp_path, text + table.format("Fig", "roof"))

    assert lines == [
        'plants[0] "Aloe 0": home "pergolla" is not one of your spots, also in 79 more tables; '
        'did you mean "pergola"? (spots: bench, pergola, sunroom)',
        'plants[80] "Fig": home "roof" is not one of your spots (spots: bench, pergola, sunroom)',
    ]
