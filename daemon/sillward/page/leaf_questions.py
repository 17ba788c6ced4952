"""Which leaves it is time to look at while a course runs, as questions on the page."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sillward.page.keys import key_of
from sillward_rules.planners.courses import LOOK_EVERY, days_unseen
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State

MAX_ASKED = 12
"""Plants that are asked about at a time. Judgement: more are not looked at in one walk."""


@dataclass(frozen=True, slots=True)
class LeafQuestion:
    """A plant whose leaves nobody has looked at for so many days of a course."""

    plant: str
    key: str
    course: str
    days: int


def leaf_questions(collection: Collection, states: State, now: datetime) -> list[LeafQuestion]:
    """Return the plants whose leaves are asked about, each once, in the order of the collection."""
    found: dict[str, LeafQuestion] = {}
    for question in _due(collection, states, now):
        found.setdefault(question.plant, question)
    return list(found.values())[:MAX_ASKED]


def _due(collection: Collection, states: State, now: datetime) -> Iterator[LeafQuestion]:
    site = collection.site
    today = site.local_date(now)
    for plant in collection.plants if collection.courses else ():
        for course in collection.courses_of(plant):
            known = plant.name in states and states[plant.name].care.course(course.name)
            if not known:
                continue
            ended = None if known.ended_at is None else site.local_date(known.ended_at)
            days = days_unseen(known, today, site.local_date)
            if course.runs_on(today, ended) and days is not None and days >= LOOK_EVERY.days:
                yield LeafQuestion(plant.name, key_of(plant.name), course.name, days)
