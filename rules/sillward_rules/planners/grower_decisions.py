"""Chores that the grower has declined: they are not planned again that day, unless it gets worse.

The grower knows more than the forecast does: the plant may be gone, or stand under a fleece. But
what was said was said of the numbers that were known then. Once it is markedly worse than that, the
chore is told anew.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import finite_or_none
from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Reason, only
from sillward_rules.planners import open_orders
from sillward_rules.planners.nights import NightNeeds, tail_ends
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.state import Declined, Ground
from sillward_rules.remark import LeftOutByChoice, NotNeeded
from sillward_rules.trips import round_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.sun import Night

WORSE_K = 1.5
"""What was declined is told anew if the forecast is worse by this than it was then [K]. Judgement:
the low of a night is forecast no better than to a degree, and who was told 4 °C has thought of 3 °C
too."""

WORSE_READ_K = 0.5
"""The same where a thermometer at the spot shows it [K]. Judgement: no household thermometer tells
less apart, and what is read is no forecast that may be wrong."""

WORSE_SHARE = 0.25
"""The same for all that is no temperature, as gusts, as a share of what was told. Judgement: a
quarter more wind pushes half as hard again."""


def respected(scene: Scene, night: Night, needs: NightNeeds) -> NightNeeds:
    """Return the needs of a night without the plants that the grower has decided to leave out.

    `NightNeeds.declined` has them. What is told again, because it is worse than it was, is a need.
    """
    said = _declined_of(scene, ChoreKind.CARRY_IN, night.day)
    ordered = scene.has_order_of(night)
    left = [
        cohort
        for cohort, one in said.items()
        if needs.must_be_in[cohort]
        and not ordered[cohort]
        and not _is_worse(needs.reason(cohort), one, _is_watched(scene, scene.standing[cohort]))
    ]
    left += [
        cohort
        for cohort in _left_in_the_tail(scene, night, needs)
        if needs.must_be_in[cohort] and not ordered[cohort]
    ]
    if not left:
        return needs
    declined = np.zeros(needs.must_be_in.shape, dtype=bool)
    declined[left] = True
    return replace(needs, must_be_in=needs.must_be_in & ~declined, declined=declined)


def _left_in_the_tail(scene: Scene, night: Night, needs: NightNeeds) -> list[int]:
    """Return the cohorts that are in the cold that is left of the night before this day.

    That is a part of what the grower has declined for that night. What comes once it is warm again
    is decided as ever.
    """
    said = _declined_of(scene, ChoreKind.CARRY_IN, night.day - timedelta(days=1))
    events = sun.day_events(scene.site, night.day)
    if not said or scene.forecast_expired or not events.sunrise <= scene.now < events.sunset:
        return []
    found = []
    ends = tail_ends(scene, events)
    for cohort, one in said.items():
        until, column = min(ends[cohort], events.sunset.timestamp()), scene.standing[cohort]
        reason = needs.reason(cohort)
        rows = scene.steps(scene.now, moment(max(until, scene.now.timestamp())))
        if column == NO_SPOT or not rows.size or reason.unit != "°C":
            continue
        if not needs.deadline[cohort] < until:
            continue
        low = finite_or_none(float(scene.by_night.leaf_c[rows, column].min()), 2)
        rest = replace(reason, value=low, also=())
        if low is not None and not _is_worse(rest, one, _is_watched(scene, column)):
            found.append(cohort)
    return found


def stays_in(scene: Scene, day: date) -> np.ndarray:
    """(cohort,) whether the grower has decided to keep plants in on a day."""
    kept = np.zeros(len(scene.cohorts), dtype=bool)
    kept[list(_declined_of(scene, ChoreKind.CARRY_OUT, day))] = True
    return kept


def not_needed(scene: Scene, night: Night, needs: NightNeeds) -> list[NotNeeded]:
    """Return the remark on the plants that stay out in a night by the grower's decision."""
    said = list(_declined_of(scene, ChoreKind.CARRY_IN, night.day))
    cohorts = np.array(said, dtype=np.int64)[needs.declined[said]]
    if not cohorts.size:
        return []
    reasons = {cohort: needs.reason(cohort) for cohort in cohorts.tolist()}
    worst = min(reasons.values(), key=_margin)
    names = scene.names(cohorts[np.argsort(scene.rank_by_name[cohorts])].tolist())
    return [_remark(ChoreKind.CARRY_IN, names, worst)]


def without_declined(
    scene: Scene, chores: tuple[Chore, ...]
) -> tuple[tuple[Chore, ...], list[NotNeeded]]:
    """Return the chores without what the grower has declined, and remarks on that.

    Carrying is left to `respected` and `stays_in`, because much is planned by it.
    """
    by_name = {
        name: cohort.state.declined
        for cohort in scene.cohorts
        if cohort.state.declined
        for name in cohort.names
    }
    if not by_name:
        return chores, []
    kept: list[Chore] = []
    remarks = []
    for chore in chores:
        off = [reason for reason in chore.because if _is_off(scene, chore, reason, by_name)]
        if not off:
            kept.append(chore)
            continue
        off_names = {reason.plant for reason in off}
        left = [name for name in chore.plants if name not in off_names]
        kept += [only(chore, left)] if left else []
        remarks.append(
            _remark(chore.kind, tuple(sorted(off_names, key=str.lower)), min(off, key=_margin))
        )
    return tuple(kept), remarks


def left_out_last_night(scene: Scene, day: date) -> list[LeftOutByChoice]:
    """Return the remark on plants that the grower left out in the cold in the night before a day.

    That is, the leaf fell under its limit where the plant stands, or may have fallen.
    """
    night = sun.night_of(scene.site, day - timedelta(days=1))
    said = _declined_of(scene, ChoreKind.CARRY_IN, night.day)
    outside = ~at_columns(scene.indoors, scene.standing, otherwise=False)
    cohorts = np.array([cohort for cohort in said if outside[cohort]], dtype=np.int64)
    if not cohorts.size:
        return []
    low = open_orders.lows_of_night(scene, night, scene.standing)[cohorts]
    limit = scene.lowest_limit_c[cohorts]
    under = ~(low >= limit)
    cohorts, low, limit = cohorts[under], low[under], limit[under]
    if not cohorts.size:
        return []
    short = np.nan_to_num(limit - low, nan=np.inf)
    order = np.lexsort((scene.rank_by_name[cohorts], -short))
    until = open_orders.warm_again(scene, night, scene.standing)[cohorts].max()
    until = max(until, night.end.timestamp())
    cold = until > scene.now.timestamp()
    return [
        LeftOutByChoice(
            plants=scene.names(cohorts[order].tolist()),
            low_c=finite_or_none(float(low[order[0]]), 2),
            limit_c=finite_or_none(float(limit[order[0]]), 2),
            until=round_up(moment(until), scene.site) if cold else None,
        )
    ]


def _declined_of(scene: Scene, kind: ChoreKind, day: date) -> dict[int, Declined]:
    """Return what was declined of a kind and day, by cohort."""
    return {
        cohort.index: one
        for cohort in scene.cohorts
        for one in cohort.state.declined
        if (one.kind, one.day) == (kind, day)
    }


_CARRIED = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT})


def _is_off(
    scene: Scene, chore: Chore, reason: Reason, by_name: dict[str, tuple[Declined, ...]]
) -> bool:
    """Return whether the grower has declined a chore for a plant, and it is no worse than then."""
    if chore.kind in _CARRIED:
        return False
    watched = _is_watched(scene, scene.columns[chore.from_spot])
    return any(
        one.kind is chore.kind
        and str(one.day) == chore.day
        # Of several waterings of a day, the one is meant that has begun by the deadline told.
        and (chore.kind not in WETTINGS or (chore.not_before or chore.before) <= one.before)
        and not _is_worse(reason, one, watched)
        for one in by_name.get(reason.plant, ())
    )


def _is_watched(scene: Scene, column: int) -> bool:
    """Return whether a thermometer at a spot shows the night to be colder than forecast."""
    watched = {spot.name for spot in scene.collection.spots if spot.tonight is not None}
    return bool(watched) and scene.spot_name(int(column)) in watched


def _is_worse(reason: Reason, declined: Declined, watched: bool) -> bool:
    """Return whether a chore is asked for by markedly more than it was when it was declined.

    A value that was not known then and is now, and a quantity that was not named then, are worse.
    What is not known now is not.
    """
    return any(
        single.value is not None and _exceeds(single, declined.grounds, watched)
        for single in (reason, *reason.also)
    )


def _exceeds(reason: Reason, told: Iterable[Ground], watched: bool) -> bool:
    """Return whether a value is markedly beyond the worst one that was told of its quantity.

    Or beyond its limit by markedly more than was told: the limit may have been changed since.
    """
    sign = 1.0 if reason.above else -1.0
    known = [
        (sign * ground.value, ground.limit)
        for ground in told
        if ground.value is not None
        and (ground.unit, ground.above) == (reason.unit, reason.above)
        and ground.quantity in ("", reason.quantity)
    ]
    if not known or reason.value is None:
        return reason.value is not None
    value, worst = sign * reason.value, max(value for value, _ in known)
    if reason.unit == "°C":
        margin = WORSE_READ_K if watched else WORSE_K
    else:
        margin = WORSE_SHARE * abs(worst)
    beyond = [value - sign * limit for value, limit in known if limit is not None]
    if reason.limit is not None and beyond:
        return value > worst + margin or value - sign * reason.limit > max(beyond) + margin
    return value > worst + margin


def _margin(reason: Reason) -> float:
    """Return how far a value is within its limit, for the order of the worst; unknown is worst."""
    if reason.value is None or reason.limit is None:
        return -np.inf
    return (reason.limit - reason.value) * (1.0 if reason.above else -1.0)


def _remark(kind: ChoreKind, names: tuple[str, ...], worst: Reason) -> NotNeeded:
    return NotNeeded(names, kind.value, worst.quantity, worst.value, worst.unit, worst.limit)
