"""What the day that is over has done to each plant: the state in which a morning begins."""

from collections.abc import Mapping, Sequence
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
    return States(scene.cohorts, salts.after_last_day(scene, watered))


# Each step has the state of the plants of each cohort, (cohort,). Cohorts that share one go on to
# share one, and only what a step changes is made anew.


def with_season(scene: Scene, states: Sequence[PlantState]) -> list[PlantState]:
    """Return these states with the season of each plant as of this day; it begins to be remembered.

    A season that is not known by its day length and warmth is not remembered anew.
    """
    today = scene.site.local_date(scene.now)
    first = {season: SeasonMemory(season, today, today) for season in Season}
    memories = [
        first[season] if memory is None and known else memory
        for memory, season, known in zip(
            scene.season_memories,
            scene.raw_seasons.tolist(),
            scene.season_known.tolist(),
            strict=True,
        )
    ]
    after: dict[tuple[int, int], PlantState] = {}
    seasoned = []
    for state, memory in zip(states, memories, strict=True):
        key = id(state), id(memory)
        if key not in after:
            care = state.care
            same = memory is care.season
            after[key] = state if same else replace(state, care=replace(care, season=memory))
        seasoned.append(after[key])
    return seasoned


def without_what_is_gone(scene: Scene, states: Sequence[PlantState]) -> list[PlantState]:
    """Return these states without what the collection has no use for any more.

    That is the water of a pot that is not in it, and courses of which nothing was given or said for
    `course_progress.KEPT`: a file that lacks one for a while loses no answer.
    """
    courses = scene.collection.courses
    meant = [(course.name, course.plants.among(scene.traits)) for course in courses]
    since, left = scene.now - KEPT, list(states)
    for index, state in enumerate(states):
        care = state.care
        if not (care.courses or care.water or care.looks):
            continue
        names = {name for name, chosen in meant if chosen[index]}
        kept = tuple(
            one for one in care.courses if one.name in names or one.was_heard_of_since(since)
        )
        if kept != care.courses:
            care = replace(care, courses=kept)
        if scene.cohorts[index].plant.pot is None and (care.water or care.looks):
            care = replace(care, water=None, looks=())
        if care is not state.care:
            left[index] = replace(state, care=care)
    return left
