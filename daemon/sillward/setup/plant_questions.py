"""The questions about plants: what each is, where it stands, and how cold it may get."""

import math
import re
from collections.abc import Hashable, Sequence

from sillward.config import group_lookup
from sillward.config.models import NightLow, Text
from sillward.reports import groups as group_report
from sillward.setup.answers import IndoorAnswer, PlantAnswer, SpotAnswer
from sillward.setup.dialogue import Dialogue, Question, ask
from sillward.setup.prompts import NONE, ask_name_of, index_of, numbered, temperature, valid
from sillward.text.units import Temperature, Units
from sillward_rules.plants.group_names import alias_named, alias_within, names_like
from sillward_rules.plants.groups import Group, standard_groups
from sillward_rules.plants.limits import tenderest
from sillward_rules.plants.plant import HOLDERS, Holder

MAX_GROUPS = 12
"""Groups to choose from. Judgement: as many as fit on a terminal with the question."""


def ask_plants(spots: Sequence[SpotAnswer], unit: Temperature) -> Dialogue[list[PlantAnswer]]:
    """Ask for plants until there is at least one and no more are wanted."""
    plants: list[PlantAnswer] = []

    def read_name(typed: str) -> str:
        if not typed and plants:
            return ""
        if typed in [plant.name for plant in plants]:
            msg = "there is already a plant of this name; choose another"
            raise ValueError(msg)
        return valid(Text, typed)

    question = Question(
        "Name of a plant", read_name, above=("", "Plants. Two or three are enough to begin with")
    )
    while name := (yield from ask(question)):
        plants.append((yield from _ask_plant(name, spots, unit, len(plants))))
        question = Question(
            "Another one", read_name, enter="no more", about=len(plants), says=_another
        )
    return plants


def _another(name: str) -> str:
    return name or "no more; choose this to add one"


def _ask_plant(
    name: str, spots: Sequence[SpotAnswer], unit: Temperature, index: int
) -> Dialogue[PlantAnswer]:
    """Ask about a plant.

    index: which one it is, from 0: answers about it hold if its name alone is changed.
    """
    groups = yield from ask_groups(alias_name(name), unit, about=index, subject=name)
    usual = groups[0].holders[0] if groups else "pot"
    above = [f"  {group_report.line(group, Units(unit))}" for group in groups]
    holder = yield from ask_name_of(
        "It grows in", HOLDERS, usual, above=above, about=index, subject=name
    )
    names = [spot.name for spot in spots]
    home = names[0]
    if len(names) > 1:
        home = yield from ask_name_of("Its home", names, names[0], about=index, subject=name)
    shelter = yield from _ask_shelter(home, spots, index, name)
    group_low_c = night_low_of(groups)
    night_low_c = yield from ask_night_low(group_low_c, unit, about=index, subject=name)
    return PlantAnswer(
        name,
        tuple(group.name for group in groups),
        as_holder(holder),
        home,
        shelter,
        night_low_c,
        group_low_c,
    )


def as_holder(name: str) -> Holder:
    """Return a holder by its name, which is one of `HOLDERS`."""
    return next(holder for holder in HOLDERS if holder == name)


def night_low_of(groups: Sequence[Group]) -> float | None:
    """Return the night limit of a plant of these groups [°C]; None if it is not known."""
    low = tenderest([group.limits for group in groups]).night_low
    return None if low is None else low.value


def _ask_shelter(
    home: str, spots: Sequence[SpotAnswer], index: int, plant: str
) -> Dialogue[str | None]:
    """Ask where a plant is carried to, unless it lives indoors or there is no room."""
    rooms = [spot.name for spot in spots if isinstance(spot, IndoorAnswer)]
    if not rooms or home in rooms:
        return None
    shelter = yield from ask_name_of(
        "Carried to", [*rooms, NONE], rooms[0], about=index, subject=plant
    )
    return None if shelter == NONE else shelter


def ask_night_low(
    group_low_c: float | None,
    unit: Temperature,
    question: str = "Coldest night it should stand",
    *,
    about: Hashable = None,
    subject: str = "",
) -> Dialogue[float | None]:
    """Ask for a limit of its own; None if that of its group is taken."""

    def read(typed: str) -> float | None:
        if not typed and group_low_c is not None:
            return None
        return temperature(typed, unit, NightLow)

    usual = None
    if group_low_c is not None:
        usual = f"{Units(unit).bare(group_low_c, '°C')}, as its group"
    text = f"{question}, {unit}"
    return (yield from ask(Question(text, read, enter=usual, about=about, subject=subject)))


# -- groups


def alias_name(words: str) -> str:
    """Return the name of a group or of several that is among these words; "" if none is."""
    alias = alias_within(words)
    return "" if alias is None else alias.name


def ask_groups(
    likely: str,
    unit: Temperature,
    *,
    above: Sequence[str] = (),
    about: Hashable = None,
    subject: str = "",
    is_sure: bool = True,
) -> Dialogue[list[Group]]:
    """Ask for the groups of a plant: several for a hybrid, none if no group fits.

    likely: words that are offered.
    above: lines before the first question.
    is_sure: whether the likely words are only offered. If not, what they find is shown at once.
    """
    text = (
        "What is it? A word or two, such as citrus, or cattleya x laelia for a hybrid"
        f" ({NONE}: not in any list)"
    )
    lines, words = tuple(above), "" if is_sure else likely
    while True:
        if not words:
            words = yield from ask(
                Question(text, _read_words, likely, above=lines, about=about, subject=subject)
            )
            lines, is_sure = (), True
        if words == NONE:
            return []
        named = groups_named(words) if is_sure else None
        if named is not None:
            return named
        hits = search_groups(words)
        is_hybrid = len(group_lookup.parents_in(words)) > 1
        if is_sure and len(hits) == 1 and not is_hybrid:
            return hits
        if hits:
            chosen = yield from _choose_groups(hits, unit, lines, words, about, subject)
            if isinstance(chosen, list) and chosen:
                return chosen
            lines, words, is_sure = (), chosen if isinstance(chosen, str) else "", True
        else:
            hint = group_lookup.did_you_mean(words) or "; the family, or a relative?"
            lines, likely, words = (f"  no group has these words{hint}",), likely_name(words), ""


def _likely_parents(words: str) -> str:
    """Return the numbers of the groups that are likely among those found: one for each parent."""
    found = [search_groups(parent)[:1] for parent in group_lookup.parents_in(words)]
    count = len({group.name for hits in found for group in hits})
    return ",".join(str(number + 1) for number in range(max(count, 1)))


def _read_words(typed: str) -> str:
    if not typed:
        msg = "write a word of its name or its kind"
        raise ValueError(msg)
    return typed


def _choose_groups(
    hits: Sequence[Group],
    unit: Temperature,
    above: Sequence[str],
    words: str,
    about: Hashable,
    subject: str,
) -> Dialogue[list[Group] | str]:
    """Show what was found and ask for one or more; none, or other words, to search again."""
    shown = hits[:MAX_GROUPS]
    lines = [*above, *numbered([group_report.line(group, Units(unit)) for group in shown])]
    if len(hits) > MAX_GROUPS:
        lines.append(f"     and {len(hits) - MAX_GROUPS} more; another word finds fewer")

    def read(typed: str) -> list[Group] | str:
        if typed == "0":
            return []
        if re.search(r"[^\W\d_]{2}", typed):
            return typed
        parts = re.split(r"[\s,+]+", typed.strip(", +"))
        indices = [index_of(part, len(shown)) for part in parts]
        return [shown[index] for index in dict.fromkeys(indices)]

    def says(chosen: list[Group] | str) -> str:
        if isinstance(chosen, str):
            return chosen
        return " x ".join(group.name for group in chosen) or "none of these"

    text = "Right? (0 to search again)"
    if len(shown) > 1:
        text = "Which? (two for a hybrid, such as 1,2; 0 to search again)"
    above = tuple(lines)
    enter = _likely_parents(words)
    question = Question(
        text, read, enter, above=above, about=(words, about), subject=subject, says=says
    )
    return (yield from ask(question))


def groups_named(text: str) -> list[Group] | None:
    """Return the groups that words name, of which there are several in "cattleya x laelia".

    Return None if that is not clear.
    """
    whole = group_lookup.resolve(text, suggest=False).group
    parts = [text] if whole is not None else group_lookup.parents_in(text)
    names = [group_lookup.resolve(part, suggest=False).group for part in parts]
    known = [standard_groups()[name] for name in dict.fromkeys(names) if name is not None]
    return known if None not in names else None


def likely_name(words: str) -> str:
    """Return the name that is most like mistyped words; "" if none is."""
    similar = names_like(words)
    return similar[0] if similar else ""


def search_groups(words: str) -> list[Group]:
    """Return the groups that the words find, else those of the longest name among the words.

    That name may be a genus. No group is found by one word that it shares with many ("orchid",
    "plant"). The groups of a name come first, and the tenderest of them before the others. Of a
    hybrid the likely group of each parent comes first.
    """
    parents = group_lookup.parents_in(words)
    if len(parents) > 1:
        each = [search_groups(parent) for parent in parents]
        likely = [hits[0] for hits in each if hits]
        return list(dict.fromkeys([*likely, *(group for hits in each for group in hits)]))
    hits = group_lookup.find_groups(words.split())
    alias = alias_named(words) if hits else alias_within(words)
    meant = [] if alias is None else [standard_groups()[name] for name in alias.groups]
    others = [group for group in hits if group not in meant]
    return [*sorted(meant, key=_hardiness), *sorted(others, key=_hardiness)]


def _hardiness(group: Group) -> float:
    """Return a number that is the smaller, the more tender a group is."""
    low = group.limits.night_low
    return -math.inf if low is None else -low.value
