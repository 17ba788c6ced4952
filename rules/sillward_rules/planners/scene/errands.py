"""Errands made from arrays: one for all cohorts that go the same way at the same times."""

from collections.abc import Callable

import numpy as np

from sillward_rules.arrays import Array, split_by_keys
from sillward_rules.chore import ChoreKind, CohortGroups, Errand, Grounds, Reason
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.weather.hourly import moment


def make_errands(
    scene: Scene,
    kind: ChoreKind,
    cohorts: np.ndarray,
    places: tuple[np.ndarray, np.ndarray],
    times: tuple[Array | None, Array],
    reason: Callable[[int], Reason],
    *,
    turn: int = 0,
    unconfirmed: bool = False,
    overdue: bool = False,
    what: str = "",
) -> list[Errand]:
    """Return the errands of these cohorts, one for all that go the same way at the same times.

    - places: the spots from which and to which they go.
    - times: not before and before [unix s].
    - reason: returns the reason of a cohort.
    - turn, unconfirmed, overdue, what: as in `Errand`.

    Places and times are (cohort,) over all cohorts of the scene.
    """
    if not cohorts.size:
        return []
    chosen = np.zeros(len(scene.cohorts), dtype=bool)
    chosen[cohorts] = True
    cohorts = scene.by_name[chosen[scene.by_name]]
    start, end = times
    keys = [places[0][cohorts], places[1][cohorts], end[cohorts]]
    if start is not None:
        keys.append(start[cohorts])
    errands, names = [], scene.names_of
    for part in split_by_keys(cohorts, *keys):
        first, members = int(part[0]), part.tolist()
        errands.append(
            Errand(
                kind,
                scene.spot_name(int(places[0][first])),
                scene.spot_name(int(places[1][first])),
                None if start is None else moment(start[first]),
                moment(end[first]),
                Grounds(
                    CohortGroups(members, names),
                    lambda members=members: [  # type: ignore[misc]
                        reason(cohort) for cohort in members
                    ],
                ),
                turn=turn,
                unconfirmed=unconfirmed,
                overdue=overdue,
                what=what,
            )
        )
    return errands
