"""Chores: one thing to do, with a window, a deadline and the numbers behind it."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import Enum
from functools import cache, cached_property
from itertools import chain
from typing import Any, overload

from sillward_rules.weather.site import Site

DISPLAY_STEP = timedelta(minutes=5)
"""Deadlines are told in steps of five minutes, rounded to the safe side."""


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


WALK_SPREAD = timedelta(minutes=90)
"""Errands whose times differ by more than this are two walks. Judgement."""

WETTING_SPREAD = timedelta(minutes=20)
"""Last hours for wet crowns are told together if they lie within this. Judgement."""

LEAST_WINDOW = timedelta(minutes=10)
"""Mistings with a smaller window in common are two walks. Judgement."""


def into_chores(
    errands: Sequence[Errand], site: Site, day: date, now: datetime
) -> tuple[Chore, ...]:
    """Put errands of a day together into walks: same kind, same way, times close together.

    A walk ends by the earliest deadline of its errands and starts when the last of them may.
    Chores come back in the order of their hours, with ids that stay the same while plants,
    deadlines or wording change a little.
    """
    ways: dict[tuple[object, ...], list[Errand]] = {}
    for errand in errands:
        tonight = errand.not_before is None
        # What is overdue keeps the deadline that was told.
        overdue = errand.before if errand.overdue else None
        way = (errand.kind, tonight, errand.from_spot, errand.to_spot, errand.turn, overdue)
        ways.setdefault(way, []).append(errand)
    chores: dict[str, Chore] = {}
    numbers: dict[str, int] = {}
    for same_way in ways.values():
        for walk in _walks(same_way):
            base = _id_of(walk, day)
            number = numbers.get(base, 0) + 1
            # Another spot's name may end in the same number.
            while (chore_id := base if number == 1 else f"{base}-{number}") in chores:
                number += 1
            numbers[base] = number
            chores[chore_id] = _chore(chore_id, walk, site, now)
    return in_order(list(chores.values()))


def _id_of(walk: Sequence[Errand], day: date) -> str:
    first = walk[0]
    kind = first.kind.value
    if first.kind is ChoreKind.STAY_IN and first.not_before is None:
        kind += "-tonight"
    way = _slug(first.from_spot)
    if first.to_spot != first.from_spot:
        way += f"-to-{_slug(first.to_spot)}"
    return f"{day:%Y-%m-%d}-{kind}-{way}"


def in_order(chores: Sequence[Chore]) -> tuple[Chore, ...]:
    """Chores by the hour that matters of each."""
    return tuple(sorted(chores, key=_hour_of))


def _hour_of(chore: Chore) -> tuple[datetime, str]:
    """The hour that matters of a chore: its deadline, but its start for going out."""
    starts = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return (chore.not_before if starts and chore.not_before else chore.before, chore.id)


def _walks(errands: list[Errand]) -> Iterator[list[Errand]]:
    """Split errands of one way where one walk cannot, or should not, do them all."""
    walk = _Walk()
    for errand in sorted(errands, key=_by_times):
        if walk.errands and not walk.has_room_for(errand):
            yield walk.errands
            walk = _Walk()
        walk.add(errand)
    if walk.errands:
        yield walk.errands


def _by_times(errand: Errand) -> tuple[datetime, datetime, str]:
    """Neighbours in this order fit into one walk best."""
    return errand.before, errand.not_before or errand.before, errand.first


@dataclass(slots=True)
class _Walk:
    """A walk as it grows: errands of one way, in the order of their deadlines."""

    errands: list[Errand] = field(default_factory=list)
    firsts: set[str] = field(default_factory=set)
    """The first of every group of the errands looked at so far: most walks are never asked."""
    looked_at: int = 0
    earliest: datetime | None = None
    latest: datetime | None = None

    def add(self, errand: Errand) -> None:
        """Take an errand along."""
        self.errands.append(errand)
        self.earliest, self.latest = self._starts_with(errand)

    def has_room_for(self, errand: Errand) -> bool:
        """Whether there is a time that suits all; for carrying, also not far from each one's own.

        A misting may wait a while for the others; a plant should not go in hours early.
        """
        deadline, kind = self.errands[0].before, errand.kind
        earliest, latest = self._starts_with(errand)
        wetting = kind in WETTINGS
        least = LEAST_WINDOW if wetting else timedelta(0)
        if latest is not None and latest + least > deadline:
            return False
        if errand.out_from is not None and errand.out_from > deadline:
            return False
        spread = timedelta(0) if wetting else errand.before - deadline
        if earliest is not None and latest is not None:
            spread = max(spread, latest - earliest)
        most = WETTING_SPREAD if kind is ChoreKind.STOP_WETTING else WALK_SPREAD
        return spread <= most and not self._holds_one_of(errand)

    def _holds_one_of(self, errand: Errand) -> bool:
        """Whether one of its plants is on this walk already: by the first of every group."""
        for one in self.errands[self.looked_at :]:
            self.firsts.update([names[0] for names in one.grounds.groups])
        self.looked_at = len(self.errands)
        return not self.firsts.isdisjoint([names[0] for names in errand.grounds.groups])

    def _starts_with(self, errand: Errand) -> tuple[datetime | None, datetime | None]:
        """The first and the last start, this errand's included."""
        starts = [one for one in (self.earliest, self.latest, errand.not_before) if one is not None]
        return (min(starts), max(starts)) if starts else (None, None)


def _chore(chore_id: str, walk: list[Errand], site: Site, now: datetime) -> Chore:
    first = walk[0]
    deadline = min(one.before for one in walk)
    starts = [one.not_before for one in walk if one.not_before is not None]
    # Rounding to the safe side must not make a deadline of now one of the past.
    before = max(rounded_down(deadline, site), min(deadline, now)).astimezone(site.zone)
    start = max(starts).astimezone(site.zone) if starts else None
    if start is not None and rounded_up(start, site) <= before:
        start = rounded_up(start, site)
        if before - start < LEAST_WINDOW and first.kind in WETTINGS:
            start = rounded_down(start - DISPLAY_STEP, site)
    grounds = Grounds.joined([one.grounds for one in walk])
    return Chore(
        id=chore_id,
        kind=first.kind,
        plants=Names(grounds.groups),
        from_spot=first.from_spot,
        to_spot=first.to_spot,
        not_before=start if start is None else min(start, before),
        before=before,
        grounds=grounds,
        unconfirmed=tuple(
            name
            for one in walk
            if one.unconfirmed
            for name in chain.from_iterable(one.grounds.groups)
        ),
        overdue_since=before if first.overdue else None,
    )


def rounded_down(at: datetime, site: Site) -> datetime:
    """The moment in the site's zone, rounded to the five minutes before it."""
    local = at.astimezone(site.zone)
    spare = timedelta(
        minutes=local.minute % 5, seconds=local.second, microseconds=local.microsecond
    )
    return (at - spare).astimezone(site.zone)


def rounded_up(at: datetime, site: Site) -> datetime:
    """The moment in the site's zone, rounded to the five minutes after it."""
    down = rounded_down(at, site)
    return down if down == at else rounded_down(at + DISPLAY_STEP, site)


@cache
def _slug(text: str) -> str:
    return re.sub(r"[\W_]+", "-", text.lower()).strip("-")
