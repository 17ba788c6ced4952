"""What `sillward course` prints: how far each course has come for each of its plants."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from sillward.errors import one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.deeds import Deed
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.reports.json_encoding import iso_in_zone_of
from sillward.text.columns import PIPE, Screen
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import ChoreKind
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.plant import Plant
from sillward_rules.remark import CourseTooStrong, FeedTooStrong
from sillward_rules.sheet import describe_course, not_to_be_mixed
from sillward_rules.weather.year_day import ALL_YEAR

MOST_LOOKS = 8
"""Looks at the leaf that are told of a plant, the last ones. Judgement: four months of a course."""

LEAST_GRAMS = 0.01
"""What a fine scale shows [g]; less of a salt in a litre is none."""

MAX_DEEDS = 2000
"""So many of the last deeds are looked through for who gave a course. Judgement: months of them."""


# -- for machines


def document(
    collection: Collection,
    ledger: Ledger,
    now: datetime,
    courses: Sequence[Course],
    plant: str | None = None,
) -> dict[str, Any]:
    """Return courses as plain types, with times in the site's zone.

    plant: the only one to tell of; None for all.
    """
    site = collection.site
    states = ledger.plant_states.of_site(site.name)
    deeds = ledger.deeds.latest(site.name, MAX_DEEDS)
    looks: dict[str, list[DiaryEntry]] = {}
    for entry in ledger.diary.of_kind(site.name, EntryKind.LOOK, now - timedelta(days=366)):
        if entry.what == "leaf":
            looks.setdefault(entry.plant, []).append(entry)
    too_strong = {
        (remark.course, name): remark
        for remark in too_strong_for(collection, site.local_date(now))
        if isinstance(remark, CourseTooStrong)
        for name in remark.plants
    }
    of_plants = {
        course.name: [
            _plant(
                course,
                name,
                None if name not in states else states[name].care.at(now).course(course.name),
                deeds,
                looks.get(name, ()),
                too_strong.get((course.name, name)),
                collection,
                now,
            )
            for name in (one.name for one in collection.plants if course.plants.includes(one))
            if plant in (None, name)
        ]
        for course in courses
    }
    return {
        "schema": 1,
        "site": site.label,
        "at": iso_in_zone_of(site)(now),
        "courses": [_course(course, collection, of_plants[course.name]) for course in courses],
    }


def _course(
    course: Course, collection: Collection, plants: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    after = course.rinse_after
    return {
        "name": course.name,
        "mix": describe_course(course),
        "salt": course.salt.formula,
        "grams_per_litre": course.grams_per_litre,
        "ec": round(course.ec, 3),
        "ec_measured": course.measured_ec is not None,
        "times": course.times,
        "days": course.within.days,
        "from": None if course.begins is None else str(course.begins),
        "until": None if course.until is None else str(course.until),
        "rinse_after_minutes": None if after is None else round(after / timedelta(minutes=1)),
        "never_with": not_to_be_mixed(course, collection),
        "plants": list(plants),
    }


def _plant(
    course: Course,
    name: str,
    known: CourseProgress | None,
    deeds: Sequence[Deed],
    looks: Sequence[DiaryEntry],
    too_strong: CourseTooStrong | None,
    collection: Collection,
    now: datetime,
) -> dict[str, Any]:
    site = collection.site
    iso, today = iso_in_zone_of(site), site.local_date(now)
    known = known or CourseProgress(course.name)
    lately = known.since(now - course.within)
    ended = None if known.ended_at is None else site.local_date(known.ended_at)
    given_by = [deed for deed in deeds if _is_dose(deed, course, name)]
    next_from = _next(course, known, collection, today, ended)
    return {
        "plant": name,
        "state": _state(course, today, ended),
        "began": None if known.began is None else str(known.began),
        "ended_at": iso(known.ended_at),
        "given": known.total,
        "given_lately": len(lately),
        "not_confirmed_lately": sum(not dose.confirmed for dose in lately),
        "last_at": iso(known.doses[-1].at) if known.doses else None,
        "next_from": None if too_strong is not None and not too_strong.dries else next_from,
        "too_strong": None
        if too_strong is None
        else {
            "limit_ms_cm": too_strong.limit_ms_cm,
            "most_g_l": too_strong.most_g_l,
            "on_dry_mornings": too_strong.dries,
        },
        "confirmed": [{"at": iso(deed.at), "person": deed.person} for deed in given_by],
        "looks": [
            {"at": iso(look.seen_at), "leaf": look.amount, "person": look.person}
            for look in looks[-MOST_LOOKS:]
        ],
    }


def _is_dose(deed: Deed, course: Course, plant: str) -> bool:
    about = deed.about
    return (
        deed.what == "done"
        and about.get("kind") in (ChoreKind.COURSE.value, ChoreKind.WATER.value)
        and about.get("of") == course.name
        and plant in about.get("plants", ())
    )


def _state(course: Course, today: date, ended: date | None) -> str:
    """Return "runs", "ended" by the grower, "over" by its date, or "ahead"."""
    if course.runs_on(today, ended):
        return "runs"
    if course.begins is not None and today < course.begins:
        return "ahead"
    return "over" if course.until is not None and today > course.until else "ended"


def _next(
    course: Course, known: CourseProgress, collection: Collection, today: date, ended: date | None
) -> str | None:
    """Return the first day on which it may be given again; None for a course that is over."""
    site = collection.site
    days = [today if course.begins is None else max(course.begins, today)]
    if known.doses:
        days.append(site.local_date(known.doses[-1].at) + course.gap)
    if len(known.doses) >= course.times:
        days.append(site.local_date(known.doses[-course.times].at) + course.within)
    day = max(days)
    return str(day) if course.runs_on(day, ended) else None


# -- for people


def text(report: Mapping[str, Any], voice: Voice, screen: Screen = PIPE) -> str:
    """Return a document of courses as text."""
    if not report["courses"]:
        return "There are no courses; a table under [[courses]] describes one."
    lines: list[str] = []
    for course in report["courses"]:
        lines += [line for told in _told(course, voice) for line in screen.lines(told)]
        lines.append("")
    return "\n".join([*lines, *screen.lines(voice.say("salt_caution"))])


def told_of_plant(
    plant: Plant, collection: Collection, ledger: Ledger, now: datetime, voice: Voice
) -> dict[str, str]:
    """Return the feed of a plant and how far its courses have come, each by what it is.

    Nothing where all plants have one feed, and without courses.
    """
    told = {}
    if collection.feeds:
        feeds = [
            f"{feed.name or 'that of all other plants'}{days_of(feed)}"
            for feed in collection.feeds_of(plant)
        ]
        told["Feed"] = ", ".join(feeds) or "none"
    for remark in too_strong_for(collection, collection.site.local_date(now)):
        if isinstance(remark, FeedTooStrong) and plant.name in remark.plants:
            of_plant = voice.remark(replace(remark, plants=(plant.name,)))
            told["Feed"] = "; ".join(filter(None, (told.get("Feed"), of_plant)))
    courses = collection.courses_of(plant)
    if courses:
        for course in document(collection, ledger, now, courses, plant.name)["courses"]:
            (row,) = course["plants"]
            looks = f"; leaves: {_looks(row, voice)}" if row["looks"] else ""
            told[f"Course, {course['name']}"] = capital(_progress(course, row, voice)) + looks
    return told


def days_of(one: Feed | Course) -> str:
    """Return ", 03-01 to 05-31" for a feed that is given in a part of each year alone."""
    return f", {one.days}" if isinstance(one, Feed) and one.days != ALL_YEAR else ""


def _looks(plant: Mapping[str, Any], voice: Voice) -> str:
    """Return "Thu 14 May better, Thu 28 May same"."""
    return ", ".join(
        f"{voice.day(datetime.fromisoformat(look['at']))} {one_line(look['leaf'] or '?', 20)}"
        for look in plant["looks"]
    )


def _told(course: Mapping[str, Any], voice: Voice) -> Iterator[str]:
    often = f"{_times(course['times'])} in {course['days']} days"
    yield f"{course['name']}: {voice.retold(course['mix'])}; {often}{_days(course, voice)}"
    if course["rinse_after_minutes"] is not None:
        yield f"  plain water {course['rinse_after_minutes']} min later"
    if course["never_with"]:
        yield f"  never mix it with {', '.join(course['never_with'])}"
    for plant in course["plants"]:
        yield f"  {plant['plant']}: {_progress(course, plant, voice)}"
        if plant["looks"]:
            yield f"    leaves: {_looks(plant, voice)}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _days(course: Mapping[str, Any], voice: Voice) -> str:
    begins, until = (
        None if course[key] is None else voice.day(date.fromisoformat(course[key]))
        for key in ("from", "until")
    )
    return f"{f', from {begins}' if begins else ''}{f', until {until}' if until else ''}"


def _progress(course: Mapping[str, Any], plant: Mapping[str, Any], voice: Voice) -> str:
    """Return "given 5 times, 2 of 3 in the last 7 days (1 not confirmed), last Thu 14 May"."""
    parts = []
    if plant["given"]:
        lately = f"{plant['given_lately']} of {course['times']} in the last {course['days']} days"
        if plant["not_confirmed_lately"]:
            lately += f" ({plant['not_confirmed_lately']} not confirmed)"
        last = f"last {voice.day(datetime.fromisoformat(plant['last_at']))}"
        who = plant["confirmed"][0]["person"] if plant["confirmed"] else None
        parts += [f"given {_times(plant['given'])}", lately, f"{last} by {who}" if who else last]
    else:
        parts.append("not given so far")
    if plant["state"] == "ended":
        parts.append(f"ended {voice.day(datetime.fromisoformat(plant['ended_at']))}")
    elif plant["state"] == "over":
        parts.append("over")
    elif plant["next_from"] is not None:
        parts.append(f"next from {voice.day(date.fromisoformat(plant['next_from']))}")
    strong = plant["too_strong"]
    if strong is None or plant["state"] in ("ended", "over"):
        return ", ".join(parts)
    limit = voice.bound(strong["limit_ms_cm"], "mS/cm")
    told = f"on dry mornings it dries past {limit} before it is taken up"
    if not strong["on_dry_mornings"]:
        told = f"too strong, it can take {limit}"
    most = strong["most_g_l"]
    most = f"at most {most:.2f} g/L" if most >= LEAST_GRAMS else "the water alone is too salty"
    return f"{', '.join(parts)}; {told}, {most}"
