"""What is to do, as cards: which chores are shown, in which order, and in what words.

Pure: everything is worked out from the chores that the ledger holds and the time.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum
from types import MappingProxyType

from sillward.ledger import StoredChore
from sillward.page.keys import key_of
from sillward.wording import follow_up, full_sheet, reason_phrases
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, WETTINGS, Chore, ChoreKind, Reason, only

LATE_SHOWN = timedelta(hours=18)
"""An order of the night before that nobody has answered is shown for so long after its deadline.
Judgement: until the next dusk asks about the plant again."""

SETTLED_SHOWN = timedelta(hours=14)
"""What is done or not needed is shown for so long, to be taken back. Judgement: over a night."""

LATE_AFTER = follow_up.LATE
"""An order whose hour has just come is due now, and overdue after that."""

BRIEF = frozenset({ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE, ChoreKind.CARRY_OUT})
"""Chores of which one number tells why; each plant is shown with its limit."""

SAME_WALK = timedelta(minutes=20)
"""Chores whose hours are this close are put in the order of the spots. Judgement: one walk."""


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

    tag: a word about how it stands, such as "overdue since 17:10"; empty for none.
    why: the number that matters most; empty where each plant has its own.
    asks: what the large button says; empty if there is nothing to answer.
    is_open: whether it is still to do.
    can_wait: whether a reminder of it can be put off.
    answer: the number of the answer by which it was settled, to take that back; None if there is
        none.
    """

    id: str
    kind: str
    group: Group
    title: str
    way: str
    tag: str
    why: str
    plants: tuple[CardPlant, ...]
    asks: str
    is_open: bool
    can_wait: bool = False
    answer: int | None = None

    @property
    def anchor(self) -> str:
        """What it is called within the page."""
        return f"chore-{key_of(self.id)}"


def cards(
    stored: Iterable[StoredChore],
    chores: Mapping[str, Chore],
    spots: Sequence[str],
    now: datetime,
    voice: Voice,
    answers: Mapping[str, int] = MappingProxyType({}),
) -> list[Card]:
    """Return the cards of what is to do, in walking order within each group.

    chores: each chore by its id without plants that were removed.
    spots: the names of all spots in the order of the collection, which is that of a walk.
    answers: the number of the last answer about each chore.
    """
    places = {name: number for number, name in enumerate(spots)}
    grouped = [
        (group, chores[kept.id], kept)
        for kept in stored
        if kept.id in chores and (group := _group(kept, now)) is not None
    ]
    ranks = {group: rank for rank, group in enumerate(Group)}
    shown = sorted(
        _without_those_to_go_in(grouped),
        key=lambda row: (ranks[row[0]], _order(row[1], now, places)),
    )
    return [
        _card(kept, chore, group, now, voice, answers.get(kept.id)) for group, chore, kept in shown
    ]


_Shown = tuple[Group, Chore, StoredChore]


def _without_those_to_go_in(grouped: Sequence[_Shown]) -> Iterator[_Shown]:
    """Yield the same, but say "keep in" only of plants that are not to be carried in first."""
    going_in = {
        name
        for _, chore, kept in grouped
        if kept.open and kept.kind is ChoreKind.CARRY_IN
        for name in chore.plants
    }
    for group, chore, kept in grouped:
        staying = [name for name in chore.plants if name not in going_in]
        if group is not Group.KNOW or kept.kind is not ChoreKind.STAY_IN:
            yield group, chore, kept
        elif staying:
            yield group, only(chore, staying), kept


def _group(kept: StoredChore, now: datetime) -> Group | None:
    """Return where a chore is shown; None if it is not shown any more."""
    answered_at = kept.done_at or kept.declined_at
    if answered_at is not None:
        return Group.SETTLED if now - answered_at < SETTLED_SHOWN else None
    if kept.called_off_at is not None:
        return None
    if kept.kind in URGENT and kept.before <= now - LATE_AFTER:
        return Group.LATE if now - kept.before < LATE_SHOWN else None
    if kept.kind in (ChoreKind.STOP_WETTING, ChoreKind.STAY_IN) and not kept.chore.unconfirmed:
        return Group.KNOW if kept.before > now - timedelta(hours=12) else None
    if kept.before <= now and kept.kind not in URGENT:
        is_over = kept.kind in WETTINGS or now - kept.before > timedelta(hours=6)
        return Group.SETTLED if is_over and now - kept.before < SETTLED_SHOWN else Group.NOW
    start = kept.chore.not_before
    if kept.kind in URGENT or start is None or start <= now:
        return Group.NOW
    return Group.AHEAD


def _order(chore: Chore, now: datetime, places: Mapping[str, int]) -> tuple[float, int, int, str]:
    """Return by what cards of a group are sorted: the hour, roughly, then the way."""
    starts = chore.not_before if chore.kind in WETTINGS and chore.not_before else chore.before
    walk = (max(starts, now) - now) // SAME_WALK
    return (walk, places.get(chore.from_spot, 0), places.get(chore.to_spot, 0), chore.id)


def _card(
    kept: StoredChore,
    chore: Chore,
    group: Group,
    now: datetime,
    voice: Voice,
    answer: int | None,
) -> Card:
    brief = chore.kind in BRIEF
    is_answered = kept.done_at is not None or kept.declined_at is not None
    return Card(
        id=chore.id,
        kind=chore.kind.value,
        group=group,
        title=f"{voice.say('kind', name=chore.kind.value)}: {voice.plants(len(chore.plants))}",
        way=_way(chore, group, now, voice),
        tag=_tag(kept, group, now, voice),
        why=reason_phrases.why([chore], voice) if brief else "",
        plants=tuple(_plants(chore, voice, brief=brief)),
        asks=_ASKS.get(chore.kind, "Done") if _can_be_answered(kept, chore) else "",
        is_open=kept.open,
        can_wait=kept.open and chore.kind in URGENT,
        answer=answer if is_answered else None,
    )


def _way(chore: Chore, group: Group, now: datetime, voice: Voice) -> str:
    """Return when and where: "By 17:50, pergola to sunroom"."""
    chore = replace(chore, unconfirmed=())
    if group in (Group.LATE, Group.SETTLED):  # which its tag says
        chore = replace(chore, overdue_since=None)
    if group is Group.SETTLED or chore.kind is ChoreKind.STOP_WETTING:  # "after 15:10" in the past
        now = min(now, chore.before - timedelta(minutes=1))
    return capital(full_sheet.when(chore, now, voice))


_ASKS = {
    ChoreKind.CARRY_IN: "They are in",
    ChoreKind.CARRY_OUT: "They are out",
    ChoreKind.STAY_IN: "They are in",
}
"""What the button of a chore says; all others are simply done."""


def _can_be_answered(kept: StoredChore, chore: Chore) -> bool:
    if chore.kind is ChoreKind.STOP_WETTING:
        return False
    if chore.kind is ChoreKind.STAY_IN and not chore.unconfirmed:
        return False
    return kept.open


def _tag(kept: StoredChore, group: Group, now: datetime, voice: Voice) -> str:
    """Return how a chore stands, in a word or two."""
    by = f" by {kept.done_by}" if kept.done_by else ""
    if kept.done_at is not None:
        return f"done {voice.hour(kept.done_at)}{by}"
    if kept.declined_at is not None:
        return f"not needed, {kept.done_by or 'you'} said at {voice.hour(kept.declined_at)}"
    if group is Group.SETTLED:
        return "its hours are over"
    late = f"overdue since {voice.hour(kept.before)}" if group is Group.LATE else ""
    if kept.later_until is None or not kept.is_put_off(now):
        return late
    return ", ".join(filter(None, (late, f"you are reminded at {voice.hour(kept.later_until)}")))


def _plants(chore: Chore, voice: Voice, *, brief: bool) -> Iterable[CardPlant]:
    """Yield the plants with their reasons; with the limit alone if the card says the rest."""
    for plants, reason in chore.grounds:
        because = _limit(reason, voice) if brief else full_sheet.because(reason, chore, voice)
        yield from (CardPlant(name, key_of(name), because) for name in plants)


def _limit(reason: Reason, voice: Voice) -> str:
    if reason.limit is None:
        return ""
    limit, whose = reason_phrases.limit(reason, voice), reason_phrases.whose(reason, voice)
    facts = {"hours": None, "below_k": None, "chance": ""}
    return voice.say("limit_of", limit=limit, whose=whose, above=reason.above, **facts)
