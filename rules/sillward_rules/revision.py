"""What a newer forecast changes about orders that a grower has been told. Pure.

revise(told, sheet, safe, ...) -> Revision        safe_outside(collection, ...) -> names
"""

from collections.abc import Callable, Iterator, Sequence
from collections.abc import Collection as AnyOf
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.carry import CLOSE_CALL
from sillward_rules.planners.night_risk import chance_in
from sillward_rules.planners.nights import judge_night
from sillward_rules.planners.scene import Scene
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.sheet import Sheet
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather

LEAVE_K = 1.0
"""A plant told to go in is told that it may stay out only if it could even were the air colder by
this [K]: a forecast that hovers at the limit changes no mind. Judgement."""

WELL_UNDER = CLOSE_CALL / 2
"""... or once the chance that it goes under the limit is no more than this. Judgement."""

WAKE_K = 0.5
"""Nobody is sent out after the usual hour for a leaf that falls less than this under its limit,"""

WAKE_CHANCE = 2 / 3
"""unless the chance of that is as high as this. Judgement."""

TAIL = timedelta(hours=1)
"""Nobody is sent into the night for a plant that is under its limit no longer than this, and by
less than `LEAVE_K`: by the time it is in, it need not be. Judgement."""

ORDERS = frozenset({ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE})
"""What a plant pays for if it is not done in time."""

CORRECTED = ORDERS | {ChoreKind.CARRY_OUT}
"""What is corrected; the hours of water and shade are told once."""


@dataclass(frozen=True, slots=True)
class Order:
    """A chore as it was told: for which plants, and its hour.

    at: the deadline; for going out the hour from which on.
    """

    id: str
    kind: ChoreKind
    plants: Sequence[str]
    from_spot: str
    to_spot: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Moved:
    """A chore whose hour or way is another one now, and the hour that was told."""

    chore: Chore
    was: datetime


@dataclass(frozen=True, slots=True)
class Revision:
    """What is to be told anew: chores for plants that had none, other hours, and what is off.

    Chores hold the plants that the change is about, and no others.
    """

    added: tuple[Chore, ...] = ()
    moved: tuple[Moved, ...] = ()
    called_off: tuple[Order, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything has changed."""
        return bool(self.added or self.moved or self.called_off)


def hour_of(chore: Chore) -> datetime:
    """The hour that a chore is told by: its start for going out, else its deadline."""
    if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
        return chore.not_before
    return chore.before


def revise(
    told: Sequence[Order],
    sheet: Sheet,
    safe: Callable[[], AnyOf[str]],
    done: AnyOf[tuple[ChoreKind, str]],
    moved_by: timedelta,
    out_after: timedelta,
) -> Revision:
    """Compare what was told with a sheet drawn up now.

    told: open orders. safe: tells, if that is asked, plants for which a call-off is sure enough
    (`safe_outside`). done: kind and plant of what has been acknowledged. moved_by: a smaller
    change of an hour is not worth a message. out_after: the habit of that name; until going out is
    later by more than that, the leaf is beyond its limit by the margin at the hour that was told.

    An order whose hour is over stands, and so does the way that was told, unless the spot at its
    end is short of the limit by more than `WAKE_K`. After the usual hour a need that is small, and
    unsure or nearly over, adds nothing. Only carrying in and out is called off: a cover does no
    harm. What nobody knows adds and moves nothing: at night no one is sent out for a forecast that
    did not come. Going out is called off or put off, never newly ordered: the morning round does
    that.
    """
    was = {(one.kind, name): one for one in told for name in one.plants}
    added: list[Chore] = []
    others: list[Moved] = []
    now_asked: set[tuple[ChoreKind, str]] = set()
    for chore in sheet.chores:
        if chore.kind not in CORRECTED or chore.overdue_since is not None:
            continue
        now_asked.update((chore.kind, name) for name in _asked_for(chore))
        known = {one.plant: one for one in chore.because if one.value is not None}
        in_vain = {one.plant for one in chore.because if _in_vain(chore, one, sheet.at)}
        fresh = [
            name
            for name in chore.plants
            if name in known
            and name not in in_vain
            and chore.kind in ORDERS
            and (chore.kind, name) not in was
            and (chore.kind, name) not in done
        ]
        if fresh:
            added.append(only(chore, fresh))
        by = max(moved_by, out_after) if chore.kind is ChoreKind.CARRY_OUT else moved_by
        shifted: dict[datetime, list[str]] = {}
        for name in chore.plants:
            before = was.get((chore.kind, name))
            if before is None or name not in known:
                continue
            if _shifted(before, chore, sheet, by) or _misled(before, chore, known[name], sheet):
                shifted.setdefault(before.at, []).append(name)
        others += [Moved(only(chore, names), at) for at, names in shifted.items()]
    return Revision(tuple(added), tuple(others), tuple(_called_off(told, now_asked, sheet, safe)))


def _asked_for(chore: Chore) -> Iterator[str]:
    """The plants of a chore without those that are in it only because they were told before."""
    for reason in chore.because:
        if chore.kind is not ChoreKind.CARRY_IN or reason.rule:
            yield reason.plant


def _in_vain(chore: Chore, reason: Reason, now: datetime) -> bool:
    """Whether an order that comes after its hour would do too little good, or is too unsure."""
    if chore.before > now or reason.value is None or reason.limit is None or reason.unit != "°C":
        return False
    short_k = abs(reason.limit - reason.value)
    if short_k < WAKE_K and (reason.chance is None or reason.chance < WAKE_CHANCE):
        return True
    return reason.until is not None and reason.until - now < TAIL and short_k < LEAVE_K


def _shifted(was: Order, chore: Chore, sheet: Sheet, moved_by: timedelta) -> bool:
    if was.at <= sheet.at:
        return False
    hour = hour_of(chore)
    if chore.kind is ChoreKind.CARRY_OUT:
        return hour - was.at > moved_by
    return abs(hour - was.at) > moved_by


def _misled(was: Order, chore: Chore, reason: Reason, sheet: Sheet) -> bool:
    """Whether the spot that was told is too cold for a plant, and by more than a hair."""
    same = chore.kind is not ChoreKind.CARRY_IN or chore.to_spot == was.to_spot
    if same or was.at <= sheet.at:
        return False
    low = sheet.held.get(was.to_spot)
    if low is None or reason.limit is None or reason.unit != "°C":
        return True
    return low < reason.limit - WAKE_K


def _called_off(
    told: Sequence[Order],
    now_asked: AnyOf[tuple[ChoreKind, str]],
    sheet: Sheet,
    safe: Callable[[], AnyOf[str]],
) -> Iterator[Order]:
    """Orders to carry whose hour lies ahead, for those of their plants for which they are off."""
    for order in told:
        off = [name for name in order.plants if (order.kind, name) not in now_asked]
        if order.kind in _CALLED_OFF and order.at > sheet.at and off:
            sure = safe() if order.kind is ChoreKind.CARRY_IN else off
            kept = tuple(name for name in off if name in sure)
            if kept:
                yield replace(order, plants=kept)


_CALLED_OFF = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT})


def only(chore: Chore, names: Sequence[str]) -> Chore:
    """The chore for some of its plants, in this order, each with its own reason."""
    reasons = {reason.plant: reason for reason in chore.because}
    kept = [reasons[name] for name in names if name in reasons]
    return replace(
        chore,
        plants=tuple(reason.plant for reason in kept),
        grounds=type(chore.grounds).of(*(((reason.plant,), reason) for reason in kept)),
        unconfirmed=tuple(one for one in names if one in chore.unconfirmed),
    )


def safe_outside(
    collection: Collection, weather: Weather, state: State, now: datetime
) -> frozenset[str]:
    """Plants that may be told to stay out after all: the night is judged, and mild by a margin.

    By `LEAVE_K`, while it is no close call; or by a chance of at most `WELL_UNDER`.
    """
    plain = Scene(collection, weather, state, now)
    night = sun.night_at_or_after(collection.site, now)
    judged = judge_night(plain, night)
    colder = Scene(collection, _colder(weather), state, now)
    by_margin = ~judge_night(colder, night).needs
    places = np.where(plain.covered(plain.standing), plain.home, plain.standing)
    limits = plain.traits.limits["night_low"]
    chance = chance_in(plain, night, places, limits)
    sure = chance <= WELL_UNDER
    likely = chance >= CLOSE_CALL
    safe = judged.judged & ~judged.needs & ((by_margin & ~likely) | sure)
    return frozenset(plain.names(np.flatnonzero(safe).tolist()))


def _colder(weather: Weather) -> Weather:
    """The weather with the margin against it: so every rule on cold is stricter, whose ever."""
    temp_c = weather.temp_c - LEAVE_K
    return replace(weather, temp_c=temp_c, dew_point_c=np.fmin(weather.dew_point_c, temp_c))
