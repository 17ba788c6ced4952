"""What a text for a grower must not contain, and the numbers and trips that it tells."""

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import TypeVar

from sillward.ledger import StoredChore
from sillward_rules.chore import ChoreKind

UNIT = r"°[CF]?|K\b|%|min\b|h\b|m/s\b|mph\b|mm\b|mS/cm\b|mol/m2\b|kPa\b|g/L\b|g\b|L\b|ppm\b|umol\b"
COUNTED = (
    r"plants?\b|more\b|nights?\b|evenings?\b|days?\b|years?\b|trips?\b|times\b|messages?\b"
    r"|stay in\b|hours?\b|pots?\b|limits?\b"
)
NUMBER = re.compile(r"(?<![\w.:])-?\d+(?:\.\d+)?")

HOUR = re.compile(r"\b(\d{1,2}):(\d\d)\b(?: ([ap]m)\b)?")

_NOT_MEASURES = tuple(
    re.compile(pattern)
    for pattern in (
        r"`[^`]*`",
        r"\b\d{1,2}:\d\d\b(-\d{1,2}:\d\d)?( [ap]m)?",
        r"\b\d{1,2} (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\w*( \d{4})?\b",
        r"\(\d+\)",  # how many plants
        r"\+\d+ more\b",
        r"\ball \d+\b",
        r"(?<=, )\d+ (?=more later\b)",
        r"(?<=, then )\d+(?= by |, )",
        r"(?<=[:,;] )\d+ (?=to |from )",
        r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d(?=,|$)",  # mistings of a day
        r"\b\d+ of (?=\d+ )",
        r"\banswered \d+\b",  # what a server said
        r"\.damaged-\w+",
    )
)


def rough(text: str) -> list[str]:
    """Return what is wrong with a text as such: markup, blanks, invisible characters, non-words."""
    wrong = {
        "markup": r"<|\*\*|__|~~|\]\(|(?<!\w)_\w[^_]*_(?!\w)|^#",
        "backticks": r"`(?!sillward )|`sillward [^`]*(\n|$)",
        "blanks": r"  |[ \t]$|^[ \t]|\t|\xa0",
        "an empty line": r"^$",
        "a control character": r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\ufeff]",
        "no word": r"\b(None|nan|NaN|inf|Undefined|True|False)\b|\{|\}",
        "minus nought": r"-0(\.0+)?(?![\d.])",
        "stops": r"[,;:] *[,;:.]|\.\.|[,;:]$",
    }
    unquoted = re.sub(r"`sillward [^`\n]*`", "", text)
    return [
        f"{name}: {found.group()!r}"
        for name, pattern in wrong.items()
        for found in re.finditer(pattern, text if name == "blanks" else unquoted, re.MULTILINE)
    ]


def bare_numbers(line: str, names: Collection[str] = ()) -> list[str]:
    """Return the numbers of a line that measure something and have no unit.

    A count says of what; a limit needs no unit if its line has it.

    names: names of plants and spots, which may contain numbers and be followed by a count.
    """
    for pattern in _NOT_MEASURES[:1]:
        line = pattern.sub("", line)
    for name in sorted(names, key=len, reverse=True):
        line = re.sub(rf"{re.escape(name)}( \d+(?=,|;| >|$))?", "", line, flags=re.IGNORECASE)
    for pattern in _NOT_MEASURES:
        line = pattern.sub("", line)
    has_unit = re.search(rf"\d ?(?:{UNIT})", line) is not None
    bare = re.findall(r"\d+°(?![CF])", line) if not re.search("°[CF]", line) else []
    for found in NUMBER.finditer(line):
        before, after = line[: found.start()], line[found.end() :]
        if re.match(rf" ?(?:{UNIT})| (?:{COUNTED})", after):
            continue
        shared = re.search(r"\b(limit|wants|needs?|can take) $", before) or re.match(
            r" to \d+", after
        )
        if not (shared and has_unit):
            bare.append(found.group())
    return bare


def without_units(line: str) -> str:
    """Return the line without its units, as if they had been forgotten."""
    return re.sub(rf"(\d) ?(?:{UNIT})", r"\1", line)


def not_american(text: str) -> list[str]:
    """Return what a household in °F, 12 hours and mph must not read."""
    strays = re.findall(r"°C|\d K\b|\bm/s\b|\bkm/h\b", text)
    return strays + [
        found.group()
        for found in HOUR.finditer(text)
        if not _of_twelve(text, found) or not 1 <= int(found[1]) <= 12 or found[1].startswith("0")
    ]


def _of_twelve(text: str, hour: re.Match[str]) -> bool:
    """Whether am or pm follows it, or the span that it begins."""
    return hour[3] is not None or bool(re.match(r"-\d{1,2}:\d\d [ap]m\b", text[hour.end() :]))


@dataclass(frozen=True)
class Shown:
    """A number as it was told, and how far the exact one may be from it."""

    value: float
    within: float


def temperatures(text: str, names: Collection[str] = ()) -> list[Shown]:
    """Return every temperature of a text, including limits without a unit."""
    found = []
    for line in _DIFFERENCE.sub("", _nameless(text, names)).splitlines():
        limits = r"|(?:limit|needs?|can take) (-?\d+(?:\.\d+)?)(?= \(|$)" if "°" in line else ""
        for match in re.finditer(rf"(-?\d+(?:\.\d+)?)( ?)°[CF]?(?! h){limits}", line):
            digits = match[1] or match[3]
            found.append(Shown(float(digits), _within(digits, exact=match[2] != "")))
    return found


_DIFFERENCE = re.compile(
    r"(?:by\s+up\s+to|off\s+by|give\s+or\s+take)\s+(\d+(?:\.\d+)?)\s+°[CF]"
    r"|(\d+(?:\.\d+)?)\s+°[CF]\s+(?:milder|colder|warmer|above|below)\b"
    r"|(\d+(?:\.\d+)?) °[CF] h\b"
)
"""A difference of temperatures, or degree-hours."""


def differences(text: str) -> list[Shown]:
    """Return every difference of temperatures, including degree-hours."""
    found = ["".join(groups) for groups in _DIFFERENCE.findall(text)]
    return [Shown(float(digits), _within(digits)) for digits in found]


def speeds(text: str) -> list[Shown]:
    """Return every wind speed."""
    found = re.findall(r"(-?\d+(?:\.\d+)?) (?:m/s|mph)", text)
    return [Shown(float(digits), _within(digits)) for digits in found]


def hours(text: str) -> list[int]:
    """Return every clock time, in minutes of the day."""
    found = []
    for match in HOUR.finditer(text):
        half = match[3]
        if half is None:  # the end of a span says it for both, if they share it
            later = re.match(r"-\d{1,2}:\d\d ([ap]m)\b", text[match.end() :])
            half = later[1] if later else None
        hour = int(match[1]) if half is None else int(match[1]) % 12 + 12 * (half == "pm")
        found.append(60 * hour + int(match[2]))
    return found


def minutes(clock: str) -> int:
    """Return a clock time, with or without a day before it, in minutes of the day."""
    (at,) = hours(clock)
    return at


def _minutes_of(at: datetime, zone: tzinfo | None) -> int:
    local = at.astimezone(zone)
    return local.hour * 60 + local.minute


def _nameless(text: str, names: Collection[str]) -> str:
    for name in sorted(names, key=len, reverse=True):
        text = text.replace(name, "")
    return text


def _within(digits: str, *, exact: bool = False) -> float:
    """Return half a unit of the last digit.

    exact: whether it is a limit, of which only zeros may be left out.
    """
    decimals = len(digits.partition(".")[2])
    return 0.5 * 10.0 ** -max(decimals, 1 if exact else 0)


A = TypeVar("A")
B = TypeVar("B")


def paired(some: Sequence[A], others: Sequence[B], same: Callable[[A, B], bool]) -> bool:
    """Whether both tell the same things in the same order; the longer may tell more in between."""
    if len(some) > len(others):
        return paired(others, some, lambda item, other: same(other, item))
    rest = iter(others)
    return all(any(same(item, other) for other in rest) for item in some)


def converted(factor: float, offset: float = 0.0) -> Callable[[Shown, Shown], bool]:
    """Return a comparison: is one number the other in another unit, as far as both are rounded?"""

    def same(shown: Shown, other: Shown) -> bool:
        off = abs(shown.value * factor + offset - other.value)
        return off <= shown.within * factor + other.within + 1e-9

    return same


# -- what is asked for

CLOCK = r"(?:tomorrow |[A-Z][a-z]{2} )?\d{1,2}:\d\d(?: [ap]m)?"

_COUNTS = {
    "in": (
        rf"\bcarry in (\d+) plants? (?:by {CLOCK}|now)(?:, (\d+) more(?:, the first)? by {CLOCK})?",
        rf"\bcarry in (\d+) more (?:by {CLOCK}|now)(?:, then (\d+)(?:, the first)? by {CLOCK})?",
        r"\bno shelter tonight for (\d+) plants?\b",
    ),
    "out": (
        rf"\bput out (\d+) plants? (?:from {CLOCK}|now)(?:, (\d+) more later)?",
        rf"\bput out (\d+) plants? later, from {CLOCK}",
    ),
    "off": (r"\b(\d+) plants? may stay out after all\b", r"\bkeep (\d+) plants? in today\b"),
}


def counted(title: str, verb: str) -> int:
    """Return how many plants a title tells to carry in, out, or not any more ("off")."""
    return sum(
        int(number)
        for pattern in _COUNTS[verb]
        for found in re.finditer(pattern, title, re.IGNORECASE)
        for number in found.groups()
        if number
    )


GLANCE = 40
"""Characters of a title that a watch shows. Judgement: the smallest screens show a little less
than a line of a phone."""

_ASKED = {
    "what": r"\b(carry in|put out|mist|cover|secure|shade|damp down|move|water|keep|check that|"
    r"may stay out|no shelter)\b",
    "when": r"\d:\d\d|\bnow\b|\bmin left\b|\btoday\b|\btonight\b|\bafter all\b",
    "how many": r"\d+ plants?\b|\d+ more\b|: \d+( p|$)",
}


def not_at_a_glance(title: str) -> list[str]:
    """Return which of what, by when and how many the part that a watch shows leaves out."""
    seen = title[:GLANCE].lower()
    return [name for name, pattern in _ASKED.items() if not re.search(pattern, seen)]


Trip = tuple[str, int]
"""A direction, "in" or "out", and how many plants it takes."""


def trips(body: str, plants: Collection[str], spots: Collection[str]) -> list[Trip]:
    """Return every trip of a body, on crowded days too."""
    spot = "|".join(map(re.escape, sorted(spots, key=len, reverse=True)))
    found: list[Trip] = []
    for line in body.splitlines():
        line = re.sub(r", if (?:they were )?taken in$|; [^;]* only if taken in$", "", line)
        when = (
            rf"(?:Carry in |From )?(?:(?:by |overdue since )?(?:now|{CLOCK})(?:, not {CLOCK})?,? )?"
        )
        if re.match(rf"{when}(?:{spot}): .* to (?:{spot})", line, re.IGNORECASE):
            ways = re.findall(rf"(?<=[:,] )([^:;]+?) to (?:{spot})(?=[,;]|$)", line, re.IGNORECASE)
            found += [("in", int(who) if who.isdigit() else meant(who, plants)) for who in ways]
        elif match := re.match(
            rf"{when}(?:({spot}) )?(to (?:{spot}): .+?)(?:; not .*)?$", line, re.IGNORECASE
        ):
            ways = re.findall(
                rf"to ({spot}): (.+?)(?=; to (?:{spot}): |$)", match[2], re.IGNORECASE
            )
            found += [(_way(match[1], to), meant(who, plants)) for to, who in ways]
        elif match := re.match(rf"From {CLOCK}, not {CLOCK}: (.+)$", line):
            found.append(("out", meant(match[1], plants)))
        elif line.startswith("Put out "):
            found += [("out", int(n)) for n in re.findall(rf"\b(\d+) to (?:{spot})", line)]
    return found


def _way(start: str | None, end: str) -> str:
    """Return "in" if a trip leads under cover: plants never go out to a shelter."""
    return "in" if end in SHELTERS and start is not None else "out"


SHELTERS = frozenset({"sunroom", "back hall", "kitchen", "greenhouse"})


def spelled_out(text: str, plants: Collection[str]) -> str:
    """Return a text with every plant of "Moth 1–12" by its own name."""
    stems = {name.rpartition(" ")[0] for name in plants if name[-1].isdigit()}
    for stem in sorted(stems, key=len, reverse=True):
        text = re.sub(
            rf"\b{re.escape(stem)} (\d+)–(\d+)",
            lambda row, stem=stem: ", ".join(  # type: ignore[misc]
                f"{stem} {number}" for number in range(int(row[1]), int(row[2]) + 1)
            ),
            text,
        )
    return text


def meant(who: str, plants: Collection[str]) -> int:
    """Return how many plants "A, B and 3 more", "3 plants", "all 6" or "all but A (4)" mean."""
    number = r"all (\d+)|all but .*\((\d+)\)|(\d+) plants?"
    if counts := re.fullmatch(number, who):
        return int(next(number for number in counts.groups() if number))
    more = re.search(r" and (\d+) more$", who)
    named = who[: more.start()] if more else who
    count = 0
    for name in sorted(plants, key=len, reverse=True):
        named, times = re.subn(re.escape(name), "", named)
        count += times
    assert not named.strip(", "), who
    return count + (int(more[1]) if more else 0)


CUT = re.compile(r"\+(\d+) more lines?(?: \((\d+) plants?\))?: `sillward sheet`")
"""What ends a push that does not tell everything."""

_TOLD_BY = {
    "carry-in": r"{spot}\b.*\bto {to}\b",
    "carry-out": r"\bto {to}:|^Put out .*\bto {to}\b",
    "mist": r"^Mist .*\b{spot}\b",
    "feed": r"^Mist .*\bfeed\b",
    "course": r"^Mist .*\b(?:salt|magnesium)\b",
    "flush": r"^Mist .*\brinse\b",
    "stop-wetting": r"crowns dry",
    "cover": r"\bcover\b.*\b{spot}\b",
    "secure": r"\bsecure\b.*\b{spot}\b",
    "shade": r"\bshade\b.*\b{spot}\b",
    "damp-down": r"\bdamp down\b.*\b{spot}\b",
    "water": r"^Water\b",
    "leach": r"\bflush\b.*\b{spot}\b",
    "move": r"\bmove\b.*\bfrom {spot} to {to}\b",
    "stay-in": r"\bkeep in\b|\bshould be in\b|\bkeep \d+ plants? in\b",
}


_BY_HOUR = ("carry-in", "carry-out", "cover", "secure", "shade", "damp-down", "water", "leach")


def tells(text: str, chore: StoredChore, zone: tzinfo | None) -> bool:
    """Whether a push has a line for a chore, at its spot, and at its hour if the line has one.

    zone: the site's.
    """
    told, kind = chore.chore, chore.kind.value
    spot, to = re.escape(told.from_spot), re.escape(told.to_spot)
    pattern = _TOLD_BY[kind].format(spot=spot, to=to)
    start = told.not_before if chore.kind is ChoreKind.CARRY_OUT else None
    at = _minutes_of(start or told.before, zone)
    for line in text.splitlines():
        if re.search(pattern, line, re.IGNORECASE) and (
            kind not in _BY_HOUR
            or not hours(line)
            or at in hours(line)
            or re.search(r"\bnow\b", line, re.IGNORECASE)
        ):
            return True
    return False


def remarks(full: str) -> int:
    """Return how many warnings a sheet in full has."""
    part = re.search(r"^WATCH OUT\n((?:  .*\n)+)", full, re.MULTILINE)
    return len(re.findall(r"^  \S", part[1], re.MULTILINE)) if part else 0


TOO_COLD_IN_ONE = "no spot is known to be warm enough for "
"""The end of the line that stands for every warning on where it is too cold."""


def too_cold(full: str) -> int:
    """Return how many warnings of a sheet in full tell where it is, or may be, too cold."""
    return len(
        re.findall(
            r"no\s+spot\s+is\s+warm\s+enough|no\s+other\s+spot\s+is\s+known|find\s+a\s+warm\s+place",
            full,
        )
    )


def questions(full: str) -> int:
    """Return how many questions about plants a sheet in full has, which a push tells in a line."""
    asked = (
        r"how\s+wet\s+(?:is|are)\s+the\s+pots?|any\s+damage\b|look\s+at\s+the\s+leaves"
        r"|is\s+proposed"
    )
    return len(re.findall(asked, full))


def form(text: str) -> list[str]:
    """Return the beginning of each line without its numbers: the form in which a push is told."""
    return [re.sub(r"[^A-Za-z! ]", "", HOUR.sub("", line))[:12] for line in text.splitlines()]


def repeats_untold(text: str, chores: Collection[StoredChore], zone: tzinfo | None) -> set[str]:
    """Return the ids of repeated mistings that a push has no line for.

    What is repeated for exactly the same plants is told with their first misting.
    """
    first, seen, untold = list[frozenset[str]](), set[str](), set[str]()
    for stored in sorted(chores, key=lambda due: (due.before, due.id)):
        if stored.kind is not ChoreKind.MIST:
            continue
        if not seen.issuperset(stored.plants):
            first.append(frozenset(stored.plants))
        elif frozenset(stored.plants) not in first:
            spot, at = stored.chore.from_spot, _minutes_of(stored.before, zone)
            lines = [line for line in text.splitlines() if line.startswith("Mist again ")]
            if not any(spot in line and at in hours(line) for line in lines):
                untold.add(stored.id)
        seen.update(stored.plants)
    return untold
