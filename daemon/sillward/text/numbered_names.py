"""Names of plants that are numbered in a row, as one: "Moth 1–12"."""

import re
from collections.abc import Sequence

MAX_APART = 2
"""So many with numbers in a row are named one by one."""


def folded(names: Sequence[str]) -> list[tuple[str, int]]:
    """Return the names, those that are numbered in a row as one, and how many plants each is."""
    parts: list[tuple[str, int]] = []
    at = 0
    while at < len(names):
        stem, number = _numbered(names[at])
        end = at + 1
        while stem and end < len(names) and _numbered(names[end]) == (stem, number + end - at):
            end += 1
        if end - at > MAX_APART:
            parts.append((f"{names[at]}–{number + end - at - 1}", end - at))
            at = end
        else:
            parts.append((names[at], 1))
            at += 1
    return parts


def unfolded(text: str) -> list[str]:
    """Return the names that "Moth 3–7" stands for, with any hyphen; none if it is no such row."""
    match = re.fullmatch(r"(.+) ([1-9][0-9]{0,3}) ?[-–] ?([1-9][0-9]{0,3})", text)
    if match is None:
        return []
    return [f"{match[1]} {number}" for number in range(int(match[2]), int(match[3]) + 1)]


def _numbered(name: str) -> tuple[str, int]:
    """Return the name of one of several and its number; "" and 0 if it has none."""
    if not name[-1:].isdigit():  # as most names end
        return "", 0
    match = re.fullmatch(r"(.+) ([1-9][0-9]{0,5})", name)
    return (match[1], int(match[2])) if match else ("", 0)
