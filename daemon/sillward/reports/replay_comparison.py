"""What `sillward replay` prints of two replays side by side: what a change costs, what it saves."""

from collections.abc import Mapping, Sequence
from typing import Any

from sillward.reports.replay import head, notes, number, result_document
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.replay.records import ReplayResult, as_json
from sillward_rules.replay.summary import Difference, differences
from sillward_rules.weather.site import Site

_DIGITS: Mapping[str, int] = {"hours_under": 0, "degree_hours": 0, "harm": 2}
"""Decimal places of what is no count."""

_COLUMNS = (Column(), *(Column(right=True, fixed=True) for _ in range(3)))


def _labels(voice: Voice) -> dict[str, str]:
    """Return how the rows of the table are called, in their order: first the costs."""
    deep = voice.kelvins(1.0, 0)
    return {
        "carried_in": "trips in, of a plant",
        "needless_carried": "  of these for nothing",
        "walks": "walks, in and out",
        "needless_walks": "  of these for nothing",
        "pushes": "messages",
        "corrections": "corrections",
        "misses": "missed",
        "deep": f"  of these by {deep} or more",
        "unwarned": "  of these without a word",
        "late": "told too late",
        "out_too_early": "out again too early",
        "not_done": "told, and not done",
        "no_cover": "cover too cold",
        "hours_under": "hours under the limit",
        "harm": "harm",
    }


# -- for machines


def document(
    before: ReplayResult,
    after: ReplayResult,
    changes: Sequence[str],
    site: Site,
    remarks: Sequence[str],
) -> dict[str, Any]:
    """Return both replays and their differences as plain types."""
    return {
        "schema": 1,
        "changes": list(changes),
        "differences": {
            one.name: {"before": one.before, "after": one.after, "change": one.change}
            for one in _rounded(differences(before, after))
        },
        "before": result_document(before, site),
        "after": result_document(after, site),
        "remarks": list(remarks),
    }


def _rounded(found: Sequence[Difference]) -> list[Difference]:
    return [Difference(one.name, as_json(one.before), as_json(one.after)) for one in found]


# -- for people


def text(
    before: ReplayResult,
    after: ReplayResult,
    changes: Sequence[str],
    voice: Voice,
    remarks: Sequence[str],
    screen: Screen = PIPE,
    *,
    judged_alike: bool = False,
) -> str:
    """Return one table of what differs, and in sentences what it costs and saves.

    judged_alike: whether limits differ, so that both are judged by the higher ones.
    """
    shorter = before if len(before.nights) < len(after.nights) else after
    lines = head(shorter, voice, screen)
    for change in changes:
        lines += screen.lines(f"changed: {change}")
    if judged_alike:
        lines += screen.lines("Where limits differ, both are judged by the higher one.")
    found = {one.name: one for one in differences(before, after)}
    if not found["nights"].before:
        return "\n".join(lines)
    lines += ["", *table(_rows(found, voice), _COLUMNS, screen), ""]
    for sentence in _sentences(found):
        lines += screen.lines(sentence)
    lines += notes(remarks, screen)
    return "\n".join(lines)


def _rows(found: Mapping[str, Difference], voice: Voice) -> list[tuple[Cell, ...]]:
    rows: list[tuple[Cell, ...]] = [("", "now", "changed", "")]
    for name, label in _labels(voice).items():
        one, digits = found[name], _DIGITS.get(name, 0)
        if not one.before and not one.after:
            continue
        change = one.change or 0.0
        shown = f"{change:+,.{digits}f}" if round(change, digits) else "="
        worse = change > 0 and name in ("misses", "deep", "harm", "hours_under")
        rows.append(
            (
                label,
                f"{one.before or 0.0:,.{digits}f}",
                f"{one.after or 0.0:,.{digits}f}",
                Marked(shown, Mark.TROUBLE) if worse else shown,
            )
        )
    return rows


_IN_WORDS: Mapping[str, tuple[str, str]] = {
    "carried_in": ("trip", "trips"),
    "walks": ("walk", "walks"),
    "misses": ("plant missed", "plants missed"),
    "hours_under": ("plant-hour under the limit", "plant-hours under the limit"),
}
"""What a change costs or saves, one and many: first the work, then the cold."""


def _sentences(found: Mapping[str, Difference]) -> list[str]:
    """Return what the change costs and what it saves."""
    changes = {name: round(found[name].change or 0.0) for name in _IN_WORDS}
    costs = [_amount(by, name) for name, by in changes.items() if by > 0]
    saves = [_amount(-by, name) for name, by in changes.items() if by < 0]
    if not costs and not saves:
        return ["The change makes no difference to work and cold."]
    return [
        f"The change costs {_listed(costs)}.",
        f"It saves {_listed(saves)}.",
    ]


def _amount(count: int, name: str) -> str:
    one, many = _IN_WORDS[name]
    return f"{number(count)} {one if count == 1 else many}"


def _listed(parts: Sequence[str]) -> str:
    if len(parts) < 2:
        return parts[0] if parts else "nothing"
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
