"""What `check` prints by default: all that a grower looks for, on a screen or two."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.reports import check, check_short
from sillward.reports.check_short import MAX_LINES
from sillward.text.columns import Screen, width
from tests.support.paths import EXAMPLES

NOW = datetime.fromisoformat("2026-05-14T17:00-03:00")

HEAD = """\
site = { name = "Yard", latitude = -32.9, longitude = -68.9, elevation = 780, zone = "UTC" }
defaults = { holder = "pot", home = "bench", shelter = "room" }
"""


CHANNEL = """
[[channels]]
name = "phone"
url = "json://localhost"
"""


def household_of(folder: Path, text: str, channel: str = CHANNEL) -> Household:
    path = folder / "yard.toml"
    path.write_text(HEAD + text + channel, encoding="utf-8")
    return load_household(path)


def lines_of(household: Household, columns: int = 78) -> list[str]:
    return check_short.text(household, NOW, ["Open-Meteo"], Screen(columns)).splitlines()


PLANTS = """
[spots.bench]
night_offset = 1
sky_view = 0.5
[spots.room]
indoors = true
night_low = 16
[[plants]]
names = ["Blue", "Red"]
group = "vanda strap-leaf"
limits.night_low = 13
but.Red.limits.salt_high = 0.5
[[plants]]
name = "Moth"
count = 12
group = "moth orchid"
"""


def test_plants_that_are_alike_have_a_line(tmp_path: Path) -> None:
    lines = lines_of(household_of(tmp_path, PLANTS))

    assert lines[2:9] == [
        "                                  night_low  brief_low",
        " 1  vanda strap-leaf              13 °C*     10 °C      Blue",
        " 1  vanda strap-leaf; * salt_hi…  13 °C*     10 °C      Red",
        "12  moth orchid: phalaenopsis     16 °C      10 °C      Moth 1–12",
        "* your own. Every limit and where it comes from: `sillward check --full`",
        "? no size given for 14 pots, Blue, Red, Moth 1–12: no message says when to",
        '  water; for that give them pot = { litres = 3, medium = "bark" } or the like',
    ]
    assert lines[-1] == "all is well: 14 plants"


def test_spots_say_who_is_there_and_what_is_guessed(tmp_path: Path) -> None:
    lines = lines_of(household_of(tmp_path, PLANTS.replace("night_low = 16\n", "")))

    assert lines[10:14] == [
        "spot bench (outdoors): home of 14 plants",
        "  ? not given, so guessed: sun, wind, rain",
        "spot room (indoors): shelter of 14",
        "  ? night_low is not given: how warm it stays at night is not known",
    ]


def test_what_is_as_by_default_is_left_out_and_the_rest_is_told(tmp_path: Path) -> None:
    plain = "\n".join(lines_of(household_of(tmp_path, PLANTS)))
    said = lines_of(
        household_of(
            tmp_path,
            PLANTS
            + """
[[rules]]
name = "wind"
watch = "gust"
above = "5 m/s"
asks = "note"
[habits]
caution = "careful"
hours = ["06:30-08:30"]
[notices]
quiet = "22:30-06:30"
clock = "12 h"
""",
        )
    )

    for subject in ("own rules:", "caution:", "watering hours:", "what follows:", "told in:"):
        assert subject not in plain
        assert any(line.startswith(subject) for line in said), subject
    assert any(line.startswith("channel phone:") for line in said)


def test_without_a_channel_not_all_is_well(tmp_path: Path) -> None:
    household = household_of(tmp_path, PLANTS, channel="")
    warned = household_of(tmp_path, PLANTS.replace("= 16\n[[", "= 12\n[["), channel="")
    none = "no channels, so nobody will be told anything"

    for told in (said(household), " ".join(check.text(household, NOW, []).split())):
        assert told.endswith(f"understood: 14 plants; {none}")
    assert said(warned).endswith(f"understood: 14 plants; 1 warning; {none}")


def test_a_warning_is_told_once_for_all_that_it_is_about(tmp_path: Path) -> None:
    text = PLANTS.replace("count = 12\n", "count = 12\nlimits.night_low = 10.5\n")

    said = " ".join(lines_of(household_of(tmp_path, text)))

    assert said.count("! Moth 1–12: night_low 10.5 °C is less than 1.5 °C above brief_low") == 1
    assert said.endswith("understood: 14 plants; 12 warnings")


def test_a_group_that_became_several_is_asked_about(tmp_path: Path) -> None:
    text = PLANTS.replace('"moth orchid"', '"rosette succulent"')

    lines = lines_of(household_of(tmp_path, text))

    assert sum(line.startswith('? "rosette succulent" is now') for line in lines) == 1


def of_many(kinds: int, spots: int, feeds: int, low: float = 3) -> str:
    """A collection in which everything is there many times.

    low: their night limits are from here on; from 3 on some are too close to that of injury.
    """
    parts = [f'[spots."bench number {number}"]' for number in range(spots)]
    for number in range(kinds):
        parts.append(
            f'[[plants]]\nname = "A plant with a rather long name {number}"\ngroup = "aloe"\n'
            f"limits.night_low = {low + number / 100}\n"
        )
    for number in range(feeds):
        parts.append(
            f'[[feeds]]\nname = "feed {number}"\nnpk = "20-20-20"\nppm_n = 900\nwater_ec = 0.2\n'
            f'plants = {{ name = "A plant with a rather long name {number}" }}'
        )
    return "[spots.bench]\n[spots.room]\nindoors = true\n" + "\n".join(parts)


@pytest.mark.parametrize(
    ("kinds", "spots", "feeds", "columns"),
    [(300, 2, 0, 78), (46, 6, 4, 118), (100, 30, 20, 48), (100, 30, 20, 78)],
)
def test_it_is_short_and_fits_for_any_collection(
    tmp_path: Path, kinds: int, spots: int, feeds: int, columns: int
) -> None:
    household = household_of(tmp_path, of_many(kinds, spots, feeds))

    lines = lines_of(household, columns)

    assert len(lines) <= MAX_LINES + 12
    assert columns < 78 or len(lines) <= MAX_LINES + 5
    assert [line for line in lines if width(line) > columns] == []
    assert any(line.startswith("forecast:") for line in lines)
    assert f"{kinds} plants" in lines[-1]


def test_what_facts_leave_is_for_plants(tmp_path: Path) -> None:
    few, many = (lines_of(household_of(tmp_path, of_many(36, 1, feeds, 6))) for feeds in (0, 30))

    kinds = [sum("  aloe  " in line for line in lines) for lines in (few, many)]
    assert kinds[0] == 36
    assert 14 < kinds[1] < 36
    assert sum(line.startswith("feed ") for line in many) > 2


def test_the_large_example_is_on_one_screen_and_in_full_it_is_not() -> None:
    household = load_household(EXAMPLES / "three-hundred-plants.toml")

    assert len(lines_of(household)) < 30
    assert len(check.text(household, NOW, []).splitlines()) > 3000


def test_own_and_accepted_limits_are_marked(tmp_path: Path) -> None:
    household = household_of(tmp_path, PLANTS)
    collection = household.collection
    limits = collection.plants[-1].limits
    assert limits.night_low is not None
    accepted = replace(limits.night_low, origin="your own limit: accepted 2026-05-01 after damage")
    last = replace(collection.plants[-1], limits=replace(limits, night_low=accepted))
    changed = replace(collection, plants=(*collection.plants[:-1], last))

    lines = lines_of(replace(household, collection=changed))

    assert "11  moth orchid: phalaenopsis     16 °C      10 °C      Moth 1–11" in lines
    assert " 1  moth orchid: phalaenopsis     16 °C*     10 °C      Moth 12" in lines


def said(household: Household) -> str:
    return " ".join(" ".join(lines_of(household, 118)).split())


def test_a_room_that_is_too_cold_is_one_warning_for_all_its_plants(tmp_path: Path) -> None:
    cold = said(household_of(tmp_path, PLANTS.replace("= 16\n[[", "= 12\n[[")))

    assert (
        "! room: holds 12 °C, too cold for 14 plants that must go there, Blue, Red, Moth 1–12: up "
        "to 16 °C is needed, and no room is known to hold that"
    ) in cold
    assert cold.endswith("understood: 14 plants; 1 warning")

    assert said(household_of(tmp_path, PLANTS)).endswith("all is well: 14 plants")


def test_where_another_room_is_warm_enough_it_is_told_and_no_warning(tmp_path: Path) -> None:
    text = PLANTS.replace("= 16\n[[", "= 12\n[[") + "[spots.hall]\nindoors = true\nnight_low = 17\n"
    household = household_of(tmp_path, text)

    for told in (said(household), " ".join(check.text(household, NOW, []).split())):
        assert (
            "too cold for Blue, Red, Moth 1–12: up to 16 °C is needed; the sheet will say hall"
            in told
        )
        assert told.endswith("all is well: 14 plants")


def test_a_room_that_nobody_knows_is_a_warning(tmp_path: Path) -> None:
    told = said(household_of(tmp_path, PLANTS.replace("night_low = 16\n", "")))

    assert "! room: how warm it stays at night is not known, and 14 plants must go there" in told
    assert told.endswith("understood: 14 plants; 1 warning")


def test_plants_outdoors_without_a_shelter_are_a_warning(tmp_path: Path) -> None:
    text = PLANTS + "shelter = false\n"

    household = household_of(tmp_path, text)

    assert "! no shelter for 12 plants outdoors, Moth 1–12: on a cold night" in said(household)
    (place,) = check.document(household, NOW, [])["cold_places"]
    assert (place["spot"], len(place["plants"])) == ("", 12)


POT = 'pot = { litres = 2, medium = "bark" }'


def test_only_plants_in_pots_without_a_size_are_never_watered(tmp_path: Path) -> None:
    text = PLANTS.replace('names = ["Blue", "Red"]', 'names = ["Blue", "Red"]\nholder = "mount"')
    household = household_of(tmp_path, text)
    assert "? no size given for 12 pots, Moth 1–12: no message" in said(household)
    assert check.document(household, NOW, [])["never_watered"][0] == "Moth 1"
    assert "no size given for 12 pots" in " ".join(check.text(household, NOW, []).split())

    assert "no size given" not in said(household_of(tmp_path, f"{text}{POT}\n"))


@pytest.mark.parametrize(
    ("given", "instead", "warning"),
    [
        ("= -32.9", "= 32.9", "! latitude 32.9 does not go with the time zone"),
        ("= -68.9", "= 68.9", "! longitude 68.9 does not go with the time zone"),
        ("night_low = 16", "night_low = 46", "! room: night_low = 46 counts as °C, and no room"),
    ],
)
def test_what_can_hardly_be_true_is_a_warning(
    tmp_path: Path, given: str, instead: str, warning: str
) -> None:
    path = tmp_path / "yard.toml"
    whole = HEAD.replace('"UTC"', '"America/Argentina/Mendoza"') + PLANTS + CHANNEL
    path.write_text(whole, encoding="utf-8")
    assert "does not go" not in said(load_household(path))

    path.write_text(whole.replace(given, instead), encoding="utf-8")
    household = load_household(path)
    assert warning in said(household)
    assert len(check.document(household, NOW, [])["doubtful"]) == 1


def test_a_channel_without_a_url_is_a_warning(tmp_path: Path) -> None:
    channel = '[[channels]]\nname = "phone"\n'

    told = said(household_of(tmp_path, PLANTS, channel))

    assert "! channel phone: no url yet, so nobody gets its messages" in told
    assert told.endswith("understood: 14 plants; 1 warning")


def test_a_long_name_leaves_room_for_how_many_more_there_are(tmp_path: Path) -> None:
    long = "Dendrobium nobile that stands beside the stairs"
    text = PLANTS.replace('["Blue", "Red"]', f'["{long}", "Red"]').replace(
        "but.Red.limits.salt_high = 0.5\n", ""
    )

    (line,) = [line for line in lines_of(household_of(tmp_path, text)) if "vanda" in line]

    assert line.endswith("… and 1 more")
    assert width(line) <= 78
