"""Transitions: everything that changes what is known of a plant (`PlantState`).

Each event has one function here; the shell calls it and stores the result:

    a round was told                       next_state, first_states
    a newer forecast changed the orders    after_revision
    the grower says that a chore is done   answered
    ... that it is not needed              declined, without_declined
    ... that the plant stands elsewhere    moved_by_hand
    ... what they see of it                `plants.sightings`
    an answer is taken back                without_answer
    the morning round reached nobody       believable_states

Being told is not being done. An order to carry in stays open in the state (`asked`) until somebody
confirms it or it is called off. The move itself is assumed meanwhile, for planning alone.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.plants import care_merging, salt_balance
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.state import LONG_STAY, Declined, OpenOrder, PlantState, State
from sillward_rules.round import Round
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

if TYPE_CHECKING:
    from sillward_rules.revision import Revision
    from sillward_rules.sheet import Sheet

_MOVES = frozenset(
    {
        (Round.DUSK, ChoreKind.CARRY_IN),
        (Round.MORNING, ChoreKind.CARRY_IN),
        (Round.MORNING, ChoreKind.CARRY_OUT),
        (Round.MORNING, ChoreKind.MOVE),
    }
)
"""What each round orders for now. What it says of tomorrow moves nothing yet."""

_UNDONE = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.MOVE})
"""Kinds whose move is assumed once they are told, and is not any more once they are declined."""

_ORDERING = frozenset({ChoreKind.CARRY_IN, ChoreKind.MOVE})
"""Kinds that open an order in the state."""

_CARRIES = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT})

_WET_LEAVES = WETTINGS - {ChoreKind.WATER}
"""Kinds after which leaves are wet; what goes into the pot alone wets none."""

_FEEDS, _RINSES = (
    frozenset({ChoreKind.FEED, ChoreKind.WATER}),
    frozenset({ChoreKind.FLUSH, ChoreKind.LEACH}),
)
"""Kinds that feed, a watering of a pot only with a feed in it (`_is_one_of`); and that rinse."""


# -- a round was told


def next_state(known: State, sheet: "Sheet") -> dict[str, PlantState]:
    """Return the states once a round has been told: its advice is assumed to be followed.

    What is known takes precedence over the sheet's own states, which leave out moves that lie
    ahead. An overdue order changes nothing: it was told before, and the state holds it. The nights
    that the plants went through, and what their care has come to, are counted by the sheet of the
    morning.
    """
    after = {**_lasting_states(sheet), **known}
    if sheet.round is Round.MORNING:
        after |= {
            name: replace(after[name], cold=state.cold, care=state.care)
            for name, state in sheet.states.items()
            if name in after
        }
    for chore in sheet.chores:
        if chore.overdue_since is not None:
            continue
        old = {name: after.get(name, sheet.states[name]) for name in chore.plants}
        if (sheet.round, chore.kind) in _MOVES and _stays_there(chore):
            after |= changed(old, partial(told_to_move, chore=chore))
        elif sheet.round is Round.MORNING and chore.kind in WETTINGS:
            after |= changed(old, partial(watered, wetting=_told(chore)))
    return after


def _told(chore: Chore) -> Wetting:
    """Return the watering that is assumed once a chore has been told."""
    return Wetting(chore.kind, chore.before, due=chore.before, of=chore.what)


def changed(old: State, change: Callable[[PlantState], PlantState]) -> dict[str, PlantState]:
    """Return the states after a change; plants that share a state share the one that follows."""
    after = {id(state): change(state) for state in {id(s): s for s in old.values()}.values()}
    return {name: after[id(state)] for name, state in old.items()}


def first_states(known: State, sheet: "Sheet") -> dict[str, PlantState]:
    """Return the sheet's states of the plants that have no known state yet."""
    return {name: state for name, state in _lasting_states(sheet).items() if name not in known}


def _lasting_states(sheet: "Sheet") -> dict[str, PlantState]:
    """Return the states of a sheet without those assumed for its morning only."""
    return {name: state for name, state in sheet.states.items() if name not in sheet.presumed_in}


def _stays_there(chore: Chore) -> bool:
    """Return whether plants stay where a chore takes them until another chore moves them.

    A move out of the heat that ends the same day does not.
    """
    if chore.kind is not ChoreKind.MOVE:
        return True
    return all(reason.until is None for reason in chore.grounds.reasons)


def told_to_move(state: PlantState, chore: Chore) -> PlantState:
    """Return the state of a plant once a chore that moves it has been told.

    The move is assumed from the hour of the chore on. Carrying in, and a move out of the heat,
    open an order that stays until somebody confirms it, also when the plant goes out again.
    """
    order = state.asked
    if chore.kind is ChoreKind.CARRY_IN:
        order = _order_of(state, chore)
    elif chore.kind is ChoreKind.MOVE:
        order = OpenOrder(chore.from_spot, chore.to_spot, chore.before, for_heat=True)
    after = replace(
        state,
        spot=chore.to_spot,
        since=chore.not_before or chore.before,
        assumed=True,
        came_from=chore.from_spot,
        asked=order,
        declined=_others(state, chore.kind, date.fromisoformat(chore.day)),
    )
    return _with_brighter_since(state, after, chore.kind)


def _order_of(state: PlantState, chore: Chore) -> OpenOrder:
    """Return the order of a chore, with when the plant goes out first if that was told too."""
    order = OpenOrder(chore.from_spot, chore.to_spot, chore.before)
    if state.assumed and state.came_from is not None and state.spot == chore.from_spot:
        return replace(order, out_of=state.came_from, out_at=state.since)
    earlier = state.asked
    if earlier is not None and earlier.from_spot == chore.from_spot:
        return replace(order, out_of=earlier.out_of, out_at=earlier.out_at)
    return order


# -- a newer forecast changed the orders


def after_revision(known: State, sheet: "Sheet", revision: "Revision") -> dict[str, PlantState]:
    """Return the states once a change of orders has been told."""
    after = {**sheet.states, **known}
    for order in revision.called_off:
        if order.kind in _CARRIES:
            old = {name: after[name] for name in order.plants}
            after |= changed(old, partial(called_off, kind=order.kind, now=sheet.at))
    for chore in (*revision.added, *(moved.chore for moved in revision.moved)):
        if chore.kind in _CARRIES:
            old = {name: after[name] for name in chore.plants}
            now = changed(old, lambda state: state.at(sheet.at))
            after |= changed(now, partial(told_to_move, chore=chore))
    return after


def called_off(state: PlantState, kind: ChoreKind, now: datetime) -> PlantState:
    """Return the state of a plant once an order of this kind to carry it is called off."""
    out_for_good = state.without_return(now)
    if out_for_good is not state:
        # It was to go out and come in again. Without the coming in it is out; without the going
        # out it stays inside, where the coming in has nothing to undo.
        return out_for_good if kind is ChoreKind.CARRY_IN else state
    if state.assumed and state.came_from is not None:
        state = replace(state, spot=state.came_from, came_from=None)
    return replace(state, asked=None) if kind is ChoreKind.CARRY_IN else state


# -- the grower says that a chore is done


def answered(
    state: PlantState,
    kind: ChoreKind,
    to_spot: str,
    before: datetime,
    now: datetime,
    *,
    of: str = "",
) -> PlantState:
    """Return the state of a plant once the grower says that a chore of these days is done.

    to_spot, before: where the chore takes it, and its deadline. A chore that is older than the
    plant's last move (`is_older`) moves nothing; it confirms the open order if that is no newer.
    of: the feed or course of a watering, as in `Chore.what`.
    """
    if kind in WETTINGS:
        return watered(state, _done(kind, before, now, of))
    if is_older(state, kind, before):
        confirms = state.asked is not None and state.asked.before <= before
        return replace(state, asked=None) if confirms else state
    return acknowledged(state, kind, to_spot, now)


def _done(kind: ChoreKind, before: datetime, now: datetime, of: str) -> Wetting:
    """Return a watering that the grower says is done, as of its deadline if that is over.

    What dries since then must not be taken for wet. But a flush is never taken back to where the
    salts are settled without it.
    """
    at = min(now, before)
    if kind is ChoreKind.LEACH:
        at = max(at, now - salt_balance.SETTLED_AFTER)
    said_at = now if at < now else None
    return Wetting(kind, at, confirmed=True, due=before, of=of, said_at=said_at)


def is_older(state: PlantState, kind: ChoreKind, before: datetime) -> bool:
    """Return whether a plant has moved since the deadline of a chore that moves or keeps it.

    For example, a plant that was to go out this morning is not brought in by the answer that last
    night's carrying in is done.
    """
    return kind not in WETTINGS and state.since is not None and state.since > before


def acknowledged(state: PlantState, kind: ChoreKind, to_spot: str, now: datetime) -> PlantState:
    """Return the state of a plant once the grower says that a chore has just been done."""
    if kind in WETTINGS:
        return watered(state, Wetting(kind, now, confirmed=True))
    # A move may be over by now, and the plant back: only where it stands there still, it is known.
    unmoved = kind is ChoreKind.STAY_IN or kind is ChoreKind.MOVE
    if kind is ChoreKind.CARRY_IN:  # so it was needed after all
        state = replace(state, declined=_without_kind(state, kind))
    if unmoved and state.spot == to_spot:
        return replace(state, assumed=False, came_from=None, asked=None)
    if kind in _CARRIES or kind is ChoreKind.STAY_IN:
        after = replace(state, spot=to_spot, since=now, assumed=False, came_from=None, asked=None)
        return _with_brighter_since(state, after, kind)
    return state


# -- the grower says that it is not needed, or that the plant stands elsewhere


def declined(state: PlantState, chore: Declined) -> PlantState:
    """Return the state of a plant once the grower says that a chore is not needed for it.

    It stays where it stands: a move that was assumed has not happened, and its order is closed. A
    chore that is older than the plant's last move (`is_older`) takes nothing back. A plant that was
    to go out first and come in again stays in if the going out is not needed, and is out from that
    hour on if the coming in is not.
    """
    kept = _others(state, chore.kind, chore.day, chore.before)
    state = replace(state, declined=(*kept, chore))
    if chore.kind in WETTINGS:
        return _not_watered(state, chore.kind, chore.before)
    asked = state.asked
    if chore.kind is ChoreKind.CARRY_OUT and going_out_first(state, chore.at):
        assert asked is not None
        assert asked.out_of is not None
        return replace(state, spot=asked.out_of, since=None, came_from=None, asked=None)
    if chore.kind is ChoreKind.CARRY_IN:
        out_for_good = state.without_return(chore.at)
        if out_for_good is not state:
            return out_for_good
    if chore.kind in _UNDONE and not is_older(state, chore.kind, chore.before):
        way = (chore.from_spot, chore.to_spot)
        if state.assumed and (state.came_from, state.spot) == way:
            state = replace(state, spot=chore.from_spot, since=None, came_from=None)
    closes = chore.kind in _ORDERING and asked is not None and asked.before <= chore.before
    return replace(state, asked=None) if closes else state


def going_out_first(state: PlantState, now: datetime) -> bool:
    """Return whether a plant was told to go out at a later hour, and to come in again after."""
    return state.without_return(now) is not state


def with_declined(
    after: PlantState, said: Sequence[Declined], later: Collection[Declined]
) -> PlantState:
    """Return a state that was worked out earlier, with what the grower has declined since.

    said: all that is declined by now. later: those of them that `after` knows nothing of.
    """
    kept = tuple(one for one in said if one in after.declined and one not in later)
    state = replace(after, declined=kept)
    for one in said:
        if one in later:
            state = declined(state, one)
    return state


def with_care(after: PlantState, known: PlantState | None) -> PlantState:
    """Return a state that was worked out earlier, with the care that is known by now."""
    if known is None:
        return after
    care = care_merging.with_answers(after.care, known.care)
    return replace(
        after,
        care=care,
        misted_at=_last(care, _WET_LEAVES, known.misted_at),
        fed_at=_last(care, _FEEDS, known.fed_at),
        rinsed_at=_last(care, _RINSES, known.rinsed_at),
    )


def with_place_of(after: PlantState, known: PlantState) -> PlantState:
    """Return a state that was worked out earlier, standing where the plant is known to stand."""
    fields: dict[str, Any] = {name: getattr(known, name) for name in (*_PLACE, "declined")}
    return replace(after, **fields)


def with_care_of(ours: PlantState, base: PlantState, theirs: PlantState) -> PlantState:
    """Return our state with what has become of the care of the plant in theirs since the base."""
    fields: dict[str, Any] = {}
    for name in _WATERED:
        before, mine, other = (getattr(one, name) for one in (base, ours, theirs))
        fields[name] = care_merging.of_two(before, mine, other, max)
    return replace(ours, care=care_merging.merged(base.care, ours.care, theirs.care), **fields)


def _last(care: Care, kinds: Collection[ChoreKind], earlier: datetime | None) -> datetime | None:
    """Return when a plant was last given one of these kinds; `earlier` if that was days ago."""
    return max((one.at for one in care.wettings if _is_one_of(kinds, one, care)), default=earlier)


def _is_one_of(kinds: Collection[ChoreKind], one: Wetting, care: Care) -> bool:
    """Return whether a watering is one of these kinds.

    That of a pot with a feed is one that feeds: once it is confirmed, as all that goes into pots.
    """
    if one.kind not in kinds or one.kind is not ChoreKind.WATER:
        return one.kind in kinds
    return one.confirmed and bool(one.of) and care.course(one.of) is None


def moved_by_hand(state: PlantState, spot: str, now: datetime, *, is_safe: bool) -> PlantState:
    """Return the state of a plant of which the grower says that it now stands at a spot.

    An open order is done by that if it is the spot to which the plant was to go, or a safe one.
    Otherwise it stays open, from where the plant is now.

    is_safe: whether the spot is known to keep the plant (`Spot.is_known_to_keep`).
    """
    asked = state.asked
    if asked is not None:
        done = is_safe or spot == asked.to_spot
        asked = None if done else replace(asked, from_spot=spot, out_of=None, out_at=None)
    kept = _without_kind(state, ChoreKind.CARRY_IN) if is_safe else state.declined
    return replace(
        state,
        spot=spot,
        since=now,
        assumed=False,
        came_from=None,
        asked=asked,
        declined=kept,
    )


def _not_watered(state: PlantState, kind: ChoreKind, before: datetime) -> PlantState:
    """Return the state without the watering that was assumed at a deadline: it was not done.

    When the plant was watered before that may not be known any more; then it is due again soon.
    """
    care = state.care.not_wetted(kind, before)

    def last(at: datetime | None, kinds: Collection[ChoreKind]) -> datetime | None:
        return _last(care, kinds, None) if kind in kinds and at == before else at

    return replace(
        state,
        misted_at=last(state.misted_at, _WET_LEAVES),
        fed_at=last(state.fed_at, _FEEDS),
        rinsed_at=last(state.rinsed_at, _RINSES),
        care=care,
    )


def _others(
    state: PlantState, kind: ChoreKind, day: date, before: datetime | None = None
) -> tuple[Declined, ...]:
    """Return what was declined, without a chore of this kind and day and what is long over.

    before: the deadline of the chore, which tells several waterings of a day apart.
    """
    return tuple(
        one
        for one in state.declined
        if one.day >= day - timedelta(days=1)
        and not (
            (one.kind, one.day) == (kind, day)
            and (kind not in WETTINGS or before is None or one.before == before)
        )
    )


def _without_kind(state: PlantState, kind: ChoreKind) -> tuple[Declined, ...]:
    return tuple(one for one in state.declined if one.kind is not kind)


def all_confirmed(known: State) -> dict[str, PlantState]:
    """Return the states once the grower says that everything that was asked is done."""
    return {name: replace(state, asked=None) for name, state in known.items()}


def watered(state: PlantState, wetting: Wetting) -> PlantState:
    """Return the state of a plant once it has been misted, fed, rinsed, watered or flushed."""

    def last(earlier: datetime | None, kinds: Collection[ChoreKind]) -> datetime | None:
        if not _is_one_of(kinds, wetting, state.care):
            return earlier
        since = earlier is not None and wetting.at < earlier <= wetting.known_at
        return earlier if since else wetting.at

    return replace(
        state,
        misted_at=last(state.misted_at, _WET_LEAVES),
        fed_at=last(state.fed_at, _FEEDS),
        rinsed_at=last(state.rinsed_at, _RINSES),
        care=state.care.wetted(wetting),
    )


# -- an answer is taken back


def without_answer(state: PlantState, before: PlantState, after: PlantState) -> PlantState:
    """Return the state of a plant without what an answer has changed, whatever came since.

    before, after: the states before the answer and just after it. Where the plant stands is left
    if it has moved since (`has_moved_since`).
    """
    names = [name for name in _WATERED if getattr(state, name) == getattr(after, name)]
    if _place(state) == _place(after):
        names += _PLACE
    added = set(after.declined).difference(before.declined)
    dropped = (one for one in before.declined if one not in after.declined)
    left = [one for one in state.declined if one not in added]
    fields: dict[str, Any] = {name: getattr(before, name) for name in names}
    return replace(
        state,
        declined=(*left, *(one for one in dropped if one not in left)),
        care=care_merging.without_answer(state.care, before.care, after.care),
        **fields,
    )


def has_moved_since(state: PlantState, before: PlantState, after: PlantState) -> bool:
    """Return whether a plant that an answer has moved, or whose order it has closed, has moved or
    been told to since."""
    return _place(after) not in (_place(state), _place(before))


_WATERED = ("misted_at", "fed_at", "rinsed_at")
_PLACE = ("spot", "since", "assumed", "came_from", "brighter_since", "asked")


def _place(state: PlantState) -> tuple[object, ...]:
    return tuple(getattr(state, name) for name in _PLACE)


def _with_brighter_since(before: PlantState, after: PlantState, kind: ChoreKind) -> PlantState:
    """Note when a plant comes out into more light after a long stay under cover."""
    if kind is not ChoreKind.CARRY_OUT or before.since is None or after.since is None:
        return after
    if after.since - before.since < LONG_STAY:
        return after
    return replace(after, brighter_since=after.since)


# -- the morning round reached nobody


def believable_states(known: State, site: Site, now: datetime) -> State:
    """Return what is still believed in the afternoon of a day whose morning round reached nobody.

    A plant that is only assumed to stand where it was put before that morning may have been taken
    out since. It is left out, so that it has no history and is told to go in.
    """
    day = sun.night_at_or_after(site, now).day
    if now < site.middle_of_day(day):
        return known
    sunrise = sun.day_events(site, day).sunrise
    return {
        name: state
        for name, state in known.items()
        if not state.assumed or state.since is None or state.since > sunrise
    }
