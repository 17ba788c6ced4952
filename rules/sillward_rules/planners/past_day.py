"""What the day that is over has done to each plant: the state in which a morning begins."""

from collections.abc import Mapping
from dataclasses import replace

from sillward_rules.planners.cold_history import after_last_night
from sillward_rules.planners.courses import with_courses_begun
from sillward_rules.planners.scene import salts
from sillward_rules.planners.scene.cohorts import States
from sillward_rules.planners.scene.pot_levels import after_last_day
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.course_progress import KEPT
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.season import Season


def states_after(scene: Scene) -> Mapping[str, PlantState]:
    """Return the state of every plant in a morning, with the day before it counted."""
    seasoned = with_season(scene, after_last_night(scene))
    current = without_what_is_gone(scene, seasoned)
    watered = after_last_day(scene, with_courses_begun(scene, current))
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


def without_what_is_gone(
    scene: Scene, states: Mapping[str, PlantState]
) -> Mapping[str, PlantState]:
    """Return these states without what the collection has no use for any more.

    That is the water of a pot that is not in it, and courses of which nothing was given or said for
    `course_progress.KEPT`: a file that lacks one for a while loses no answer.
    """
    running: list[set[str]] = [set() for _ in scene.cohorts]
    for course in scene.collection.courses:
        for index in course.plants.among(scene.traits).nonzero()[0].tolist():
            running[index].add(course.name)
    since, cohorts = scene.now - KEPT, []
    for cohort, names in zip(scene.cohorts, running, strict=True):
        state = states[cohort.names[0]]
        care = state.care
        kept = tuple(
            one for one in care.courses if one.name in names or one.was_heard_of_since(since)
        )
        if kept != care.courses:
            care = replace(care, courses=kept)
        if cohort.plant.pot is None and (care.water or care.looks):
            care = replace(care, water=None, looks=())
        cohorts.append(
            replace(cohort, state=state if care is state.care else replace(state, care=care))
        )
    return States(cohorts)
