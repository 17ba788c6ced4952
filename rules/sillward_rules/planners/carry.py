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
from sillward_rules.scene import Cohort, Scene, Standing
from sillward_rules.sun import Night


def carry_in(
    scene: Scene, night: Night, verdicts: Sequence[Verdict], lows: Lows, standing: Standing
) -> list[Errand]:
    """Errands for a night: in with what stands outside, stay in for what is under cover.

    A plant that stands under some other cover, which does not hold its limit, goes on to its
    shelter. One for which there is no shelter at all gets no errand; the warnings name it.
    """
    errands = []
    for verdict in verdicts:
        cohort, plant = verdict.cohort, verdict.cohort.plant
        spot = standing[cohort.index]
        shelter = shelter_for(lows, plant)
        covered = scene.covers(plant, spot)
        if covered and (spot == plant.shelter or shelter is None or holds(lows, spot, plant)):
            stay = ChoreKind.STAY_IN
            errands.append(Errand(stay, cohort.names, spot, spot, None, night.end, verdict.reason))
        elif shelter is not None and shelter != spot:
            carry = ChoreKind.CARRY_IN
            errands.append(
                Errand(carry, cohort.names, spot, shelter, None, verdict.deadline, verdict.reason)
            )
    return errands


def moved(scene: Scene, standing: Standing, errands: Sequence[Errand]) -> list[str]:
    """Where the cohorts stand once these errands are done."""
    goes = {errand.plants: errand.to_spot for errand in errands}
    return [goes.get(cohort.names, standing[cohort.index]) for cohort in scene.cohorts]


def night_warnings(
    scene: Scene, lows: Lows, verdicts: Sequence[Verdict], standing: Standing
) -> list[str]:
    """What is wrong with the night: spots that are not known, shelters that do not hold.

    standing: where the cohorts spend the night, if the advice is followed.
    """
    unjudged = sorted({verdict.cohort.plant.home for verdict in verdicts if not verdict.judged})
    said = []
    if unjudged:
        said.append(f"too few known hours at {', '.join(unjudged)}: treated as a cold night")
    nights_at = []
    for verdict in verdicts:
        spot = standing[verdict.cohort.index]
        nights_at.append((verdict.cohort, None if spot == verdict.cohort.plant.home else spot))
    return [*said, *shelter_warnings(lows, nights_at)]


def borne_cold(scene: Scene, borne: Sequence[Verdict], standing: Standing) -> list[str]:
    """A line for the plants that stay out although the night dips under their limit for a while."""
    said: dict[str, list[str]] = {}
    for verdict in borne:
        cohort, reason = verdict.cohort, verdict.reason
        if scene.covers(cohort.plant, standing[cohort.index]) or reason.value is None:
            continue
        at = reason.at.astimezone(scene.site.zone)
        minutes = 60 * (reason.hours or 0.0)
        text = f"{reason.value:.1f} °C at {at:%H:%M}, {minutes:.0f} min under {reason.limit:g}"
        said.setdefault(text, []).extend(cohort.names)
    return [f"{', '.join(names)} may stay out: {text}" for text, names in said.items()]


def carry_out(scene: Scene, day: date, standing: Mapping[int, str]) -> list[Errand]:
    """Errands for a day: out with what is under cover, or stay in if the day is not worth it.

    standing: where each cohort under cover stands that morning, by index.
    """
    events = sun.day_events(scene.site, day)
    if scene.now >= events.sunset or not standing:
        return []
    night = sun.night_of(scene.site, day)
    tonight = {one.cohort.index: one for one in judge_night(scene, night).verdicts}
    days = _DaysOut(scene, day)
    return [
        _out_or_in(days, scene.cohorts[index], spot, tonight.get(index))
        for index, spot in standing.items()
    ]


@dataclass(frozen=True, slots=True, eq=False)
class _Hours:
    """Hours at a home from an hour before sunrise to the next sunrise, and the warmest by day.

    leaf_c: the leaf, or the air where that is colder: a leaf in the sun says little of its pot.
    """

    times: np.ndarray
    leaf_c: Array
    warmest_c: float | None
    warmest_at: datetime


class _DaysOut:
    """A day outside, worked out once for every home and every limit that plants have there."""

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self.events = sun.day_events(scene.site, day)
        self._night_end = sun.night_of(scene.site, day).end
        self._hours: dict[str, _Hours] = {}
        self._out: dict[tuple[str, float | None], datetime | None] = {}
        self._cold: dict[tuple[str, float | None], datetime | None] = {}

    def hours(self, home: str) -> _Hours:
        """The hours at a home."""
        if home not in self._hours:
            self._hours[home] = self._hours_at(home)
        return self._hours[home]

    def out_from(self, home: str, limit: float | None) -> datetime | None:
        """When the leaf has been above the limit by the margin for long enough; None: never.

        By day, and not before now.
        """
        key = (home, limit)
        if key not in self._out:
            self._out[key] = self._find_out_from(self.hours(home), limit)
        return self._out[key]

    def cold_again(self, home: str, limit: float | None) -> datetime | None:
        """When the leaf falls under the limit once the plant is out; None: not by the morning."""
        key = (home, limit)
        if key not in self._cold:
            out_from = self.out_from(home, limit)
            self._cold[key] = None
            if out_from is not None and limit is not None:
                hours = self.hours(home)
                cold = np.flatnonzero((hours.leaf_c < limit) & (hours.times > out_from.timestamp()))
                if cold.size:
                    self._cold[key] = _crossing(hours, int(cold[0]), limit)
        return self._cold[key]

    def _hours_at(self, home: str) -> _Hours:
        scene, events = self.scene, self.events
        rows = scene.rows(events.sunrise - timedelta(hours=1), self._night_end)
        column = scene.columns[home]
        times = scene.climate.times[rows]
        leaf = np.minimum(scene.climate.leaf_c[rows, column], scene.climate.temp_c[rows, column])
        if scene.weather.age(scene.now) > STALE:
            leaf = np.full(leaf.shape, np.nan)
        by_day = leaf[times <= events.sunset.timestamp()]
        value, at = None, events.sunrise
        if np.isfinite(by_day).any():
            index = int(np.nanargmax(by_day))
            value, at = round(float(by_day[index]), 2), _moment(times[index])
        return _Hours(times, leaf, value, at)

    def _find_out_from(self, hours: _Hours, limit: float | None) -> datetime | None:
        scene, events = self.scene, self.events
        bound = -math.inf if limit is None else limit + scene.habits.out_margin_k
        warm = hours.leaf_c >= bound
        steady = math.ceil(scene.habits.out_after / timedelta(hours=1))
        for index in np.flatnonzero(warm):
            run = warm[index : index + steady + 1]
            if run.size <= steady or not run.all() or _moment(hours.times[index]) > events.sunset:
                continue
            since = max(_crossing(hours, int(index), bound), events.sunrise)
            return max(since + scene.habits.out_after, scene.now)
        return None


def _out_or_in(days: _DaysOut, cohort: Cohort, spot: str, tonight: Verdict | None) -> Errand:
    scene, events = days.scene, days.events
    home, low = cohort.plant.home, cohort.plant.limits.night_low
    limit = low.value if low else None
    out_from = days.out_from(home, limit)
    back = events.sunset if tonight is None else tonight.deadline
    cold_again = days.cold_again(home, limit)
    if cold_again is not None:
        back = min(back, cold_again - scene.habits.lead)
    latest = back - scene.habits.worth_going_out
    warmest = days.hours(home)
    reason = Reason(
        plant=cohort.names[0],
        quantity="leaf temperature",
        value=warmest.warmest_c,
        unit="°C",
        limit=limit,
        at=warmest.warmest_at,
        origin=low.origin if low else "",
    )
    if out_from is None or out_from > latest:
        other = tonight is not None and tonight.reason.quantity != "leaf temperature"
        because = tonight.reason if tonight is not None and out_from and other else reason
        stay = ChoreKind.STAY_IN
        return Errand(stay, cohort.names, spot, spot, events.sunrise, events.sunset, because)
    return Errand(ChoreKind.CARRY_OUT, cohort.names, spot, home, out_from, latest, reason)


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


def _moment(second: float) -> datetime:
    return datetime.fromtimestamp(int(second), UTC)
