"""Chores: one thing to do, with a window, a deadline and the numbers behind it."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import Enum

from sillward_rules.site import Site

DISPLAY_STEP = timedelta(minutes=5)
"""Deadlines are told in steps of five minutes, rounded to the safe side."""


class ChoreKind(Enum):
    """What a chore asks for, as the machine-readable sheet spells it."""

    CARRY_IN = "carry-in"
    CARRY_OUT = "carry-out"
    STAY_IN = "stay-in"
    MIST = "mist"
    FEED = "feed"
    STOP_WETTING = "stop-wetting"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a chore is there for one plant: a number, against which limit, when, whose limit.

    value None: nothing is known for that time, and caution decides.
    """

    plant: str
    quantity: str
    value: float | None
    unit: str
    limit: float | None
    at: datetime
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Chore:
    """One chore for plants that are done on one walk.

    before is the deadline. For stay-in it is the end of the time that it speaks of. A
    stop-wetting whose `before` is not after its `not_before` means: no wetting at all.
    """

    id: str
    kind: ChoreKind
    plants: tuple[str, ...]
    from_spot: str
    to_spot: str
    not_before: datetime | None
    before: datetime
    because: tuple[Reason, ...]
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class Errand:
    """A chore for a single plant, before errands are put together into walks."""

    kind: ChoreKind
    plant: str
    from_spot: str
    to_spot: str
    not_before: datetime | None
    before: datetime
    because: Reason


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
    ways: dict[tuple[ChoreKind, bool, str, str], list[Errand]] = {}
    for errand in errands:
        tonight = errand.not_before is None
        way = (errand.kind, tonight, errand.from_spot, errand.to_spot)
        ways.setdefault(way, []).append(errand)
    chores: dict[str, Chore] = {}
    for same_way in ways.values():
        for number, walk in enumerate(_walks(same_way), start=1):
            chore_id = _id_of(walk, day, number)
            while chore_id in chores:  # names that differ in signs alone
                chore_id += "-more"
            chores[chore_id] = _chore(chore_id, walk, site, now)
    return in_order(list(chores.values()))


def _id_of(walk: Sequence[Errand], day: date, number: int) -> str:
    first = walk[0]
    kind = first.kind.value
    if first.kind is ChoreKind.STAY_IN and first.not_before is None:
        kind += "-tonight"
    way = _slug(first.from_spot)
    if first.to_spot != first.from_spot:
        way += f"-to-{_slug(first.to_spot)}"
    suffix = f"-{number}" if number > 1 else ""
    return f"{day:%Y-%m-%d}-{kind}-{way}{suffix}"


def in_order(chores: Sequence[Chore]) -> tuple[Chore, ...]:
    """Chores by the hour that matters of each."""
    return tuple(sorted(chores, key=_hour_of))


def _hour_of(chore: Chore) -> tuple[datetime, str]:
    """The hour that matters of a chore: its deadline, but its start for going out."""
    starts = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return (chore.not_before if starts and chore.not_before else chore.before, chore.id)


def _walks(errands: list[Errand]) -> Iterator[list[Errand]]:
    """Split errands of one way where one walk cannot, or should not, do them all."""
    walk: list[Errand] = []
    for errand in sorted(errands, key=lambda one: (one.before, one.plant)):
        if walk and not _one_walk([*walk, errand]):
            yield walk
            walk = []
        walk.append(errand)
    if walk:
        yield walk


def _one_walk(errands: Sequence[Errand]) -> bool:
    """Whether there is a time that suits all; for carrying, also not far from each one's own.

    A misting may wait for the others within its window; a plant should not go in hours early.
    """
    deadlines = [one.before for one in errands]
    starts = [one.not_before for one in errands if one.not_before is not None]
    wetting = errands[0].kind in (ChoreKind.MIST, ChoreKind.FEED)
    least = LEAST_WINDOW if wetting else timedelta(0)
    if starts and max(starts) + least > min(deadlines):
        return False
    if len({one.plant for one in errands}) < len(errands):
        return False
    if wetting:
        return True
    spread = max(deadlines) - min(deadlines)
    if starts:
        spread = max(spread, max(starts) - min(starts))
    return spread <= (WETTING_SPREAD if errands[0].kind is ChoreKind.STOP_WETTING else WALK_SPREAD)


def _chore(chore_id: str, walk: list[Errand], site: Site, now: datetime) -> Chore:
    first = walk[0]
    deadline = min(one.before for one in walk)
    starts = [one.not_before for one in walk if one.not_before is not None]
    # Rounding to the safe side must not make a deadline of now one of the past.
    before = max(rounded_down(deadline, site), min(deadline, now)).astimezone(site.zone)
    start = max(starts).astimezone(site.zone) if starts else None
    if start is not None and rounded_up(start, site) <= before:
        start = rounded_up(start, site)
    return Chore(
        id=chore_id,
        kind=first.kind,
        plants=tuple(one.plant for one in walk),
        from_spot=first.from_spot,
        to_spot=first.to_spot,
        not_before=start if start is None else min(start, before),
        before=before,
        because=tuple(one.because for one in walk),
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


def _slug(text: str) -> str:
    return re.sub(r"[\W_]+", "-", text.lower()).strip("-")
