"""Culture groups as growers name them: what a name stands for, and what to say where it is none."""

from collections.abc import Sequence
from dataclasses import dataclass

from sillward_rules.plants.group_names import Alias, alias_named, genus_of, names_like


@dataclass(frozen=True, slots=True)
class Meant:
    """The group that a name of the collection stands for; None, and why, if it is not clear."""

    group: str | None
    problem: str = ""


def meant(name: str, *, suggest: bool = True) -> Meant:
    """What a name written as `group` or among `parents` stands for.

    suggest: whether to look for what a mistyped name may have meant; that takes milliseconds.
    """
    alias = alias_named(name)
    if alias is None:
        hint = suggestion(name) if suggest else ""
        return Meant(None, f'"{name}" is not a culture group{hint}')
    if len(alias.groups) == 1 or alias.former:
        return Meant(alias.groups[0])
    return Meant(None, f'"{name}" may be {one_of(alias.groups)}: name one, or several as parents')


def said(name: str) -> str:
    """A name as `check` shows it: with the group it was taken for where that is another."""
    group = meant(name, suggest=False).group
    return name if group in (None, name) else f"{name}: {group}"


def open_question(name: str) -> str | None:
    """What the grower is asked where a group of an earlier version became several."""
    alias = alias_named(name)
    if alias is None or not alias.former:
        return None
    now, taken = one_of(alias.groups), alias.groups[0]
    return f'"{name}" is now {now}; taken as {taken}, the tenderest, until you name one'


def suggestion(name: str) -> str:
    """The end of "... is not a culture group": what may have been meant, or where to look."""
    return did_you_mean(name) or "; `sillward groups` lists them all"


def did_you_mean(name: str) -> str:
    """ "; did you mean cattleya?", or nothing if nothing is near."""
    genus = genus_of(name)
    near = names_like(name) or list(genus.groups if genus else ())
    return f"; did you mean {one_of(near)}?" if near else ""


def explained(alias: Alias) -> str:
    """ "moth orchid: phalaenopsis", for a line of its own."""
    return f"{alias.name}: {one_of(alias.groups)}"


def one_of(names: Sequence[str]) -> str:
    """ "a", "a or b", "a, b or c"."""
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last
