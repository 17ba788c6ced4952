"""Where plants stood in the hours before now, as far as their state tells."""

from collections.abc import Sequence

import numpy as np

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.spot_columns import NO_SPOT


class Whereabouts:
    """Where cohorts stood: as they do now since they were carried there, before that at the other
    end of the way. So none is credited with rain that fell while it was under cover."""

    def __init__(self, scene: Scene, cohorts: np.ndarray, states: Sequence[PlantState]) -> None:
        self._now = scene.standing[cohorts]
        home, shelter = scene.home[cohorts], scene.shelter[cohorts]
        inside = scene.is_under_cover(scene.standing)[cohorts]
        other = np.where(inside, home, np.where(shelter == NO_SPOT, self._now, shelter))
        since = [-np.inf if one.since is None else one.since.timestamp() for one in states]
        self._before, self._since = other, np.array(since)

    def at(self, second: float) -> np.ndarray:
        """Return the spot column of each of these cohorts at a moment [unix s]."""
        return np.asarray(np.where(self._since > second, self._before, self._now))
