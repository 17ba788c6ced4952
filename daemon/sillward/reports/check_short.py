"""What `sillward check` prints: whether all is right, on a screen or two for any collection."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
from datetime import datetime

from sillward.config import group_lookup
from sillward.config.build_collection import OWN_CLASS, OWN_LIMIT
from sillward.config.household import Household
from sillward.reports import check_facts
from sillward.reports.check import verdict
from sillward.reports.check_facts import Fact, FactTeller, MessageLinks
from sillward.reports.check_warnings import first_of, never_watered, sent_elsewhere, warnings
from sillward.text.columns import GAP, PIPE, Column, Mark, Screen, cut, padded, table, width
from sillward.text.numbered_names import folded
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.weather import light
from sillward_rules.weather.spot import Spot

MAX_LINES = 60
"""Lines of all of it. Judgement: two screens of a terminal, with what may be wrong at the end."""

MIN_OF_KINDS, MAX_OF_SPOTS, MIN_OF_FACTS, MAX_OF_WARNINGS = 18, 10, 12, 12
"""Lines of its parts. The kinds of plants, then the facts, get what the others leave."""

MAX_QUESTIONS = 3
"""Questions about culture groups that are asked at once. Judgement: they are rare."""

MAX_KIND_WIDTH = 28
"""Columns of what plants are. Judgement: most hybrids, with room for names beside them."""

LIMITS_WIDTH = 30
"""Columns that everything beside it takes, without names."""

MIN_NAMES_WIDTH = 12
"""Where fewer columns are left for the names of plants, there are none."""

_KINDS = (Column(right=True, fixed=True), *[Column(fixed=True)] * 4)
"""How many plants, what they are, their two limits of cold, and their names."""

OWN = "*"
"""Marks a limit that the grower has given or accepted."""


def text(
    household: Household,
    now: datetime,
    sources: Sequence[str],
    screen: Screen = PIPE,
    links: MessageLinks | None = None,
) -> str:
    """Return what a grower looks for after an edit. The arguments are those of `check.text`."""
    collection, voice = household.collection, household.voice
    site = collection.site
    found = warnings(household, now)
    facts = list(_facts(FactTeller(household, now, sources, links).short(), screen))
    spots = _within(_spots(collection, now, voice, screen), MAX_OF_SPOTS, "spots", screen)
    warned = [screen.lines(f"! {warning}", Mark.TROUBLE) for warning in _together(found)]
    below = _within(warned, MAX_OF_WARNINGS, "warnings", screen)
    below += verdict(household, len(found), screen)
    place = f"{site.latitude:g}, {site.longitude:g}, {site.elevation_m:g} m, {site.zone}"
    head = [*screen.lines(f"{site.label}: {place}"), ""]
    unwatered = never_watered(household)
    dry = screen.lines(f"? {unwatered}") if unwatered else []
    room = MAX_LINES - len(head) - len(dry) - len(spots) - len(below) - 2
    of_facts = min(MIN_OF_FACTS, sum(map(len, facts)))
    plants = _plants(collection.plants, max(MIN_OF_KINDS, room - of_facts), voice, screen)
    told = _within(facts, max(MIN_OF_FACTS, room - len(plants)), "facts", screen)
    return "\n".join([*head, *plants, *dry, "", *spots, "", *told, *below])


def _within(blocks: Iterable[list[str]], most: int, what: str, screen: Screen) -> list[str]:
    """Return as many blocks of lines as there is room for, one at least, and how many more."""
    blocks, lines = list(blocks), list[str]()
    for number, block in enumerate(blocks):
        room = most if number == len(blocks) - 1 else most - 1
        if lines and len(lines) + len(block) > room:
            more = f"... and {len(blocks) - number} more {what}: `sillward check --full`"
            return [*lines, *screen.lines(more)]
        lines += block
    return lines


def _together(found: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Yield each warning once, with all that it is about."""
    about: dict[str, list[str]] = {}
    for name, warning in found:
        about.setdefault(warning, []).extend([name] if name else [])
    for warning, names in about.items():
        yield f"{first_of([name for name, _ in folded(names)])}: {warning}" if names else warning


def _facts(facts: Sequence[Fact], screen: Screen) -> Iterator[list[str]]:
    widest = max((width(subject) for subject, _ in facts), default=0)
    for subject, told in facts:
        yield table([(padded(subject, widest), told)], check_facts.COLUMNS, screen)


# -- plants


def _plants(plants: Sequence[Plant], most: int, voice: Voice, screen: Screen) -> list[str]:
    """Return a line for all plants that are the same and have the same limits.

    most: lines of all of it, but for questions about groups.
    """
    alike: dict[tuple[tuple[str, ...], Limits], list[Plant]] = {}
    for plant in plants:
        alike.setdefault((plant.named or plant.groups, plant.limits), []).append(plant)
    kinds = list(alike.values())
    room = most - 2  # below the head of the table and above the word on limits
    shown = kinds if len(kinds) <= room else kinds[: room - 1]
    rows = [("", "", "night_low", "brief_low")]
    kind_width = min(MAX_KIND_WIDTH, screen.columns - LIMITS_WIDTH)
    rows += [_kind(same, voice, kind_width) for same in shown]
    used = sum(max(width(row[column]) for row in rows) for column in range(len(rows[0])))
    room = screen.columns - used - len(GAP) * len(rows[0])
    names = ["", *(_names([plant.name for plant in same], room) for same in shown)]
    lines = table([(*row, which) for row, which in zip(rows, names, strict=True)], _KINDS, screen)
    if hidden := kinds[len(shown) :]:
        count = sum(map(len, hidden))
        lines += screen.lines(f"... and {len(hidden)} more kinds, {voice.plants(count)}")
    own = f"{OWN} your own. " if any(OWN in cell for row in rows for cell in row) else ""
    lines += screen.lines(f"{own}Every limit and where it comes from: `sillward check --full`")
    named = dict.fromkeys(name for plant in plants for name in plant.named)
    asked = [question for name in named if (question := group_lookup.open_question(name))]
    questions = [screen.lines(f"? {question}") for question in asked[:MAX_QUESTIONS]]
    return [*lines, *(line for question in questions for line in question)]


def _kind(same: Sequence[Plant], voice: Voice, columns: int) -> tuple[str, str, str, str]:
    """Return how many plants there are of a kind, what they are, and their limits of cold."""
    plant = same[0]
    limits = plant.limits
    kind = " x ".join(map(group_lookup.name_with_group, plant.named or plant.groups)) or "no group"
    own = [
        field.name
        for field in fields(Limits)
        if field.name not in ("night_low", "brief_low")
        and (limit := getattr(limits, field.name)) is not None
        and _is_own(limit.origin)
    ]
    if own:
        kind += f"; {OWN} {', '.join(own)}"
    lows = [_low(limit, voice) for limit in (limits.night_low, limits.brief_low)]
    return str(len(same)), cut(kind, columns), lows[0], lows[1]


def _low(limit: Limit | None, voice: Voice) -> str:
    if limit is None:
        return "-"
    return voice.bound(limit.value) + (OWN if _is_own(limit.origin) else "")


def _is_own(origin: str) -> bool:
    """Whether a limit was given or accepted by the grower, and not worked out from one that was."""
    return origin in (OWN_LIMIT, OWN_CLASS) or origin.startswith(f"{OWN_LIMIT}: ")


def _names(names: Sequence[str], room: int) -> str:
    """Return as many names as there is room for, and how many more plants there are."""
    if room < MIN_NAMES_WIDTH:
        return ""
    parts = folded(names)
    for kept in range(len(parts), 0, -1):
        told = ", ".join(name for name, _ in parts[:kept])
        if hidden := sum(count for _, count in parts[kept:]):
            told += f" and {hidden} more"
        if width(told) <= room:
            return told
    more = f" and {len(names) - parts[0][1]} more" if len(parts) > 1 else ""
    return cut(parts[0][0], room - width(more)) + more


# -- spots


def _spots(
    collection: Collection, now: datetime, voice: Voice, screen: Screen
) -> Iterator[list[str]]:
    """Yield the lines of each spot: who stands there, the sun of today, what is not given."""
    homes = Counter(plant.home for plant in collection.plants)
    shelters = Counter(plant.shelter for plant in collection.plants)
    elsewhere = list(sent_elsewhere(collection, voice))
    for spot in collection.spots:
        told = [f"home of {voice.plants(homes[spot.name])}"] if homes[spot.name] else []
        told += [f"shelter of {shelters[spot.name]}"] if shelters[spot.name] else []
        if spot.sun_windows is not None:
            site = collection.site
            sun_h = light.direct_sun_hours(site, spot.sun_windows, site.local_date(now))
            told.append(f"possible sun today {sun_h:.1f} h")
        where = "indoors" if spot.indoors else "outdoors"
        lines = screen.lines(f"spot {spot.name} ({where}): {', '.join(told) or 'no plants'}")
        if spot.taught is not None:
            lines += screen.lines(f"  {voice.retold(spot.taught)}")
        for note in (text for name, text in elsewhere if name == spot.name):
            lines += screen.lines(f"  {note}")
        yield [*lines, *_left_open(spot, voice, screen)]


def _left_open(spot: Spot, voice: Voice, screen: Screen) -> list[str]:
    questions = [voice.retold(question) for question in spot.open_questions()]
    if len(questions) <= 1:
        return [line for question in questions for line in screen.lines(f"  ? {question}")]
    keys = [question.partition(" is not given")[0] for question in questions]
    return screen.lines(f"  ? not given, so guessed: {', '.join(keys)}")
