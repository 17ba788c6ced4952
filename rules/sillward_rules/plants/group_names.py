"""Names of culture groups: common English names, Latin genera, and names that were mistyped.

The data is in group_names.toml. Names are compared without case, accents, hyphens, apostrophes and
the sign of a hybrid; a plural counts as its singular.
"""

import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from sillward_rules.plants.groups import standard_groups

MAX_NAME_LENGTH = 60
"""Nothing longer is looked up: the longest name in the data has half this length."""


@dataclass(frozen=True, slots=True)
class Alias:
    """A name as it is written in the data, and the groups that it stands for.

    It has several groups if growers use the name for all of them. former: it once was a group of
    its own, and stands for the tenderest of the groups that it became, its first.
    """

    name: str
    groups: tuple[str, ...]
    former: bool = False


@cache
def _tables() -> Mapping[str, Any]:
    text = (
        resources.files("sillward_rules.plants")
        .joinpath("group_names.toml")
        .read_text(encoding="utf-8")
    )
    return tomllib.loads(text)


@cache
def standard_aliases() -> Mapping[str, Alias]:
    """Return all names of the shipped groups, their own included, by `folded` name."""
    tables = _tables()
    found = {folded(name): Alias(name, (name,)) for name in standard_groups()}
    for group, names in tables["names"].items():
        for name in names:
            found.setdefault(folded(name), Alias(name, (group,)))
    for name, groups in tables["shared"].items():
        found.setdefault(folded(name), Alias(name, tuple(groups)))
    for name, groups in tables["former"].items():
        found.setdefault(folded(name), Alias(name, tuple(groups), former=True))
    return MappingProxyType(found)


@cache
def aliases_by_group() -> Mapping[str, tuple[Alias, ...]]:
    """Return the names of each group, without its own."""
    found: dict[str, list[Alias]] = {name: [] for name in standard_groups()}
    for alias in standard_aliases().values():
        for group in alias.groups:
            if alias.name != group:
                found[group].append(alias)
    return MappingProxyType({name: tuple(aliases) for name, aliases in found.items()})


@lru_cache(maxsize=1024)
def alias_named(name: str) -> Alias | None:
    """Return what this name stands for, or None if it is in no list."""
    if name in standard_groups():
        return Alias(name, (name,))  # this needs no list of names, which a daemon would keep
    if len(name) > MAX_NAME_LENGTH:
        return None
    known = standard_aliases()
    for form in _singulars(folded(name)):
        if form in known:
            return known[form]
    return None


def alias_within(words: str) -> Alias | None:
    """Return the longest run of these words that is a name, as in "my old moth orchid"."""
    parts = words.split()
    for length in range(len(parts), 0, -1):
        for start in range(len(parts) - length + 1):
            alias = alias_named(" ".join(parts[start : start + length]))
            if alias is not None:
                return alias
    return None


def genus_of(name: str) -> Alias | None:
    """Return what the genus stands for in a Latin name of several words, or None."""
    first, _, rest = folded(name[:MAX_NAME_LENGTH]).partition(" ")
    return standard_aliases()[first] if rest and first in _genera() else None


@cache
def _genera() -> frozenset[str]:
    """Return the folded names of genera: one word, with a capital in the data."""
    tables = _tables()
    written = {name for names in tables["names"].values() for name in names} | {*tables["shared"]}
    return frozenset(folded(name) for name in written if name[0].isupper() and " " not in name)


MAX_SUGGESTIONS = 3
"""How many names are suggested for a mistyped one. Judgement: more would be no help."""


def names_like(name: str) -> list[str]:
    """Return the names nearest to a mistyped one, the nearest first; empty if nothing is near.

    Every word must be that of the name except for a few letters (`_allowed_slips`). One word in
    common is not enough, or every orchid would be like "moth orchid".
    """
    if len(name) > MAX_NAME_LENGTH:
        return []
    asked = folded(name)
    found = []
    for form, alias in standard_aliases().items():
        slips = _distance_by_words(asked, form)
        if slips is not None:
            found.append((slips, form, alias.name))
    found.sort()
    return [name for _, _, name in found[:MAX_SUGGESTIONS]]


_LIGATURES = str.maketrans({"\u00e6": "ae", "\u0153": "oe", "\u00f8": "o"})
"""Letters that Unicode does not take apart (ae, oe and o with a stroke)."""


def folded(name: str) -> str:
    """Return a name as it is compared: lower case, without accents, one blank between words."""
    plain = unicodedata.normalize("NFKD", name.casefold().translate(_LIGATURES))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = re.sub(r"['\u2019.]", "", plain)
    words = re.sub(r"[\W_]+", " ", plain).split()
    return " ".join(word for word in words if word not in ("x", "\u00d7")) or " ".join(words)


_ENDINGS = (("ies", "y"), ("ves", "f"), ("es", ""), ("s", ""), ("i", "us"), ("ae", "a"))
"""How English and Latin plurals end, and how the singular does."""


def singulars(word: str) -> tuple[str, ...]:
    """Return the word, and what it may be the plural of."""
    return (
        word,
        *(
            word.removesuffix(plural) + singular
            for plural, singular in _ENDINGS
            if word.endswith(plural) and len(word) > len(plural) + 2
        ),
    )


def _singulars(name: str) -> Iterator[str]:
    """Yield the name, then with its last word, then its first, in the singular."""
    first, _, rest = name.partition(" ")
    before, _, last = name.rpartition(" ")
    for form in singulars(last):
        yield f"{before} {form}".lstrip()
    for form in singulars(first):
        yield f"{form} {rest}".rstrip()


def _allowed_slips(length: int) -> int:
    """Return how many letters of a word of this length may be wrong if it is mistyped.

    Judgement: in short words two changed letters make another word ("pine", "fire").
    """
    return 0 if length < 4 else 1 if length < 6 else 2 if length < 10 else 3


def _distance_by_words(asked: str, known: str) -> int | None:
    """Return the letters to change from one name to the other; None if too many in a word."""
    ours, theirs = asked.split(), known.split()
    if len(ours) != len(theirs):  # "vanda strapleaf": a blank too many or too few
        ours, theirs = ["".join(ours)], ["".join(theirs)]
    total = 0
    for our, their in zip(ours, theirs, strict=True):
        allowed = _allowed_slips(min(len(our), len(their)))
        if abs(len(our) - len(their)) > allowed or len(set(our) ^ set(their)) > 2 * allowed:
            return None
        slips = _distance(our, their)
        if slips > allowed:
            return None
        total += slips
    return total


def _distance(ours: str, theirs: str) -> int:
    """Return the edit distance: letters omitted, added, changed or swapped with a neighbour."""
    older: list[int] = []
    last = list(range(len(theirs) + 1))
    for i, our in enumerate(ours, 1):
        row = [i]
        for j, their in enumerate(theirs, 1):
            least = min(last[j] + 1, row[-1] + 1, last[j - 1] + (our != their))
            if i > 1 and j > 1 and our == theirs[j - 2] and ours[i - 2] == their:
                least = min(least, older[j - 2] + 1)
            row.append(least)
        older, last = last, row
    return last[-1]
