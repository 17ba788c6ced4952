"""What a newer forecast changes about orders that a grower has been told.

`revise` compares the orders with a sheet drawn up now; `safe_outside` finds the plants for which an
order to carry in may be called off.
"""

from collections import abc
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.chore import URGENT, Chore, ChoreKind, Reason, Weighing, only
from sillward_rules.planners.nights import find_night_needs, is_harmless
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import DEFAULT_CAUTION, Collection
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round, Sheet
from sillward_rules.trips import DISPLAY_STEP
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.spot import Spot

MIN_ADDED_GAIN = 10.0
"""After its round a plant is ordered in only if that gains as much as this, in trips. Judgement: it
is a message and a walk more, for a plant of which the round has said nothing."""

MIN_NIGHT_GAIN = 20.0
"""The same after the usual hour, for a leaf that by the forecast falls less than `TAIL_K` under its
limit. Judgement: it is dark, and the grower at rest.
"""

COLDER_THAN_TOLD_K = 0.5
"""The spot that was told is kept unless it is short of the limit by more than this [K]. Judgement:
no household thermometer tells less apart."""

NOTICE = timedelta(minutes=45)
"""A plant that by the forecast itself is under its limit no sooner than this after the dusk round
is told of by that; and an alarm gives so much time, where there is. Judgement: time enough to carry
some plants in."""

KEPT_LEAD = timedelta(minutes=20)
"""An hour that was told stands if by the forecast itself the leaf is above its limit for so long
after it. Judgement: the time that it takes to carry some plants in.
"""

TAIL = timedelta(hours=1)
"""After the usual hour nobody is sent out for a plant that will be under its limit for no longer
than this, and by less than `TAIL_K`. Judgement: by the time it is in, the cold is nearly over."""

TAIL_K = 1.0
"""See `TAIL` [K]."""

CLEAR_K = 2.0
"""An order by a bound that no harm is worked out for, as that of injury or of a grower's own rule,
is called off only if the night stays this far above it [K]. Judgement: the forecast of a night is
off by so much one time in ten.
"""

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


def watched_spots(spots: Iterable[Spot]) -> frozenset[str]:
    """Return the spots where a thermometer shows the night to be colder than forecast."""
    return frozenset(spot.name for spot in spots if spot.tonight is not None)


def parted(revision: Revision, watched: abc.Collection[str]) -> tuple[Revision, Revision]:
    """Return what thermometers ask for, as an alarm, and the rest of a revision.

    An alarm orders plants in from the spots `watched` of which no order was told before.
    """
    alarm = Revision(tuple(chore for chore in revision.added if _is_watched(chore, watched)))
    left = tuple(chore for chore in revision.added if not _is_watched(chore, watched))
    return alarm, replace(revision, added=left)


def _is_watched(chore: Chore, watched: abc.Collection[str]) -> bool:
    """Return whether a chore is to carry in because of a thermometer."""
    return chore.kind is ChoreKind.CARRY_IN and chore.from_spot in watched


def _in_time(chore: Chore, now: datetime) -> Chore:
    """Return an order of a thermometer with the hour by which it must be done.

    That is `NOTICE` from now, if the leaf stays above its limit until `KEPT_LEAD` after that; or
    else sooner, down to at once. The sheet itself has it done at once, as late as it is.
    """
    crossings = [reason.crosses_at for reason in chore.because if reason.crosses_at is not None]
    until = min([crossing - KEPT_LEAD for crossing in crossings] + [now + NOTICE])
    step_s = DISPLAY_STEP.total_seconds()
    before = moment(until.timestamp() // step_s * step_s).astimezone(chore.before.tzinfo)
    return replace(chore, before=before) if before > max(now, chore.before) else chore


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
    watched: abc.Collection[str] = (),
) -> Revision:
    """Compare orders that were told with a sheet drawn up now.

    - An order whose hour is over stands. So does the spot that was told, unless it is short of the
      limit by more than `COLDER_THAN_TOLD_K`.
    - A plant that the round left out is ordered in only if much is at stake (`MIN_ADDED_GAIN`,
      `MIN_NIGHT_GAIN`). That holds for the comfort limit; injury and other rules are told as they
      are.
    - Going out is not corrected before its hour comes up in the next round.
    - An hour that was told is moved only if by the forecast itself, whatever its errors, it is too
      late to carry in, or too early to carry out.
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
    watched : Collection[str]
        The spots where a thermometer shows the night to be colder than forecast (`Spot.tonight`).
    """
    by_plant = {(order.kind, name): order for order in told for name in order.plants}
    handled = by_plant.keys() | set(done)
    added: list[Chore] = []
    moved: list[Moved] = []
    asked_now: set[tuple[ChoreKind, str]] = set()
    for chore in sheet.chores:
        if chore.kind not in CORRECTED or chore.overdue_since is not None:
            continue
        told_here = any((chore.kind, name) in by_plant for name in chore.plants)
        is_new = chore.kind in URGENT and any(
            (chore.kind, name) not in handled for name in chore.plants
        )
        if not (told_here or is_new):
            continue
        asked_now.update((chore.kind, name) for name in _asked_for(chore))
        known = {reason.plant: reason for reason in chore.because if reason.value is not None}
        fresh = _newly_asked(chore, known, handled, sheet, watched)
        if fresh:
            new = only(chore, fresh)
            added.append(_in_time(new, sheet.at) if _is_watched(new, watched) else new)
        by = max(moved_by, out_after) if chore.kind is ChoreKind.CARRY_OUT else moved_by
        moved += [
            one
            for one in _moved_in(chore, known, by_plant, sheet, by)
            # What an alarm has called in is told once; so much time it gives.
            if not (_is_watched(chore, watched) and one.was <= sheet.at + NOTICE)
        ]
    return Revision(
        tuple(added), tuple(moved), tuple(_called_off(told, asked_now, sheet, find_safe))
    )


def _newly_asked(
    chore: Chore,
    known: Mapping[str, Reason],
    handled: abc.Collection[tuple[ChoreKind, str]],
    sheet: Sheet,
    watched: abc.Collection[str],
) -> list[str]:
    """Return the plants of a chore for which it is a new order.

    known: reasons with a value, by plant. handled: kind and plant of what was told or is done.
    """
    if chore.kind not in URGENT:
        return []
    if _is_watched(chore, watched):
        in_vain = {reason.plant for reason in chore.because if not _is_alarming(reason)}
    else:
        in_vain = {reason.plant for reason in chore.because if _is_in_vain(chore, reason, sheet)}
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
        if _is_shifted(order, chore, known[name], sheet, moved_by) or _is_told_spot_too_cold(
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


def _is_in_vain(chore: Chore, reason: Reason, sheet: Sheet) -> bool:
    """Return whether an order after its round would do too little good, or is told in time by the
    next round.
    """
    now, is_late = sheet.at, chore.before <= sheet.at
    if _is_told_at_dusk(reason, sheet):
        return True
    if reason.weighing is not None:
        usual_gain = _usual_gain(reason.weighing)
        is_deep = reason.value is not None and reason.value <= (reason.limit or 0.0) - TAIL_K
        if usual_gain < (MIN_NIGHT_GAIN if is_late and not is_deep else MIN_ADDED_GAIN):
            return True
    if not is_late or reason.value is None or reason.limit is None or reason.unit != "°C":
        return False
    short_k = abs(reason.limit - reason.value)
    return reason.until is not None and reason.until - now < TAIL and short_k < TAIL_K


def _is_alarming(reason: Reason) -> bool:
    """Return whether a plant must be called in at once by a thermometer at its spot.

    It must if by that its leaf falls under the limit more likely than not, and to carry it in gains
    as much as for a newer forecast (`MIN_ADDED_GAIN`). docs/replay.md has what comes of it.
    """
    if reason.value is None or reason.limit is None or reason.unit != "°C":
        return False
    is_worth_it = reason.weighing is None or _usual_gain(reason.weighing) >= MIN_ADDED_GAIN
    return reason.value <= reason.limit and is_worth_it


def _usual_gain(weighing: Weighing) -> float:
    """Return what a trip gains at the usual caution at least, in trips."""
    return max(weighing.gain, weighing.harm * DEFAULT_CAUTION)


def _is_told_at_dusk(reason: Reason, sheet: Sheet) -> bool:
    """Return whether the dusk round tells in time of what a day's forecast has brought."""
    if sheet.round is not Round.MORNING or sheet.next_round_at is None:
        return False
    if reason.crosses_at is None:  # the forecast itself does not get so far
        return reason.weighing is not None
    return reason.crosses_at > sheet.next_round_at + NOTICE


def _is_shifted(
    was: Order, chore: Chore, reason: Reason, sheet: Sheet, moved_by: timedelta
) -> bool:
    """Return whether the hour that was told will not do any more.

    A plant that could go in later, or out earlier, than it was told comes to no harm by that.
    """
    if was.at <= sheet.at or _is_told_again(was, sheet):
        return False
    hour, crosses_at = hour_of(chore), reason.crosses_at
    if chore.kind is ChoreKind.CARRY_OUT:
        too_early = crosses_at is not None and was.at < crosses_at
        return too_early and hour - was.at > moved_by
    if chore.kind is ChoreKind.CARRY_IN and reason.weighing is not None:
        too_late = crosses_at is not None and was.at > crosses_at - KEPT_LEAD
        return too_late and was.at - hour > moved_by
    return abs(hour - was.at) > moved_by


def _is_told_spot_too_cold(was: Order, chore: Chore, reason: Reason, sheet: Sheet) -> bool:
    """Return whether the spot that was told is clearly too cold for a plant."""
    same = chore.kind is not ChoreKind.CARRY_IN or chore.to_spot == was.to_spot
    if same or was.at <= sheet.at:
        return False
    low = sheet.spot_lows.get(was.to_spot)
    if low is None or reason.limit is None or reason.unit != "°C":
        return True
    return low < reason.limit - COLDER_THAN_TOLD_K


def _called_off(
    told: Sequence[Order],
    asked_now: abc.Collection[tuple[ChoreKind, str]],
    sheet: Sheet,
    find_safe: Callable[[], abc.Collection[str]],
) -> Iterator[Order]:
    """Yield the orders to carry whose hour lies ahead, each with the plants for which it is off."""
    for order in told:
        off = [name for name in order.plants if (order.kind, name) not in asked_now]
        is_ahead = order.at > sheet.at and not _is_told_again(order, sheet)
        if order.kind in _CALLED_OFF and is_ahead and off:
            sure = find_safe() if order.kind is ChoreKind.CARRY_IN else _kept_in(order, sheet)
            kept = tuple(name for name in off if name in sure)
            if kept:
                yield replace(order, plants=kept)


def _is_told_again(order: Order, sheet: Sheet) -> bool:
    """Return whether the next round tells of this going out before its hour."""
    next_round_at = sheet.next_round_at
    if order.kind is not ChoreKind.CARRY_OUT or next_round_at is None:
        return False
    return next_round_at < order.at


def _kept_in(order: Order, sheet: Sheet) -> set[str]:
    """Return the plants that would come to harm if they went out as they were told.

    For the others the day is not worth two trips by the newer forecast, and that is no news.
    """
    return {
        reason.plant
        for chore in sheet.chores
        if chore.kind is ChoreKind.STAY_IN and chore.not_before is not None
        for reason in chore.because
        if reason.plant in order.plants and not _is_mild(reason, order.at)
    }


def _is_mild(reason: Reason, at: datetime) -> bool:
    """Return whether a plant that stays in for this reason by day may go out at this hour."""
    if reason.above or reason.value is None or reason.quantity != "leaf temperature":
        return False
    warm_enough = reason.limit is None or reason.value > reason.limit + MILD_DAY_K
    return warm_enough and (reason.crosses_at is None or reason.crosses_at <= at)


MILD_DAY_K = 2.0
"""A day whose warmest hour is this far above the limit harms no plant that goes out [K], even if it
gains little. Judgement: the forecast of a day's high is off by as much one day in ten."""

_CALLED_OFF = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT})


def safe_outside(
    collection: Collection, weather: Weather, state: State, now: datetime
) -> frozenset[str]:
    """Return the plants that may be told to stay out after all, because the night is surely mild.

    That is: every hour that counts is known, no rule asks for cover, and the harm that may come is
    worth next to nothing (`nights.is_harmless`). Where no harm is worked out, as for injury alone
    and for rules of the grower's own, the night must stay clear of the bound (`CLEAR_K`).
    """
    scene = Scene(collection, weather, state, now)
    night = sun.night_at_or_after(collection.site, now)
    needs = find_night_needs(scene, night)
    harmless = is_harmless(scene, night, needs, CLEAR_K)
    safe = needs.fully_known & ~needs.must_be_in & harmless
    return frozenset(scene.names(np.flatnonzero(safe).tolist()))
