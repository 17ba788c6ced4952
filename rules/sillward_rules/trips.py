"""Trips: errands of a day put together into chores that are each done on one trip."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache, cached_property
from itertools import chain
from typing import overload

from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Errand, Grounds, Names
from sillward_rules.weather.site import Site

DISPLAY_STEP = timedelta(minutes=5)
"""Deadlines are shown in steps of five minutes, rounded to the safe side."""

MAX_TRIP_SPREAD = timedelta(minutes=90)
"""Errands whose times differ by more than this are two trips. Judgement."""

MAX_STOP_WETTING_SPREAD = timedelta(minutes=20)
"""Last hours for wet crowns are told together if they differ by no more than this. Judgement."""

MIN_WINDOW = timedelta(minutes=10)
"""Mistings with a smaller window in common are two trips. Judgement."""


def make_chores(
    errands: Sequence[Errand], site: Site, day: date, now: datetime
) -> tuple[Chore, ...]:
    """Put errands of a day together into trips: same kind, same way, times close together.

    A trip ends by the earliest deadline of its errands and starts when the last of them may.
    Chores come back in the order of their hours, with ids that stay the same while plants,
    deadlines or wording change a little.
    """
    ways: dict[tuple[object, ...], list[Errand]] = {}
    for errand in errands:
        tonight = errand.not_before is None
        # What is overdue keeps the deadline that was told.
        overdue = errand.before if errand.overdue else None
        spots = errand.from_spot, errand.to_spot
        way = (errand.kind, errand.what, tonight, *spots, errand.turn, overdue)
        ways.setdefault(way, []).append(errand)
    chores: dict[str, Chore] = {}
    numbers: dict[str, int] = {}
    for same_way in ways.values():
        for trip in _split_into_trips(same_way):
            base = _id_of(trip, day)
            number = numbers.get(base, 0) + 1
            # Another spot's name may end in the same number.
            while (chore_id := base if number == 1 else f"{base}-{number}") in chores:
                number += 1
            numbers[base] = number
            chores[chore_id] = _chore(chore_id, trip, site, now)
    return sort_chores(list(chores.values()))


def _id_of(trip: Sequence[Errand], day: date) -> str:
    first = trip[0]
    kind = first.kind.value
    if first.kind is ChoreKind.STAY_IN and first.not_before is None:
        kind += "-tonight"
    way = _slug(first.from_spot)
    if first.to_spot != first.from_spot:
        way += f"-to-{_slug(first.to_spot)}"
    if first.what:
        way += f"-{_slug(first.what)}"
    return f"{day.isoformat()}-{kind}-{way}"


class DeferredChores(Sequence[Chore]):
    """Chores that are made when they are first read."""

    def __init__(self, make: Callable[[], tuple[Chore, ...]]) -> None:
        self._make = make

    @cached_property
    def _made(self) -> tuple[Chore, ...]:
        return self._make()

    @overload
    def __getitem__(self, index: int) -> Chore: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Chore, ...]: ...
    def __getitem__(self, index: int | slice) -> Chore | tuple[Chore, ...]:
        """Return a chore, or several."""
        return self._made[index]

    def __len__(self) -> int:
        """Return how many chores there are."""
        return len(self._made)


def sort_chores(chores: Sequence[Chore]) -> tuple[Chore, ...]:
    """Return chores in the order of their hours: the start for going out, else the deadline."""
    return tuple(sorted(chores, key=_hour_of))


def _hour_of(chore: Chore) -> tuple[datetime, str]:
    """Return the hour by which a chore is sorted, and its id."""
    starts = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return (chore.not_before if starts and chore.not_before else chore.before, chore.id)


def _split_into_trips(errands: list[Errand]) -> Iterator[list[Errand]]:
    """Split errands of one way where one trip cannot, or should not, do them all."""
    trip = _Trip()
    for errand in sorted(errands, key=_by_times):
        if trip.errands and not trip.has_room_for(errand):
            yield trip.errands
            trip = _Trip()
        trip.add(errand)
    if trip.errands:
        yield trip.errands


def _by_times(errand: Errand) -> tuple[datetime, datetime, str]:
    """Sort errands so that neighbours fit into one trip best."""
    return errand.before, errand.not_before or errand.before, errand.first


@dataclass(slots=True)
class _Trip:
    """A trip as it grows: errands of one way, in the order of their deadlines."""

    errands: list[Errand] = field(default_factory=list)
    firsts: set[str] = field(default_factory=set)
    """The first plant of each group, for the first `looked_at` errands; rarely needed."""
    looked_at: int = 0
    earliest: datetime | None = None
    latest: datetime | None = None

    def add(self, errand: Errand) -> None:
        """Take an errand along."""
        self.errands.append(errand)
        self.earliest, self.latest = self._starts_with(errand)

    def has_room_for(self, errand: Errand) -> bool:
        """Return whether the errand can join: there is a time at which all of them can be done.

        For carrying, their times must also be close together: a misting may wait a while for the
        others, but a plant should not go in hours early. A cloth is hung once.
        """
        deadline, kind = self.errands[0].before, errand.kind
        earliest, latest = self._starts_with(errand)
        wetting, once_a_day = kind in WETTINGS, kind is ChoreKind.SHADE
        window = MIN_WINDOW if wetting else timedelta(0)
        if latest is not None and latest + window > deadline:
            return False
        if errand.out_from is not None and errand.out_from > deadline:
            return False
        spread = timedelta(0) if wetting or once_a_day else errand.before - deadline
        if earliest is not None and latest is not None:
            spread = max(spread, latest - earliest)
        limit = MAX_STOP_WETTING_SPREAD if kind is ChoreKind.STOP_WETTING else MAX_TRIP_SPREAD
        return spread <= limit and not self._shares_plants_with(errand)

    def _shares_plants_with(self, errand: Errand) -> bool:
        """Return whether a plant of the errand is on this trip already.

        The first plant of each group is enough: two groups are the same or share no plant.
        """
        for earlier in self.errands[self.looked_at :]:
            self.firsts.update([names[0] for names in earlier.grounds.groups])
        self.looked_at = len(self.errands)
        return not self.firsts.isdisjoint([names[0] for names in errand.grounds.groups])

    def _starts_with(self, errand: Errand) -> tuple[datetime | None, datetime | None]:
        """Return the first and the last start, this errand's included."""
        start = errand.not_before
        if start is None or self.earliest is None or self.latest is None:
            return self.earliest or start, self.latest or start
        return min(self.earliest, start), max(self.latest, start)


def _chore(chore_id: str, trip: list[Errand], site: Site, now: datetime) -> Chore:
    first = trip[0]
    deadline = min(errand.before for errand in trip)
    starts = [errand.not_before for errand in trip if errand.not_before is not None]
    # Rounding to the safe side must not move a deadline of now into the past.
    before = max(round_down(deadline, site), min(deadline, now)).astimezone(site.zone)
    start = max(starts).astimezone(site.zone) if starts else None
    if start is not None and (rounded := round_up(start, site)) <= before:
        start = rounded
        if before - start < MIN_WINDOW and first.kind in WETTINGS:
            start = round_down(start - DISPLAY_STEP, site)
    grounds = Grounds.joined([errand.grounds for errand in trip])
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
            for errand in trip
            if errand.unconfirmed
            for name in chain.from_iterable(errand.grounds.groups)
        ),
        overdue_since=before if first.overdue else None,
        what=first.what,
    )


def round_down(at: datetime, site: Site) -> datetime:
    """Return a moment in the site's zone, rounded to the five minutes before it."""
    local = at.astimezone(site.zone)
    spare = timedelta(
        minutes=local.minute % 5, seconds=local.second, microseconds=local.microsecond
    )
    return (at - spare).astimezone(site.zone)


def round_up(at: datetime, site: Site) -> datetime:
    """Return a moment in the site's zone, rounded to the five minutes after it."""
    down = round_down(at, site)
    return down if down == at else round_down(at + DISPLAY_STEP, site)


@cache
def _slug(text: str) -> str:
    return re.sub(r"[\W_]+", "-", text.lower()).strip("-")
