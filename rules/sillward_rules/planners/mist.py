"""Misting: the plants whose rules ask for it, the plan that each cohort follows, its errands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, finite_or_none, group_rows, split_by_keys
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.mist_day import MistDay, Misting, Plan, Roots, uptake
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.remark import MistingMissed, Remark
from sillward_rules.trips import MIN_WINDOW, round_down, round_up
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.season import Season

NO_PLAN = -1
"""The number of no plan. Never index with numbers that may hold it, unmasked."""


@dataclass(frozen=True, slots=True, eq=False)
class DayPlans:
    """The plans of a day, and which of them each cohort follows: (cohort,), or `NO_PLAN`."""

    plans: tuple[Plan, ...]
    which: np.ndarray

    @property
    def misted(self) -> np.ndarray:
        """(cohort,) whether it is misted at all."""
        some = np.array([bool(plan.mistings) for plan in self.plans] or [False], dtype=bool)
        return np.asarray((self.which != NO_PLAN) & some[self.which])

    def followers(self, number: int) -> np.ndarray:
        """Return the cohorts that follow a plan."""
        return np.flatnonzero(self.which == number)


def plan_mistings(scene: Scene, places: Places, films: DayFilms) -> DayPlans:
    """Return the mistings of a day for each cohort; none for plants whose rules ask for none."""
    which = np.full(places.column.shape, NO_PLAN, dtype=np.int64)
    if scene.habits.mistings_most == 0:
        return DayPlans((), which)
    by_day = films.events.sunrise, films.events.sunset
    rows = scene.rows(*by_day)
    need_until = _last_needs(scene.rules_asking("mist", places.column, by_day), by_day, which.size)
    wanted = np.isfinite(need_until) & _warm(scene, rows, places.column) & ~resting(scene)
    cohorts = np.flatnonzero(wanted)
    if not cohorts.size:
        return DayPlans((), which)
    films.prepare(np.unique(places.column[cohorts]).tolist())
    column, low = places.column[cohorts], scene.traits.limits["night_low"][cohorts]
    start = _starts(scene, films, column, low, places.since[cohorts])
    # What comes after the last wetting changes no plan.
    last = np.minimum(_last_wettings(scene, films, column, cohorts), places.until[cohorts])
    need = np.minimum(need_until[cohorts], last)
    done = _misted_today(scene, films)[cohorts]
    able = np.flatnonzero(start + MIN_WINDOW.total_seconds() <= last)
    keys = (column, start, scene.roots[cohorts], last, need, done)
    first, groups = group_rows(*(key[able] for key in keys))
    plans = []
    for index in able[first].tolist():
        plant = scene.traits.plants[int(cohorts[index])]
        planner = MistDay(
            scene,
            films.at_spot(int(column[index])),
            Roots(plant.roots_as_in, plant.velamen),
            last=moment(last[index]),
            need=moment(need[index]),
            misted_at=None if np.isnan(done[index]) else moment(done[index]),
        )
        plans.append(planner.plan(moment(start[index])))
    which[cohorts[able]] = groups
    return DayPlans(tuple(plans), which)


def _last_wettings(scene: Scene, films: DayFilms, column: np.ndarray, cohorts: np.ndarray) -> Array:
    """Return until when these cohorts' crowns may be wetted at these columns [unix s], or NaN."""
    last, rot = np.full(column.shape, np.nan), scene.traits.rot[cohorts]
    for members in split_by_keys(np.arange(column.size), column, rot):
        at = films.at_spot(int(column[members[0]])).last_wetting(rot[members[0]])
        last[members] = np.nan if at is None else at.timestamp()
    return last


def _misted_today(scene: Scene, films: DayFilms) -> Array:
    """(cohort,) when it was misted since sunrise, as the grower says [unix s]; NaN for not yet."""
    misted = scene.misted_s
    return np.where(misted >= films.events.sunrise.timestamp(), misted, np.nan)


def resting(scene: Scene) -> np.ndarray:
    """(cohort,) whether plants take their dry rest now, by the season at their home."""
    return np.asarray((scene.traits.rest == "dry") & (scene.seasons == Season.REST))


def misting_errands(scene: Scene, places: Places, planned: DayPlans) -> list[Errand]:
    """Return the misting errands of these plans."""
    all_errands: list[Errand] = []
    here = (places.column, places.column)
    for turn in range(max((len(plan.mistings) for plan in planned.plans), default=0)):
        of_turn = [next(iter(plan.mistings[turn:]), None) for plan in planned.plans]
        opens = np.array([np.nan if m is None else m.opens.timestamp() for m in of_turn])
        closes = np.array([np.nan if m is None else m.closes.timestamp() for m in of_turn])
        cohorts = np.flatnonzero((planned.which != NO_PLAN) & np.isfinite(opens[planned.which]))

        def reason(cohort: int, of_turn: Sequence[Misting | None] = of_turn) -> Reason:
            misting = of_turn[int(planned.which[cohort])]
            assert misting is not None
            return _reason(scene, cohort, misting)

        times = (opens[planned.which], closes[planned.which])
        all_errands += make_errands(scene, ChoreKind.MIST, cohorts, here, times, reason, turn=turn)
    return all_errands


def missed(scene: Scene, places: Places, planned: DayPlans) -> list[Remark]:
    """Return what the grower's hours leave out, once for each spot, in the order of their start.

    Each remark has the longest of the spot's dry times.
    """
    at_spot: dict[int, list[int]] = {}
    for number, plan in enumerate(planned.plans):
        if plan.dry is not None:
            followers = planned.followers(number)
            at_spot.setdefault(int(places.column[followers[0]]), []).append(number)
    remarks = [_missed_at(scene, planned, column, numbers) for column, numbers in at_spot.items()]
    return [*sorted(remarks, key=lambda remark: remark.dry_from)]


def _missed_at(
    scene: Scene, planned: DayPlans, column: int, numbers: Sequence[int]
) -> MistingMissed:
    plans = [planned.plans[number] for number in numbers]
    dry = [plan.dry for plan in plans if plan.dry is not None]
    longest = max((plan.missed for plan in plans), key=len)
    # The earliest of every turn, which is soon enough for all.
    turns = [
        min(p.missed[turn] for p in plans if turn < len(p.missed)) for turn in range(len(longest))
    ]
    return MistingMissed(
        plants=scene.names(sorted(int(c) for n in numbers for c in planned.followers(n))),
        spot=scene.spot_name(column),
        dry_from=round_down(min(start for start, _ in dry), scene.site),
        dry_until=round_up(max(end for _, end in dry), scene.site),
        due=tuple(round_down(at, scene.site) for at in turns),
    )


def _reason(scene: Scene, cohort: int, misting: Misting) -> Reason:
    life = misting.film_h * 60
    velamen = bool(scene.traits.velamen[cohort])
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity="film life",
        value=finite_or_none(np.floor(life), 0),
        unit="min",
        limit=uptake(scene, velamen=velamen) / timedelta(minutes=1),
        at=misting.at,
        origin="uptake time (your habits or their defaults)",
    )


def _starts(scene: Scene, films: DayFilms, column: np.ndarray, low: Array, since: Array) -> Array:
    """Return when the first misting may begin [unix s]; NaN for never.

    At dawn or later: not before the plants are there and the air is above their night limit.
    """
    earliest = max(films.events.sunrise, scene.now).timestamp()
    first, groups = group_rows(column, low, since)
    starts = np.full(first.shape, np.nan)
    for number, index in enumerate(first.tolist()):
        begin = max(earliest, float(since[index]))
        usable = films.starts >= begin
        if not np.isnan(low[index]):
            usable = usable & (films.at_spot(int(column[index])).temp_c >= low[index])
        step = int(np.argmax(usable))
        if usable[step]:
            starts[number] = max(films.starts[step], begin)
    return np.asarray(starts[groups])


def _last_needs(firings: Sequence[Firing], by_day: tuple[datetime, datetime], count: int) -> Array:
    """(cohort,) the last hour of the day at which a mist rule fires [unix s]; -inf if none does."""
    needs = np.full(count, -np.inf)
    for firing in firings:
        rows = firing.rows(*by_day)
        last = np.where(firing.fires[rows], firing.times[rows, None], -np.inf)
        last = last.max(axis=0, initial=-np.inf)
        applies = firing.member >= 0
        needs[applies] = np.maximum(needs[applies], last[firing.member[applies]])
    return needs


def _warm(scene: Scene, rows: np.ndarray, column: Standing) -> np.ndarray:
    """(cohort,) whether the day gets warm enough for misting where they stand."""
    temp = scene.climate.temp_c[rows]
    if not rows.size:
        return np.zeros(column.shape, dtype=bool)
    highest = np.where(np.isfinite(temp), temp, -np.inf).max(axis=0)
    given = scene.habits.mist_from_c
    wanted = scene.min_warmth(lambda warmth: warmth.mist_from_c) if given is None else given
    return np.asarray(highest[column] >= wanted)
