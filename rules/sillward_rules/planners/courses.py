"""Courses over the days: when each began, how often it was given, when leaves need a look."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.solutions import ended_on
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.feeds import Course
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import CourseBehind, LookAtLeaf, Remark
from sillward_rules.weather.season import Season

LOOK_EVERY = timedelta(days=14)
"""While a course runs, the grower is asked so often how the leaves are. Judgement: what leaves show
of a salt that was lacking takes weeks, and new leaves show it first."""

ASKED_FOR, ASKED_AGAIN, ASKED_UNTIL = 3, 7, 31
"""Each question stays on the sheets for so many days, comes back after so many, and is dropped for
good so many days after the last look [d]. Judgement: three times are enough; who has not answered
by then does not want to."""


def with_courses_begun(scene: Scene, states: Sequence[PlantState]) -> list[PlantState]:
    """(cohort,) the states of a morning, with the day from which on each course is planned."""
    today, begun = scene.site.local_date(scene.now), list(states)
    for _, course, index in _running(scene, today):
        care = begun[index].care
        known = care.course(course.name) or CourseProgress(course.name)
        # One that begins anew after it was ended is told from the one before.
        is_new = known.began is None or (course.begins is not None and known.began < course.begins)
        if is_new:
            care = care.with_course(replace(known, began=today, ended_at=None))
            begun[index] = replace(begun[index], care=care)
    return begun


def fallen_behind(scene: Scene) -> list[Remark]:
    """Return the courses that were given less often than they are meant to be, over their span.

    Not while plants rest or a course is younger than its span, nor where it is too strong, which is
    told of it anyway.
    """
    today = scene.site.local_date(scene.now)
    counts: dict[tuple[int, int, int], list[int]] = {}
    for number, course, index in _running(scene, today):
        known = scene.cohorts[index].state.care.course(course.name)
        if known is None or known.began is None or today - known.began < course.within:
            continue
        too_strong = course.ec > scene.traits.limits["salt_high"][index]
        if too_strong or scene.seasons[index] == Season.REST:
            continue
        doses = known.since(scene.now - course.within)
        if sum(dose.confirmed for dose in doses) < course.times:
            unconfirmed = sum(not dose.confirmed for dose in doses)
            counts.setdefault((number, len(doses), unconfirmed), []).append(index)
    return [
        CourseBehind(
            course=scene.collection.courses[number].name,
            plants=scene.names(cohorts),
            given=given,
            unconfirmed=unconfirmed,
            times=scene.collection.courses[number].times,
            days=scene.collection.courses[number].within.days,
        )
        for (number, given, unconfirmed), cohorts in counts.items()
    ]


def looks_due(scene: Scene, *, daily: bool) -> list[Remark]:
    """Return the plants of courses whose leaves it is time to look at.

    Only those that were given something since the last look, and not while they rest.

    daily: for a sheet that is told every day: it asks for some days of each week.
    """
    today = scene.site.local_date(scene.now)
    asked: dict[tuple[int, int], list[int]] = {}
    for number, course, index in _running(scene, today):
        known = scene.cohorts[index].state.care.course(course.name)
        days = None if known is None else days_unseen(known, today, scene.site.local_date)
        if days is None or not LOOK_EVERY.days <= days < ASKED_UNTIL:
            continue
        if scene.seasons[index] == Season.REST or (daily and days % ASKED_AGAIN >= ASKED_FOR):
            continue
        asked.setdefault((number, days), []).append(index)
    return [
        LookAtLeaf(scene.names(cohorts), scene.collection.courses[number].name, days)
        for (number, days), cohorts in asked.items()
    ]


def days_unseen(
    known: CourseProgress, today: date, date_of: Callable[[datetime], date]
) -> int | None:
    """Return for how many days a course was given while nobody looked at the leaves; else None.

    date_of : the local date of a moment.
    """
    if known.began is None:
        return None
    looked = known.began if known.looked_at is None else date_of(known.looked_at)
    begins = max(looked, known.began)
    first = next((day for day in (date_of(one.at) for one in known.doses) if day >= begins), None)
    if first is None:
        return None
    is_first_ever = known.looked_at is None and known.earlier
    return (today - (begins if is_first_ever else first)).days


def _running(scene: Scene, today: date) -> Iterator[tuple[int, Course, int]]:
    """Yield the number of each course that runs, itself, and each cohort for which it does."""
    for number, course in enumerate(scene.collection.courses):
        for index in course.plants.among(scene.traits).nonzero()[0].tolist():
            if course.runs_on(today, ended_on(scene, course.name, index)):
                yield number, course, index
