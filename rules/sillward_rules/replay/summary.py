"""What the records of a replay come to. Pure functions of records; nothing here looks at weather.

Counts are of plants and nights together: two plants that are missed in one night are two.
"""

import math
from calendar import monthrange
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import date

import numpy as np

from sillward_rules import scores
from sillward_rules.physics.cold_harm import MAX_DOSE, carried_dose, night_harm
from sillward_rules.replay.records import (
    DEEP_K,
    Cause,
    Exposure,
    NearMiss,
    NightRecord,
    ReplayResult,
    Warned,
)

SHALLOW_K = 0.5
"""Misses are told in three classes of depth: under this [K], up to `DEEP_K`, and more. Judgement:
the first is within what a thermometer shows."""


@dataclass(frozen=True, slots=True)
class Totals:
    """What some nights come to.

    - nights: all of them; away: those on which the grower was away.
    - carried_in, carried_out, needless_carried: trips of single plants.
    - walks, needless_walks, pushes, corrections: as in `NightRecord`.
    - deadlines, needed, covered, needless, unjudged: plants and nights, as in `NightRecord`.
    - misses, and of these: unwarned, those of which nothing was told; shallow, half_k, deep, those
      that fell under the limit by less than `SHALLOW_K`, by less than `DEEP_K`, and by more.
    - late, out_too_early, not_done, no_cover: exposures of the other causes.
    - hours_under, degree_hours: of all exposures of all plants [h], [K h].
    - harm: of all exposures of all plants, each 0 to 1 (`harm_by_night`).
    - nights_corrected: nights with at least one correction.
    - alarms, false_alarms, alarmed, deep_alarmed, caught, eased: of thermometers at the spots, as
      in `NightRecord`.
    """

    nights: int = 0
    away: int = 0
    carried_in: int = 0
    carried_out: int = 0
    needless_carried: int = 0
    walks: int = 0
    needless_walks: int = 0
    pushes: int = 0
    corrections: int = 0
    nights_corrected: int = 0
    deadlines: int = 0
    needed: int = 0
    covered: int = 0
    needless: int = 0
    unjudged: int = 0
    misses: int = 0
    unwarned: int = 0
    shallow: int = 0
    half_k: int = 0
    deep: int = 0
    late: int = 0
    out_too_early: int = 0
    not_done: int = 0
    no_cover: int = 0
    hours_under: float = 0.0
    degree_hours: float = 0.0
    harm: float = 0.0
    alarms: int = 0
    false_alarms: int = 0
    alarmed: int = 0
    deep_alarmed: int = 0
    caught: int = 0
    eased: int = 0

    @property
    def deep_left(self) -> int:
        """Plants that rounds and newer forecasts left to come `DEEP_K` under their limit."""
        return self.deep + self.deep_alarmed

    @property
    def caught_share(self) -> float | None:
        """The share of them that alarms called in before their low."""
        return (self.caught + self.eased) / self.deep_left if self.deep_left else None

    @property
    def deadline_kept(self) -> float | None:
        """The share of deadlines that came before the leaf crossed its limit."""
        return 1.0 - self.late / self.deadlines if self.deadlines else None

    @property
    def corrected_share(self) -> float | None:
        """The share of nights with a correction."""
        return self.nights_corrected / self.nights if self.nights else None


def totals(nights: Sequence[NightRecord]) -> Totals:
    """Return what nights, in order, come to."""
    return _totals(nights, harm_by_night(nights))


def by_month(nights: Sequence[NightRecord]) -> dict[str, Totals]:
    """Return the totals of each month of each year ("2013-04"), in order."""
    harms = harm_by_night(nights)
    months: dict[str, list[int]] = {}
    for number, night in enumerate(nights):
        months.setdefault(f"{night.night:%Y-%m}", []).append(number)
    return {
        month: _totals([nights[n] for n in numbers], [harms[n] for n in numbers])
        for month, numbers in months.items()
    }


def walks_of_month(nights: Iterable[NightRecord]) -> dict[int, float]:
    """Return how many walks each month of the year has on average, 1 for January to 12.

    Of months that are wholly there; NaN where none is.
    """
    months: dict[tuple[int, int], list[int]] = {}
    for night in nights:
        months.setdefault((night.night.year, night.night.month), []).append(night.walks)
    counts: dict[int, list[int]] = {month: [] for month in range(1, 13)}
    for (year, month), walks in months.items():
        if len(walks) == monthrange(year, month)[1]:
            counts[month].append(sum(walks))
    return {
        month: sum(walks) / len(walks) if walks else math.nan for month, walks in counts.items()
    }


def harm_by_night(nights: Sequence[NightRecord]) -> list[float]:
    """Return the harm of each night, summed over the plants; nights are in order.

    A plant is harmed more if an earlier dose of cold is not yet forgotten. That it may be used to
    cool nights is left out of account, which is the worse case.
    """
    harms = [0.0] * len(nights)
    for number, _, harm in _harms(nights):
        harms[number] += harm
    return harms


def harm_by_plant(nights: Sequence[NightRecord]) -> dict[str, float]:
    """Return the summed harm of each plant that was harmed, the worst first; nights in order."""
    harms: dict[str, float] = {}
    for _, plant, harm in _harms(nights):
        harms[plant] = harms.get(plant, 0.0) + harm
    return dict(sorted(harms.items(), key=lambda one: (-one[1], one[0])))


@dataclass(frozen=True, slots=True)
class ToldChances:
    """What came of the chances of one bin: a line of `scores.Reliability`.

    - at_least, below: the bounds of the bin; the last one holds certainty too.
    - plants, nights: how often such a chance was told, plants night by night, and on how many
      nights.
    - told: the mean of these chances. came_true: for which share of the plants the leaf at home
      fell under the limit.
    - low, high: bounds of the true share, by the sampling error of so many independent nights.
    """

    at_least: float
    below: float
    plants: int
    nights: int
    told: float
    came_true: float
    low: float
    high: float


def reliability(nights: Iterable[NightRecord]) -> tuple[ToldChances, ...]:
    """Return what came of the chances that were told at dusk, by bins of `scores.CHANCE_EDGES`."""
    sums = np.zeros((4, len(scores.CHANCE_EDGES) - 1))
    for night in nights:
        for one in night.chances:
            sums[:, one.bin] += one.told, one.came, one.plants, 1
    told, came, plants, days = sums
    found = scores.reliability_of_sums(told, came, plants, days)
    return tuple(
        ToldChances(
            at_least=scores.CHANCE_EDGES[number],
            below=scores.CHANCE_EDGES[number + 1],
            plants=int(plants[number]),
            nights=int(days[number]),
            told=float(found.told[row]),
            came_true=float(found.came_true[row]),
            low=float(found.low[row]),
            high=float(found.high[row]),
        )
        for row, number in enumerate(found.bins.tolist())
    )


def worst(nights: Iterable[NightRecord], count: int) -> list[tuple[date, Exposure]]:
    """Return the exposures that harmed most, of whatever cause, each with its night."""
    all_ = [(night.night, exposure) for night in nights for exposure in night.exposures]
    all_.sort(key=lambda one: (-one[1].dose, -one[1].depth_k, one[0]))
    return all_[:count]


def narrowest(nights: Iterable[NightRecord], count: int) -> list[tuple[date, NearMiss]]:
    """Return the nights in which plants outside came closest to their limit, the closest first."""
    found = [(night.night, night.narrowest) for night in nights if night.narrowest is not None]
    found.sort(key=lambda one: (one[1].margin_k, one[0]))
    return found[:count]


def saved(nights: Iterable[NightRecord], count: int) -> list[tuple[date, NearMiss]]:
    """Return the nights from which cover saved plants, the coldest against their limit first."""
    found = [(night.night, night.saved) for night in nights if night.saved is not None]
    found.sort(key=lambda one: (one[1].margin_k, one[0]))
    return found[:count]


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity of two replays: its name in `Totals`, and both values. None is not defined."""

    name: str
    before: float | None
    after: float | None

    @property
    def change(self) -> float | None:
        """How much more it is after than before."""
        if self.before is None or self.after is None:
            return None
        return self.after - self.before


def differences(before: ReplayResult, after: ReplayResult) -> tuple[Difference, ...]:
    """Return both replays' totals side by side, over the nights that both have."""
    shared = {night.night for night in before.nights} & {night.night for night in after.nights}
    first, second = (
        totals([night for night in result.nights if night.night in shared])
        for result in (before, after)
    )
    names = [*(one.name for one in fields(Totals)), "deadline_kept", "corrected_share"]
    return tuple(Difference(name, getattr(first, name), getattr(second, name)) for name in names)


# -- parts


def _totals(nights: Sequence[NightRecord], harms: Sequence[float]) -> Totals:
    exposures = [exposure for night in nights for exposure in night.exposures]
    misses = [exposure for exposure in exposures if exposure.cause is Cause.MISSED]

    def count(cause: Cause) -> int:
        return _plants(exposures, lambda exposure: exposure.cause is cause)

    return Totals(
        nights=len(nights),
        away=sum(night.away for night in nights),
        nights_corrected=sum(night.corrections > 0 for night in nights),
        **{name: sum(getattr(night, name) for night in nights) for name in _SUMMED},
        misses=count(Cause.MISSED),
        unwarned=_plants(misses, lambda miss: miss.warned is Warned.NOTHING),
        shallow=_plants(misses, lambda miss: miss.depth_k < SHALLOW_K),
        half_k=_plants(misses, lambda miss: SHALLOW_K <= miss.depth_k < DEEP_K),
        deep=_plants(misses, lambda miss: miss.depth_k >= DEEP_K),
        late=count(Cause.LATE),
        out_too_early=count(Cause.OUT_TOO_EARLY),
        not_done=count(Cause.NOT_DONE),
        no_cover=count(Cause.NO_COVER),
        hours_under=sum(exposure.hours * exposure.count for exposure in exposures),
        degree_hours=sum(exposure.degree_hours * exposure.count for exposure in exposures),
        harm=sum(harms),
    )


_SUMMED = (
    "carried_in",
    "carried_out",
    "needless_carried",
    "walks",
    "needless_walks",
    "pushes",
    "corrections",
    "deadlines",
    "needed",
    "covered",
    "needless",
    "unjudged",
    "alarms",
    "false_alarms",
    "alarmed",
    "deep_alarmed",
    "caught",
    "eased",
)
"""What is the same in `NightRecord` and `Totals`."""


def _plants(exposures: Iterable[Exposure], which: Callable[[Exposure], bool]) -> int:
    return sum(exposure.count for exposure in exposures if which(exposure))


def _harms(nights: Sequence[NightRecord]) -> Iterator[tuple[int, str, float]]:
    """Yield the number of a night, a plant and its harm, for every plant that took a dose."""
    last: dict[str, tuple[date, float]] = {}
    for number, night in enumerate(nights):
        for plant, dose in _doses(night.exposures).items():
            then, kept = last.get(plant, (night.night, 0.0))
            carried = float(carried_dose(kept, 0.0, (night.night - then).days))
            last[plant] = night.night, carried + dose
            yield number, plant, float(night_harm(dose, carried))


def _doses(exposures: Iterable[Exposure]) -> dict[str, float]:
    """Return the dose of each plant in a night, which may come from more than one exposure."""
    doses: dict[str, float] = {}
    for exposure in exposures:
        for plant in exposure.plants:
            doses[plant] = min(doses.get(plant, 0.0) + exposure.dose, MAX_DOSE)
    return doses
