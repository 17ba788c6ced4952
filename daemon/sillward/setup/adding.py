"""A list of plants for a collection that is there: the tables to add to its file.

The file is the grower's: it is read, and never written.
"""

from collections.abc import Sequence
from pathlib import Path

from sillward.config.collection_file import read_document
from sillward.config.loader import load_household
from sillward.config.validation import did_you_mean
from sillward.errors import ConfigError, listed
from sillward.setup import prompts
from sillward.setup.dialogue import Conversation
from sillward.setup.list_questions import ask_about_list
from sillward.setup.plant_list import PlantList
from sillward.setup.plant_tables import plant_tables


def tables_to_add(path: Path, plants: PlantList) -> str:
    """Return the tables of a list as text for the end of a collection file.

    What the list leaves unclear is asked on standard error. Raise ConfigError with all that does
    not go together with the collection, line by line; click.Abort if the answers end early.
    """
    household = load_household(path)
    spots = household.collection.spots
    names = {plant.name for plant in household.collection.plants}
    problems = _problems(plants, names, [spot.name for spot in spots])
    if problems:
        raise ConfigError([f"{plants.file}: {problem}" for problem in problems])
    outdoors = [spot.name for spot in spots if not spot.indoors]
    rooms = [spot.name for spot in spots if spot.indoors]
    unit = household.units.temperature
    answers = prompts.hold(
        Conversation(lambda: ask_about_list(plants, outdoors, rooms, unit)), err=True
    )
    defaults = read_document(path)[0].get("defaults", {})
    head = f"# -- {len(answers)} plants of {plants.file}, for the end of {path.name}"
    return "\n\n".join([head, *plant_tables(answers, defaults, unit)])


def _problems(plants: PlantList, names: set[str], spots: Sequence[str]) -> list[str]:
    """Return what in a list does not go together with a collection."""
    known = {spot.casefold() for spot in spots}
    problems = [
        f'line {plant.line}: "{plant.name}" is in the collection already'
        for plant in plants.plants
        if plant.name in names
    ]
    unknown: dict[tuple[str, str], list[str]] = {}  # a wrong spot once, however many lines have it
    for plant in plants.plants:
        for key, spot in (("home", plant.home), ("shelter", plant.shelter)):
            if spot is not None and spot.casefold() not in known:
                unknown.setdefault((key, spot), []).append(str(plant.line))
    for (key, spot), lines in unknown.items():
        where = f"line{'' if len(lines) == 1 else 's'} {listed(lines)}"
        hint = did_you_mean(spot, spots)
        problems.append(
            f'{where}: {key} "{spot}" is not one of your spots{hint} (spots: {", ".join(spots)})'
        )
    return problems
