"""Situations, and what a grower is told in them: the push as it was sent, and its facts."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache

from sillward.ledger import StoredChore
from sillward.text.units import SI, Units
from sillward.wording.push import Message
from sillward_rules.chore import ChoreKind
from tests.support.staged_day import FULL, StagedDay

US = Units("°F", "12 h", "mph")


NO_ORDERS = (ChoreKind.STOP_WETTING, ChoreKind.STAY_IN)


@dataclass(frozen=True)
class Told:
    """A push as it was sent, and what it has to tell.

    plants, spots: all names, which may contain numbers and commas.
    at: when it was sent.
    full: the sheet in full, if there is one.
    chores: all that it is about.
    into, out: plants that must be carried in or out.
    homeless: those of `into` that have no shelter.
    off: plants of orders that are taken back.
    order: whether the push asks for anything.
    """

    push: Message
    plants: frozenset[str]
    spots: frozenset[str]
    at: datetime
    full: str | None = None
    chores: tuple[StoredChore, ...] = ()
    into: frozenset[str] = frozenset()
    homeless: frozenset[str] = frozenset()
    out: frozenset[str] = frozenset()
    off: frozenset[str] = frozenset()
    order: bool = False

    @property
    def text(self) -> str:
        """Return title and body."""
        return f"{self.push.title}\n{self.push.body}"

    @property
    def names(self) -> frozenset[str]:
        """Return the names of all plants and spots."""
        return self.plants | self.spots


@dataclass(frozen=True)
class Situation:
    """A named situation with a function that plays it in some units.

    family: the golden file it is in.
    about: what it is, in a line.
    imperial: whether the push is also kept in °F, mph and 12 hours.
    full_in: the units in which its sheet in full is kept.
    """

    family: str
    name: str
    about: str
    play: Callable[[Units], Told]
    imperial: bool = False
    full_in: tuple[Units, ...] = ()

    def told(self, units: Units = SI) -> Told:
        """Return what is told in the situation, which is played only once."""
        return _played(self.play, units)


@cache
def _played(play: Callable[[Units], Told], units: Units) -> Told:
    return play(units)


ALL: list[Situation] = []
"""Every situation, in the order of the files."""

Play = Callable[[Units], Told]


def situation(
    family: str, *, imperial: bool = False, full_in: tuple[Units, ...] = ()
) -> Callable[[Play], Play]:
    """Register a function as a situation, by its name and the first line of its docstring."""

    def register(play: Play) -> Play:
        assert play.__doc__ is not None
        name, about = play.__name__.replace("_", " "), play.__doc__.splitlines()[0]
        ALL.append(Situation(family, name, about, play, imperial, full_in))
        return play

    return register


def of_round(staged: StagedDay, round_: str, days: int = 0) -> Told:
    """Return the last push, which told this round on the first day or `days` later."""
    chores = tuple(chore for chore in staged.chores(days) if chore.round == round_)
    full = staged.got(FULL)
    return replace(
        said(staged),
        full=full[-1].body if full else None,
        chores=chores,
        into=those(chores, "carry-in"),
        out=those(chores, "carry-out") if round_ == "morning" else frozenset(),
        order=any(stored.kind not in NO_ORDERS for stored in _for_now(chores, round_)),
    )


def said(staged: StagedDay) -> Told:
    """Return the last push, whatever it is about."""
    collection = staged.household.collection
    return Told(
        staged.pushes[-1],
        frozenset(plant.name for plant in collection.plants),
        frozenset(spot.name for spot in collection.spots),
        staged.clock.now,
    )


def alarm(staged: StagedDay, kind: str) -> Told:
    """Return the last push of an alarm of this kind, as the ledger names it."""
    site = staged.household.collection.site.name
    (title,) = [
        notice.title for notice in staged.ledger.notices.latest(site, 100) if notice.round == kind
    ]
    return replace(
        said(staged), push=next(push for push in reversed(staged.pushes) if push.title == title)
    )


def follow_up(staged: StagedDay, chores: Sequence[StoredChore]) -> Told:
    """Return the last push, which is about these orders."""
    told = replace(said(staged), chores=tuple(chores))
    return replace(told, into=those(chores, "carry-in"), order=True)


def changed(staged: StagedDay, before: Sequence[StoredChore], days: int = 0) -> Told:
    """Return the last push, which is about the changes of a day's chores since `before`."""
    after = tuple(staged.chores(days))
    into, was_into = _hours(after, "carry-in"), _hours(before, "carry-in")
    out, was_out = _hours(after, "carry-out"), _hours(before, "carry-out")
    return replace(
        said(staged),
        into=frozenset(name for name, hour in into.items() if was_into.get(name) != hour),
        out=frozenset(n for n, hour in out.items() if n in was_out and was_out[n] != hour),
        off=frozenset((was_into.keys() - into.keys()) | (was_out.keys() - out.keys())),
        order=True,
    )


def those(chores: Collection[StoredChore], kind: str) -> frozenset[str]:
    """Return the plants of the open chores of a kind."""
    return frozenset(
        name
        for stored in chores
        if stored.kind.value == kind and stored.open
        for name in stored.plants
    )


def _for_now(chores: Sequence[StoredChore], round_: str) -> list[StoredChore]:
    """Return the chores without what a dusk round says of tomorrow."""
    return [stored for stored in chores if round_ == "morning" or stored.kind.value != "carry-out"]


def _hours(chores: Sequence[StoredChore], kind: str) -> dict[str, object]:
    """Return the start and the deadline of each plant in open chores of a kind."""
    of_kind = [stored for stored in chores if stored.kind.value == kind and stored.open]
    return {
        name: (stored.chore.not_before, stored.before)
        for stored in of_kind
        for name in stored.plants
    }
