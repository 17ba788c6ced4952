"""What the grower says of courses: that one is over for some plants, or goes on after all."""

from collections.abc import Sequence
from datetime import datetime

from sillward.ledger import Deed, Ledger
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.sightings import course_ended
from sillward_rules.plants.state import PlantState

ENDED, RESUMED = "course ended", "course goes on"
"""The names of these deeds."""


def end(
    ledger: Ledger,
    collection: Collection,
    course: str,
    plants: Sequence[str],
    now: datetime,
    person: str | None = None,
    *,
    over: bool = True,
) -> list[str]:
    """Record that a course is over for plants, or not over after all; return those it changes."""
    site = collection.site.name
    homes = {plant.name: plant.home for plant in collection.plants}
    with ledger.transaction():
        known = ledger.plant_states.of_site(site)
        states = {name: known.get(name) or PlantState(homes[name]) for name in plants}
        changed = {}
        for name, state in states.items():
            progress = state.care.course(course)
            if over is (progress is None or progress.ended_at is None):
                # as the ledger keeps it
                at = now.replace(microsecond=0) if over else None
                changed[name] = course_ended(state, course, at)
        if changed:
            ledger.plant_states.keep(site, changed)
            about = {"course": course, "plants": list(changed)}
            ledger.deeds.insert(site, Deed(now, person, ENDED if over else RESUMED, about))
    return list(changed)
