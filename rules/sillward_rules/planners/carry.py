"""Carry in, carry out, stay in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward_rules import sun
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.plant import Plant
from sillward_rules.rule import QUANTITIES, Firing
from sillward_rules.scene import Scene, full_hours
from sillward_rules.sun import Night
from sillward_rules.weather import HOUR_S

STALE = timedelta(hours=24)
"""A forecast older than this judges no night any more. Judgement."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a night asks of one plant at its home: why, and under cover before when."""

    plant: Plant
    deadline: datetime
    reason: Reason
    judged: bool


@dataclass(frozen=True, slots=True, eq=False)
class _ClassVerdict:
    """Per class of a firing: does it fire, from when on is the bound crossed, the worst value."""

    fired: np.ndarray
    crossing: np.ndarray
    worst: np.ndarray
    worst_row: np.ndarray


def judge_night(scene: Scene, night: Night) -> list[Verdict]:
    """Judge one night for every plant whose home it could be too cold at.

    Hours before now and before that day's sunrise do not count. A plant for which a rule fires
    must go in; so must, for caution, every plant with a lower limit whose home has too few
    known hours in that night (`judged` is then False).
    """
    morning = sun.day_events(scene.site, night.day).sunrise
    start = max(morning, scene.now - timedelta(hours=1))
    rows = scene.rows(start, night.end)
    verdicts: dict[str, Verdict] = {}
    for firing in scene.carry_firings:
        judged = _judge(firing, scene.climate.times, rows)
        for index in np.flatnonzero(firing.by_plant(judged.fired)):
            plant = scene.plants[index]
            of_class = int(firing.member[index])
            verdict = _verdict(scene, night, firing, plant, judged, of_class)
            earlier = verdicts.get(plant.name)
            if earlier is None or verdict.deadline < earlier.deadline:
                verdicts[plant.name] = verdict
    for index in np.flatnonzero(_unjudged(scene, night)[scene.home]):
        plant = scene.plants[index]
        if plant.name not in verdicts and plant.limits.night_low is not None:
            verdicts[plant.name] = _cautious(scene, night, plant)
    return [verdicts[plant.name] for plant in scene.plants if plant.name in verdicts]


def _judge(firing: Firing, times: np.ndarray, rows: np.ndarray) -> _ClassVerdict:
    """First crossing and worst value of every class within the rows."""
    size = firing.bound.size
    nothing = np.zeros(size, dtype=bool)
    if rows.size == 0 or size == 0:
        return _ClassVerdict(nothing, np.zeros(size), np.zeros(size), np.zeros(size, dtype=int))
    fires = firing.fires[rows]
    fired = fires.any(axis=0)
    first = rows[np.argmax(fires, axis=0)]
    sign = 1.0 if firing.rule.direction == "below" else -1.0
    signed = np.where(fires, sign * firing.values[rows], np.inf)
    worst_row = rows[np.argmin(signed, axis=0)]
    columns = np.arange(size)
    return _ClassVerdict(
        fired=fired,
        crossing=_crossings(firing, times, first),
        worst=firing.values[worst_row, columns],
        worst_row=worst_row,
    )


def _crossings(firing: Firing, times: np.ndarray, first: np.ndarray) -> np.ndarray:
    """When [unix s] each class crossed its bound on the way to the row where the rule fires.

    The bound may have been crossed before the rule's own hours begin: walk back while the
    quantity stays beyond it, then interpolate within the hour of the crossing.
    """
    columns = np.arange(first.size)
    rows = np.arange(times.size)[:, None]
    within = np.where(firing.beyond, -1, rows)
    last_within = np.maximum.accumulate(within, axis=0)[first, columns]
    after = np.clip(last_within + 1, 0, times.size - 1)
    before = np.clip(last_within, 0, times.size - 1)
    value_before = firing.values[before, columns]
    value_after = firing.values[after, columns]
    step = value_after - value_before
    # An unknown hour before the crossing tells nothing: take the start of the gap.
    safe = np.where(np.isfinite(step) & (step != 0), step, 1.0)
    share = np.where(np.isfinite(step), (firing.bound - value_before) / safe, 0.0)
    crossing = times[before] + np.clip(share, 0.0, 1.0) * HOUR_S
    return np.asarray(np.where(last_within >= 0, crossing, times[0]))


def _verdict(
    scene: Scene, night: Night, firing: Firing, plant: Plant, judged: _ClassVerdict, of_class: int
) -> Verdict:
    crossing = datetime.fromtimestamp(float(judged.crossing[of_class]), UTC)
    limit_name = firing.rule.bound.limit
    limit = getattr(plant.limits, limit_name) if limit_name else None
    reason = Reason(
        plant=plant.name,
        quantity=firing.rule.quantity,
        value=round(float(judged.worst[of_class]), 2),
        unit=QUANTITIES[firing.rule.quantity].unit,
        limit=float(firing.bound[of_class]),
        at=datetime.fromtimestamp(int(scene.climate.times[judged.worst_row[of_class]]), UTC),
        origin=limit.origin if limit else f'rule "{firing.rule.name}"',
    )
    return Verdict(plant, _deadline(scene, night, crossing), reason, judged=True)


def _deadline(scene: Scene, night: Night, crossing: datetime) -> datetime:
    """The lead before the crossing, but no later than the usual hour and while there is light.

    Never in the past: what is overdue is due now.
    """
    habits = scene.habits
    choices = [crossing - habits.lead, night.start + habits.latest_after_sunset]
    usual = habits.in_by.on(scene.site, night.day)
    if usual >= scene.now:
        choices.append(usual)
    return max(min(choices), scene.now)


def _cautious(scene: Scene, night: Night, plant: Plant) -> Verdict:
    """An unjudged night is treated as cold, from its start."""
    limit = plant.limits.night_low
    reason = Reason(
        plant=plant.name,
        quantity="leaf temperature",
        value=None,
        unit="°C",
        limit=limit.value if limit else None,
        at=max(night.start, scene.now),
        origin=limit.origin if limit else "",
    )
    return Verdict(plant, _deadline(scene, night, night.end), reason, judged=False)


def _unjudged(scene: Scene, night: Night) -> np.ndarray:
    """(spot,) whether too little is known of the rest of the night there.

    Gaps of up to two hours have been bridged already; any hour that is still missing leaves
    the night unjudged, and so does a forecast that is too old. What an indoor spot holds is not a
    matter of the night: `open_questions` asks for it.
    """
    weathered = np.array([not spot.holds_itself for spot in scene.climate.spots], dtype=bool)
    if scene.weather.age(scene.now) > STALE:
        return weathered
    start = max(night.start, scene.now - timedelta(hours=1))
    known = np.isfinite(scene.climate.leaf_c[scene.rows(start, night.end)]).sum(axis=0)
    return np.asarray(weathered & (known < full_hours(start, night.end)))


def carry_in(scene: Scene, night: Night, verdicts: Sequence[Verdict]) -> list[Errand]:
    """Errands for a night: in with what stands outside, stay in for what is under cover."""
    lows = spot_lows(scene, night)
    errands = []
    for verdict in verdicts:
        plant, reason = verdict.plant, verdict.reason
        if scene.under_cover(plant):
            spot = scene.state[plant.name].spot
            kind = ChoreKind.STAY_IN
            errands.append(Errand(kind, plant.name, spot, spot, None, night.end, reason))
            continue
        shelter = plant.shelter or _best_shelter(scene, lows, plant, reason.limit)
        if shelter is not None:
            kind = ChoreKind.CARRY_IN
            errands.append(
                Errand(kind, plant.name, plant.home, shelter, None, verdict.deadline, reason)
            )
    return errands


def carry_out(scene: Scene, day: date, sheltered: Sequence[Plant]) -> list[Errand]:
    """Errands for a day: out with what is under cover, or stay in if the day is not worth it."""
    events = sun.day_events(scene.site, day)
    tonight = {
        verdict.plant.name: verdict.deadline
        for verdict in judge_night(scene, sun.night_of(scene.site, day))
    }
    errands = []
    for plant in sheltered:
        errand = _out_or_in(scene, events, plant, tonight.get(plant.name))
        if errand is not None:
            errands.append(errand)
    return errands


def _out_or_in(
    scene: Scene, events: sun.DayEvents, plant: Plant, must_be_in: datetime | None
) -> Errand | None:
    limit = plant.limits.night_low
    rows = scene.rows(events.sunrise, events.sunset)
    if limit is None or rows.size == 0:
        return None
    column = scene.climate.column(plant.home)
    leaf = scene.climate.leaf_c[rows, column]
    spot = scene.state[plant.name].spot if scene.under_cover(plant) else plant.shelter
    out_from = _out_from(scene, events, leaf, rows, limit.value + scene.habits.out_margin_k)
    back = events.sunset if must_be_in is None else must_be_in
    latest = back - scene.habits.worth_going_out
    highest = _highest(leaf)
    reason = Reason(
        plant=plant.name,
        quantity="leaf temperature",
        value=None if highest is None else round(float(leaf[highest]), 2),
        unit="°C",
        limit=limit.value,
        at=datetime.fromtimestamp(int(scene.climate.times[rows[highest or 0]]), UTC),
        origin=limit.origin,
    )
    place = spot or plant.home
    if out_from is None or out_from > latest:
        stay = ChoreKind.STAY_IN
        return Errand(stay, plant.name, place, place, events.sunrise, events.sunset, reason)
    out = ChoreKind.CARRY_OUT
    return Errand(out, plant.name, place, plant.home, out_from, latest, reason)


def _highest(leaf: np.ndarray) -> int | None:
    return int(np.nanargmax(leaf)) if np.isfinite(leaf).any() else None


def _out_from(
    scene: Scene, events: sun.DayEvents, leaf: np.ndarray, rows: np.ndarray, bound: float
) -> datetime | None:
    """When the leaf has been at the bound for long enough, after sunrise and not before now."""
    warm = leaf >= bound
    steady = int(scene.habits.out_after / timedelta(hours=1))
    for index in np.flatnonzero(warm):
        if not warm[index : index + steady + 1].all():
            continue
        since = datetime.fromtimestamp(int(scene.climate.times[rows[index]]), UTC)
        if index > 0 and leaf[index] > leaf[index - 1]:
            since -= timedelta(hours=float((leaf[index] - bound) / (leaf[index] - leaf[index - 1])))
        elif index == 0:
            since = events.sunrise
        return max(since + scene.habits.out_after, scene.now)
    return None


def spot_lows(scene: Scene, night: Night) -> dict[str, float | None]:
    """Lowest leaf temperature [°C] at each spot in a night; None where it is not known."""
    rows = scene.rows(night.start, night.end)
    expected = full_hours(night.start, night.end)
    lows: dict[str, float | None] = {}
    for column, spot in enumerate(scene.climate.spots):
        leaf = scene.climate.leaf_c[rows, column]
        whole = leaf.size >= max(expected, 1) and bool(np.isfinite(leaf).all())
        lows[spot.name] = float(leaf.min()) if whole else None
    return lows


def shelter_warnings(scene: Scene, night: Night, verdicts: Sequence[Verdict]) -> list[str]:
    """Shelters that do not hold what their plants need, each with a better spot if there is one."""
    lows = spot_lows(scene, night)
    said: dict[str, list[str]] = {}
    for verdict in verdicts:
        plant, limit = verdict.plant, verdict.reason.limit
        if limit is None or verdict.reason.quantity not in ("leaf temperature", "temperature"):
            continue
        best = _best_shelter(scene, lows, plant, limit)
        better = "no spot here is known to hold it"
        if best is not None:
            better = f"better {best}, {_rounded(lows[best])} °C"
        if plant.shelter is None:
            said.setdefault(f"no shelter is given; {better}", []).append(plant.name)
            continue
        low = lows[plant.shelter]
        if low is None:
            text = f"what {plant.shelter} holds tonight is not known; {better}"
        elif low < limit:
            text = f"{plant.shelter} holds {_rounded(low)} °C, limit {limit:g}; {better}"
        else:
            continue
        said.setdefault(text, []).append(plant.name)
    return [f"{', '.join(names)}: {text}" for text, names in said.items()]


def _rounded(value: float | None) -> str:
    return "?" if value is None else f"{round(value, 1):g}"


def _best_shelter(
    scene: Scene, lows: dict[str, float | None], plant: Plant, limit: float | None
) -> str | None:
    """The warmest spot other than home that is known to hold the limit tonight."""
    held = {
        spot.name: low
        for spot in scene.climate.spots
        if spot.name != plant.home
        and (low := lows[spot.name]) is not None
        and limit is not None
        and low >= limit
    }
    return max(held, key=lambda name: held[name]) if held else None
