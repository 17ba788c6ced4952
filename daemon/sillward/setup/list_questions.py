"""The questions about a list of plants: only what it leaves unclear, once for all it is about."""

from collections.abc import Sequence
from dataclasses import dataclass

from sillward.errors import listed
from sillward.reports import groups as group_report
from sillward.setup.answers import PlantAnswer, SpotAnswer
from sillward.setup.dialogue import Dialogue
from sillward.setup.plant_list import ListedPlant, PlantList
from sillward.setup.plant_questions import (
    alias_name,
    as_holder,
    ask_groups,
    ask_night_low,
    groups_named,
    likely_name,
    night_low_of,
    search_groups,
)
from sillward.setup.prompts import NONE, ask_name_of
from sillward.setup.spot_questions import USUAL_ROOM, ask_spots
from sillward.text.units import Temperature, Units
from sillward_rules.plants.group_names import folded
from sillward_rules.plants.groups import Group


@dataclass(frozen=True, slots=True)
class _Nature:
    """What a plant is: its groups, or a night limit of its own."""

    groups: Sequence[Group]
    night_low_c: float | None = None


def ask_spots_of_list(plants: PlantList, unit: Temperature) -> Dialogue[list[SpotAnswer]]:
    """Ask about the spots of a list; those that plants are carried to are taken as rooms."""
    shelters = {plant.shelter.casefold() for plant in plants.plants if plant.shelter}
    rooms = [name for folded, name in plants.spots.items() if folded in shelters]
    outdoors = [name for name in plants.spots.values() if name not in rooms]
    if not outdoors and not rooms:
        return (yield from ask_spots(unit))
    if not rooms and "shelter" not in plants.columns:
        rooms = [USUAL_ROOM]
    return (yield from ask_spots(unit, outdoors, rooms, [*plants.spots.values()]))


def ask_about_list(
    plants: PlantList, outdoors: Sequence[str], rooms: Sequence[str], unit: Temperature
) -> Dialogue[list[PlantAnswer]]:
    """Ask about what is unclear in a list; return its plants.

    outdoors, rooms: the names of the spots; the list names no others.
    """
    natures: dict[str, _Nature] = {}
    told: list[str] = []  # as what the last one was taken
    for text, alike in _by_nature(plants.plants).items():
        named = groups_named(text) if alike[0].group else None
        if named is None:
            natures[text] = yield from _ask_nature(text, alike, unit, told)
            told = [f"  {group_report.line(group, Units(unit))}" for group in natures[text].groups]
        else:
            natures[text] = _Nature(named)
    spots = {name.casefold(): name for name in (*outdoors, *rooms)}
    homeless = [plant.name for plant in plants.plants if not plant.home]
    home = yield from _ask_home(homeless, [*outdoors, *rooms], told)
    shelter = None
    if "shelter" not in plants.columns and rooms and outdoors:
        shelter = yield from ask_name_of(
            "They are carried to", [*rooms, NONE], rooms[0], above=() if homeless else told
        )
    found = []
    for plant in plants.plants:
        nature = natures[_nature_text(plant)]
        groups = nature.groups
        lives = spots[plant.home.casefold()] if plant.home else home
        goes = spots[plant.shelter.casefold()] if plant.shelter else shelter
        found.append(
            PlantAnswer(
                plant.name,
                tuple(group.name for group in groups),
                plant.holder or as_holder(groups[0].holders[0] if groups else "pot"),
                lives,
                None if goes in (NONE, lives) or (not plant.shelter and lives in rooms) else goes,
                nature.night_low_c,
                night_low_of(groups),
            )
        )
    return found


def named_otherwise(plants: PlantList, answers: Sequence[PlantAnswer]) -> dict[str, str]:
    """Return the groups of plants by what the list says of them, where that is not their name."""
    found = {}
    for plant, answer in zip(plants.plants, answers, strict=True):
        said, group = _nature_text(plant), " x ".join(answer.groups)
        if group and folded(said) != folded(group):
            found[said] = group
    return found


def _nature_text(plant: ListedPlant) -> str:
    """Return what says what a plant is: its group, or else words of its name."""
    return plant.group or alias_name(plant.name) or plant.name


def _by_nature(plants: Sequence[ListedPlant]) -> dict[str, list[ListedPlant]]:
    """Return the plants of which one text says what they are, those with a group first."""
    found: dict[str, list[ListedPlant]] = {}
    for plant in sorted(plants, key=lambda plant: plant.group is None):
        found.setdefault(_nature_text(plant), []).append(plant)
    return found


def _ask_nature(
    text: str, plants: Sequence[ListedPlant], unit: Temperature, told: Sequence[str]
) -> Dialogue[_Nature]:
    """Ask what plants are whose group is not clear.

    told: lines before the question.
    """
    names = listed([plant.name for plant in plants])
    where = f"line {plants[0].line}" if len(plants) == 1 else f"{len(plants)} lines"
    said = f'"{text}"' if plants[0].group else "no group"
    above = [*told, "", f"{said} ({where}: {names})"]
    likely = text
    if not search_groups(text):
        likely = _suggestion(text, plants)
        above += [f"  did you mean {likely}?"] if likely else []
    groups = yield from ask_groups(
        likely, unit, above=above, about=text, subject=text, is_sure=False
    )
    if groups:
        return _Nature(groups)
    return _Nature([], (yield from ask_night_low(None, unit, about=text, subject=text)))


def _suggestion(text: str, plants: Sequence[ListedPlant]) -> str:
    """Return what a group that is not known may have meant: what the names of its plants agree on,
    else what is written like it; "" for nothing."""
    within = {alias_name(plant.name) for plant in plants}
    return within.pop() if len(within) == 1 and within != {""} else likely_name(text)


def _ask_home(homeless: Sequence[str], spots: Sequence[str], told: Sequence[str]) -> Dialogue[str]:
    """Return the home of plants for which the list has none.

    told: lines before the question.
    """
    if not homeless or len(spots) == 1:
        return spots[0]
    above = (*told, "", f"Without a home: {listed(homeless)}")
    return (yield from ask_name_of("Their home", spots, spots[0], above=above))
