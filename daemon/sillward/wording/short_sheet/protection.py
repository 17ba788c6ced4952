"""Lines on what guards plants where they stand: covering, securing, moving, shade, damp floors."""

from collections.abc import Sequence
from functools import partial

from sillward.wording import chore_phrases, reason_phrases
from sillward.wording.chore_phrases import plants_of_each
from sillward.wording.push import LineText, Part
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward_rules.chore import Chore, ChoreKind

PROTECTION = (
    ChoreKind.COVER,
    ChoreKind.SECURE,
    ChoreKind.MOVE,
    ChoreKind.SHADE,
    ChoreKind.DAMP_DOWN,
    ChoreKind.LEACH,
)
"""Chores that guard plants, the most urgent kind first; a flush guards their roots from salt."""


def protect(chores: Sequence[Chore], writer: SheetWriter) -> Part:
    """Return a line for each chore, with the number that asks for it.

    chores: chores of one kind.
    """
    kind, now = chores[0].kind, writer.sheet.at
    return Part(
        tuple(_line(chore, writer) for chore in chores),
        partial(chore_phrases.crowded_lines, kind, chores, now, writer.voice),
        plants=plants_of_each(chores),
        hours=tuple(max(chore.before, now) for chore in chores),
        spare=kind is ChoreKind.DAMP_DOWN,
    )


def _line(chore: Chore, writer: SheetWriter) -> LineText:
    return _move(chore, writer) if chore.kind is ChoreKind.MOVE else _guard(chore, writer)


def _move(chore: Chore, writer: SheetWriter) -> LineText:
    """Return the line of a move out of the heat."""
    reason, voice = reason_phrases.deciding_reason([chore]), writer.voice

    def line(most: int) -> str:
        return writer.say(
            "move",
            spot=chore.from_spot,
            to=chore.to_spot,
            by=writer.by(chore),
            who=writer.names(chore, most),
            value=reason_phrases.number(reason, voice),
            limit=reason_phrases.limit(reason, voice),
            back=chore_phrases.back_hour(chore, voice),
            brief=most == 0,
        )

    return line


def _guard(chore: Chore, writer: SheetWriter) -> LineText:
    """Return the line of a chore that guards plants where they stand."""
    reason, voice = reason_phrases.deciding_reason([chore]), writer.voice

    def line(most: int) -> str:
        return writer.say(
            "guard",
            kind=chore.kind.value,
            spot=chore.from_spot,
            by=writer.by(chore),
            who=writer.names(chore, most),
            quantity=reason.quantity,
            value=reason_phrases.number(reason, voice) if most else "",
            hour=voice.hour(reason.at),
            water=chore.what,
        )

    return line
