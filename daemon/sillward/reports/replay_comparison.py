"""What `sillward replay` prints of two replays side by side: what a change costs, what it saves."""

from collections.abc import Mapping, Sequence
from typing import Any

from sillward.reports.replay import head, notes, result_document
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table
from sillward.text.units import fixed
from sillward.wording.voice import Voice
from sillward_rules.planners.walks import PLANT_PRICE, WALK_PRICE
from sillward_rules.plants.collection import DEFAULT_CAUTION
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
        "carried_in": "plants carried in",
        "needless_carried": "  of these for nothing",
        "walks": "walks, in and out",
        "needless_walks": "  of these for nothing",
        "pushes": "messages",
        "corrections": "corrections",
        "misses": "missed",
        "deep": f"  of these by {deep} or more",
        "unwarned": "  of these not mentioned",
        "late": "asked in too late",
        "out_too_early": "out again too early",
        "not_done": "asked in, not carried",
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
    caution: float,
) -> dict[str, Any]:
    """Return both replays and their differences as plain types.

    caution: of the grower, by which harm is weighed against work.
    """
    found = {one.name: one for one in differences(before, after)}
    harm, work = _weighed(found, caution)
    return {
        "schema": 1,
        "changes": list(changes),
        "differences": {
            one.name: {"before": one.before, "after": one.after, "change": one.change}
            for one in _rounded(tuple(found.values()))
        },
        "weighed": {"caution": caution, "harm": as_json(harm), "work": as_json(work)},
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
    caution: float = DEFAULT_CAUTION,
) -> str:
    """Return one table of what differs, and in sentences what it costs and saves.

    judged_alike: whether limits differ, so that both are judged by the higher ones.
    caution: as in `document`.
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
    for sentence in _sentences(found, caution, seeded=before.seed is not None):
        lines += screen.lines(sentence)
    lines += notes(remarks, screen)
    return "\n".join(lines)


def _rows(found: Mapping[str, Difference], voice: Voice) -> list[tuple[Cell, ...]]:
    rows: list[tuple[Cell, ...]] = [("", "now", "changed", "")]
    for name, label in _labels(voice).items():
        one, digits = found[name], _DIGITS.get(name, 0)
        if not one.before and not one.after:
            continue
        change = _change(one)
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
    "carried_in": ("plant carried in", "plants carried in"),
    "walks": ("walk", "walks"),
    "misses": ("plant missed", "plants missed"),
    "hours_under": ("plant-hour under the limit", "plant-hours under the limit"),
    "harm": ("of harm", "of harm"),
}
"""What a change costs or saves, one and many: first the work, then the cold."""


def _change(one: Difference) -> float:
    """Return the difference of both values as they are shown, so that the table adds up."""
    digits = _DIGITS.get(one.name, 0)
    return round(round(one.after or 0.0, digits) - round(one.before or 0.0, digits), digits)


def _sentences(found: Mapping[str, Difference], caution: float, *, seeded: bool) -> list[str]:
    """Return what the change costs and what it saves, and how harm and work weigh up."""
    changes = {name: _change(found[name]) for name in _IN_WORDS}
    costs = [_amount(by, name) for name, by in changes.items() if by > 0]
    saves = [_amount(-by, name) for name, by in changes.items() if by < 0]
    if not costs and not saves:
        return ["The change makes no difference to the work or the cold."]
    sentences = [f"The change costs {_listed(costs)}.", f"It saves {_listed(saves)}."]
    harm, work = _weighed(found, caution)
    if not caution:
        sentences.append("Your caution is 0, so harm is not weighed against the work.")
    elif harm or work:
        sentences.append(
            f"In walks for one plant alone, there and back, {_spent(harm, 'harm')} by your caution "
            f"({caution:g}), and {_spent(work, 'work')}."
        )
    if seeded:
        sentences.append("Small differences may be chance: try another --seed, or more nights.")
    return sentences


def _weighed(found: Mapping[str, Difference], caution: float) -> tuple[float, float]:
    """Return how much more harm and how much more work there is, both in the unit of caution.

    That is to fetch one plant in and to take it out again: one plant and two walks.
    """
    plants, walks = _change(found["carried_in"]), _change(found["walks"])
    return caution * _change(found["harm"]), PLANT_PRICE * plants + WALK_PRICE / 2 * walks


def _spent(amount: float, what: str) -> str:
    """Return "it costs 11 in harm", or what it saves, or that it makes no difference."""
    if not amount:
        return f"it changes nothing in {what}"
    verb = "costs" if amount > 0 else "saves"
    return f"it {verb} {fixed(abs(amount), 0 if abs(amount) >= 10 else 1)} in {what}"


def _amount(count: float, name: str) -> str:
    one, many = _IN_WORDS[name]
    return f"{count:,.{_DIGITS.get(name, 0)}f} {one if count == 1 else many}"


def _listed(parts: Sequence[str]) -> str:
    if len(parts) < 2:
        return parts[0] if parts else "nothing"
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
