"""How much a misting, a feed or a rinse takes, and what pots are given with their water.

Of what is sprayed that is known only where the span of every plant is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from sillward_rules.chore import Chore, ChoreKind, Spray
from sillward_rules.planners.walk_time import kinds_by_name, sizes_of
from sillward_rules.plants import size
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import WEAK_FEED

_SPRAYED = frozenset({ChoreKind.MIST, ChoreKind.FEED, ChoreKind.COURSE, ChoreKind.FLUSH})


def with_spray(collection: Collection, chores: Sequence[Chore]) -> tuple[Chore, ...]:
    """Return the chores of a round; those that wet plants of known span with what that takes."""
    mixed = any(_is_mixed_for_pots(chore) for chore in chores)
    _, spans = sizes_of(collection.traits)
    if not np.isfinite(spans).any() and not mixed:
        return tuple(chores)
    each_l, kind_of, fillings = (
        size.spray_l(spans),
        kinds_by_name(collection),
        _fillings(collection),
    )
    return tuple(
        replace(chore, spray=_spray(chore, each_l, kind_of, fillings))
        if chore.kind in _SPRAYED
        else replace(chore, spray=_poured(chore, fillings))
        if _is_mixed_for_pots(chore)
        else chore
        for chore in chores
    )


def _is_mixed_for_pots(chore: Chore) -> bool:
    return chore.kind is ChoreKind.WATER and bool(chore.what)


def _poured(chore: Chore, fillings: Mapping[tuple[ChoreKind, str], float]) -> Spray:
    """Return how much is mixed for the pots of a watering."""
    total = sum(reason.litres or 0.0 for reason in chore.because)
    name = "" if chore.what == WEAK_FEED else chore.what
    known = [fillings.get((kind, name)) for kind in (ChoreKind.FEED, ChoreKind.COURSE)]
    return Spray(round(total, 2), next((one for one in known if one is not None), None))


def _spray(
    chore: Chore,
    each_l: np.ndarray,
    kind_of: Mapping[str, int],
    fillings: Mapping[tuple[ChoreKind, str], float],
) -> Spray | None:
    total = float(sum(each_l[kind_of[name]] for name in chore.plants if name in kind_of))
    filling = fillings.get((chore.kind, chore.what))
    return Spray(round(total, 2), filling) if np.isfinite(total) else None


def _fillings(collection: Collection) -> dict[tuple[ChoreKind, str], float]:
    """Return how much of each feed and course is mixed at a time [L]."""
    feeds = {
        (ChoreKind.FEED, feed.name): feed.recipe.litres
        for feed in collection.all_feeds
        if feed.recipe is not None
    }
    return feeds | {(ChoreKind.COURSE, one.name): one.litres for one in collection.courses}
