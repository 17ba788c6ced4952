"""Situations, and what a grower is told in them: the message as it was sent, and the facts."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache

from sillward.ledger import StoredChore
from sillward.text.units import SI, Units
from sillward.wording.push import Message
from sillward_rules.chore import ChoreKind
from tests.support.stage import FULL, Stage

US = Units("°F", "12 h", "mph")


NO_ORDERS = (ChoreKind.STOP_WETTING, ChoreKind.STAY_IN)


@dataclass(frozen=True)
class Told:
    """A push as it was sent, and what it has to tell.

    plants, spots: the names of all, in which there may be numbers and commas. at: when. full: the
    sheet in full, where there is one. chores: all that it is about. into, out: plants that must be
    carried, the homeless among them without a shelter. off: plants of orders that are taken back.
    order: whether it asks for anything.
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
        """Title and body."""
        return f"{self.push.title}\n{self.push.body}"

    @property
    def names(self) -> frozenset[str]:
        """Of plants and spots."""
        return self.plants | self.spots


@dataclass(frozen=True)
class Situation:
    """A situation by its name: a function that plays it in some units.

    family: which golden file it is in. about: what it is, in a line. imperial: whether the push is
    kept in °F, mph and 12 hours too. full_in: the units in which its sheet in full is kept.
    """

    family: str
    name: str
    about: str
    play: Callable[[Units], Told]
    imperial: bool = False
    full_in: tuple[Units, ...] = ()

    def told(self, units: Units = SI) -> Told:
        """What is told in it; played once."""
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
    """Enter a function among the situations, by its name and its docstring."""

    def entered(play: Play) -> Play:
        assert play.__doc__ is not None
        name, about = play.__name__.replace("_", " "), play.__doc__.splitlines()[0]
        ALL.append(Situation(family, name, about, play, imperial, full_in))
        return play

    return entered


def of_round(stage: Stage, round_: str, days: int = 0) -> Told:
    """The last push, which told this round of the first day or of one so many days later."""
    chores = tuple(one for one in stage.chores(days) if one.round == round_)
    full = stage.got(FULL)
    return replace(
        said(stage),
        full=full[-1].body if full else None,
        chores=chores,
        into=those(chores, "carry-in"),
        out=those(chores, "carry-out") if round_ == "morning" else frozenset(),
        order=any(one.kind not in NO_ORDERS for one in _for_now(chores, round_)),
    )


def said(stage: Stage) -> Told:
    """The last push, whatever it is about."""
    collection = stage.household.collection
    return Told(
        stage.pushes[-1],
        frozenset(plant.name for plant in collection.plants),
        frozenset(spot.name for spot in collection.spots),
        stage.clock.now,
    )


def alarm(stage: Stage, kind: str) -> Told:
    """The last push of an alarm of this kind, as the ledger names it."""
    site = stage.household.collection.site.name
    (words,) = [one.title for one in stage.ledger.notices.latest(site, 100) if one.round == kind]
    return replace(
        said(stage), push=next(one for one in reversed(stage.pushes) if one.title == words)
    )


def follow_up(stage: Stage, chores: Sequence[StoredChore]) -> Told:
    """The last push, about these orders."""
    told = replace(said(stage), chores=tuple(chores))
    return replace(told, into=those(chores, "carry-in"), order=True)


def changed(stage: Stage, before: Sequence[StoredChore], days: int = 0) -> Told:
    """The last push, which is about what has changed in a day's chores since they were these."""
    after = tuple(stage.chores(days))
    into, was_into = _hours(after, "carry-in"), _hours(before, "carry-in")
    out, was_out = _hours(after, "carry-out"), _hours(before, "carry-out")
    return replace(
        said(stage),
        into=frozenset(name for name, hour in into.items() if was_into.get(name) != hour),
        out=frozenset(n for n, hour in out.items() if n in was_out and was_out[n] != hour),
        off=frozenset((was_into.keys() - into.keys()) | (was_out.keys() - out.keys())),
        order=True,
    )


def those(chores: Collection[StoredChore], kind: str) -> frozenset[str]:
    """The plants of the open chores of a kind."""
    return frozenset(n for one in chores if one.kind.value == kind and one.open for n in one.plants)


def _for_now(chores: Sequence[StoredChore], round_: str) -> list[StoredChore]:
    """Without what a dusk round says of tomorrow."""
    return [one for one in chores if round_ == "morning" or one.kind.value != "carry-out"]


def _hours(chores: Sequence[StoredChore], kind: str) -> dict[str, object]:
    of_kind = [one for one in chores if one.kind.value == kind and one.open]
    return {n: (one.chore.not_before, one.before) for one in of_kind for n in one.plants}
