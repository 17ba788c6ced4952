"""Shade, cover, secured baskets, damp floors: what rules ask for where a plant stands."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np

from sillward_rules.chore import ChoreKind, Errand
from sillward_rules.planners.first_hours import LEAD, find_first_hours, with_out_from
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene

KINDS: Mapping[str, ChoreKind] = {
    "shade": ChoreKind.SHADE,
    "secure": ChoreKind.SECURE,
    "cover": ChoreKind.COVER,
    "damp down": ChoreKind.DAMP_DOWN,
}
"""What a rule asks for, and the chore it becomes."""

OF_THE_SPOT = frozenset({ChoreKind.SHADE, ChoreKind.DAMP_DOWN})
"""Chores that do not matter to plants that have left the spot for the day."""

AT_NIGHT = ("secure", "cover")
"""What the dusk round asks for: at night there is no sun to shade from."""


def plan_protection(
    scene: Scene,
    places: Places,
    end: datetime,
    asked: Sequence[str] = tuple(KINDS),
    *,
    moved: np.ndarray | None = None,
) -> list[Errand]:
    """Return errands for plants where they stand, due before the first hour that fires.

    There are none on a forecast that is too old.

    - places: where they stand, and from when until when. A plant that goes out later is safe until
      then, and one that is in by then needs nothing.
    - asked: what the rules may ask for.
    - moved (cohort,): whether plants have been moved out of the day's sun and heat by then.
    """
    errands: list[Errand] = []
    here = (places.column, places.column)
    for asks in asked:
        kind = KINDS[asks]
        firsts = find_first_hours(scene, asks, places, end)
        due = firsts.due
        if moved is not None and kind in OF_THE_SPOT:
            due = np.where(moved, np.inf, due)
        start = due - LEAD.total_seconds() if kind is ChoreKind.DAMP_DOWN else None
        if start is not None:
            start = np.where(np.isfinite(start), np.maximum(start, firsts.begin), 0.0)
        cohorts = np.flatnonzero(np.isfinite(due))
        part = make_errands(scene, kind, cohorts, here, (start, due), firsts.reason)
        errands += with_out_from(scene, places, part)
    return errands
