"""What the day that is over has done to each plant: the state in which a morning begins."""

from collections.abc import Mapping
from dataclasses import replace

from sillward_rules.planners.cold_history import after_last_night
from sillward_rules.planners.courses import with_courses_begun
from sillward_rules.planners.scene import salts
from sillward_rules.planners.scene.cohorts import States
from sillward_rules.planners.scene.pot_levels import after_last_day
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.season import Season


def states_after(scene: Scene) -> Mapping[str, PlantState]:
    """Return the state of every plant in a morning, with the day before it counted."""
    seasoned = with_season(scene, after_last_night(scene))
    watered = after_last_day(scene, with_courses_begun(scene, seasoned))
    return salts.after_last_day(scene, watered)


def with_season(scene: Scene, states: Mapping[str, PlantState]) -> Mapping[str, PlantState]:
    """Return these states with the season of each plant as of this day; it begins to be remembered.

    A season that is not known by its day length and warmth is not remembered anew.
    """
    today = scene.site.local_date(scene.now)
    first = {season: SeasonMemory(season, today, today) for season in Season}
    cohorts = []
    for cohort, memory, season, known in zip(
        scene.cohorts, scene.season_memories, scene.raw_seasons, scene.season_known, strict=True
    ):
        if memory is None and known:
            memory = first[season]
        state = states[cohort.names[0]]
        if memory is not state.care.season:
            state = replace(state, care=replace(state.care, season=memory))
        cohorts.append(replace(cohort, state=state))
    return States(cohorts)
