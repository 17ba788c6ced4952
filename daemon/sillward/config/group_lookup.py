"""Culture groups as growers name them: what a name stands for, and what to say if it is unknown."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sillward_rules.plants.group_names import (
    Alias,
    alias_named,
    aliases_by_group,
    folded,
    genus_of,
    names_like,
    singulars,
)
from sillward_rules.plants.groups import Group, standard_groups

_CROSS = re.compile(r"\s*[+/×]\s*|\s+[xX]\s+")
"""Stands between the parents of a hybrid."""


@dataclass(frozen=True, slots=True)
class Resolution:
    """The group that a name of the collection stands for; None, and why, if that is not clear."""

    group: str | None
    problem: str = ""


def resolve(name: str, *, suggest: bool = True) -> Resolution:
    """Return what a name written as `group` or among `parents` stands for.

    suggest: whether to look for what a mistyped name may have meant; that takes milliseconds.
    """
    alias = alias_named(name)
    if alias is None:
        hint = suggestion(name) if suggest else ""
        return Resolution(None, f'"{name}" is not a culture group{hint}')
    if len(alias.groups) == 1 or alias.former:
        return Resolution(alias.groups[0])
    choice = alternatives(alias.groups)
    return Resolution(None, f'"{name}" may be {choice}: name one, or several as parents')


def name_with_group(name: str) -> str:
    """Return a name as `check` shows it: with its group, unless that has the same name."""
    group = resolve(name, suggest=False).group
    return name if group in (None, name) else f"{name}: {group}"


def open_question(name: str) -> str | None:
    """Return what the grower is asked if a group of an earlier version became several."""
    alias = alias_named(name)
    if alias is None or not alias.former:
        return None
    now, taken = alternatives(alias.groups), alias.groups[0]
    return f'"{name}" is now {now}; taken as {taken}, the tenderest, until you name one'


def suggestion(name: str) -> str:
    """Return the end of "... is not a culture group": what was meant, or where to look."""
    return did_you_mean(name) or "; `sillward groups` lists them all"


def did_you_mean(name: str) -> str:
    """Return "; did you mean cattleya?", or nothing if no name is similar."""
    genus = genus_of(name)
    similar = names_like(name) or list(genus.groups if genus else ())
    return f"; did you mean {alternatives(similar)}?" if similar else ""


def explanation(alias: Alias) -> str:
    """Return "moth orchid: phalaenopsis", for a line of its own."""
    return f"{alias.name}: {alternatives(alias.groups)}"


def alternatives(names: Sequence[str]) -> str:
    """Return "a", "a or b", or "a, b or c"."""
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last


def parents_in(text: str) -> list[str]:
    """Return the parents that words name, such as "cattleya x laelia"; else the words as they are.

    Commas part names, and nothing else: "phalaenopsis, white" is no hybrid.
    """
    if alias_named(text) is not None:
        return [text]
    parts = _CROSS.split(text)
    listed = [part.strip() for part in text.split(",")]
    if len(parts) == 1 and all(alias_named(part) is not None for part in listed):
        parts = listed
    return [part for part in parts if part]


def find_groups(words: Sequence[str]) -> dict[Group, list[str]]:
    """Find culture groups, each with those of its other names that were matched.

    Those of each parent of a hybrid, one parent after the other.

    If the words together are a name, its groups come first. Then come the groups that have all
    the words, as beginnings of words, in name, title and examples, or in one of their other names.
    No words find every group.
    """
    parents = parents_in(" ".join(words))
    if len(parents) > 1:
        each = [find_groups(parent.split()) for parent in parents]
        return {group: names for found in each for group, names in found.items()}
    parts = folded(" ".join(words)).split()
    known = standard_groups()
    alias = alias_named(" ".join(words)) if parts else None
    found: dict[Group, list[str]] = {}
    if alias is not None:
        found = {known[name]: [alias.name] for name in alias.groups}
    for name, group in known.items():
        shown = folded(f"{name} {group.examples}")
        matched = [
            other.name for other in aliases_by_group()[name] if _has_all_words(other.name, parts)
        ]
        if matched or _has_all_words(f"{name} {group.title} {group.examples}", parts):
            new = [other for other in matched if parts and folded(other) not in shown]
            found[group] = [*dict.fromkeys([*found.get(group, []), *new])]
    return found


def _has_all_words(text: str, parts: Sequence[str]) -> bool:
    """Whether each part begins a word of the text; plurals count as their singular."""
    words = folded(text).split()
    return all(
        any(word.startswith(form) for word in words for form in singulars(part)) for part in parts
    )
