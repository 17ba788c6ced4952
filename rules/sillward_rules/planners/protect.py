"""Shade, cover, secured baskets, damp floors: what rules ask for where a plant stands."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.first_hours import LEAD, find_first_hours, with_out_from
from sillward_rules.planners.nights import NightNeeds
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.weather.sun import Night

KINDS: Mapping[str, ChoreKind] = {
    "shade": ChoreKind.SHADE,
    "secure": ChoreKind.SECURE,
    "cover": ChoreKind.COVER,
    "damp down": ChoreKind.DAMP_DOWN,
}
"""What a rule asks for, and the chore it becomes."""

OF_THE_SPOT = frozenset({ChoreKind.SHADE, ChoreKind.DAMP_DOWN})
"""Chores that do not matter to plants that have left the spot for the day."""

LEAD_S = LEAD.total_seconds()

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
        start = None
        cohorts = np.flatnonzero(np.isfinite(due))
        if kind is ChoreKind.DAMP_DOWN:
            start = np.maximum(np.where(np.isfinite(due), due, 0.0) - LEAD_S, firsts.begin)
            # What it is too dry for already is wetted in the time there is, while plants are there.
            due = np.minimum(start + LEAD_S, np.maximum(firsts.until, due))
        part = make_errands(scene, kind, cohorts, here, (start, due), firsts.reason)
        errands += with_out_from(scene, places, part)
    return errands


def in_before_weather(scene: Scene, night: Night, needs: NightNeeds) -> NightNeeds:
    """Return the needs of a night with what hail, rain or gusts reach first brought in before them.

    A plant that goes in anyway is carried once instead of being covered first and carried later.
    What comes first is beside its reason.
    """
    goes = needs.must_be_in & ~scene.is_under_cover(scene.standing)
    if not goes.any():
        return needs
    now = scene.now.timestamp()
    since = np.full(goes.shape, now)
    until = np.where(goes, np.maximum(needs.deadline, now), now)
    places = Places(scene.standing, since, until)
    firsts = [find_first_hours(scene, asks, places, night.end) for asks in AT_NIGHT]
    comes_first = [goes & (first.due <= until) for first in firsts]
    if not np.any(comes_first):
        return needs
    due = np.minimum.reduce([first.due for first in firsts])

    def reason(cohort: int) -> Reason:
        of_night = needs.reason(cohort)
        others = [
            each
            for first, comes in zip(firsts, comes_first, strict=True)
            if comes[cohort]
            for each in (first.reason(cohort), *first.reason(cohort).also)
        ]
        return replace(of_night, also=tuple(replace(each, also=()) for each in others))

    sooner = np.any(comes_first, axis=0) & ~needs.overdue
    return replace(needs, deadline=np.where(sooner, due, needs.deadline), reason=reason)
