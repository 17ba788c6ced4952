"""Feeds and courses by their names, in `sillward mix`, `check` and `why`."""

import functools
import json
import os
import re
from pathlib import Path

import pytest

from sillward.assembly import app, examples
from sillward.cli import shared
from tests.daemon.cli.test_course_command import COURSES
from tests.end_to_end.test_screens import recorded, too_wide
from tests.support.collection_files import courtyard_with_one_feed
from tests.support.commands import call

MORNING = examples.demo("dry-summer").clock()
FEEDS = """
[[feeds]]
name = "air plant feed"
npk = "17-8-22"
ppm_n = 25
ec_per_100_ppm_n = 0.6
water_ec = 0.1
litres = 2
every = "1 d"
plants = { holder = "mount" }
"""


@pytest.fixture(autouse=True)
def _morning(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    text = courtyard_with_one_feed()
    path.write_text(text + FEEDS + COURSES, encoding="utf-8")
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: MORNING))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(path))


def test_a_feed_is_worked_out_by_its_name_with_the_limit_of_its_plants() -> None:
    told = json.loads(call("mix", "air", "plant", "--json").stdout)

    # 25 ppm N of 17 % are 0.147 g/L.
    assert told["weigh"][0]["what"] == "17-8-22"
    assert told["weigh"][0]["grams_per_litre"] == pytest.approx(0.147, abs=0.001)
    assert told["litres"] == 2
    assert told["ec"]["sum"] == pytest.approx(0.25)
    assert told["ec"]["limit"] is not None
    assert json.loads(call("mix", "air", "--json", "--limit", "0.2").stdout)["ec"]["over"]
    assert json.loads(call("mix", "feed", "--json").stdout)["weigh"][0]["what"] != "17-8-22"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("moss", "feed"), '"moss feed" is not a feed or a course here (air plant feed, '),
        (("air", "--npk", "1-1-1"), "--npk: the collection says what is in a feed"),
        (("air", "--salt", "KNO3=0.1"), "--salt: the collection says"),
        (("air", "--litres", "0"), "--litres must be above 0"),
        ((), "Missing option '--npk'"),
        (("--npk", "1-1-1", "--ppm-n", "20"), "Missing option '--water-ec'"),
    ],
)
def test_what_cannot_be_meant_is_refused(words: tuple[str, ...], why: str) -> None:
    result = call("mix", *words)

    assert result.exit_code == 2
    assert why in result.stderr


def test_a_mix_says_whose_limit_it_is_beyond_and_how_many_bear_more() -> None:
    path = Path(os.environ["SILLWARD_COLLECTION"])
    strong = FEEDS.replace("ppm_n = 25", "ppm_n = 150").replace("air plant feed", "strong feed")
    strong = strong.replace('"mount"', '["pot", "mount"]')
    path.write_text(path.read_text(encoding="utf-8").replace(FEEDS, strong), encoding="utf-8")

    told = " ".join(call("mix", "strong").stdout.split())
    said = json.loads(call("mix", "strong", "--json").stdout)["ec"]

    who = ", ".join(said["limit_of"])
    assert f"! over what {who} bears ({said['limit']:g} mS/cm; the other {said['others']}" in told
    assert said["others_bear"] > said["limit"]
    most = re.search(r"at most ([0-9.]+) g/L of 17-8-22", told)
    assert most is not None
    checked = " ".join(call("check").stdout.split())
    assert f"strong feed is too strong, {said['sum']:.2g}" in checked
    assert f"at most {most[1]} g/L" in checked
    assert (
        "limit_of" not in json.loads(call("mix", "strong", "--json", "--limit", "2").stdout)["ec"]
    )


def test_a_course_is_worked_out_by_its_name_and_a_feed_of_pots_has_no_film() -> None:
    path = Path(os.environ["SILLWARD_COLLECTION"])
    of_pots = FEEDS.replace("air plant feed", "lime feed").replace(
        '{ holder = "mount" }', '{ name = "Clay-pot lime" }'
    )
    lime = 'name = "Clay-pot lime"\n'
    text = path.read_text(encoding="utf-8").replace(FEEDS, of_pots)
    pot = f'{lime}pot = {{ litres = 25, medium = "mineral" }}\n'
    path.write_text(text.replace(lime, pot, 1), encoding="utf-8")

    told = call("mix", "magnesium").stdout
    poured = call("mix", "lime").stdout

    assert "MgSO4.7H2O" in told
    assert "0-0-0" not in told
    assert "0.50" in told
    assert "when a film of it dries" in told.lower()
    assert "It goes into pots with their water, so that no film of it dries." in poured
    assert json.loads(call("mix", "magnesium", "--json").stdout)["weigh"][0]["grams"] == 0.5


def test_check_tells_of_every_feed_and_course_and_how_many_get_it() -> None:
    told = call("check").stdout

    assert too_wide(told) == []
    one_line = " ".join(told.split())
    assert "feed air plant feed: 0.15 g/L 17-8-22 (0.29 g in 2 L): 25 ppm N, about 0.2" in one_line
    assert "course magnesium: 0.5 g/L Epsom salt" in one_line
    assert "feed of the others: 0." in one_line


def test_why_names_the_feed_or_the_course_of_a_plant() -> None:
    words = ("--recorded", recorded("dry-summer"), "--at", "2026-01-20T07:05")

    told = " ".join(call("why", "Old cattleya", *words).stdout.split())

    assert "magnesium" in told or "calcium for roots" in told


def test_the_check_names_the_plants_that_a_feed_never_reaches(tmp_path: Path) -> None:
    path = tmp_path / "pots.toml"
    pots = FEEDS.replace("air plant feed", "pot feed").replace('"mount"', '"pot"')
    path.write_text(courtyard_with_one_feed() + pots, encoding="utf-8")

    told = " ".join(call("check", "--collection", path).stdout.split())
    document = json.loads(call("check", "--collection", path, "--json").stdout)

    assert "! pot feed: " in told
    assert "never fed by sillward: not misted, and no pot given" in told
    assert "all is well" not in told
    assert [one["name"] for one in document["never_given"]] == ["pot feed"]
