"""The questions about plants: what each is, where it stands, and how cold it may get."""

import re
from collections.abc import Sequence

import click

from sillward.config import group_lookup
from sillward.config.models import NightLow, Text
from sillward.reports import groups as group_report
from sillward.setup.answers import IndoorAnswer, PlantAnswer, SpotAnswer
from sillward.setup.prompts import (
    NONE,
    ask,
    ask_name_of,
    index_of,
    number,
    show_numbered,
    valid,
)
from sillward_rules.plants.group_names import alias_within
from sillward_rules.plants.groups import Group, standard_groups
from sillward_rules.plants.limits import tenderest
from sillward_rules.plants.plant import HOLDERS, Holder

MAX_GROUPS = 12
"""Groups to choose from. Judgement: as many as fit on a terminal with the question."""


def ask_plants(spots: Sequence[SpotAnswer]) -> list[PlantAnswer]:
    """Ask for plants until there is at least one and no more are wanted."""
    plants: list[PlantAnswer] = []

    def read_name(typed: str) -> str:
        if not typed and plants:
            return ""
        if typed in [plant.name for plant in plants]:
            msg = "there is a plant of this name; make them different"
            raise ValueError(msg)
        return valid(Text, typed)

    click.echo("\nPlants. Two or three are enough to begin with")
    while name := ask("Another one (Enter: no more)" if plants else "Name of a plant", read_name):
        plants.append(_ask_plant(name, spots))
    return plants


def _ask_plant(name: str, spots: Sequence[SpotAnswer]) -> PlantAnswer:
    groups = _ask_groups(name)
    holder = ask_name_of("It grows in", HOLDERS, groups[0].holders[0] if groups else "pot")
    names = [spot.name for spot in spots]
    home = names[0] if len(names) == 1 else ask_name_of("Its home", names, names[0])
    low = tenderest([group.limits for group in groups]).night_low
    group_low_c = None if low is None else low.value
    return PlantAnswer(
        name,
        tuple(group.name for group in groups),
        _as_holder(holder),
        home,
        _ask_shelter(home, spots),
        _ask_night_low(group_low_c),
        group_low_c,
    )


def _as_holder(name: str) -> Holder:
    return next(holder for holder in HOLDERS if holder == name)


def _ask_shelter(home: str, spots: Sequence[SpotAnswer]) -> str | None:
    """Ask where a plant is carried to, unless it lives indoors or there is no room."""
    rooms = [spot.name for spot in spots if isinstance(spot, IndoorAnswer)]
    if not rooms or home in rooms:
        return None
    shelter = ask_name_of("Carried to", [*rooms, NONE], rooms[0])
    return None if shelter == NONE else shelter


def _ask_night_low(group_low_c: float | None) -> float | None:
    """Ask for a limit of its own; None if that of its group is taken."""

    def read(typed: str) -> float | None:
        if not typed and group_low_c is not None:
            return None
        return number(typed, NightLow, "°C")

    usual = "" if group_low_c is None else f" (Enter: {group_low_c:g}, as its group)"
    return ask(f"Coldest night it should stand, °C{usual}", read)


# -- groups


def _ask_groups(name: str) -> list[Group]:
    """Ask for the plant's groups: several for a hybrid, none if no group fits."""
    alias = alias_within(name)
    likely = alias.name if alias is not None else ""
    while True:
        words = ask(
            f"What is it? A word or two, such as cattleya or citrus ({NONE}: not in any list)",
            _read_words,
            likely,
        )
        if words == NONE:
            return []
        hits = search_groups(words)
        if not hits:
            hint = group_lookup.did_you_mean(words) or "; the family, or a relative?"
            click.echo(f"  no group has these words{hint}")
            likely = ""
            continue
        chosen = _choose_groups(hits)
        if chosen:
            return chosen


def _read_words(typed: str) -> str:
    if not typed:
        msg = "write a word of its name or its kind"
        raise ValueError(msg)
    return typed


def _choose_groups(hits: Sequence[Group]) -> list[Group]:
    """Show what was found and ask for one or more; none to search again."""
    shown = hits[:MAX_GROUPS]
    show_numbered([group_report.line(group) for group in shown])
    if len(hits) > MAX_GROUPS:
        click.echo(f"     and {len(hits) - MAX_GROUPS} more; another word finds fewer")

    def read(typed: str) -> list[Group]:
        if typed == "0":
            return []
        parts = re.split(r"[\s,+]+", typed.strip(", +"))
        indices = [index_of(part, len(shown)) for part in parts]
        return [shown[index] for index in dict.fromkeys(indices)]

    return ask("Which? (two for a hybrid, such as 1,2; 0 to search again)", read, "1")


def search_groups(words: str) -> list[Group]:
    """Return the groups that the words find, else those of the longest name among the words.

    That name may be a genus. No group is found by one word that it shares with many ("orchid",
    "plant").
    """
    hits = group_lookup.find_groups(words.split())
    alias = alias_within(words) if not hits else None
    return [*hits] or [standard_groups()[name] for name in (alias.groups if alias else ())]
