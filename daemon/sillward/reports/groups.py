"""What `sillward groups` prints: culture groups found by name, with their night limits."""

from collections.abc import Sequence

from sillward.config import group_lookup
from sillward.text.columns import PIPE, Column, Screen, table
from sillward.text.units import SI, Units
from sillward_rules.plants.group_names import Alias, alias_named, genus_of
from sillward_rules.plants.groups import Group, standard_groups

MAX_NAMES = 4
"""Other names of a group that are shown with it. Judgement: enough to see why it was found."""

_COLUMNS = (Column(fixed=True), Column(fixed=True), Column())
"""Name, night limit, examples."""


def text(words: Sequence[str], screen: Screen = PIPE) -> str:
    """Return the culture groups that these words find, with their night limits.

    A line above them says what the words stand for where they are another name. If nothing is
    found, the answer says what may have been meant.
    """
    asked = " ".join(words)
    alias = alias_named(asked) if words else None
    found = group_lookup.find_groups(words)
    genus = None if found else genus_of(asked)
    if genus is not None:
        found = {standard_groups()[name]: [] for name in genus.groups}
    if not found:
        problem = f"no group has all these words{group_lookup.suggestion(asked)}"
        return "\n".join(screen.lines(problem))
    head = ""
    if genus is not None:
        head = f"{asked} is not listed; its genus is: {group_lookup.alternatives(genus.groups)}"
    elif alias is not None and alias.groups != (alias.name,):
        head = group_lookup.explanation(alias)
    rows = [_row(group, names, alias) for group, names in found.items()]
    return "\n".join([*(screen.lines(head) if head else []), *table(rows, _COLUMNS, screen)])


def _row(group: Group, names: Sequence[str], alias: Alias | None) -> tuple[str, str, str]:
    """Return the cells of a group.

    names: the names by which it was found.
    """
    low = group.limits.night_low
    night = f"night {low.value:g} °C" if low else "night ?"
    others = [name for name in names if alias is None or name != alias.name]
    if not others:
        return group.name, night, group.examples
    more = ", ..." if len(others) > MAX_NAMES else ""
    return group.name, night, f"{group.examples} (also {', '.join(others[:MAX_NAMES])}{more})"


def line(group: Group, units: Units = SI) -> str:
    """Return a group with its night limit and examples on one line, to choose from."""
    low = group.limits.night_low
    night = f"night {units.bare(low.value, '°C')} {units.temperature}" if low else "night ?"
    return f"{group.name}: {night}; {group.examples}"
