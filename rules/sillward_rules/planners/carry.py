"""Carry in, carry out, stay in: errands from verdicts and from what the day allows."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward_rules import sun
from sillward_rules.air import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.nights import STALE, Verdict, judge_night
from sillward_rules.planners.shelter import Lows, holds, shelter_for
from sillward_rules.planners.shelter import warnings as shelter_warnings
from sillward_rules.plant import Plant
from sillward_rules.scene import Scene
from sillward_rules.sun import DayEvents, Night

Standing = Mapping[str, str]
"""Where each plant stands: spot by plant."""


def carry_in(
    scene: Scene, night: Night, verdicts: Sequence[Verdict], lows: Lows, standing: Standing
) -> list[Errand]:
    """Errands for a night: in with what stands outside, stay in for what is under cover.

    A plant that stands under some other cover, which does not hold its limit, goes on to its
    shelter. One for which there is no shelter at all gets no errand; the warnings name it.
    """
    errands = []
    for verdict in verdicts:
        plant, spot = verdict.plant, standing[verdict.plant.name]
        shelter = shelter_for(lows, plant)
        covered = scene.covers(plant, spot)
        if covered and (spot == plant.shelter or shelter is None or holds(lows, spot, plant)):
            stay = ChoreKind.STAY_IN
            errands.append(Errand(stay, plant.name, spot, spot, None, night.end, verdict.reason))
        elif shelter is not None and shelter != spot:
            carry = ChoreKind.CARRY_IN
            errands.append(
                Errand(carry, plant.name, spot, shelter, None, verdict.deadline, verdict.reason)
            )
    return errands


def night_warnings(lows: Lows, verdicts: Sequence[Verdict], standing: Standing) -> list[str]:
    """What is wrong with the night: spots that are not known, shelters that do not hold.

    standing: where the plants spend the night, if the advice is followed.
    """
    unjudged = sorted({verdict.plant.home for verdict in verdicts if not verdict.judged})
    said = []
    if unjudged:
        said.append(f"too few known hours at {', '.join(unjudged)}: treated as a cold night")
    nights_at = []
    for verdict in verdicts:
        spot = standing[verdict.plant.name]
        nights_at.append((verdict.plant, None if spot == verdict.plant.home else spot))
    return [*said, *shelter_warnings(lows, nights_at)]


def carry_out(scene: Scene, day: date, standing: Standing) -> list[Errand]:
    """Errands for a day: out with what is under cover, or stay in if the day is not worth it.

    standing: where each plant under cover stands that morning.
    """
    events = sun.day_events(scene.site, day)
    if scene.now >= events.sunset:
        return []
    night = sun.night_of(scene.site, day)
    tonight = {verdict.plant.name: verdict for verdict in judge_night(scene, night)}
    return [
        _out_or_in(scene, events, night, plant, standing[plant.name], tonight.get(plant.name))
        for plant in scene.plants
        if plant.name in standing
    ]


@dataclass(frozen=True, slots=True, eq=False)
class _Hours:
    """Leaf temperature at a plant's home from an hour before sunrise to the next sunrise."""

    times: np.ndarray
    leaf_c: Array


def _out_or_in(
    scene: Scene,
    events: DayEvents,
    night: Night,
    plant: Plant,
    spot: str,
    tonight: Verdict | None,
) -> Errand:
    hours = _hours_at_home(scene, events, night, plant)
    out_from = _out_from(scene, events, hours, plant)
    back = _back_by(scene, events, hours, plant, out_from, tonight)
    latest = back - scene.habits.worth_going_out
    reason = _warmest(events, hours, plant)
    if out_from is None or out_from > latest:
        other = tonight is not None and tonight.reason.quantity != "leaf temperature"
        because = tonight.reason if tonight is not None and out_from and other else reason
        stay = ChoreKind.STAY_IN
        return Errand(stay, plant.name, spot, spot, events.sunrise, events.sunset, because)
    out = ChoreKind.CARRY_OUT
    return Errand(out, plant.name, spot, plant.home, out_from, latest, reason)


def _hours_at_home(scene: Scene, events: DayEvents, night: Night, plant: Plant) -> _Hours:
    rows = scene.rows(events.sunrise - timedelta(hours=1), night.end)
    leaf = scene.climate.leaf_c[rows, scene.climate.column(plant.home)]
    if scene.weather.age(scene.now) > STALE:
        leaf = np.full(leaf.shape, np.nan)
    return _Hours(scene.climate.times[rows], leaf)


def _out_from(scene: Scene, events: DayEvents, hours: _Hours, plant: Plant) -> datetime | None:
    """When the leaf has been above its limit by the margin for long enough, by day; None: never.

    Not before now.
    """
    limit = plant.limits.night_low
    bound = -math.inf if limit is None else limit.value + scene.habits.out_margin_k
    warm = hours.leaf_c >= bound
    steady = math.ceil(scene.habits.out_after / timedelta(hours=1))
    for index in np.flatnonzero(warm):
        run = warm[index : index + steady + 1]
        if run.size <= steady or not run.all() or _moment(hours.times[index]) > events.sunset:
            continue
        since = max(_crossing(hours, int(index), bound), events.sunrise)
        return max(since + scene.habits.out_after, scene.now)
    return None


def _back_by(
    scene: Scene,
    events: DayEvents,
    hours: _Hours,
    plant: Plant,
    out_from: datetime | None,
    tonight: Verdict | None,
) -> datetime:
    """By when the plant must be back: for the night, or because the day turns cold before."""
    back = events.sunset if tonight is None else tonight.deadline
    limit = plant.limits.night_low
    if out_from is None or limit is None:
        return back
    cold = np.flatnonzero((hours.leaf_c < limit.value) & (hours.times > out_from.timestamp()))
    if not cold.size:
        return back
    return min(back, _crossing(hours, int(cold[0]), limit.value) - scene.habits.lead)


def _crossing(hours: _Hours, index: int, bound: float) -> datetime:
    """When the leaf crossed the bound on the way to this hour; the hour itself if not known."""
    at = _moment(hours.times[index])
    if index == 0:
        return at
    step = hours.leaf_c[index] - hours.leaf_c[index - 1]
    if not np.isfinite(step) or step == 0 or not np.isfinite(bound):
        return at
    share = float((hours.leaf_c[index] - bound) / step)
    return at - timedelta(hours=min(max(share, 0.0), 1.0))


def _warmest(events: DayEvents, hours: _Hours, plant: Plant) -> Reason:
    """The warmest the leaf gets that day: why it may go out, or why it may not."""
    limit = plant.limits.night_low
    by_day = hours.times <= events.sunset.timestamp()
    value, at = None, events.sunrise
    if np.isfinite(hours.leaf_c[by_day]).any():
        index = int(np.nanargmax(hours.leaf_c[by_day]))
        value, at = round(float(hours.leaf_c[index]), 2), _moment(hours.times[index])
    return Reason(
        plant=plant.name,
        quantity="leaf temperature",
        value=value,
        unit="°C",
        limit=limit.value if limit else None,
        at=at,
        origin=limit.origin if limit else "",
    )


def _moment(second: float) -> datetime:
    return datetime.fromtimestamp(int(second), UTC)
