"""Chores: one thing to do, with a window, a deadline and the numbers behind it."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
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
    STOP_WETTING = "stop-wetting"
    SHADE = "shade"
    SECURE = "secure"
    COVER = "cover"
    DAMP_DOWN = "damp-down"
    MOVE = "move"


WETTINGS = frozenset({ChoreKind.MIST, ChoreKind.FEED, ChoreKind.FLUSH})
"""Chores done with water, in a window rather than by a deadline."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a chore is there for one plant: a number, against which limit, when, whose limit.

    value None: nothing is known for that time, and caution decides. hours, degree_hours: how
    long and how deep beyond the limit, where that is counted [h], [K h]. rule: its name; above:
    whether it is beyond its limit by being above it. chance: that the leaf goes under the limit
    in the night (0..1), where that is known. until: when it is within its limit again, where that
    is worked out. there: of a move, the worst value where it goes in those hours. also: other
    reasons for the same chore. Without a rule: none asks for it now; it was told, and is not
    called off.
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
    also: "tuple[Reason, ...]" = ()


class Names(Sequence[str]):
    """The names of some groups of plants, one after the other: laid out when they are first read.

    Of a week's many chores few are asked.
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
        """A name, or several."""
        return self._laid_out[index]

    def __len__(self) -> int:
        """How many names."""
        return sum(map(len, self._groups))

    def __iter__(self) -> Iterator[str]:
        """The names."""
        return iter(self._laid_out)

    def __eq__(self, other: object) -> bool:
        """Whether it is the same names in the same order."""
        return isinstance(other, Names | tuple) and self._laid_out == tuple(other)

    def __hash__(self) -> int:
        """As a tuple of them."""
        return hash(self._laid_out)


class Grounds(Sequence[tuple[tuple[str, ...], Reason]]):
    """Reasons, each with the plants that it goes for.

    The reasons are worked out when somebody reads them: of a week's many chores few are asked.
    """

    def __init__(
        self, groups: Sequence[tuple[str, ...]], reasons: Callable[[], Iterable[Reason]]
    ) -> None:
        self.groups = tuple(groups)
        self._reasons: Callable[[], Iterable[Reason]] | None = reasons
        self._made: tuple[Reason, ...] = ()

    @classmethod
    def of(cls, *pairs: tuple[tuple[str, ...], Reason]) -> "Grounds":
        """Those of these plants and reasons."""
        return cls([plants for plants, _ in pairs], lambda: [reason for _, reason in pairs])

    @classmethod
    def joined(cls, parts: "Sequence[Grounds]") -> "Grounds":
        """Those of all the parts."""
        groups = [plants for part in parts for plants in part.groups]
        return cls(groups, lambda: [reason for part in parts for reason in part.reasons])

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """A reason for each group."""
        if self._reasons is not None:
            self._made, self._reasons = tuple(self._reasons()), None
        return self._made

    @overload
    def __getitem__(self, index: int) -> tuple[tuple[str, ...], Reason]: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[tuple[tuple[str, ...], Reason]]: ...
    def __getitem__(self, index: int | slice) -> Any:
        """A group and its reason, or several."""
        return tuple(zip(self.groups, self.reasons, strict=True))[index]

    def __len__(self) -> int:
        """How many groups."""
        return len(self.groups)

    def __eq__(self, other: object) -> bool:
        """Whether it is the same plants for the same reasons."""
        if not isinstance(other, Grounds):
            return NotImplemented
        return (self.groups, self.reasons) == (other.groups, other.reasons)

    def __hash__(self) -> int:
        """By the plants."""
        return hash(self.groups)


@dataclass(frozen=True, slots=True)
class Errand:
    """A chore for plants that go the same way at the same times, before walks are made of them."""

    kind: ChoreKind
    from_spot: str
    to_spot: str
    not_before: datetime | None
    before: datetime
    grounds: Grounds
    turn: int = 0
    """Of several such chores for a plant in a day, which it is: walks are made of the same."""
    unconfirmed: bool = False
    """As of `Chore.unconfirmed`, all of its plants or none."""
    overdue: bool = False
    """Whether `before` is a deadline that was told, and is over."""
    out_from: datetime | None = None
    """From when on its plants are where it is done: no walk that must be over by then has them."""

    @property
    def first(self) -> str:
        """The first of its plants."""
        return self.grounds.groups[0][0]


@dataclass(frozen=True, slots=True)
class Chore:
    """One chore for plants that are done on one walk.

    before is the deadline. For stay-in it is the end of the time that it speaks of. A
    stop-wetting whose `before` is not after its `not_before` means: no wetting at all.
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
    """Plants of it for which an order was told before and nobody has confirmed it: of carrying in
    this one itself, of carrying out the one to carry them in. Of staying in tonight those of whom
    nobody has said that they are in."""
    overdue_since: datetime | None = None
    """The deadline of an order that was told before and not confirmed, once it is over."""

    @property
    def chance(self) -> float | None:
        """The highest chance of a plant of it to go under its limit; None where it is not known.

        The plants of a spot share their weather: it is also the chance that any of them does.
        """
        chances = (reason.chance for reason in self.grounds.reasons)
        return max((one for one in chances if one is not None), default=None)

    def goes_with(self, other: "Chore") -> bool:
        """Whether the two can be done on one walk: same place, a plant in common, hours too."""
        starts = [one for one in (self.not_before, other.not_before) if one is not None]
        return (
            self.from_spot == other.from_spot
            and not set(self.plants).isdisjoint(other.plants)
            and max(starts, default=self.before) <= min(self.before, other.before)
        )

    @property
    def because(self) -> tuple[Reason, ...]:
        """A reason for each plant, in the order of `plants`."""
        return tuple(
            reason if name == reason.plant else _for(reason, name)
            for names, reason in zip(self.grounds.groups, self.grounds.reasons, strict=True)
            for name in names
        )


def _for(reason: Reason, plant: str) -> Reason:
    """The same reason for another plant."""
    return replace(reason, plant=plant, also=tuple(_for(one, plant) for one in reason.also))
