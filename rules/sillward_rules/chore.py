"""Chores: one thing to do, with a window, a deadline and the numbers behind it.

The same thing has several names on its way through the program:

    Errand      what a planner asks for: plants that go the same way at the same times
    Chore       errands put together into one trip (`trips`), as the sheet lists them
    order       a chore once the grower has been told of it (`revision.Order`)
    OpenOrder   in a plant's state: an order to carry it that is not confirmed (`plants.state`)
    StoredChore an order as the shell's ledger keeps it, with what became of it

Each has a `Reason` for every plant.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum
from functools import cached_property
from itertools import chain
from typing import Any, overload


class ChoreKind(Enum):
    """What a chore asks for, as the machine-readable sheet spells it."""

    CARRY_IN = "carry-in"
    CARRY_OUT = "carry-out"
    STAY_IN = "stay-in"
    MIST = "mist"
    FEED = "feed"
    FLUSH = "flush"
    COURSE = "course"
    WATER = "water"
    LEACH = "leach"
    STOP_WETTING = "stop-wetting"
    SHADE = "shade"
    SECURE = "secure"
    COVER = "cover"
    DAMP_DOWN = "damp-down"
    MOVE = "move"

    # Each is one object. The hash of its name, which is the default, is a slow one.
    __hash__ = object.__hash__


URGENT = frozenset({ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE})
"""Kinds of chores that harm a plant if they are not done in time."""

WETTINGS = frozenset(
    {
        ChoreKind.MIST,
        ChoreKind.FEED,
        ChoreKind.FLUSH,
        ChoreKind.COURSE,
        ChoreKind.WATER,
        ChoreKind.LEACH,
    }
)
"""Chores done with water, in a window rather than by a deadline."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """The harm that a plant is spared under cover, weighed against carrying it in.

    - harm: expected harm outside, without what is left under cover (0..1).
    - gain, price: what carrying the plant gains, and what it costs, in trips.
    """

    harm: float
    gain: float
    price: float


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a chore is there for one plant: a value against a limit at a time, and whose limit.

    - value: None where nothing is known for that time and caution decides.
    - origin: where the limit comes from.
    - hours, degree_hours: how long and how deep beyond the limit, where that is counted [h], [K h].
    - rule: the name of the rule that asks. Empty for a chore that no rule asks for any more, but
      that was told and is not called off.
    - above: whether the value is beyond its limit by being above it.
    - chance: the chance that the leaf falls under the limit in the night (0..1), where known.
    - until: when the value is within the limit again, where that is worked out. For a move, when
      the plant may come back; None if it stays where it is moved.
    - crosses_at: when the forecast itself crosses the limit, whatever the errors: for carrying in,
      when it is first under it, for carrying out, when it is above it again.
    - weighing: the harm expected in the night, and what that was weighed against.
    - there: for a move, the worst value at its goal in those hours.
    - litres: for watering, how much the plant is given [L].
    - also: other reasons for the same chore.
    """

    plant: str
    quantity: str
    value: float | None
    unit: str
    limit: float | None
    at: datetime
    origin: str = ""
    hours: float | None = None
    degree_hours: float | None = None
    rule: str = ""
    above: bool = False
    chance: float | None = None
    until: datetime | None = None
    there: float | None = None
    litres: float | None = None
    crosses_at: datetime | None = None
    weighing: Weighing | None = None
    also: "tuple[Reason, ...]" = ()


class Names(Sequence[str]):
    """The names of some groups of plants, one after the other; laid out when they are first read.

    A week has many chores, and few of their names are ever read.
    """

    def __init__(self, groups: Sequence[tuple[str, ...]]) -> None:
        self._groups = groups

    @cached_property
    def _laid_out(self) -> tuple[str, ...]:
        return tuple(chain.from_iterable(self._groups))

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[str, ...]: ...
    def __getitem__(self, index: int | slice) -> str | tuple[str, ...]:
        """Return a name, or several."""
        return self._laid_out[index]

    def __len__(self) -> int:
        """Return how many names there are."""
        return sum(map(len, self._groups))

    def __iter__(self) -> Iterator[str]:
        """Iterate over the names."""
        return iter(self._laid_out)

    def __eq__(self, other: object) -> bool:
        """Return whether it is the same names in the same order."""
        return isinstance(other, Names | tuple) and self._laid_out == tuple(other)

    def __hash__(self) -> int:
        """Return the hash of a tuple of them."""
        return hash(self._laid_out)


class CohortGroups(Sequence[tuple[str, ...]]):
    """Groups of plants that are cohorts of one scene: their numbers, and the plants of each.

    - numbers: which cohorts.
    - names: the plants of every cohort of the scene.
    """

    def __init__(self, numbers: list[int], names: Sequence[tuple[str, ...]]) -> None:
        self.numbers = numbers
        self._names = names

    @classmethod
    def joined(cls, parts: "Sequence[CohortGroups]") -> "CohortGroups":
        """Return the groups of parts of one scene, one after the other."""
        if len(parts) == 1:
            return parts[0]
        numbers = chain.from_iterable([part.numbers for part in parts])
        return cls(list(numbers), parts[0]._names)

    @overload
    def __getitem__(self, index: int) -> tuple[str, ...]: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[tuple[str, ...]]: ...
    def __getitem__(self, index: int | slice) -> Any:
        """Return the plants of a group, or several groups."""
        if isinstance(index, slice):
            return CohortGroups(self.numbers[index], self._names)
        return self._names[self.numbers[index]]

    def __len__(self) -> int:
        """Return how many groups there are."""
        return len(self.numbers)

    def __iter__(self) -> Iterator[tuple[str, ...]]:
        """Iterate over the plants of each group."""
        return iter(self._laid_out)

    @cached_property
    def _laid_out(self) -> list[tuple[str, ...]]:
        names = self._names
        return [names[number] for number in self.numbers]


class Grounds(Sequence[tuple[tuple[str, ...], Reason]]):
    """Reasons, each with the plants that it applies to; worked out when they are first read.

    A week has many chores, and few of their reasons are ever read.
    """

    def __init__(
        self, groups: Sequence[tuple[str, ...]], reasons: Callable[[], Iterable[Reason]]
    ) -> None:
        self.groups = groups if isinstance(groups, CohortGroups) else tuple(groups)
        self._reasons: Callable[[], Iterable[Reason]] | None = reasons
        self._made: tuple[Reason, ...] = ()

    @classmethod
    def of(cls, *pairs: tuple[tuple[str, ...], Reason]) -> "Grounds":
        """Return the grounds of these plants and reasons."""
        return cls([plants for plants, _ in pairs], lambda: [reason for _, reason in pairs])

    @classmethod
    def joined(cls, parts: "Sequence[Grounds]") -> "Grounds":
        """Return the grounds of all the parts."""
        cohorts = [part.groups for part in parts if isinstance(part.groups, CohortGroups)]
        groups: Sequence[tuple[str, ...]]
        if len(cohorts) == len(parts):
            groups = CohortGroups.joined(cohorts)
        else:
            groups = [plants for part in parts for plants in part.groups]
        return cls(groups, lambda: [reason for part in parts for reason in part.reasons])

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """The reason of each group."""
        if self._reasons is not None:
            self._made, self._reasons = tuple(self._reasons()), None
        return self._made

    @overload
    def __getitem__(self, index: int) -> tuple[tuple[str, ...], Reason]: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[tuple[tuple[str, ...], Reason]]: ...
    def __getitem__(self, index: int | slice) -> Any:
        """Return a group and its reason, or several."""
        return tuple(zip(self.groups, self.reasons, strict=True))[index]

    def __iter__(self) -> Iterator[tuple[tuple[str, ...], Reason]]:
        """Iterate over the groups with their reasons."""
        return zip(self.groups, self.reasons, strict=True)

    def __len__(self) -> int:
        """Return how many groups there are."""
        return len(self.groups)

    def __eq__(self, other: object) -> bool:
        """Return whether it is the same plants for the same reasons."""
        if not isinstance(other, Grounds):
            return NotImplemented
        return (tuple(self.groups), self.reasons) == (tuple(other.groups), other.reasons)

    def __hash__(self) -> int:
        """Return the hash of the plants."""
        return hash(tuple(self.groups))


@dataclass(frozen=True, slots=True)
class Errand:
    """A chore for plants that go the same way at the same times, before trips are made of them."""

    kind: ChoreKind
    from_spot: str
    to_spot: str
    not_before: datetime | None
    before: datetime
    grounds: Grounds
    turn: int = 0
    """Which chore of this kind it is for its plants that day, from 0: the first misting, the second
    and so on. Errands of different turns never share a trip."""
    unconfirmed: bool = False
    """As in `Chore.unconfirmed`, for all of its plants or none."""
    overdue: bool = False
    """Whether `before` is a deadline that was told and is over."""
    out_from: datetime | None = None
    """When the last of its plants arrives at the spot where it is done. It cannot join a trip that
    must be over before that."""
    what: str = ""
    """As in `Chore.what`. Errands with different ones never share a trip."""

    @property
    def first(self) -> str:
        """The first of its plants."""
        return self.grounds.groups[0][0]


@dataclass(frozen=True, slots=True)
class Heavy:
    """A plant that is heavy for one person, and what it weighs by estimate [kg]."""

    plant: str
    kg: float


@dataclass(frozen=True, slots=True)
class Load:
    """What carrying plants of known size comes to, by estimate (`plants.size`).

    - takes: how long the walk takes.
    - begin_by: when to begin so that all are in by the deadline, with the walks after it; None for
      what has no deadline to be met.
    - heavy: the plants that are heavy for one person.
    """

    takes: timedelta
    begin_by: datetime | None = None
    heavy: tuple[Heavy, ...] = ()


@dataclass(frozen=True, slots=True)
class Spray:
    """How much wetting plants of known span takes, by estimate [L].

    - filling: how much is mixed at a time [L]; None for plain water.
    """

    litres: float
    filling: float | None = None


@dataclass(frozen=True, slots=True)
class Chore:
    """One chore for all plants that one trip takes care of.

    `before` is the deadline; for stay-in it is the end of the time for which they stay. A
    stop-wetting whose `before` is not after its `not_before` means no wetting at all.
    """

    id: str
    kind: ChoreKind
    plants: Sequence[str]
    from_spot: str
    to_spot: str
    not_before: datetime | None
    before: datetime
    grounds: Grounds
    unconfirmed: Sequence[str] = ()
    """Those of its plants for which an earlier order is not confirmed: for carrying in, this order
    itself; for carrying out, the one to carry them in; for staying in tonight, any that would have
    brought them in; for watering, that of a day before."""
    overdue_since: datetime | None = None
    """The deadline of an order that was told before and not confirmed, once it is over."""
    what: str = ""
    """The feed or course that it gives, by its name; empty for plain water and the only feed."""
    load: Load | None = None
    """What carrying the plants comes to; None where the size of none is known."""
    spray: Spray | None = None
    """How much wetting the plants takes; None where the span of any is not known."""

    @property
    def day(self) -> str:
        """The local date of its round as ISO text, with which its id begins."""
        return self.id[:_DAY_LENGTH]

    @property
    def id_without_day(self) -> str:
        """The rest of its id, which is the same on every day: "carry-in-pergola-to-sunroom"."""
        return self.id[_DAY_LENGTH + 1 :]

    @property
    def chance(self) -> float | None:
        """The highest chance of any of its plants to fall under its limit; None where not known.

        The plants of a spot share their weather, so it is also the chance that at least one does.
        """
        chances = (reason.chance for reason in self.grounds.reasons)
        return max((chance for chance in chances if chance is not None), default=None)

    def goes_with(self, other: "Chore") -> bool:
        """Return whether both can be done on one trip: a spot, a plant and a time in common."""
        starts = [start for start in (self.not_before, other.not_before) if start is not None]
        return (
            self.from_spot == other.from_spot
            and not set(self.plants).isdisjoint(other.plants)
            and max(starts, default=self.before) <= min(self.before, other.before)
        )

    @property
    def because(self) -> tuple[Reason, ...]:
        """A reason for each plant, in the order of `plants`."""
        return tuple(
            reason if name == reason.plant else _for_plant(reason, name)
            for names, reason in zip(self.grounds.groups, self.grounds.reasons, strict=True)
            for name in names
        )

    @property
    def single_reasons(self) -> tuple[Reason, ...]:
        """Every reason for each plant by itself, those in `also` after the one that has them."""
        return tuple(
            replace(single, also=()) for reason in self.because for single in (reason, *reason.also)
        )


_DAY_LENGTH = len("2026-01-01")


def only(chore: Chore, names: Sequence[str]) -> Chore:
    """Return the chore for some of its plants, in this order, each with its own reason."""
    reasons = {reason.plant: reason for reason in chore.because}
    kept = [reasons[name] for name in names if name in reasons]
    return replace(
        chore,
        plants=tuple(reason.plant for reason in kept),
        grounds=Grounds.of(*(((reason.plant,), reason) for reason in kept)),
        unconfirmed=tuple(name for name in names if name in chore.unconfirmed),
        load=chore.load and _only_of(chore.load, names),
        spray=chore.spray if len(kept) == len(chore.plants) else None,
    )


def _only_of(load: Load, names: Sequence[str]) -> Load:
    """Return the load with the heavy ones of some plants; the time is that of the whole walk."""
    return replace(load, heavy=tuple(one for one in load.heavy if one.plant in names))


def _for_plant(reason: Reason, plant: str) -> Reason:
    """Return the same reason for another plant."""
    also = tuple(_for_plant(other, plant) for other in reason.also)
    return replace(reason, plant=plant, also=also)
