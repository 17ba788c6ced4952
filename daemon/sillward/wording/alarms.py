"""Alarms: what cannot wait for a round, as pushes. Each is told once."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sillward.wording.chore_phrases import known_lows
from sillward.wording.follow_up import SOON
from sillward.wording.push import Message, shortened
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import ChoreKind
from sillward_rules.sheet import Sheet

MAX_NAMES = 3
"""Plants that are named as not confirmed. Judgement: two lines of a phone."""

MAX_ERRORS = 2
"""Errors of a collection that an alarm tells; `sillward check` shows all. Judgement: two show
what kind of mistake it is."""


def blind(sheet: Sheet, since: datetime | None, why: str | None, voice: Voice) -> Message:
    """Return the alarm that there is no usable forecast: the last known lows, and what to do.

    sheet: tonight's sheet, drawn up with what is known.
    since: when the last good forecast was made; None if there was none.
    why: the reason, in words, if it is known.
    """
    lines = _under_cover(sheet, voice)
    lines.append(voice.say("last_known", lows=known_lows(sheet)))
    lines += [why] if why else []
    lines.append(voice.say("own_thermometer"))
    soon = any(before - sheet.at <= SOON for before in _deadlines(sheet))
    return replace(shortened(voice.say("blind", since=since), lines), urgent=soon)


def forecast_back(sheet: Sheet, voice: Voice) -> Message:
    """Return the notice that there is a forecast again: whose, and what it says of tonight."""
    lows = known_lows(sheet)
    lines = [voice.say("tonight", lows=lows)] if lows else []
    lines += _under_cover(sheet, voice) or [voice.say("nothing_under_cover")]
    title = voice.say("sighted", source=sheet.source)
    return shortened(title, [*lines, voice.say("rounds_go_on")])


def doubtful_clock(doubt: str, voice: Voice) -> Message:
    """Return the alarm that this machine's clock is wrong, so that notices come at wrong times."""
    return shortened(voice.say("clock_wrong"), [capital(doubt), voice.say("clock_unsafe")])


def right_clock(voice: Voice) -> Message:
    """Return the notice that the clock is right again."""
    return Message(voice.say("clock_right"), voice.say("clock_safe"))


def no_ledger(voice: Voice) -> Message:
    """Return the alarm that nothing can be stored: the disk is full, read-only or broken."""
    lines = [voice.say("without_ledger"), voice.say("make_room")]
    return shortened(voice.say("no_ledger"), lines)


def ledger_back(voice: Voice) -> Message:
    """Return the notice that the ledger's file can be written again."""
    return Message(voice.say("ledger_back"), voice.say("nothing_to_do"))


def server_away(since: datetime, voice: Voice) -> Message:
    """Return the alarm that the server of the ledger is away, so that nothing is told.

    since: when that began.
    """
    lines = [voice.say("nothing_is_told"), voice.say("own_thermometer")]
    return shortened(voice.say("server_away", since=since), lines)


def server_back(voice: Voice) -> Message:
    """Return the notice that the server is back."""
    return Message(voice.say("server_back"), voice.say("clock_safe"))


def collection_refused(errors: Sequence[str], since: datetime | None, voice: Voice) -> Message:
    """Return the alarm that the edited collection is wrong, and the old one stays in force.

    since: when the old one came into force, if that is known.
    """
    stays = voice.say("old_collection_stays", errors=len(errors), since=since)
    lines = [*errors[:MAX_ERRORS], stays]
    return shortened(voice.say("collection_refused"), lines)


def collection_in_force(voice: Voice) -> Message:
    """Return the notice that the edited collection is right now, and in force."""
    return Message(voice.say("collection_in_force"), voice.say("nothing_to_do"))


def history_reset(what: str, voice: Voice) -> Message:
    """Return the alarm that what was told and done is forgotten, wholly or in part."""
    return shortened(voice.say("memory_lost"), [capital(what), voice.say("may_come_again")])


def helper_unreached(missing: Sequence[tuple[str, str]], voice: Voice) -> Message:
    """Return the alarm that somebody who looks after the plants cannot be told anything.

    missing: each such person, with the reason.
    """
    say = voice.say
    reasons = [say("helper_is_missing", person=person, reason=why) for person, why in missing]
    people = ", ".join(person for person, _ in missing)
    return shortened(
        capital(say("helper_unreached", person=people)), [*reasons, say("call_helper")]
    )


def helper_reached(voice: Voice) -> Message:
    """Return the notice that whoever looks after the plants can be told again."""
    return Message(voice.say("helper_reached"), voice.say("nothing_to_do"))


def _deadlines(sheet: Sheet) -> list[datetime]:
    """Return the deadlines of what is to be carried in."""
    return [chore.before for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]


def _under_cover(sheet: Sheet, voice: Voice) -> list[str]:
    """Return how many plants must be under cover tonight and by when, wherever they stand now."""
    tonight = [
        chore
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN
        or (chore.kind is ChoreKind.STAY_IN and chore.not_before is None)
    ]
    if not tonight:
        return []
    deadlines = _deadlines(sheet)
    count = len({name for chore in tonight for name in chore.plants})
    by = voice.by(min(deadlines), sheet.at) if deadlines else None
    stay = [chore for chore in tonight if chore.kind is ChoreKind.STAY_IN]
    unsure = [name for chore in stay for name in chore.unconfirmed]
    inside = sum(len(chore.plants) for chore in stay) - len(unsure)
    who = voice.names(unsure, MAX_NAMES) if inside and unsure else ""
    return [voice.say("under_cover", by=by, count=count, inside=inside, unsure=who)]
