"""A sheet for a phone: a title that says what to do by when, and the chores in one walk."""

from collections.abc import Sequence

from sillward.wording.follow_up import room_for_minutes
from sillward.wording.push import Message, composed, plain_part
from sillward.wording.short_sheet import dusk, morning, week
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT
from sillward_rules.sheet import Round, Sheet

_TITLE_AND_PARTS = {
    Round.DUSK: dusk.title_and_parts,
    Round.MORNING: morning.title_and_parts,
    Round.WEEK: week.title_and_parts,
}


def message(sheet: Sheet, voice: Voice, footer: Sequence[str] = ()) -> Message:
    """Return the sheet as a push.

    footer: lines that are kept whatever else is cut.
    """
    title, parts = _TITLE_AND_PARTS[sheet.round](SheetWriter(sheet, voice))
    parts += [plain_part(line, kept=True) for line in footer]
    orders = [
        chore for chore in sheet.chores if chore.kind in URGENT and sheet.round is not Round.WEEK
    ]
    return composed(title, parts, voice, room_for_minutes(orders, sheet.at, voice))
