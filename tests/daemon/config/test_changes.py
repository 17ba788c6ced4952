"""`--set KEY=VALUE`: one value of a collection changed before it is checked."""

from pathlib import Path
from typing import Any

import pytest

from sillward.config.changes import read_change
from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.errors import ConfigError, UsageError
from sillward_rules.plants.plant import Plant
from tests.support.paths import EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"


def with_changes(*changes: str, path: Path = COURTYARD) -> Household:
    return load_household(path, changes=[read_change(text) for text in changes])


def plant_of(household: Household, name: str) -> Plant:
    return next(plant for plant in household.collection.plants if plant.name == name)


@pytest.mark.parametrize(
    ("text", "path", "value"),
    [
        ("habits.lead=45 min", ("habits", "lead"), "45 min"),
        ("habits.wet_margin = 2", ("habits", "wet_margin"), 2),
        ("habits.in_by=17:30", ("habits", "in_by"), "17:30"),
        ('habits.hours=["06:30-08:30"]', ("habits", "hours"), ["06:30-08:30"]),
        ("spots.back hall.indoors=true", ("spots", "back hall", "indoors"), True),
        ('plants."St. Mark".home="sill"', ("plants", "St. Mark", "home"), "sill"),
        ("plants.*.limits.night_low=-1.5", ("plants", "*", "limits", "night_low"), -1.5),
        ("site.name=a=b", ("site", "name"), "a=b"),
        ("site.name=1\nzone=2", ("site", "name"), "1\nzone=2"),
    ],
)
def test_a_change_is_a_way_and_a_value_as_in_the_file(
    text: str, path: tuple[str, ...], value: Any
) -> None:
    change = read_change(text)

    assert (change.path, change.value) == (path, value)
    assert type(change.value) is type(value)


def test_one_limit_of_one_plant_is_changed_and_nothing_else() -> None:
    before, after = with_changes(), with_changes("plants.Blue basket.limits.night_low=12")

    changed = [
        (one.name, other.limits.night_low.value)
        for one, other in zip(before.collection.plants, after.collection.plants, strict=True)
        if one != other and other.limits.night_low
    ]
    assert changed == [("Blue basket", 12)]
    assert before.collection.habits == after.collection.habits


def test_a_clear_part_of_a_name_is_enough_and_all_can_be_meant() -> None:
    by_part = with_changes("plants.blue.shelter=back hall")
    every = with_changes("plants.*.limits.night_low=15")

    assert plant_of(by_part, "Blue basket").shelter == "back hall"
    lows = {plant.limits.night_low for plant in every.collection.plants}
    assert {low.value for low in lows if low} == {15}


def test_spots_and_habits_are_changed_too() -> None:
    household = with_changes(
        "spots.pergola.night_offset=-0.5", "habits.lead=1 h", "habits.dry_by=2h"
    )

    assert household.collection.spot("pergola").night_offset_k == -0.5
    assert household.collection.habits.lead.total_seconds() == 3600
    assert household.collection.habits.dry_by.total_seconds() == 7200


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("plants.Blue basket.limits.night_low=99", "limits.night_low 99: must be at most 30"),
        ("plants.Blue basket.limits.night_lo=9", 'unknown key "limits.night_lo"; did you mean'),
        ("plants.Blue basket.shelter=attic", "attic"),
        ("habits.lead=soon", "soon"),
        ("habits.led=1 h", 'unknown key "led"; did you mean "lead"?'),
        ("habits.in_by=\x1b", "plain text on one line"),
    ],
)
def test_a_wrong_value_has_the_errors_of_the_file(change: str, words: str) -> None:
    with pytest.raises(ConfigError) as caught:
        with_changes(change)

    line = caught.value.lines[0]
    assert line.startswith("courtyard.toml: ")
    assert words in line
    assert "\x1b" not in line


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("lead", "write KEY=VALUE"),
        ("lead=1 h", "write KEY=VALUE"),
        ("habits.lead=", "write KEY=VALUE"),
        ("=1", "write KEY=VALUE"),
        ("habits..lead=1", "write KEY=VALUE"),
        ('habits."lead=1', "write KEY=VALUE"),
        ("habit.lead=1 h", 'there is no "habit" to set; did you mean "habits"?'),
        ("channels.phone.url=x", 'there is no "channels" to set'),
        ("plants.Nobody.home=pergola", '"Nobody" is not a plant here (Strap-leaf by the door, '),
        ("plants.a.home=pergola", '"a" is more than one plant here ('),
        ("plants.Blue basket=12", 'say what of "Blue basket"'),
        ("spots.attic.indoors=true", '"attic" is not a spot here (pergola, '),
        ("plants.Blue basket.holder.x=1", '"holder" has no keys of its own'),
        ("\x1b[31m.x=1", "\\x1b"),
    ],
)
def test_a_change_that_leads_nowhere_is_told(change: str, words: str) -> None:
    with pytest.raises(UsageError) as caught:
        with_changes(change)

    assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert "\n" not in str(caught.value)
