"""What is to do, as cards: which chores are shown, in which order, and in what words.

Pure: everything is worked out from the chores that the ledger holds and the time.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import Enum

from sillward.ledger import StoredChore
from sillward.page import card_words, plans
from sillward.page.keys import key_of
from sillward.wording import follow_up
from sillward.wording.mist_advice import GIVEN
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT, WETTINGS, Chore, ChoreKind, only
from sillward_rules.plants.feeds import WEAK_FEED
from sillward_rules.plants.salt_balance import FLUSH_PAUSE, waits_for_water
from sillward_rules.remark import NotConfirmed

LOOKED_BACK = timedelta(hours=24)
"""Chores with a deadline no longer ago are shown; an order that nobody has answered is asked about
until the next dusk. Judgement: that asks about the plant again."""

SETTLED_SHOWN = timedelta(hours=14)
"""What is done or not needed is shown for so long, to be taken back. Judgement: over a night."""

LATE_AFTER = follow_up.LATE
"""An order whose hour has just come is due now, and overdue after that."""

SAME_WALK = timedelta(minutes=20)
"""Chores whose hours are this close are put in the order of the spots. Judgement: one walk."""

PRESSING = timedelta(minutes=90)
"""An order that is due so soon comes before what may be misted meanwhile. Judgement: carrying takes
long, and the dark comes."""

CROWNS_DRY = timedelta(hours=12)
"""Crowns are to be kept dry for so long after their last hour. Judgement: until it is night."""

POT_STILL_DRY = timedelta(hours=14)
"""So long after its hour a pot that nobody has watered is still shown as to be watered. Judgement:
by then the next morning round tells it anew."""

GUARD_AFTER = timedelta(hours=2)
"""What guards plants from heat is of use for so long after the worst hour. Judgement: then the sun
is low."""


_IN_A_WINDOW = WETTINGS | {ChoreKind.CARRY_OUT}
"""Chores that go by the hour from which on they may be done, and then by the last one."""

_TURNS = (
    ChoreKind.MIST,
    ChoreKind.FEED,
    ChoreKind.COURSE,
    ChoreKind.FLUSH,
    ChoreKind.LEACH,
)
"""In this order one thing is done to a plant after the other."""


class Group(Enum):
    """The part of the page in which a card stands, from top to bottom."""

    LATE = "late"
    NOW = "now"
    AHEAD = "ahead"
    KNOW = "know"
    """Nothing to do but to keep something in mind."""
    SETTLED = "settled"
    """Done, not needed, or over."""


@dataclass(frozen=True, slots=True)
class CardPlant:
    """A plant of a card, and why the chore is there for it."""

    name: str
    key: str
    because: str


@dataclass(frozen=True, slots=True)
class Card:
    """One chore as the page shows it.

    chore: with those of its plants for which it is shown.
    tag: a word about how it stands, such as "overdue since 17:10"; empty for none.
    why: the number that matters most; empty where each plant has its own.
    asks: what the large button says; empty if there is nothing to answer.
    leaves: what the button says by which it is not done at all.
    is_open: whether it is still to do.
    told: which of its versions this is (`version_of`).
    is_question: whether it asks about last night.
    can_wait: whether a reminder of it can be put off.
    answer: the number of the answer by which it was settled, to take that back; None if there is
        none.
    """

    chore: Chore
    group: Group
    title: str
    way: str
    tag: str
    why: str
    plants: tuple[CardPlant, ...]
    asks: str
    leaves: str
    is_open: bool
    told: str
    is_question: bool = False
    can_wait: bool = False
    answer: int | None = None

    @property
    def id(self) -> str:
        """The id of its chore."""
        return self.chore.id

    @property
    def anchor(self) -> str:
        """What it is called within the page."""
        is_note = self.group is Group.KNOW
        return f"{'note' if is_note else 'chore'}-{key_of(self.id)}"


@dataclass(frozen=True, slots=True)
class Known:
    """What else is known, besides the chores.

    told: the daily round that was told last, if there is one.
    is_blind: whether there is no forecast by which a night can be judged.
    last_night: what the morning asks about the night before, if it does.
    feed: what to feed with, if that is known; mixes: the same of feeds and courses with a name.
    salts: the names of the courses.
    standing: where each plant stands now, as far as nobody is asked to carry it in.
    answers: the number of the last answer about each chore.
    """

    told: plans.ToldRound | None = None
    is_blind: bool = False
    last_night: NotConfirmed | None = None
    feed: str | None = None
    mixes: Mapping[str, str] = field(default_factory=dict)
    salts: frozenset[str] = frozenset()
    standing: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, int] = field(default_factory=dict)


_NOTHING_ELSE = Known()


def version_of(kept: StoredChore) -> str:
    """Return what tells a chore from what it was before its numbers were others."""
    return f"{kept.round} {'' if kept.changed_at is None else kept.changed_at.isoformat()}".strip()


def cards(
    stored: Iterable[StoredChore],
    chores: Mapping[str, Chore],
    spots: Sequence[str],
    now: datetime,
    voice: Voice,
    known: Known = _NOTHING_ELSE,
) -> list[Card]:
    """Return the cards of what is to do, in walking order within each group.

    chores: each chore by its id without plants that were removed.
    spots: the names of all spots in the order of the collection, which is that of a walk.
    """
    places = {name: number for number, name in enumerate(spots)}
    found = _rows([kept for kept in stored if kept.id in chores], chores, now, voice, known)
    ranks = {group: rank for rank, group in enumerate(Group)}
    rows = sorted(
        _without_those_outside(list(found), known.standing),
        key=lambda row: (ranks[row.group], _order(row.chore, now, places)),
    )
    feeds = [row.chore for row in rows if row.chore.kind in GIVEN]
    return [_card(row, feeds, now, voice, known) for row in rows]


@dataclass(frozen=True, slots=True)
class _Row:
    """A chore that is shown.

    is_question: whether it asks about last night.
    held: why it is no order any more.
    """

    group: Group
    chore: Chore
    kept: StoredChore
    is_question: bool = False
    held: str = ""


def _rows(
    stored: Sequence[StoredChore],
    chores: Mapping[str, Chore],
    now: datetime,
    voice: Voice,
    known: Known,
) -> Iterator[_Row]:
    """Yield what is shown, each with its group."""
    stored = [kept for kept in stored if plans.holds(kept, known.told)]
    asked = {kept.id for kept in stored if plans.is_of_last_night(kept, voice.site, now)}
    in_force = [kept for kept in stored if kept.id not in asked]
    for kept in stored:
        chore = chores[kept.id]
        if kept.id in asked:
            if not plans.is_asked_again(kept, known.told):
                unsure = kept.kind is ChoreKind.STAY_IN
                chore = only(chore, chore.unconfirmed) if unsure else chore
                yield _Row(Group.LATE, chore, kept, is_question=True)
            continue
        group = _group(kept, now)
        if group is Group.NOW and kept.kind is ChoreKind.STAY_IN:
            yield from _staying(kept, chore)
            continue
        held = None
        if kept.kind is ChoreKind.CARRY_OUT and kept.open and group is not None:
            held = plans.held_back(kept, chores, stored=in_force, now=now)
            if known.is_blind and kept.before > now:
                held = plans.HeldBack("not now: no forecast tells how cold it gets")
        if held is not None and held.left is None:
            is_recent = now - kept.before < SETTLED_SHOWN
            group = Group.SETTLED if is_recent else None
        if group is not None:
            left = chore if held is None or held.left is None else held.left
            yield _Row(group, left, kept, held=held.why if held and held.left is None else "")


def _staying(kept: StoredChore, chore: Chore) -> Iterator[_Row]:
    """Yield what stays in tonight: those that nobody has confirmed to be in, and the others."""
    yield _Row(Group.NOW, only(chore, chore.unconfirmed), kept)
    others = [name for name in chore.plants if name not in chore.unconfirmed]
    if others:
        yield _Row(Group.KNOW, only(chore, others), kept)


def _without_those_outside(rows: Sequence[_Row], standing: Mapping[str, str]) -> Iterator[_Row]:
    """Yield the same, but say "keep in" only of plants that are in: not of those that stand
    elsewhere, or are to be carried in first."""
    going_in = {
        name
        for row in rows
        if row.kept.open and row.kept.kind is ChoreKind.CARRY_IN
        for name in row.chore.plants
    }
    for row in rows:
        if row.group is not Group.KNOW or row.kept.kind is not ChoreKind.STAY_IN:
            yield row
            continue
        spot = row.chore.from_spot
        staying = [
            name
            for name in row.chore.plants
            if name not in going_in and standing.get(name, spot) == spot
        ]
        if staying:
            yield replace(row, chore=only(row.chore, staying))


def _group(kept: StoredChore, now: datetime) -> Group | None:
    """Return where a chore is shown; None if it is not shown any more."""
    answered_at = kept.done_at or kept.declined_at
    if answered_at is not None:
        return Group.SETTLED if now - answered_at < SETTLED_SHOWN else None
    if kept.called_off_at is not None:
        return None
    if kept.kind in URGENT and kept.before <= now - LATE_AFTER:
        return Group.LATE
    if kept.kind is ChoreKind.STOP_WETTING:
        return Group.KNOW if kept.before > now - CROWNS_DRY else None
    if kept.kind is ChoreKind.STAY_IN and not kept.chore.unconfirmed:
        return Group.KNOW if kept.before > now else None
    if kept.kind not in URGENT and _ends_at(kept) <= now:
        return Group.SETTLED if now - kept.before < SETTLED_SHOWN else None
    start = kept.chore.not_before
    if kept.kind in URGENT or start is None or start <= now:
        return Group.NOW
    return Group.AHEAD


def _ends_at(kept: StoredChore) -> datetime:
    """Return when a chore is of no use any more; what guards plants, and water for a pot, is of use
    past its deadline."""
    if kept.kind is ChoreKind.WATER:
        return kept.before + POT_STILL_DRY
    if waits_for_water(kept.chore):
        return kept.before + FLUSH_PAUSE - timedelta(days=1)
    if kept.kind in WETTINGS or kept.kind in (ChoreKind.CARRY_OUT, ChoreKind.STAY_IN):
        return kept.before
    worst = max((reason.until or reason.at) + GUARD_AFTER for reason in kept.chore.because)
    return max(worst, kept.before)


def _order(
    chore: Chore, now: datetime, places: Mapping[str, int]
) -> tuple[bool, float, int, int, int, str]:
    """Return by what cards of a group are sorted: the hour, roughly, the way, and the turn.

    What harms a plant if it is not done soon comes before everything else.
    """
    is_pressing = chore.kind in URGENT and chore.before - now < PRESSING
    start = chore.not_before if chore.kind in _IN_A_WINDOW else None
    starts = start if start is not None and start > now else chore.before
    walk = (max(starts, now) - now) // SAME_WALK
    way = places.get(chore.from_spot, 0), places.get(chore.to_spot, 0)
    turn = _TURNS.index(chore.kind) if chore.kind in _TURNS else 0
    return (not is_pressing, walk, *way, turn, chore.id)


def _card(row: _Row, feeds: Sequence[Chore], now: datetime, voice: Voice, known: Known) -> Card:
    kept, chore, is_question = row.kept, row.chore, row.is_question
    is_answered = kept.done_at is not None or kept.declined_at is not None
    is_settled = row.group is Group.SETTLED
    return Card(
        chore=chore,
        group=row.group,
        title=card_words.title(chore, voice, last_night=is_question),
        way=card_words.way(chore, now, voice, is_settled=is_settled, last_night=is_question),
        tag=row.held or _tag(row, now, voice),
        why=_why(row, feeds, now, voice, known),
        plants=tuple(_plants(chore, voice, known)),
        asks=card_words.asks(chore, last_night=is_question) if _can_be_answered(row) else "",
        leaves=card_words.leaves(chore, last_night=is_question),
        is_open=kept.open and not is_settled,
        told=version_of(kept),
        is_question=is_question,
        can_wait=kept.open and chore.kind in URGENT and not is_question,
        answer=known.answers.get(kept.id) if is_answered else None,
    )


def _plants(chore: Chore, voice: Voice, known: Known) -> Iterator[CardPlant]:
    """Yield the plants with their reasons; what it is to be kept in mind of, where that is now."""
    for name, because in card_words.plants(chore, voice):
        stands = known.standing.get(name, chore.from_spot)
        is_moved = chore.kind is ChoreKind.STOP_WETTING and stands != chore.from_spot
        also = f"; it now stands in {stands}" if is_moved else ""
        yield CardPlant(name, key_of(name), because + also)


def _why(row: _Row, feeds: Sequence[Chore], now: datetime, voice: Voice, known: Known) -> str:
    """Return what the card says for all of its plants; empty where each has its own reason."""
    if row.is_question:
        asked = known.last_night
        is_in = row.chore.kind is ChoreKind.CARRY_IN
        if asked is None or not is_in or set(row.chore.plants).isdisjoint(asked.plants):
            return card_words.why_last_night(row.chore, None, None, now, voice)
        return card_words.why_last_night(row.chore, asked.low_c, asked.until, now, voice)
    if row.chore.kind in GIVEN or row.chore.what:
        unnamed = known.feed if row.chore.what in ("", WEAK_FEED) else None
        mix = known.mixes.get(row.chore.what, unnamed)
        caution = f". {voice.say('salt_caution')}" if row.chore.what in known.salts else ""
        when = "With the misting" if row.chore.kind in GIVEN else "In the water"
        return f"{when}: {mix}{caution}" if mix else ""
    if row.chore.kind is ChoreKind.MIST:
        return card_words.of_misting(row.chore, feeds, known.mixes, voice)
    if row.group is Group.SETTLED or row.chore.kind not in card_words.BRIEF:
        return ""
    return card_words.why(row.chore, now, voice)


def _can_be_answered(row: _Row) -> bool:
    if row.chore.kind is ChoreKind.STOP_WETTING:
        return False
    if row.chore.kind is ChoreKind.STAY_IN and not row.chore.unconfirmed:
        return False
    return row.kept.open


def _tag(row: _Row, now: datetime, voice: Voice) -> str:
    """Return how a chore stands, in a word or two."""
    kept = row.kept
    answered = card_words.answered(kept, voice)
    if answered or row.is_question:
        return answered
    if row.group is Group.SETTLED:
        return "its hours are over"
    late = f"overdue since {voice.hour(kept.before)}" if row.group is Group.LATE else ""
    if kept.later_until is None or not kept.is_put_off(now):
        return late
    return ", ".join(filter(None, (late, f"you are reminded at {voice.hour(kept.later_until)}")))
