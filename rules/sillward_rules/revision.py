"""What a newer forecast changes about orders that a grower has been told.

`revise` compares the orders with a sheet drawn up now; `safe_outside` finds the plants for which an
order to carry in may be called off.
"""

from collections import abc
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.chore import URGENT, Chore, ChoreKind, Reason
from sillward_rules.planners.carry import CLOSE_CALL
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.sheet import Sheet
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather

CALL_OFF_MARGIN_K = 1.0
"""An order to carry a plant in is called off only if the plant could stay out even in air colder by
this [K], so that a forecast that hovers at the limit calls nothing off. Judgement."""

CALL_OFF_CHANCE = CLOSE_CALL / 2
"""A plant may also stay out if its chance to fall under the limit is at most this. Judgement."""

MIN_NIGHT_ORDER_K = 0.5
"""After the usual hour nobody is sent out for a leaf that falls less than this under its limit [K],
unless its chance is at least `MIN_NIGHT_ORDER_CHANCE`. Judgement: not worth waking for."""

MIN_NIGHT_ORDER_CHANCE = 2 / 3
"""See `MIN_NIGHT_ORDER_K`. Judgement."""

TAIL = timedelta(hours=1)
"""After the usual hour nobody is sent out for a plant that will be under its limit for no longer
than this, and by less than `CALL_OFF_MARGIN_K`. Judgement: by the time it is in, the cold is
nearly over."""

CORRECTED = URGENT | {ChoreKind.CARRY_OUT}
"""Chores that are corrected; the hours of water and shade are told once."""


@dataclass(frozen=True, slots=True)
class Order:
    """A chore as the grower was told of it.

    at: its deadline; for going out, its start.
    """

    id: str
    kind: ChoreKind
    plants: Sequence[str]
    from_spot: str
    to_spot: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Moved:
    """A chore whose hour or destination has changed, and the hour that was told."""

    chore: Chore
    was: datetime


@dataclass(frozen=True, slots=True)
class Revision:
    """What the grower must be told: new orders, changed hours or spots, and orders called off.

    Each holds only the plants that the change is about.
    """

    added: tuple[Chore, ...] = ()
    moved: tuple[Moved, ...] = ()
    called_off: tuple[Order, ...] = ()

    def __bool__(self) -> bool:
        """Return whether anything has changed."""
        return bool(self.added or self.moved or self.called_off)


def hour_of(chore: Chore) -> datetime:
    """Return the hour that a chore is told by: its start for going out, otherwise its deadline."""
    if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
        return chore.not_before
    return chore.before


def revise(
    told: Sequence[Order],
    sheet: Sheet,
    find_safe: Callable[[], abc.Collection[str]],
    done: abc.Collection[tuple[ChoreKind, str]],
    moved_by: timedelta,
    out_after: timedelta,
) -> Revision:
    """Compare orders that were told with a sheet drawn up now.

    - An order whose hour is over stands. So does the spot that was told, unless it is short of the
      limit by more than `MIN_NIGHT_ORDER_K`.
    - After the usual hour a need that is small, and unsure or nearly over, adds nothing.
    - Only carrying in and out is called off: a cover does no harm.
    - What is not known adds and moves nothing: at night no one is sent out because a forecast did
      not arrive.
    - Going out is called off or postponed, never newly ordered: the morning round does that.

    Parameters
    ----------
    told : Sequence[Order]
        The open orders.
    sheet : Sheet
        The sheet of the newer forecast.
    find_safe : Callable
        Returns the plants that may certainly stay out (`safe_outside`); called only if needed.
    done : Collection[tuple[ChoreKind, str]]
        Kind and plant of what has been acknowledged.
    moved_by : timedelta
        A change of an hour by no more than this is not worth a message.
    out_after : timedelta
        The habit of that name. The same for going out, as the leaf is above its limit for that long
        before the hour that is told.
    """
    by_plant = {(order.kind, name): order for order in told for name in order.plants}
    handled = by_plant.keys() | set(done)
    added: list[Chore] = []
    moved: list[Moved] = []
    asked_now: set[tuple[ChoreKind, str]] = set()
    for chore in sheet.chores:
        if chore.kind not in CORRECTED or chore.overdue_since is not None:
            continue
        asked_now.update((chore.kind, name) for name in _asked_for(chore))
        known = {reason.plant: reason for reason in chore.because if reason.value is not None}
        fresh = _newly_asked(chore, known, handled, sheet.at)
        if fresh:
            added.append(only(chore, fresh))
        by = max(moved_by, out_after) if chore.kind is ChoreKind.CARRY_OUT else moved_by
        moved += _moved_in(chore, known, by_plant, sheet, by)
    return Revision(
        tuple(added), tuple(moved), tuple(_called_off(told, asked_now, sheet, find_safe))
    )


def _newly_asked(
    chore: Chore,
    known: Mapping[str, Reason],
    handled: abc.Collection[tuple[ChoreKind, str]],
    now: datetime,
) -> list[str]:
    """Return the plants of a chore for which it is a new order.

    known: reasons with a value, by plant. handled: kind and plant of what was told or is done.
    """
    if chore.kind not in URGENT:
        return []
    in_vain = {reason.plant for reason in chore.because if _is_in_vain(chore, reason, now)}
    return [
        name
        for name in chore.plants
        if name in known and name not in in_vain and (chore.kind, name) not in handled
    ]


def _moved_in(
    chore: Chore,
    known: Mapping[str, Reason],
    by_plant: Mapping[tuple[ChoreKind, str], Order],
    sheet: Sheet,
    moved_by: timedelta,
) -> Iterator[Moved]:
    """Yield the plants of a chore whose hour or destination has changed, by the hour told."""
    shifted: dict[datetime, list[str]] = {}
    for name in chore.plants:
        order = by_plant.get((chore.kind, name))
        if order is None or name not in known:
            continue
        if _is_shifted(order, chore, sheet, moved_by) or _is_told_spot_too_cold(
            order, chore, known[name], sheet
        ):
            shifted.setdefault(order.at, []).append(name)
    for at, names in shifted.items():
        yield Moved(only(chore, names), at)


def _asked_for(chore: Chore) -> Iterator[str]:
    """Yield the plants of a chore without those listed only because of an earlier order."""
    for reason in chore.because:
        if chore.kind is not ChoreKind.CARRY_IN or reason.rule:
            yield reason.plant


def _is_in_vain(chore: Chore, reason: Reason, now: datetime) -> bool:
    """Return whether an order after its hour would do too little good, or is too unsure."""
    if chore.before > now or reason.value is None or reason.limit is None or reason.unit != "°C":
        return False
    short_k = abs(reason.limit - reason.value)
    if short_k < MIN_NIGHT_ORDER_K and (
        reason.chance is None or reason.chance < MIN_NIGHT_ORDER_CHANCE
    ):
        return True
    return reason.until is not None and reason.until - now < TAIL and short_k < CALL_OFF_MARGIN_K


def _is_shifted(was: Order, chore: Chore, sheet: Sheet, moved_by: timedelta) -> bool:
    if was.at <= sheet.at:
        return False
    hour = hour_of(chore)
    if chore.kind is ChoreKind.CARRY_OUT:
        return hour - was.at > moved_by
    return abs(hour - was.at) > moved_by


def _is_told_spot_too_cold(was: Order, chore: Chore, reason: Reason, sheet: Sheet) -> bool:
    """Return whether the spot that was told is clearly too cold for a plant."""
    same = chore.kind is not ChoreKind.CARRY_IN or chore.to_spot == was.to_spot
    if same or was.at <= sheet.at:
        return False
    low = sheet.spot_lows.get(was.to_spot)
    if low is None or reason.limit is None or reason.unit != "°C":
        return True
    return low < reason.limit - MIN_NIGHT_ORDER_K


def _called_off(
    told: Sequence[Order],
    asked_now: abc.Collection[tuple[ChoreKind, str]],
    sheet: Sheet,
    find_safe: Callable[[], abc.Collection[str]],
) -> Iterator[Order]:
    """Yield the orders to carry whose hour lies ahead, each with the plants for which it is off."""
    for order in told:
        off = [name for name in order.plants if (order.kind, name) not in asked_now]
        if order.kind in _CALLED_OFF and order.at > sheet.at and off:
            sure = find_safe() if order.kind is ChoreKind.CARRY_IN else off
            kept = tuple(name for name in off if name in sure)
            if kept:
                yield replace(order, plants=kept)


_CALLED_OFF = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT})


def only(chore: Chore, names: Sequence[str]) -> Chore:
    """Return the chore for some of its plants, in this order, each with its own reason."""
    reasons = {reason.plant: reason for reason in chore.because}
    kept = [reasons[name] for name in names if name in reasons]
    return replace(
        chore,
        plants=tuple(reason.plant for reason in kept),
        grounds=type(chore.grounds).of(*(((reason.plant,), reason) for reason in kept)),
        unconfirmed=tuple(name for name in names if name in chore.unconfirmed),
    )


def safe_outside(
    collection: Collection, weather: Weather, state: State, now: datetime
) -> frozenset[str]:
    """Return the plants that may be told to stay out after all, because the night is surely mild.

    That is: every hour that counts is known, no rule asks for cover, and either the chance to fall
    under the limit is at most `CALL_OFF_CHANCE`, or air colder by `CALL_OFF_MARGIN_K` would not
    change that and it is no close call.
    """
    plain = Scene(collection, weather, state, now)
    night = sun.night_at_or_after(collection.site, now)
    needs = find_night_needs(plain, night)
    colder = Scene(collection, _colder(weather), state, now)
    by_margin = ~find_night_needs(colder, night).must_be_in
    places = np.where(plain.is_under_cover(plain.standing), plain.home, plain.standing)
    limits = plain.traits.limits["night_low"]
    chance = chance_in(plain, night, places, limits)
    sure = chance <= CALL_OFF_CHANCE
    likely = chance >= CLOSE_CALL
    safe = needs.fully_known & ~needs.must_be_in & ((by_margin & ~likely) | sure)
    return frozenset(plain.names(np.flatnonzero(safe).tolist()))


def _colder(weather: Weather) -> Weather:
    """Return the weather colder by the margin, so that every rule on cold is stricter."""
    temp_c = weather.temp_c - CALL_OFF_MARGIN_K
    return replace(weather, temp_c=temp_c, dew_point_c=np.fmin(weather.dew_point_c, temp_c))
