"""What is said of rests: when one begins or ends, and which plants rest."""

from collections.abc import Callable
from datetime import date, timedelta
from functools import lru_cache
from typing import TypeVar

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.remark import PlantsRest, Remark, RestBegins, RestEnds
from sillward_rules.weather.season import GROWING_FROM_H, GROWS, WARMTH, Season, day_length_h
from sillward_rules.weather.site import Site

Key = TypeVar("Key")


def rests_turned(scene: Scene) -> list[Remark]:
    """Return the plants whose rest begins or ends on this day; what was not remembered is none."""
    today = scene.site.local_date(scene.now)

    def turn(cohort: int) -> tuple[bool, bool, date | None] | None:
        memory = scene.season_memories[cohort]
        if memory is None or not memory.changed or memory.since != today:
            return None
        if memory.season is Season.REST:
            return True, _rests_dry(scene, cohort), _growth_not_before(scene, cohort)
        return (False, _rests_dry(scene, cohort), None) if _ended(memory) else None

    return [
        RestBegins(plants, dry, not_before) if begins else RestEnds(plants, dry)
        for (begins, dry, not_before), plants in _by_key(scene, turn).items()
    ]


def plants_at_rest(scene: Scene) -> tuple[Remark, ...]:
    """Return the plants that are remembered to rest, dry or with a little water."""

    def rest(cohort: int) -> tuple[bool, date | None] | None:
        memory = scene.season_memories[cohort]
        if memory is None or memory.season is not Season.REST:
            return None
        return _rests_dry(scene, cohort), _growth_not_before(scene, cohort)

    return tuple(PlantsRest(plants, *key) for key, plants in _by_key(scene, rest).items())


def _ended(memory: SeasonMemory) -> bool:
    return memory.came_from is Season.REST


def _rests_dry(scene: Scene, cohort: int) -> bool:
    return bool(scene.traits.rest[cohort] == "dry")


def _growth_not_before(scene: Scene, cohort: int) -> date | None:
    """Return the first day that is long enough for growth; None if warmth alone decides.

    That is for plants that do not go by the length of the day, and where it is long enough now.
    """
    if not WARMTH[GROWS[scene.traits.grows[cohort]]].by_day_length:
        return None
    return days_long_enough_from(scene.site, scene.site.local_date(scene.now))


@lru_cache(maxsize=64)
def days_long_enough_from(site: Site, today: date) -> date | None:
    """Return the first day after today that is long enough for growth.

    None if it is long enough now, or within a year never is.
    """
    if day_length_h(site, today) >= GROWING_FROM_H:
        return None
    days = (today + timedelta(days=ahead) for ahead in range(1, 367))
    return next((day for day in days if day_length_h(site, day) >= GROWING_FROM_H), None)


def _by_key(scene: Scene, key_of: Callable[[int], Key | None]) -> dict[Key, tuple[str, ...]]:
    """Return the plants by what is said of them, in the order of names; None is left out."""
    groups: dict[Key, list[int]] = {}
    for cohort in scene.by_name.tolist():
        key = key_of(cohort)
        if key is not None:
            groups.setdefault(key, []).append(cohort)
    return {key: scene.names(cohorts) for key, cohorts in groups.items()}
