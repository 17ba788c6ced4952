"""`sillward chart`: what it draws by default, what it may be asked, and how it refuses."""

import functools
import json
import os
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest
from click.testing import Result

from sillward.assembly import app, examples
from sillward.charts.data import document
from sillward.cli import chart, shared
from sillward.config.loader import load_household
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from tests.support import commands
from tests.support.chart_examples import example
from tests.support.past_readings import past_nights
from tests.support.paths import EXAMPLES

COURTYARD = ("--collection", str(EXAMPLES / "courtyard.toml"))
COLD_SNAP = (*COURTYARD, "--recorded", str(EXAMPLES / "recorded" / "cold-snap.json"))

TODAY = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: TODAY))
    here = tmp_path / "here"  # not the home, where matplotlib keeps its fonts
    here.mkdir()
    monkeypatch.chdir(here)


call = partial(commands.call, "chart")


def refused(result: Result, status: int) -> str:
    assert (result.exit_code, result.stdout) == (status, ""), result.output
    assert list(Path().iterdir()) == []
    return result.stderr


def test_without_a_name_it_is_the_spot_outdoors_where_most_plants_live() -> None:
    result = call(*COLD_SNAP)

    assert result.exit_code == 0, result.stderr
    assert result.stdout == (
        "wall-bench-night.png: wall bench; Leaf temperature, Thu 14 May to Thu 21 May 2026\n"
    )
    assert Path("wall-bench-night.png").read_bytes().startswith(b"\x89PNG")
    held = examples.demo("cold-snap").household.collection
    homes = Counter(plant.home for plant in held.plants if not held.spot(plant.home).indoors)
    assert homes["wall bench"] == max(homes.values())


def test_a_plant_is_shown_at_its_home_and_the_ending_decides_the_form(tmp_path: Path) -> None:
    file = tmp_path / "blue.SVG"

    result = call("blue", "--kind", "water", "--out", str(file), *COLD_SNAP)

    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith(f"{file}: Blue basket, pergola; VPD, film life and misting")
    assert file.read_bytes().startswith(b"<?xml")


def test_json_is_the_data_and_no_picture() -> None:
    result = call("pergola", "--json", *COLD_SNAP)

    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    expected = json.loads(json.dumps(document(example("night", "cold-snap", "pergola"))))
    assert told["series"] == expected["series"]
    assert told["limits"] == expected["limits"]
    assert told["nights"] == expected["nights"]
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize(
    ("name", "spot", "plant"),
    [
        ("wall", "wall bench", None),
        ("SUN", "sunroom", None),
        ("Moth orchid", "sunroom", "Moth orchid"),
        ("laelia", "pergola", "Cork-slab laelia"),
    ],
)
def test_a_part_of_a_name_is_enough(name: str, spot: str, plant: str | None) -> None:
    told = json.loads(call(name, "--json", *COLD_SNAP).stdout)

    assert (told["spot"], told["plant"]) == (spot, plant)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        (
            "attic",
            '"attic" is not a spot or plant here (pergola, wall bench, sunroom, back hall, Str',
        ),
        ("orchid", '"orchid" is more than one plant here (Boat orchid, Moth orchid)'),
        ("l", '"l" is more than one spot or plant here (pergola, wall bench, back hall, Strap'),
    ],
)
def test_a_name_that_is_none_or_several_ends_with_2(name: str, says: str) -> None:
    assert says in refused(call(name, *COLD_SNAP), 2)


@pytest.mark.parametrize("out", ["chart.gif", "chart", "png", ""])
def test_a_file_of_another_form_ends_with_2(out: str) -> None:
    assert "a chart is a .png or an .svg" in refused(call("--out", out, *COLD_SNAP), 2)


def test_a_place_that_cannot_be_written_ends_with_1() -> None:
    text = refused(call("--out", "no/folder/x.png", *COLD_SNAP), 1)

    assert text.endswith(
        "no/folder/x.png: the chart cannot be written: No such file or directory\n"
    )


def test_without_matplotlib_it_ends_with_1_and_says_how_to_get_it(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake = tmp_path_factory.mktemp("fake")
    (fake / "matplotlib.py").write_text("raise ImportError('none here')\n")
    path = os.pathsep.join([str(fake), *filter(None, [os.environ.get("PYTHONPATH")])])
    monkeypatch.setenv("PYTHONPATH", path)

    text = refused(call(*COLD_SNAP), 1)

    assert text.endswith(
        "sillward: charts need matplotlib: pip install '.[charts]' in the checkout\n"
    )


def test_names_of_spots_become_names_of_files_in_this_folder() -> None:
    assert chart._file_name("wall bench") == "wall-bench"
    assert chart._file_name("../../etc/passwd") == "etc-passwd"
    assert chart._file_name("Größe 7°") == "größe-7"
    assert chart._file_name("/") == "chart"
    assert len(chart._file_name("x" * 300)) == 60


# -- what was read


def nights_of_the_ledger(spot: str, nights: int = 20) -> None:
    """So many nights until today that were forecast at dusk, and read a kelvin colder."""
    site = load_household(EXAMPLES / "courtyard.toml").collection.site
    with closing(Ledger(load_settings().ledger)) as ledger:
        past_nights(ledger, site, "Open-Meteo", spot, TODAY, [-1.0] * nights)


def test_what_was_read_is_drawn_of_the_spot_with_most_nights() -> None:
    nights_of_the_ledger("wall bench", 3)
    nights_of_the_ledger("pergola")

    result = call(*COURTYARD, "--kind", "correction")

    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("pergola-correction.png: pergola: what the nights have taught")
    assert "colder than forecast, give or take" in result.stdout
    assert Path("pergola-correction.png").read_bytes().startswith(b"\x89PNG")


def test_a_plant_has_the_readings_of_its_home_and_its_own_limit() -> None:
    nights_of_the_ledger("pergola")

    told = json.loads(call("blue", *COURTYARD, "--kind", "readings", "--json").stdout)
    all_ = json.loads(call("pergola", *COURTYARD, "--kind", "readings", "--json").stdout)

    assert told["spot"] == "pergola"
    assert [limit["plants"] for limit in told["limits"]] == [["Blue basket"]]
    assert len(all_["limits"]) == 4
    assert told["nights"] == all_["nights"]
    last = told["nights"][-1]
    assert last["read_c"] == 8.0
    assert last["low_c"] < last["read_c"] < last["high_c"]


@pytest.mark.parametrize(
    ("spot", "says"),
    [
        ("wall bench", "wall bench: no night has been both forecast and read yet"),
        ("sunroom", "sunroom: is indoors; these charts are of spots outdoors"),
    ],
)
@pytest.mark.parametrize("kind", ["readings", "correction"])
def test_without_readings_it_says_so_and_ends_with_1(spot: str, says: str, kind: str) -> None:
    nights_of_the_ledger("pergola")

    assert says in refused(call(spot, *COURTYARD, "--kind", kind), 1)
