"""Cohorts: plants that are alike in all that planners look at, history included."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property
from itertools import count

import numpy as np

from sillward_rules.planners.scene.night_risk import exposure_of, is_borne
from sillward_rules.planners.scene.surroundings import Surroundings
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_firing import Classes, Firing
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather import sun
from sillward_rules.weather.season import Season
from sillward_rules.weather.sun import Night


@dataclass(frozen=True, slots=True)
class Cohort:
    """Plants that are alike in all that planners look at, history included.

    - index: its position among the scene's cohorts.
    - plant: one of them, which represents all.
    - names: the names of all of them.
    """

    index: int
    plant: Plant
    names: tuple[str, ...]
    state: PlantState


class States(Mapping[str, PlantState]):
    """The state of every plant, by name, from that of each cohort; laid out when first read."""

    def __init__(self, cohorts: Sequence[Cohort], states: Sequence[PlantState]) -> None:
        """Give each of these cohorts a state (cohort,)."""
        self._cohorts = cohorts
        self._states = states

    @cached_property
    def _by_name(self) -> dict[str, PlantState]:
        laid_out: dict[str, PlantState] = {}
        for cohort, state in zip(self._cohorts, self._states, strict=True):
            laid_out.update(dict.fromkeys(cohort.names, state))
        return laid_out

    def __getitem__(self, name: str) -> PlantState:
        """Return the state of a plant."""
        return self._by_name[name]

    def __iter__(self) -> Iterator[str]:
        """Iterate over the names."""
        return iter(self._by_name)

    def __len__(self) -> int:
        """Return how many plants there are."""
        return len(self._by_name)


def make_cohorts(
    around: Surroundings, state: State, *, assume_obeyed: bool
) -> tuple[tuple[Cohort, ...], np.ndarray]:
    """Return the kinds of the collection, split where plants have different histories.

    A plant without history is at home, except on a morning after a night that was too cold for it:
    then it is taken to have been carried in. A plant recorded at a spot that no longer exists has
    no history. assume_obeyed: as in `Scene`.

    The second part is the kind of each cohort, (cohort,).
    """
    collection = around.collection
    # Plants that were told the same share one state.
    now: dict[int, PlantState] = {}
    known: dict[str, PlantState] = {}
    for name, recorded in state.items():
        key = id(recorded)
        if key not in now:
            now[key] = _current(around, recorded, assume_obeyed=assume_obeyed)
        if now[key].spot in around.columns:
            known[name] = now[key]
    carried_in = _carried_in_last_night(around, known)
    at_spot = {spot: PlantState(spot) for spot in around.columns}
    firsts, all_names = collection.traits.plants, collection.names
    unknown = [
        at_spot[first.shelter if inside and first.shelter else first.home]
        for first, inside in zip(firsts, carried_in.tolist(), strict=True)
    ]
    if not known:
        return tuple(map(Cohort, count(), firsts, all_names, unknown)), np.arange(len(firsts))
    cohorts: list[Cohort] = []
    kind_of: list[int] = []
    kinds = zip(firsts, all_names, unknown, strict=True)
    for number, (first, names, state_of_all) in enumerate(kinds):
        if len(names) == 1 and names[0] in known:
            cohorts.append(Cohort(len(cohorts), first, names, known[names[0]]))
            kind_of.append(number)
            continue
        for part_state, part in _split_by_state(names, known, state_of_all):
            cohorts.append(Cohort(len(cohorts), first, part, part_state))
            kind_of.append(number)
    return tuple(cohorts), np.array(kind_of, dtype=np.int64)


def _current(around: Surroundings, state: PlantState, *, assume_obeyed: bool) -> PlantState:
    """Return the state at this moment, without orders and answers that no longer matter."""
    before_last, last, tonight = around.sunrises
    if state.declined:  # long ago it would part plants that are alike
        recent = tuple(one for one in state.declined if one.before > before_last)
        state = replace(state, declined=recent)
    # The day is planned from where a plant is before it goes out. The night is not: a plant that
    # was told to go out may be out.
    state = state.before_going_out(around.now) if assume_obeyed else state
    now, asked = state.at(around.now), state.asked
    if asked is None:
        return now
    if asked.out_at is not None:  # it has been used, and would part plants that are alike
        now = replace(now, asked=replace(asked, out_of=None, out_at=None))
    if not before_last < asked.before <= tonight:
        return replace(now, asked=None)
    if not assume_obeyed and asked.before > last:
        now = now.as_if_ignored()
    # An order between spots that no longer exist cannot be followed, but it has not brought the
    # plant in either: its place is known, or it has no history and is told to go in again.
    spots_gone = not around.columns.keys() >= {asked.from_spot, asked.to_spot}
    return replace(now, asked=None) if spots_gone else now


def _split_by_state(
    names: tuple[str, ...], known: Mapping[str, PlantState], unknown: PlantState
) -> list[tuple[PlantState, tuple[str, ...]]]:
    parts: dict[PlantState, list[str]] = {}
    for name in names:
        parts.setdefault(known.get(name, unknown), []).append(name)
    return [(state, tuple(part)) for state, part in parts.items()]


def _carried_in_last_night(around: Surroundings, known: Mapping[str, PlantState]) -> np.ndarray:
    """(kind,) whether plants without history are taken to have been carried in last night.

    Only on the morning after a night that was too cold for them.
    """
    traits = around.collection.traits
    cold = np.zeros(len(traits.plants), dtype=bool)
    today = around.site.local_date(around.now)
    night = sun.night_of(around.site, today - timedelta(days=1))
    plants = around.collection.plants
    all_known = len(known) >= len(plants) and all(plant.name in known for plant in plants)
    if all_known or not night.end <= around.now < around.site.middle_of_day(today):
        return cold
    home = around.homes_of(traits)
    traits = traits.resting(around.climate.season[traits.grows, home] == Season.REST)
    stands_cold = np.isfinite(traits.limits["brief_low"])
    for classes in around.classes_asking("carry in", traits, home):

        def firing_in(other: Night, classes: Classes = classes) -> Firing:
            span = around.day_and_night(other)
            return around.evaluate([classes], around.by_night, span)[0]

        firing = firing_in(night)
        brief = is_borne(around, firing, night, exposure_of(firing, night)[0], firing_in)
        fired = firing.fires[firing.rows(night.start, night.cold_until)].any(axis=0)
        cold |= firing.by_plant(fired) & ~(firing.by_plant(brief) & stands_cold)
    return cold
