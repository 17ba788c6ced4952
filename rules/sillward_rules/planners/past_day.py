"""What the day that is over has done to each plant: the state in which a morning begins."""

from collections.abc import Mapping

from sillward_rules.planners.cold_history import after_last_night
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.state import PlantState


def states_after(scene: Scene) -> Mapping[str, PlantState]:
    """Return the state of every plant in a morning, with the day before it counted."""
    return after_last_night(scene)
