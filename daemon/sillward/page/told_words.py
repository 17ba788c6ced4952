"""What was told and what came of it, in words: notices by day and round, and their chores.

Pure: everything is worked out from what the ledger holds and the time.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sillward.ledger import Notice, NoticeState, Stage, StoredChore, Subject
from sillward.page.keys import key_of
from sillward.wording.follow_up import LATE
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, ChoreKind

MAX_NAMES = 6
"""Plants of a chore that are named. Judgement: two lines of a phone."""


@dataclass(frozen=True, slots=True)
class ToldNotice:
    """A notice: its day (ISO), channel, words, and what became of it.

    failed: whether it did not arrive, or not yet.
    stage: what it is besides the round itself, such as "reminder".
    """

    day: str
    key: str
    channel: str
    stage: str
    state: str
    failed: bool
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class ToldChore:
    """A chore in words, and what came of it. overdue: whether it is to do and its hour is over."""

    text: str
    outcome: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class ToldRound:
    """A round or alarm of a day, with its notices in the order in which they were due."""

    name: str
    notices: Sequence[ToldNotice]


@dataclass(frozen=True, slots=True)
class ToldDay:
    """A day with its rounds, the last one first, and what was to be done on it.

    The dusk round also tells what is to be done on the next day.
    """

    day: str
    rounds: Sequence[ToldRound]
    chores: Sequence[ToldChore]


def days(
    notices: Iterable[Notice], chores: Iterable[StoredChore], now: datetime, voice: Voice
) -> list[ToldDay]:
    """Return all days of these notices and chores, the last one first.

    notices: newest first.
    """
    told: dict[str, dict[str, list[Notice]]] = {}
    asked: dict[str, list[StoredChore]] = {}
    for notice in notices:
        told.setdefault(notice.day, {}).setdefault(notice.round, []).append(notice)
    for chore in chores:
        asked.setdefault(chore.day, []).append(chore)
    return [
        ToldDay(
            voice.day(date.fromisoformat(day)),
            [
                ToldRound(
                    _subject(name), [_notice(each, now, voice) for each in reversed(of_round)]
                )
                for name, of_round in told.get(day, {}).items()
            ],
            [_chore(chore, now, voice) for chore in asked.get(day, ())],
        )
        for day in sorted({*told, *asked}, reverse=True)
    ]


def _subject(name: str) -> str:
    """Return what a name in the ledger is about, without the time that tells it from others."""
    subject = Subject.parse(name)
    return capital(name if subject.kind is None else str(replace(subject, time="")))


def _notice(notice: Notice, now: datetime, voice: Voice) -> ToldNotice:
    number = f" {notice.change_number}" if notice.stage is Stage.CHANGE else ""
    stage = "" if notice.stage is Stage.TOLD else f"{notice.stage.value}{number}"
    failed = (
        notice.state is NoticeState.EXPIRED
        or notice.is_doubtful
        or (notice.is_on_its_way and notice.failures > 0)
    )
    return ToldNotice(
        notice.day,
        key_of(notice.key),
        notice.channel,
        stage,
        _state(notice, now, voice),
        failed,
        notice.title,
        notice.body,
    )


def _state(notice: Notice, now: datetime, voice: Voice) -> str:
    """Return what became of a notice, and why."""
    reason = (notice.last_error or "").removeprefix(f"channel {notice.channel}: ")
    why = f": {voice.retold(reason)}" if reason else ""
    tries = f", {notice.attempts} tries" if notice.attempts > 1 else ""
    if notice.state is NoticeState.SENT:
        at = "" if notice.sent_at is None else f" {voice.clock_of_day(notice.sent_at, now)}"
        return f"sent{at}{tries}{why}"
    if notice.state is NoticeState.EXPIRED:
        return f"not sent in time{tries}{why}"
    if notice.state is NoticeState.NOT_NEEDED:
        return "not sent: there was nothing left to tell"
    return f"waits to be sent{tries}{why}"


def _chore(chore: StoredChore, now: datetime, voice: Voice) -> ToldChore:
    kind = voice.say("kind", name=chore.kind.value)
    to = chore.chore.to_spot
    way = f" to {to}" if to and to != chore.chore.from_spot else ""
    return ToldChore(
        f"{kind}{way}: {voice.names(chore.plants, MAX_NAMES)}",
        _outcome(chore, now, voice),
        chore.open and chore.kind in URGENT and chore.before <= now - LATE,
    )


def _outcome(chore: StoredChore, now: datetime, voice: Voice) -> str:
    """Return what came of a chore: who did it when, or why it is not done."""
    due = voice.clock_of_day(chore.before, now)
    if chore.kind is ChoreKind.STOP_WETTING and chore.open:  # nothing to do, and no answer
        return f"from {due} on"
    if chore.kind is ChoreKind.STAY_IN and chore.open:
        return f"{'to be confirmed, ' if chore.chore.unconfirmed else ''}until {due}"
    by = f" by {chore.done_by}" if chore.done_by else ""
    if chore.done_at is not None:
        late = f", due {due}" if chore.done_at > chore.before + LATE else ""
        return f"done {voice.clock_of_day(chore.done_at, now)}{by}{late}"
    if chore.declined_at is not None:
        what = "left out" if chore.kind is ChoreKind.CARRY_IN else "not needed"
        return f"{what}, said {voice.clock_of_day(chore.declined_at, now)}{by}"
    if chore.called_off_at is not None:
        return f"called off {voice.clock_of_day(chore.called_off_at, now)}"
    reminded = chore.reminded_at
    again = "" if reminded is None else f", reminded {voice.clock_of_day(reminded, now)}"
    if chore.later_until is not None and chore.is_put_off(now):
        again += f", put off to {voice.clock_of_day(chore.later_until, now)}"
    if chore.kind in URGENT and chore.before <= now - LATE:
        return f"not confirmed, was due {due}{again}"
    if chore.kind in URGENT or chore.before > now:
        return f"open, due {due}{again}"
    return f"no answer, it was due {due}"
