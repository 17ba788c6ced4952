"""Lists of plants from spreadsheets: how they are read, what is asked, and what comes of them."""

import contextlib
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward.config.loader import load_household
from sillward.errors import ConfigError
from sillward.setup import adding, plant_list, summary
from sillward.setup.answers import (
    BREEZES,
    COVERS,
    IndoorAnswer,
    OutdoorAnswer,
    PlantAnswer,
    SiteAnswer,
    SpotAnswer,
)
from sillward.setup.collection_text import collection_text
from sillward.setup.dialogue import Conversation
from sillward.setup.list_questions import ask_about_list, named_otherwise
from sillward.setup.plant_list import PlantList
from sillward.setup.plant_questions import night_low_of
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import HOLDERS, Holder, Plant

SITE = SiteAnswer("Yard", -32.89, -68.85, 780.0, "America/Argentina/Mendoza")
OUTDOORS, ROOMS = ("bench", "pergola"), ("sunroom", "house")
SPOTS: Sequence[SpotAnswer] = [
    *(OutdoorAnswer(name, COVERS[1], BREEZES[1]) for name in OUTDOORS),
    *(IndoorAnswer(name, 14.0) for name in ROOMS),
]

SMALL = """Name,Group,Holder,Home,Shelter
Blue vanda,vanda strap-leaf,basket,bench,sunroom
Lemon,citrus tender,pot,pergola,
"""


def read(text: str, encoding: str = "utf-8") -> PlantList:
    return plant_list.read(text.encode(encoding), "plants.csv")


def problems(text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        read(text)
    return [line.removeprefix("plants.csv: ") for line in caught.value.lines]


def asked(plants: PlantList, answers: Sequence[str]) -> tuple[list[str], list[PlantAnswer]]:
    """The questions about a list, each with what stands above it, and its plants."""
    conversation = Conversation(lambda: ask_about_list(plants, OUTDOORS, ROOMS, "°C"))
    questions = []
    left = list(answers)
    while (question := conversation.question) is not None:
        questions.append("\n".join([*question.above, question.text]))
        typed = left.pop(0) or conversation.offered
        conversation.take(typed, question.read(typed))
    assert not left
    assert conversation.result is not None
    return questions, conversation.result


def loaded(plants: Sequence[PlantAnswer]) -> dict[str, Plant]:
    """The plants of the collection that is written of them, by name."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "yard.toml"
        file.write_text(collection_text(SITE, SPOTS, plants, together=True), encoding="utf-8")
        return {plant.name: plant for plant in load_household(file).collection.plants}


# -- what spreadsheets write


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_whatever_spreadsheets_write_is_read(encoding: str, delimiter: str, end: str) -> None:
    text = SMALL.replace("Blue", "Bläu").replace(",", delimiter).replace("\n", end)
    text = f"sep={delimiter}{end}{text}" if delimiter == ";" else text

    plants = read(text, encoding)

    assert [plant.name for plant in plants.plants] == ["Bläu vanda", "Lemon"]
    assert [plant.shelter for plant in plants.plants] == ["sunroom", None]
    assert plants.plants[0].line == (3 if delimiter == ";" else 2)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("hanging basket", "basket"),
        ("Hanging", "basket"),
        ("hanging pot", "pot"),
        ("slatted box", "basket"),
        ("mounted on cork", "mount"),
        ("slabs", "mount"),
    ],
)
def test_what_a_plant_grows_in_is_read_as_growers_say_it(said: str, meant: str) -> None:
    assert read(f"name,holder\nVanda,{said}\n").plants[0].holder == meant


def test_heads_come_in_any_order_and_others_are_left_out() -> None:
    plants = read("Price;HOME;pot colour; name ;;\n3,50;bench;red;Lime;;\n;;;;;\n")

    assert plants.unused == ("Price", "pot colour")
    assert (plants.plants[0].name, plants.plants[0].home) == ("Lime", "bench")
    assert len(plants.plants) == 1


def test_cells_with_line_ends_and_commas_are_read_and_counted() -> None:
    text = 'name,home\n"Lime,\n  big",bench\n"Kumquat","long ""bench"""\n,bench\n'

    assert problems(text) == ["line 5: has no name"]


def test_all_that_is_wrong_is_told_at_once_with_its_line() -> None:
    text = (
        "name,holder,home\nLime,pot,bench\nLime,bucket,bench\n\n,pot,bench\n"
        f"{'x' * 81},pot,bench\nA\x1b[31m,pot,bench\nKumquat,pot,bench,more\n"
    )

    assert problems(text) == [
        'line 3: "Lime" is in line 2 already; make them different',
        'line 3: holder "bucket": must be one of basket, mount, moss, pot',
        "line 5: has no name",
        "line 6: name is too long",
        "line 7: name must be plain text on one line, without \\x1b",
        "line 8: has more cells than headings; a cell with a comma needs quotes",
    ]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"PK\x03\x04...", "is a workbook; save the sheet as CSV"),
        (b"a\0b", "is neither text nor any other kind of list of plants"),
        (b"name,home\n", "has no plants below its headings"),
        (b"plant,home\nLime,bench\n", 'line 1: must be the heads, of which one is "name"'),
        (b"Orchids,,\n,,\nname,home,\nA,b,\n", "has them: delete what is above it"),
        (b"name,Name\nLime,Lime\n", "line 1: has two columns name"),
    ],
)
def test_what_is_no_list_is_refused(body: bytes, told: str) -> None:
    with pytest.raises(ConfigError, match=told.replace("(", r"\(")):
        plant_list.read(body, "plants.csv")


@given(st.binary(max_size=200))
def test_any_file_is_a_list_or_told_to_be_wrong(body: bytes) -> None:
    for data in (body, b"name,group\n" + body):
        with contextlib.suppress(ConfigError):
            assert plant_list.read(data, "plants.csv").plants


# -- what is asked


def test_a_list_that_says_all_is_not_asked_about() -> None:
    questions, plants = asked(read(SMALL), [])

    assert questions == []
    assert [(plant.groups, plant.shelter) for plant in plants] == [
        (("vanda strap-leaf",), "sunroom"),
        (("citrus tender",), None),
    ]


def test_an_unclear_group_is_asked_about_once() -> None:
    rows = "".join(f"Plant {number},vandda,bench\n" for number in range(9))

    questions, plants = asked(read(f"name,group,home\n{rows}"), ["terete", "-"])

    assert len(questions) == 2
    assert questions[0].startswith('\n"vandda" (9 lines: Plant 0, Plant 1')
    assert "carried to" in questions[1]
    assert {plant.groups for plant in plants} == {("vanda terete",)}
    assert {plant.shelter for plant in plants} == {None}


def test_a_plant_in_no_list_is_asked_for_its_own_limit() -> None:
    text = "name,group,home,shelter\nOdd one,unheard of,bench,\n"

    _, plants = asked(read(text), ["-", "7,5"])

    assert (plants[0].groups, plants[0].night_low_c, plants[0].holder) == ((), 7.5, "pot")


def test_names_are_looked_at_where_there_is_no_group() -> None:
    text = "name,home,shelter\nMoth orchid 1,bench,\nMoth orchid 2,bench,\n"

    questions, plants = asked(read(text), ["1"])

    assert len(questions) == 1
    assert "no group (2 lines: Moth orchid 1, Moth orchid 2)" in questions[0]
    assert {plant.groups for plant in plants} == {("phalaenopsis",)}


@pytest.mark.parametrize(
    ("names", "meant"),
    [
        (("Dendrobium nobile 1", "Dendrobium nobile 2"), "dendrobium nobile"),
        (("White one", "Dendrobium nobile"), "Dendrobium"),
    ],
)
def test_a_mistyped_group_is_asked_about_with_what_may_be_meant(
    names: Sequence[str], meant: str
) -> None:
    lines = "".join(f"{name},Dendrobiun,bench,\n" for name in names)

    questions, plants = asked(read(f"name,group,home,shelter\n{lines}"), ["1"])

    assert f"\n  did you mean {meant}?\n   1 dendrobium" in questions[0]
    assert all(plant.groups[0].startswith("dendrobium") for plant in plants)


def test_as_what_a_name_is_taken_is_told_with_the_next_question_and_at_the_end() -> None:
    text = "name,group,home\nA,Zitrone,\nB,moth orchid,bench\nC,cattleya,bench\n"
    plants = read(text)

    questions, answers = asked(plants, ["lemon", "", ""])

    assert questions[1].startswith("  citrus tender: night 7 °C; ")
    named = named_otherwise(plants, answers)
    assert named == {"Zitrone": "citrus tender", "moth orchid": "phalaenopsis"}
    assert summary.lines(answers, SPOTS, named)[:2] == [
        "3 plants: 1 citrus tender, 1 phalaenopsis, 1 cattleya",
        "Taken: Zitrone as citrus tender; moth orchid as phalaenopsis",
    ]


def test_limits_of_ones_own_have_their_degrees_beside_them() -> None:
    odd = PlantAnswer("Odd", (), "pot", "bench", None, 4.444, None)
    site = SiteAnswer("Yard", -32.89, -68.85, 780.0, "America/New_York", unit="°F")

    text = collection_text(site, SPOTS, [odd], together=True)

    assert "limits.night_low = 4.444  # °C (40 °F)\n" in text


def test_hybrids_name_their_parents() -> None:
    text = "name,group,home,shelter\nCross,cattleya × vanda terete,BENCH ,\n"

    questions, plants = asked(read(text), [])

    assert questions == []
    assert plants[0].groups == ("cattleya", "vanda terete")
    assert plants[0].home == "bench"


@pytest.mark.parametrize(
    ("group", "groups"),
    [("cattleya x laelia", ("cattleya",)), ("laelia x encyclia", ("cattleya", "encyclia"))],
)
def test_of_a_hybrid_with_an_unclear_parent_the_tenderest_is_offered(
    group: str, groups: tuple[str, ...]
) -> None:
    """Laelia may be a cattleya, a rock laelia or a Mexican one: 13, 10 or 8 °C."""
    questions, plants = asked(read(f"name,group,home,shelter\nCross,{group},bench,\n"), [""])

    assert "Right?" in questions[0] or "two for a hybrid" in questions[0]
    assert plants[0].groups == groups
    assert plants[0].group_low_c == 13.0


def test_plants_without_a_home_get_one_and_those_in_a_room_no_shelter() -> None:
    text = "name,group,home\nA,cattleya,\nB,cattleya,house\nC,cattleya,pergola\n"

    questions, plants = asked(read(text), ["pergola", "sunroom"])

    assert "Without a home: A" in questions[0]
    assert [(plant.home, plant.shelter) for plant in plants] == [
        ("pergola", "sunroom"),
        ("house", None),
        ("pergola", "sunroom"),
    ]


# -- what is written

names = st.one_of(
    st.text("abcXYZ é#\"'\\[]=,東", min_size=1, max_size=12).map(str.strip).filter(bool),
    st.tuples(st.sampled_from(["Moth", "Lime tree", "A 1"]), st.integers(0, 15)).map(
        lambda parts: f"{parts[0]} {parts[1]}"
    ),
)


@st.composite
def plants_of_a_list(draw: Any) -> list[PlantAnswer]:
    found = []
    for name in draw(st.lists(names, min_size=1, max_size=40, unique=True)):
        groups = draw(st.sampled_from([("cattleya",), ("phalaenopsis", "vanda terete"), ()]))
        home = draw(st.sampled_from([*OUTDOORS, *ROOMS]))
        shelter = draw(st.sampled_from([None, *(room for room in ROOMS if room != home)]))
        low = draw(st.sampled_from([4.0, 12.78] if not groups else [None, 13.5]))
        known = [standard_groups()[group] for group in groups]
        holder = draw(st.sampled_from(HOLDERS))
        found.append(PlantAnswer(name, groups, holder, home, shelter, low, night_low_of(known)))
    return found


@settings(deadline=None, max_examples=30)
@given(plants_of_a_list())
def test_what_is_written_loads_as_the_same_plants(answers: list[PlantAnswer]) -> None:
    plants = loaded(answers)

    assert plants.keys() == {answer.name for answer in answers}
    for answer in answers:
        plant = plants[answer.name]
        assert (plant.groups, plant.holder) == (answer.groups, answer.holder)
        assert (plant.home, plant.shelter) == (answer.home, answer.shelter)
        low = plant.limits.night_low
        assert low is not None
        assert low.value == (answer.night_low_c or answer.group_low_c)


def society() -> list[PlantAnswer]:
    """300 plants as growers have them: many of a few kinds, some of them named."""
    kinds: list[tuple[str, str, Holder, int]] = [
        ("Moth", "phalaenopsis", "pot", 80), ("Cattleya", "cattleya", "pot", 60),
        ("Vanda", "vanda strap-leaf", "basket", 40), ("Air plant", "tillandsia xeric", "mount", 70),
        ("Lemon", "citrus tender", "pot", 10),
    ]  # fmt: skip
    found = []
    for stem, group, holder, count in kinds:
        for at in range(1, count + 1):
            low = night_low_of([standard_groups()[group]])
            name = f"{stem} {at}" if at % 4 or count != 40 else f"{stem} of Inés, {at}"
            home = "pergola" if stem == "Moth" and at > 60 else "bench"
            found.append(PlantAnswer(name, (group,), holder, home, "sunroom", None, low))
    for at in range(40):
        name = f"Seedling from {'the garden of Rosa' if at % 2 else 'the market'} {at}"
        found.append(PlantAnswer(name, ("fern",), "pot", "bench", "house", None, 5.0))
    return found


def test_three_hundred_plants_are_about_a_hundred_lines() -> None:
    text = collection_text(SITE, SPOTS, society(), together=True)
    body = text.partition("[defaults]")[2].partition("# -- how you are told")[0]

    assert len(society()) == 300
    assert len(loaded(society())) == 300
    assert len(body.splitlines()) <= 100
    assert max(map(len, body.splitlines())) <= 100


# -- a collection that is there


def test_a_list_for_a_collection_gives_tables_to_paste(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    first = PlantAnswer("Moth", ("phalaenopsis",), "pot", "house", None, None, 16.0)
    others = [
        PlantAnswer(f"Vanda {at}", ("vanda terete",), "basket", "bench", "sunroom", None, 15.0)
        for at in range(3)
    ]
    groups = [PlantAnswer("X", ("cattleya",), "basket", "bench", "sunroom", None, 14.0)]
    before = collection_text(SITE, SPOTS, [first, *others, *groups], together=True)
    path.write_text(before, encoding="utf-8")

    text = adding.tables_to_add(path, read(SMALL))

    assert "[defaults]" in before
    assert "[defaults]" not in text
    assert path.read_text(encoding="utf-8") == before
    path.write_text(f"{before}\n{text}\n", encoding="utf-8")
    plants = {plant.name: plant for plant in load_household(path).collection.plants}
    assert (plants["Lemon"].shelter, plants["Blue vanda"].shelter) == (None, "sunroom")


def test_what_does_not_go_with_a_collection_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    lime = PlantAnswer("Lime", ("citrus tender",), "pot", "bench", None, None, 3.0)
    path.write_text(collection_text(SITE, SPOTS, [lime]), encoding="utf-8")

    with pytest.raises(ConfigError) as caught:
        adding.tables_to_add(
            path, read("name,home,shelter\nLime,bench,\nFig,bensh,shed\nB,,shed\n")
        )

    assert [line.removeprefix("plants.csv: ") for line in caught.value.lines] == [
        'line 2: "Lime" is in the collection already',
        'line 3: home "bensh" is not one of your spots; did you mean "bench"?'
        " (spots: bench, pergola, sunroom, house)",
        'lines 3, 4: shelter "shed" is not one of your spots'
        " (spots: bench, pergola, sunroom, house)",
    ]
