"""How long carrying takes, and so when to begin with it; what is too heavy for one person.

Only for plants of known size (`plants.size`): of the others a walk says nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind, Heavy, Load
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants import size
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Traits
from sillward_rules.trips import round_down
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.site import Site

_CARRIED = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.MOVE})

Sizes = tuple[Array, Array]
"""Weights [kg] and spans [cm]; NaN where not known."""


def sizes_of(traits: Traits) -> Sizes:
    """(plant,) twice: the weights and the spans of these plants."""
    return traits.memo.of(
        "sizes", lambda: (size.weights_kg(traits.plants), size.spans_cm(traits.plants))
    )


def kinds_by_name(collection: Collection) -> dict[str, int]:
    """Return the position in `Collection.traits` of each plant, by name."""
    return {name: kind for kind, names in enumerate(collection.names) for name in names}


def with_loads(collection: Collection, chores: Sequence[Chore]) -> tuple[Chore, ...]:
    """Return the chores of a round; those that carry plants of known size with their load.

    What goes in has the hour by which to begin: the walks of an evening are made one after the
    other, each to be over by its own deadline.
    """
    weights, spans = sizes_of(collection.traits)
    if not (np.isfinite(weights) | np.isfinite(spans)).any():
        return tuple(chores)
    kind_of = kinds_by_name(collection)
    going_in = [c for c in chores if c.kind is ChoreKind.CARRY_IN and c.overdue_since is None]
    begins = _begins(going_in, kind_of, (weights, spans), collection.site)
    return tuple(
        _with_load(chore, kind_of, (weights, spans), begins.get(chore.id))
        if chore.kind in _CARRIED
        else chore
        for chore in chores
    )


def begins_by(scene: Scene, deadline: Array, goes: np.ndarray) -> Array:
    """Return when to begin so that each is in by its deadline: (cohort,) [unix s].

    The deadline itself where no size is known of those that go. All that goes from one spot is
    counted as one walk.

    goes (cohort,) : which of them are carried.
    """
    weights, spans = sizes_of(scene.traits)
    cohorts = np.flatnonzero(goes)
    if not (np.isfinite(weights[cohorts]) | np.isfinite(spans[cohorts])).any():
        return deadline
    cohorts = cohorts[np.argsort(deadline[cohorts], kind="stable")]
    minutes = size.handling_min(weights[cohorts], spans[cohorts]) * scene.sizes[cohorts]
    _, first_from_spot = np.unique(scene.home[cohorts], return_index=True)
    minutes[first_from_spot] += size.WALK_MIN
    begins = deadline.copy()
    begins[cohorts] = size.latest_starts(deadline[cohorts], minutes)
    return begins


def _sizes_on(chore: Chore, kind_of: Mapping[str, int], sizes: Sizes) -> Sizes:
    kinds = np.array([kind_of[name] for name in chore.plants if name in kind_of], dtype=np.int64)
    return sizes[0][kinds], sizes[1][kinds]


def _begins(
    chores: Sequence[Chore], kind_of: Mapping[str, int], sizes: Sizes, site: Site
) -> dict[str, datetime]:
    """Return when to begin with each of these chores; nothing if no size is known of any plant."""
    on_each = [_sizes_on(chore, kind_of, sizes) for chore in chores]
    if not any(np.isfinite(of_chore).any() for both in on_each for of_chore in both):
        return {}
    order = sorted(range(len(chores)), key=lambda number: chores[number].before)
    deadlines = np.array([chores[number].before.timestamp() for number in order])
    minutes = [size.WALK_MIN + float(size.handling_min(*on_each[n]).sum()) for n in order]
    starts = size.latest_starts(deadlines, np.array(minutes)).tolist()
    return {
        chores[number].id: round_down(moment(start), site)
        for number, start in zip(order, starts, strict=True)
    }


def _with_load(
    chore: Chore, kind_of: Mapping[str, int], sizes: Sizes, begins: datetime | None
) -> Chore:
    weights, spans = _sizes_on(chore, kind_of, sizes)
    known = (np.isfinite(weights) | np.isfinite(spans)).any()
    if not known and begins is None:
        return chore
    minutes = size.WALK_MIN + float(size.handling_min(weights, spans).sum())
    names = [name for name in chore.plants if name in kind_of]
    heavy = tuple(
        Heavy(names[number], float(weights[number]))
        for number in np.flatnonzero(size.is_heavy(weights)).tolist()
    )
    return replace(chore, load=Load(timedelta(minutes=minutes), begins, heavy))
