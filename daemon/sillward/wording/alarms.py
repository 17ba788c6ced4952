"""Alarms: what cannot wait for a round, in the words of a push. Each is told once."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sillward.wording.follow_up import SOON
from sillward.wording.phrases import known_lows
from sillward.wording.push import Message, shortened
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import ChoreKind
from sillward_rules.sheet import Sheet

MOST_ERRORS = 2
"""Of a collection that are told; `sillward check` shows all."""


def blind(sheet: Sheet, since: datetime | None, why: str | None, voice: Voice) -> Message:
    """No forecast that one can go by: when there was one last, what it said, what to do.

    sheet: tonight's, drawn up from what there is. since: of when the last good forecast is.
    """
    lines = _under_cover(sheet, voice)
    lines.append(voice.say("last_known", lows=known_lows(sheet)))
    lines += [why] if why else []
    lines.append(voice.say("own_thermometer"))
    soon = any(before - sheet.at <= SOON for before in _going(sheet))
    return replace(shortened(voice.say("blind", since=since), lines), urgent=soon)


def sighted(sheet: Sheet, voice: Voice) -> Message:
    """There is a forecast again: whose, and what it says of tonight."""
    lows = known_lows(sheet)
    lines = [voice.say("tonight", lows=lows)] if lows else []
    lines += _under_cover(sheet, voice) or [voice.say("nothing_under_cover")]
    title = voice.say("sighted", source=sheet.source)
    return shortened(title, [*lines, voice.say("rounds_go_on")])


def doubtful_clock(doubt: str, voice: Voice) -> Message:
    """This machine's clock is wrong: notices come at the wrong time."""
    return shortened(voice.say("clock_wrong"), [capital(doubt), voice.say("clock_unsafe")])


def right_clock(voice: Voice) -> Message:
    """The clock is right again."""
    return Message(voice.say("clock_right"), voice.say("clock_safe"))


def no_ledger(voice: Voice) -> Message:
    """Nothing can be written down: disk full, read-only or broken."""
    lines = [voice.say("without_ledger"), voice.say("make_room")]
    return shortened(voice.say("no_ledger"), lines)


def ledger_back(voice: Voice) -> Message:
    """The ledger's file can be written again."""
    return Message(voice.say("ledger_back"), voice.say("nothing_to_do"))


def collection_refused(errors: Sequence[str], voice: Voice) -> Message:
    """The collection was edited and is wrong: the one from before stays in force."""
    lines = [*errors[:MOST_ERRORS], voice.say("old_collection_stays", errors=len(errors))]
    return shortened(voice.say("collection_refused"), lines)


def collection_in_force(voice: Voice) -> Message:
    """The edited collection is right now, and in force."""
    return Message(voice.say("collection_in_force"), voice.say("nothing_to_do"))


def history_reset(what: str, voice: Voice) -> Message:
    """What was told and done is forgotten, wholly or in part."""
    return shortened(voice.say("memory_lost"), [capital(what), voice.say("may_come_again")])


def _going(sheet: Sheet) -> list[datetime]:
    """By when there is something to carry in."""
    return [chore.before for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]


def _under_cover(sheet: Sheet, voice: Voice) -> list[str]:
    """How many plants must be under cover tonight, before when; where they are now is no matter."""
    tonight = [
        chore
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN
        or (chore.kind is ChoreKind.STAY_IN and chore.not_before is None)
    ]
    if not tonight:
        return []
    going = _going(sheet)
    count = len({name for chore in tonight for name in chore.plants})
    by = voice.by(min(going), sheet.at) if going else None
    return [voice.say("under_cover", by=by, count=count)]
