"""Chores with a deadline, in the order in which a sheet tells them: carrying in, guards, water."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.wording import chore_phrases
from sillward.wording.push import Part
from sillward.wording.short_sheet.protection import PROTECTION, protect
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward.wording.short_sheet.watering import water_pots
from sillward_rules.chore import URGENT, Chore, ChoreKind


@dataclass(frozen=True, slots=True)
class Due:
    """A kind of chore with its first deadline, its words in a title, and its lines."""

    kind: ChoreKind
    at: datetime
    head: str
    part: Part


def due_chores(into: Sequence[Chore], carrying: Part, writer: SheetWriter) -> list[Due]:
    """Return carrying in, protection and watering by their deadlines, orders first.

    Orders come first because the minutes that are left may be put before the title.

    into: the orders to carry in.
    carrying: the part that tells them.
    """
    due = []
    lines = {ChoreKind.WATER: water_pots}
    for kind in (ChoreKind.CARRY_IN, *PROTECTION, ChoreKind.WATER):
        chores = into if kind is ChoreKind.CARRY_IN else writer.chores(kind)
        if chores:
            head = chore_phrases.head_of(chores, writer.sheet.at, writer.voice)
            part = (
                carrying if kind is ChoreKind.CARRY_IN else lines.get(kind, protect)(chores, writer)
            )
            due.append(Due(kind, chores[0].before, head, part))
    return sorted(due, key=lambda due: (due.kind not in URGENT, due.at))
