"""Which plans of a round still hold: what goes out, and what stays in.

Pure. A put-out may be held back, because a plant that stays in takes no harm; an order to carry in
never is.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward.ledger import StoredChore
from sillward_rules.chore import Chore, ChoreKind, only
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

SHORT_STAY = timedelta(hours=2)
"""A plant is not put out if it must be in again so soon. Judgement: two walks for nothing."""

CALM = timedelta(hours=2)
"""Gusts are over so long after the strongest. Judgement: a front has passed by then."""

_PLANS = frozenset({ChoreKind.CARRY_OUT, ChoreKind.STAY_IN})


@dataclass(frozen=True, slots=True)
class ToldRound:
    """A daily round that was told."""

    round: Round
    day: date


def told_last(today: date, is_told: Callable[[Round, date], bool]) -> ToldRound | None:
    """Return the daily round of this date, or else of the evening before, that was told last.

    It may be late, as after an outage: until a newer one, what it says is all that is known.
    """
    for day in (today, today - timedelta(days=1)):
        for round_ in (Round.DUSK, Round.MORNING):
            if is_told(round_, day):
                return ToldRound(round_, day)
    return None


@dataclass(frozen=True, slots=True)
class HeldBack:
    """Why a put-out is no order any more, and for which of its plants it still is one."""

    why: str
    left: Chore | None = None


def holds(kept: StoredChore, told: ToldRound | None) -> bool:
    """Whether no later round has planned the same day anew.

    What the evening said of the next day holds until the morning round of that day is told, and
    what stays in by day until the evening round is. told: the last one that was told, if any.
    """
    if told is None or not kept.open or kept.kind not in _PLANS or _asks(kept):
        return True
    day = str(told.day)
    by_day = kept.kind is ChoreKind.CARRY_OUT or kept.chore.not_before is not None
    if not by_day:  # it stays in for the night of its day
        return kept.day >= day
    if kept.is_of_next_day and kept.day == day:
        return False
    if kept.kind is ChoreKind.CARRY_OUT:
        return True
    return kept.day > day if told.round is Round.DUSK else kept.day >= day


def is_of_last_night(kept: StoredChore, site: Site, now: datetime) -> bool:
    """Whether an order was for a night, or for gusts, that is over, and nobody has said that it was
    done."""
    if not kept.open or kept.before > now:
        return False
    if kept.kind is ChoreKind.STAY_IN:
        return _asks(kept)
    if kept.kind is ChoreKind.SECURE:
        return max(reason.until or reason.at for reason in kept.chore.because) + CALM <= now
    is_for_night = kept.kind in (ChoreKind.CARRY_IN, ChoreKind.COVER)
    return is_for_night and sun.night_at_or_after(site, kept.before).end <= now


def is_asked_again(kept: StoredChore, told: ToldRound | None) -> bool:
    """Whether a later dusk round has planned for the same plants anew."""
    return told is not None and told.round is Round.DUSK and str(told.day) > kept.day


def _asks(kept: StoredChore) -> bool:
    """Whether plants should be in, and nobody has confirmed it."""
    return kept.kind is ChoreKind.STAY_IN and bool(kept.chore.unconfirmed)


def held_back(
    out: StoredChore, others: Mapping[str, Chore], *, stored: Sequence[StoredChore], now: datetime
) -> HeldBack | None:
    """Return why an open put-out is no order now; None if it is one for all of its plants.

    others: each chore by its id, without plants that were removed.
    stored: the chores that hold, without those that are of last night.
    """
    chore = others[out.id]
    if out.before <= now:
        return HeldBack("its hours are over")
    start = chore.not_before or chore.before
    inside = {
        name
        for kept in stored
        if kept.open and kept.id in others and _keeps_in(kept, start, now)
        for name in others[kept.id].plants
    }
    left = [name for name in chore.plants if name not in inside]
    if len(left) == len(chore.plants):
        return None
    return HeldBack("not now: it has to be in", only(chore, left) if left else None)


def still_planned(
    stored: Sequence[StoredChore],
    told: ToldRound | None,
    site: Site,
    now: datetime,
    *,
    is_blind: bool,
) -> list[StoredChore]:
    """Return the chores that still hold, put-outs with those of their plants that may go out.

    is_blind: whether there is no forecast by which a night can be judged.
    """
    holding = [kept for kept in stored if holds(kept, told)]
    in_force = [kept for kept in holding if not is_of_last_night(kept, site, now)]
    chores = {kept.id: kept.chore for kept in holding}
    found = []
    for kept in holding:
        if kept.kind is not ChoreKind.CARRY_OUT or not kept.open:
            found.append(kept)
            continue
        held = held_back(kept, chores, stored=in_force, now=now)
        if is_blind or (held is not None and held.left is None):
            continue
        found.append(kept if held is None or held.left is None else replace(kept, chore=held.left))
    return found


def _keeps_in(kept: StoredChore, out_from: datetime, now: datetime) -> bool:
    """Whether a chore has its plants inside when they would go out, or soon after."""
    if kept.kind is ChoreKind.STAY_IN:
        return kept.before > max(out_from, now)
    if kept.kind is not ChoreKind.CARRY_IN:
        return False
    if kept.before <= now:  # it should be in, and nobody has said that it is
        return True
    return out_from < kept.before < max(out_from, now) + SHORT_STAY
