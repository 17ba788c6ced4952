"""Where the cohorts spend a day, and from when until when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.weather import sun


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where the cohorts spend a day: spot column, from when and until when they are there.

    All (cohort,); since and until in unix seconds.
    """

    column: Standing
    since: Array
    until: Array


def places_of_day(
    scene: Scene, day: date, column: Standing, trips: Sequence[Chore], until: Array | None = None
) -> Places:
    """Return where each cohort is by day.

    It is there from sunrise on, or from when a trip may carry it out, until a trip carries it in.

    column (cohort,) : where they are once the trips are done. until (cohort,) : when they must go
    in again [unix s], infinite where they need not.
    """
    sunrise = sun.day_events(scene.site, day).sunrise.timestamp()
    end = sun.day_events(scene.site, day + timedelta(days=1)).sunrise.timestamp()
    since, leave = np.full(column.shape, sunrise), np.full(column.shape, end)
    for trip in trips:
        cohorts = scene.cohorts_of(trip.grounds)
        if trip.kind is ChoreKind.CARRY_OUT and trip.not_before is not None:
            since[cohorts] = trip.not_before.timestamp()
        elif trip.kind is ChoreKind.CARRY_IN:
            leave[cohorts] = trip.before.timestamp()
    return Places(column, since, leave if until is None else np.minimum(until, leave))
