"""Answers are recorded: what a grower says of a chore, or of where a plant stands.

A chore is done, not needed, or put off; a plant stands elsewhere now; and each of these can be
taken back. An answer is one transaction with what follows from it and with a row of the log of
deeds. What it changes about a plant's state is decided by the core (`sillward_rules.transitions`).

An answer may come from a page that was drawn a while ago. So each chore is looked at again, as the
ledger has it now: a plant whose hour has been moved since is found in the chore that it has joined,
a plant that has joined this one meanwhile is not answered for, and answering twice is answering
once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from sillward.ledger import Answer, Deed, Ledger, StoredChore
from sillward.ledger.tables.confirmations import Confirmation
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.salt_balance import FLUSH_PAUSE, waits_for_water
from sillward_rules.plants.state import Declined, Ground, PlantState
from sillward_rules.transitions import (
    answered,
    declined,
    going_out_first,
    is_older,
    moved_by_hand,
)

REMINDED_BEFORE = timedelta(minutes=10)
"""A chore can be put off until this long before its deadline. Judgement: time to walk out and carry
some plants in."""

LATE_PUT_OFF = timedelta(minutes=30)
"""A chore that is overdue can be put off by no more than this. Judgement: the plant is in the cold
already."""

TAKEN_BACK = "taken back"
"""The deed of taking an answer back."""

Chosen = Sequence[tuple[StoredChore, Sequence[str]]]
"""Chores, each with the plants that an answer is about."""


@dataclass(frozen=True, slots=True)
class Answered:
    """A chore that was answered, and for which plants.

    chore: as it was before; it stays so if it had been answered before.
    elsewhere: plants that a later order has moved since, each with the spot where it is; for these
        the answer changes nothing.
    """

    chore: StoredChore
    plants: Sequence[str]
    elsewhere: Mapping[str, str] = field(default_factory=dict)

    @property
    def done_before(self) -> datetime | None:
        """When the chore had been confirmed already, or None."""
        return self.chore.done_at


@dataclass(frozen=True, slots=True)
class PutOff:
    """A chore that was put off, and until when.

    until: None if it could not be, because its deadline is near, or it is answered already.
    """

    chore: StoredChore
    until: datetime | None


@dataclass(frozen=True, slots=True)
class Moved:
    """A plant that was moved, from where (None if that was not known) to where.

    done: the ids of the orders to carry it in that are done by that.
    still_open: those that are not.
    """

    plant: str
    from_spot: str | None
    spot: str
    done: Sequence[str] = ()
    still_open: Sequence[StoredChore] = ()


@dataclass(frozen=True, slots=True)
class TakenBack:
    """An answer that was taken back.

    plants: those whose state it had changed.
    moved: plants that have been moved since, and were left as they are.
    """

    answer: Answer
    chores: Sequence[str]
    plants: Sequence[str]
    moved: Sequence[str]


def answerable(ledger: Ledger, site: str, now: datetime, within: timedelta) -> list[StoredChore]:
    """Return the chores whose deadline is no longer ago than a span.

    A flush with water that has to be got first is among them until it is told again.
    """
    since = now - within
    stored = ledger.chores.due_since(site, now - max(within, FLUSH_PAUSE))
    return [kept for kept in stored if kept.before >= since or waits_for_water(kept.chore)]


def confirm(
    ledger: Ledger, site: str, chosen: Chosen, now: datetime, person: str | None = None
) -> list[Answered]:
    """Record that chores are done for these plants; return each of them.

    What was declined or called off can be done all the same. Plants that are to go elsewhere by now
    stand where they were said to be, and what is to do with them stays to do.
    """
    with ledger.transaction():
        bound_here, bound_elsewhere = _parted(ledger, site, chosen)
        for chore, names in bound_elsewhere:
            for name in names:
                move(ledger, site, name, chore.chore.to_spot, now, person)
        writing = _Writing(ledger, site, now, person)
        for chore, names in _as_they_are(ledger, site, bound_here):
            if chore.done_at is not None:
                writing.results.append(Answered(chore, names))
                continue
            kind, to_spot, deadline = chore.kind, chore.chore.to_spot, chore.before
            elsewhere = {}
            for name in names:
                old = writing.state(name, chore.chore.from_spot)
                of = chore.chore.what
                new = answered(old, kind, to_spot, deadline, now, of=of)
                writing.states[name] = new
                if is_older(old, kind, deadline) and new.spot != to_spot:
                    elsewhere[name] = new.spot
            writing.close(chore, names, elsewhere)
        return writing.finish(Answer.DONE)


def decline(
    ledger: Ledger, site: str, chosen: Chosen, now: datetime, person: str | None = None
) -> list[Answered]:
    """Record that chores are not needed for these plants, by the grower's own decision.

    If a plant is not to go out first, it need not come in again either: that is declined with it.
    """
    with ledger.transaction():
        writing = _Writing(ledger, site, now, person)
        bound_here, _ = _parted(ledger, site, chosen)
        for chore, names in _as_they_are(ledger, site, bound_here):
            if not chore.open:
                writing.results.append(Answered(chore, names))
                continue
            stays_in = [
                name
                for name in names
                if chore.kind is ChoreKind.CARRY_OUT
                and going_out_first(writing.state(name, chore.chore.from_spot), now)
            ]
            writing.decline(chore, names)
            for back_in, plants in _coming_in_again(ledger, site, chore, stays_in):
                writing.decline(back_in, plants)
        return writing.finish(Answer.NOT_NEEDED)


def put_off(
    ledger: Ledger,
    site: str,
    chores: Sequence[StoredChore],
    until: datetime,
    now: datetime,
    person: str | None = None,
) -> list[PutOff]:
    """Record that the grower wants to be reminded of chores at a later time.

    That is never later than `REMINDED_BEFORE` their deadline, or than `LATE_PUT_OFF` from now for
    those that are overdue. They stay open.
    """
    with ledger.transaction():
        results = []
        for chore in chores:
            current = ledger.chores.get(site, chore.id)
            if current is None or not current.open:
                results.append(PutOff(current or chore, None))
                continue
            latest = latest_put_off(current, now)
            results.append(PutOff(current, None if latest is None else min(until, latest)))
        later = {result.chore.id: result.until for result in results if result.until is not None}
        if later:
            ledger.put_off(site, now, later, person)
        for result in results:
            if result.until is not None:
                about = {**_about(result.chore.chore), "until": result.until.isoformat()}
                ledger.deeds.insert(site, Deed(now, person, Answer.LATER.value, about))
        return results


def latest_put_off(chore: StoredChore, now: datetime) -> datetime | None:
    """Return until when a chore can be put off; None if there is no time for that."""
    if chore.before <= now:
        return now + LATE_PUT_OFF
    latest = chore.before - REMINDED_BEFORE
    return latest if latest > now else None


def move(
    ledger: Ledger,
    site: str,
    plant: str,
    spot: str,
    now: datetime,
    person: str | None = None,
    *,
    is_safe: bool = False,
) -> Moved:
    """Record that a plant stands at a spot now.

    An open order to carry it in is done by that if it is the spot of the order, or a safe one.
    Otherwise it stays open. The plant's diary keeps the move.

    is_safe: whether the spot is known to keep the plant (`Spot.is_known_to_keep`).
    """
    with ledger.transaction():
        old = ledger.plant_states.of_site(site).get(plant)
        orders = [
            chore
            for chore in ledger.chores.due_since(site, now - _RECENT)
            if chore.open
            and chore.kind is ChoreKind.CARRY_IN
            and plant in chore.plants
            and (chore.chore.not_before is None or chore.chore.not_before <= now)
        ]
        carried = [chore.id for chore in orders if is_safe or chore.chore.to_spot == spot]
        new = moved_by_hand(old or PlantState(spot), spot, now, is_safe=is_safe)
        if carried:
            closed = {key: [plant] for key in carried}
            ledger.confirm(site, now, closed, {plant: new}, answer=Answer.MOVED, person=person)
        else:
            ledger.keep_moved(site, now, {plant: new}, person)
        came_from = None if old is None else old.at(now).spot
        about = {"plants": [plant], "from": came_from, "to": spot}
        ledger.deeds.insert(site, Deed(now, person, Answer.MOVED.value, about))
        ledger.diary.add(site, [DiaryEntry(plant, now, now, EntryKind.MOVE, spot, person)])
        left = [chore for chore in orders if chore.id not in carried]
        return Moved(plant, came_from, spot, carried, left)


def take_back(
    ledger: Ledger, site: str, about: str | None, now: datetime, person: str | None = None
) -> TakenBack | None:
    """Take back the last answer; return None if there is none.

    about: the id or kind of a chore, or a plant that was moved, to take back the last answer about
        it; None for any.
    """
    with ledger.transaction():
        given = ledger.confirmations.last(site, about)
        return None if given is None else _take_back(ledger, site, given, now, person)


def take_back_number(
    ledger: Ledger, site: str, number: int, now: datetime, person: str | None = None
) -> TakenBack | None:
    """Take back this answer and no other; return None if it was taken back already."""
    with ledger.transaction():
        given = ledger.confirmations.get(site, number)
        return None if given is None else _take_back(ledger, site, given, now, person)


def _take_back(
    ledger: Ledger, site: str, given: Confirmation, now: datetime, person: str | None
) -> TakenBack:
    taken = TakenBack(given.answer, given.chores, given.plants, ledger.undo(site, given))
    if given.answer is Answer.MOVED:
        for plant in given.plants:
            ledger.diary.remove_move(site, plant, given.at)
    chores = (ledger.chores.get(site, chore_id) for chore_id in taken.chores)
    plants = taken.plants or [name for chore in chores if chore for name in chore.plants]
    what = {"answer": given.answer.value, "chores": taken.chores, "plants": plants}
    ledger.deeds.insert(site, Deed(now, person, TAKEN_BACK, what))
    return taken


_RECENT = timedelta(days=1)
"""How long after its deadline an order to carry in may still be done by a move. Judgement."""


@dataclass(slots=True)
class _Writing:
    """An answer that is being written: what it closes, and the states that follow from it."""

    ledger: Ledger
    site: str
    now: datetime
    person: str | None
    results: list[Answered] = field(default_factory=list)
    closed: dict[str, Sequence[str]] = field(default_factory=dict)
    states: dict[str, PlantState] = field(default_factory=dict)
    _known: dict[str, PlantState] = field(init=False)

    def __post_init__(self) -> None:
        self._known = self.ledger.plant_states.of_site(self.site)

    def state(self, name: str, spot: str) -> PlantState:
        """Return the state of a plant as the answer has left it so far.

        spot: where it stands if nothing is known of it.
        """
        return self.states.get(name) or self._known.get(name) or PlantState(spot)

    def decline(self, chore: StoredChore, names: Sequence[str]) -> None:
        """Close a chore for these plants as not needed."""
        for name in names:
            old = self.state(name, chore.chore.from_spot)
            self.states[name] = declined(old, _declined(chore.chore, name, self.now))
        self.close(chore, names)

    def close(
        self, chore: StoredChore, names: Sequence[str], elsewhere: Mapping[str, str] | None = None
    ) -> None:
        """Close a chore for these plants."""
        self.results.append(Answered(chore, names, elsewhere or {}))
        self.closed[chore.id] = [*self.closed.get(chore.id, ()), *names]

    def finish(self, answer: Answer) -> list[Answered]:
        """Write it down, and return what came of each chore."""
        ledger, site = self.ledger, self.site
        if self.closed:
            ledger.confirm(
                site, self.now, self.closed, self.states, answer=answer, person=self.person
            )
        for result in self.results:
            if result.chore.id in self.closed:
                about = _about(result.chore.chore, result.plants)
                ledger.deeds.insert(site, Deed(self.now, self.person, answer.value, about))
        return self.results


def _as_they_are(
    ledger: Ledger, site: str, chosen: Chosen
) -> Iterator[tuple[StoredChore, Sequence[str]]]:
    """Yield what was chosen as the ledger has it now.

    A plant that has left its chore is looked for in the others of that day, kind and way.
    """
    for chore, names in chosen:
        current = ledger.chores.get(site, chore.id)
        if current is None:
            continue
        own = [name for name in names if name in current.plants]
        gone = [name for name in names if name not in current.plants]
        if current.called_off_at is not None and current.done_at is None:
            own, gone = [], list(names)  # unless they are open in another one
        for other in _others_like(ledger, site, current) if gone else ():
            there = [name for name in gone if name in other.plants]
            if there:
                yield other, there
                gone = [name for name in gone if name not in there]
        own += [name for name in gone if name in current.plants]
        if own:
            yield current, own


def _others_like(ledger: Ledger, site: str, chore: StoredChore) -> list[StoredChore]:
    """Return the other chores of the same day, kind and way.

    What was split off this one when it was answered comes first, then the open ones.
    """
    of_day = ledger.chores.of_day(site, date.fromisoformat(chore.day))
    alike = [
        other
        for other in of_day
        if other.id != chore.id
        and other.kind is chore.kind
        and other.chore.from_spot == chore.chore.from_spot
        and other.chore.to_spot == chore.chore.to_spot
        and other.called_off_at is None
    ]
    split_off = f"{chore.id}-done", f"{chore.id}-not-needed"
    return sorted(alike, key=lambda other: (not other.id.startswith(split_off), not other.open))


def _parted(ledger: Ledger, site: str, chosen: Chosen) -> tuple[Chosen, Chosen]:
    """Return what was chosen in two: the rest, and orders to carry in of which plants have left for
    an open order to another spot.

    The spot that was told first may have turned out too cold meanwhile.
    """
    here: list[tuple[StoredChore, Sequence[str]]] = []
    elsewhere: list[tuple[StoredChore, Sequence[str]]] = []
    for chore, names in chosen:
        left = _left_for_elsewhere(ledger, site, chore)
        here.append((chore, [name for name in names if name not in left]))
        elsewhere.append((chore, [name for name in names if name in left]))
    return here, elsewhere


def _left_for_elsewhere(ledger: Ledger, site: str, chore: StoredChore) -> set[str]:
    """Return the plants of open orders to carry in from the same spot to another one, without those
    that are still in this order."""
    current = ledger.chores.get(site, chore.id)
    if current is None or current.kind is not ChoreKind.CARRY_IN:
        return set()
    others = {
        name
        for other in ledger.chores.of_day(site, date.fromisoformat(current.day))
        if other.open
        and other.kind is ChoreKind.CARRY_IN
        and other.chore.from_spot == current.chore.from_spot
        and other.chore.to_spot != current.chore.to_spot
        for name in other.plants
    }
    return others if current.called_off_at is not None else others.difference(current.plants)


def _coming_in_again(
    ledger: Ledger, site: str, out: StoredChore, names: Sequence[str]
) -> Iterator[tuple[StoredChore, Sequence[str]]]:
    """Yield the open orders of a day to carry plants back in that go out by a chore."""
    if not names:
        return
    for chore in ledger.chores.of_day(site, date.fromisoformat(out.day)):
        plants = [name for name in chore.plants if name in names]
        is_back = chore.kind is ChoreKind.CARRY_IN and chore.chore.from_spot == out.chore.to_spot
        if plants and is_back and chore.open:
            yield chore, plants


def _declined(chore: Chore, name: str, now: datetime) -> Declined:
    """Return a chore as the grower declines it for a plant, with what it was told for."""
    reasons = (reason for reason in chore.single_reasons if reason.plant == name)
    return Declined(
        kind=chore.kind,
        day=date.fromisoformat(chore.day),
        from_spot=chore.from_spot,
        to_spot=chore.to_spot,
        before=chore.before,
        at=now.replace(microsecond=0),  # as the ledger keeps it
        grounds=tuple(
            Ground(reason.value, reason.unit, reason.limit, reason.above, reason.quantity)
            for reason in reasons
        ),
    )


def _about(chore: Chore, plants: Sequence[str] | None = None) -> dict[str, object]:
    """Return a chore as the log of deeds keeps it."""
    return {
        "chore": chore.id,
        "kind": chore.kind.value,
        "plants": list(chore.plants if plants is None else plants),
        "from": chore.from_spot,
        "to": chore.to_spot,
        **({"of": chore.what} if chore.what else {}),
    }
