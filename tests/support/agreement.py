"""Reads the push of a round from its words alone and compares it with its sheet.

A line that cannot be read counts as a contradiction, so that no wording passes unread.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.remark import DamageAsked, LimitProposed, LookAtLeaf, PotsUnknown, Remark
from tests.support.text_checks import CLOCK, meant, minutes, spelled_out

_VERBS = {
    "carry in": ChoreKind.CARRY_IN,
    "put out": ChoreKind.CARRY_OUT,
    "mist": ChoreKind.MIST,
    "cover": ChoreKind.COVER,
    "secure": ChoreKind.SECURE,
    "shade": ChoreKind.SHADE,
    "damp down": ChoreKind.DAMP_DOWN,
    "move": ChoreKind.MOVE,
    "water": ChoreKind.WATER,
    "flush": ChoreKind.LEACH,
}
_GUARDS = "cover|secure|shade|damp down|flush"
_ON_CROWNS = WETTINGS - {ChoreKind.WATER}

_ASKED: Mapping[type[Remark], str] = {
    PotsUnknown: r"how wet (\d+) pots? (?:is|are)",
    DamageAsked: r"any damage to (\d+) plants?",
    LookAtLeaf: r"the leaves of (\d+) plants?",
    LimitProposed: r"(\d+) limits?",
}

_HEAD = re.compile(
    rf"\b(carry in|put out|mist|move|water|{_GUARDS})(?: around)? (\d+) plants? "
    rf"(?:(?:by|from) ({CLOCK})|now)"
    rf"(?:, (\d+) more(, the first)? by ({CLOCK})|, (\d+) more later)?",
    re.IGNORECASE,
)


def contradictions(
    title: str,
    body: str,
    chores: Sequence[Chore],
    now: datetime,
    standing: Mapping[str, str] | None = None,
    remarks: Sequence[Remark] | None = None,
) -> list[str]:
    """Return everything that a push says otherwise than the chores of its sheet.

    chores: of the sheet, tomorrow's as well.
    now: when it was told.
    standing: the spot of every plant as the sheet has it, which gives "all" its meaning.
    remarks: of the sheet, if they are known; some of them are questions.
    """
    reader = _Reader(chores, now, standing or {}, remarks)
    body = spelled_out(body, {name for chore in chores for name in chore.plants})
    return [
        *reader.of_title(title),
        *(fault for line in body.splitlines() for fault in reader.of_line(line)),
    ]


@dataclass(frozen=True)
class _Reader:
    """Reads the lines of a push; its methods yield what is wrong with them."""

    chores: Sequence[Chore]
    now: datetime
    standing: Mapping[str, str]
    remarks: Sequence[Remark] | None = None

    def of_title(self, title: str) -> Iterator[str]:
        """Yield what is wrong with the counts and hours of a title."""
        for head in _HEAD.finditer(title):
            verb, count, hour, more, several, more_hour, later = head.groups()
            kind = _VERBS[verb.lower()]
            chores = self._of_kind(kind) if kind is not ChoreKind.MIST else self._first_mistings()
            hours: dict[int | None, int] = {}
            for chore in sorted(chores, key=_enqueued_at):
                key = self._hour(chore)
                hours[key] = hours.get(key, 0) + len(chore.plants)
            told = None if hour is None else minutes(hour)
            if next(iter(hours), told) != told or hours.pop(told, 0) != int(count):
                yield f"title: {head[0]!r}, but {hours} besides"
            if sum(hours.values()) != int(more or later or 0):
                yield f"title: {head[0]!r} leaves {hours}"
            if more and (
                minutes(more_hour) != next(iter(hours), None) or (len(hours) > 1) != bool(several)
            ):
                yield f"title: {head[0]!r} tells another hour than {hours}"

    def of_line(self, line: str) -> Iterator[str]:
        """Yield what is wrong with a line of the body."""
        for pattern, read in self._forms():
            if match := re.fullmatch(pattern, line, re.IGNORECASE):
                yield from (f"{fault}: {line}" for fault in read(*match.groups()))
                return
        if re.match(
            rf"(?:Mist|Put out|Carry in|From|Move|Keep crowns|Now|Water|To answer|{_GUARDS})\b"
            rf"|{CLOCK}",
            line,
            re.IGNORECASE,
        ):
            yield f"cannot be read: {line}"

    def _forms(self) -> Iterable[tuple[str, Callable[..., Iterator[str]]]]:
        """Return every form of a line, with the method that reads its groups."""
        when = rf"(?:Carry in )?(?:by )?({CLOCK}|now),?"
        spot = self._spots()
        return (
            (rf"{when} ((?:{spot}): .* to (?:{spot}))", self._read_crowded_in),
            (
                rf"(From )?{when} (?:({spot}) )?(to (?:{spot}): .*?)"
                r"(?:, if taken in|; [^;]* only if taken in)?(?:; not (.*))?",
                self._read_carrying,
            ),
            (
                rf"Put out (?:from )?({CLOCK}|now): (.*?)(?:, if they were taken in)?",
                self._read_crowded_out,
            ),
            (r"Mist by (.* \d+|.* \d+; .*)", self._read_crowded_mist),
            (
                r"Mist again by (.*)",
                lambda text: self._check_spots(f"by {text}", self._repeats()),
            ),
            (rf"Mist (?:again )?({spot}) {CLOCK}-({CLOCK}): ([^;]*)(.*)", self._read_mist),
            (
                rf"({_GUARDS}) (by {CLOCK}|now)(?: with (.*?) water)?: (.*)",
                self._read_crowded_guard,
            ),
            (rf"Move (?:by )?({CLOCK}|now): (.*)", self._read_crowded_move),
            (
                rf"Move (.*) from ({spot}) to ({spot}) (?:by )?({CLOCK}|now)(?:[,;] .*)?",
                self._read_move,
            ),
            (rf"({_GUARDS}) ({spot}) (?:by )?({CLOCK}|now): ([^;]*)(?:;.*)?", self._read_guard),
            (
                rf"Water (?:({spot}) )?(?:by )?({CLOCK}|now)( if not done yet)?(?: with (.*?))?: "
                r"([^;]*)(?:; (.*) in all)?",
                self._read_water,
            ),
            (
                rf"Keep crowns dry after ({CLOCK})"
                rf"(?:, of (\d+) plants? (?:after ({CLOCK})|later))?(?:;.*)?",
                self._read_stop_of_all,
            ),
            (r"To answer: (.*?)(?:: `sillward sheet`)?", self._read_questions),
            (r"Keep crowns dry all day: .*", lambda: iter(())),
            (r"Keep crowns dry after ((?:\d|[^;])*?)(?:; all day.*)?", self._read_stop),
        )

    # -- lines

    def _read_carrying(
        self, out: str | None, hour: str, spot: str | None, ways: str, but: str | None
    ) -> Iterator[str]:
        """Read a line on carrying in or out; "From" or the absence of such orders means out."""
        told = re.findall(
            rf"to ({self._spots()}): (.+?)(?=; to (?:{self._spots()}): |$)", ways, re.IGNORECASE
        )
        chores = self._at(ChoreKind.CARRY_IN, hour, spot or "")
        if out or not chores:
            for to, who in told:
                yield from self._check_carry_out(hour, to, who)
        else:
            yield from self._check_carry_in(chores, told, but)

    def _check_carry_in(
        self, chores: Sequence[Chore], told: Iterable[tuple[str, str]], but: str | None
    ) -> Iterator[str]:
        for to, who in told:
            yield from self._check_names(
                who, [chore for chore in chores if _same(chore.to_spot, to)]
            )
        if but and any(
            name in but for chore in self._of_kind(ChoreKind.CARRY_IN) for name in chore.plants
        ):
            yield "excludes plants that the sheet carries"

    def _read_crowded_in(self, hour: str, spots: str) -> Iterator[str]:
        for part in spots.split("; "):
            match = re.fullmatch(rf"({self._spots()}): (.*)", part, re.IGNORECASE)
            if match is None:
                yield f"cannot be read: {part}"
                continue
            chores = self._at(ChoreKind.CARRY_IN, hour, match[1])
            for who, to in re.findall(rf"(.+?) to ({self._spots()})(?:, |$)", match[2]):
                going = [name for chore in chores if chore.to_spot == to for name in chore.plants]
                if going != [who] and str(len(going)) != who:
                    yield f"{who} to {to}"

    def _check_carry_out(self, hour: str, to: str, who: str) -> Iterator[str]:
        chores = [chore for chore in self._of_kind(ChoreKind.CARRY_OUT) if self._is_at(chore, hour)]
        told = [
            list(self._check_names(who, [chore])) for chore in chores if _same(chore.to_spot, to)
        ]
        if [] not in told:
            yield f"{who!r} matches no chore: {told}"

    def _read_crowded_out(self, hour: str, text: str) -> Iterator[str]:
        out = [chore for chore in self._of_kind(ChoreKind.CARRY_OUT) if self._is_at(chore, hour)]
        entries = [
            re.fullmatch(rf"(\d+) to ({self._spots()})", entry) for entry in text.split(", ")
        ]
        for count, spot in (entry.groups() if entry else ("-1", "") for entry in entries):
            if int(count) not in [len(chore.plants) for chore in out if chore.to_spot == spot]:
                yield f"{spot} {count}"

    def _read_crowded_mist(self, text: str) -> Iterator[str]:
        text = text.removesuffix("; some again later").removesuffix("; plain")
        given = "|".join(re.escape(chore.what) for chore in self.chores if chore.what) or "feed"
        spots, *advice = re.split(rf"; (?=feed\b|{given}|[0-9.]+ g/L )", text, maxsplit=1)
        rest = "".join(advice)
        yield from self._check_spots(f"by {spots}", self._first_mistings())
        yield from self._check_feed(rest, self._first_mistings())

    def _read_mist(self, spot: str, hour: str, who: str, rest: str) -> Iterator[str]:
        chores = self._at(ChoreKind.MIST, hour, spot)
        fitting = [chore for chore in chores if not list(self._check_names(who, [chore]))]
        if not fitting:
            yield "no chore of the sheet is this one"
            return
        again = re.search(r"; again (?:by )?([\d:, apm]+)$", rest)
        for later in again[1].split(", ") if again else ():
            same = [
                later_chore
                for later_chore in self._at(ChoreKind.MIST, later, spot)
                if any(set(later_chore.plants) == set(chore.plants) for chore in fitting)
            ]
            if not same:
                yield f"not all of them again at {later}"
            fitting += same
        yield from (fault for chore in fitting for fault in self._wet_too_late(chore))
        yield from self._check_feed(rest, fitting)

    def _check_feed(self, rest: str, chores: Sequence[Chore]) -> Iterator[str]:
        match = re.search(r"(?:feed|for) (\d+)\b", rest)
        misted = {name for misting in chores for name in misting.plants}
        fed = {name for feed in self._of_kind(ChoreKind.FEED) for name in feed.plants} & misted
        given: dict[str, set[str]] = {}
        for chore in (*self._of_kind(ChoreKind.FEED), *self._of_kind(ChoreKind.COURSE)):
            if chore.what and not misted.isdisjoint(chore.plants):
                given.setdefault(chore.what, set()).update(misted.intersection(chore.plants))
        if given:
            yield from _check_given(rest, given)
        elif match and int(match[1]) != len(fed):
            yield f"feed for {len(fed)}"

    def _read_guard(self, verb: str, spot: str, hour: str, who: str) -> Iterator[str]:
        yield from self._check_names(who, self._at(_VERBS[verb.lower()], hour, spot))

    def _read_water(
        self,
        spot: str | None,
        hour: str,
        again: str | None,
        what: str | None,
        who: str,
        total: str | None,
    ) -> Iterator[str]:
        """Read a line on the water of pots: who gets it, how much each, and all together."""
        chores = [
            chore
            for chore in self._of_kind(ChoreKind.WATER)
            if self._is_at(chore, hour)
            and (spot is None or _same(chore.from_spot, spot))
            and (set(chore.plants) == set(chore.unconfirmed)) is bool(again)
            and chore.what == (what or "")
        ]
        litres = {one.plant: one.litres or 0.0 for chore in chores for one in chore.because}
        for name, amount in litres.items():
            told = re.search(rf"{re.escape(name)} \(([\d.]+) L\)", who)
            if told and float(told[1]) != round(amount, 2):
                yield f"{name} gets {amount} L"
        everything = re.fullmatch(r"\d+ plants? \(([\d.]+) L\)", who)
        total = everything[1] if everything else total
        if total and float(total.removesuffix(" L")) != round(sum(litres.values()), 2):
            yield f"{sum(litres.values())} L in all"
        yield from self._check_names(re.sub(r" \([\d.]+ L\)", "", who), chores)

    def _read_crowded_guard(
        self, verb: str, by: str, water: str | None, spots: str
    ) -> Iterator[str]:
        chores = [
            chore for chore in self._of_kind(_VERBS[verb.lower()]) if chore.what == (water or "")
        ]
        yield from self._check_spots(f"{by} {spots}", chores)

    def _read_move(self, who: str, spot: str, to: str, hour: str) -> Iterator[str]:
        chores = self._at(ChoreKind.MOVE, hour, spot)
        yield from self._check_names(who, [chore for chore in chores if _same(chore.to_spot, to)])

    def _read_crowded_move(self, hour: str, ways: str) -> Iterator[str]:
        for way in ways.split(", "):
            match = re.fullmatch(rf"(\d+) from ({self._spots()}) to ({self._spots()})", way)
            if match is None:
                yield f"cannot be read: {way}"
                continue
            chores = self._at(ChoreKind.MOVE, hour, match[2])
            if sum(len(chore.plants) for chore in chores if chore.to_spot == match[3]) != int(
                match[1]
            ):
                yield way

    def _read_stop(self, spots: str) -> Iterator[str]:
        """Check every spot's first hour, and that plants wetted later are named as exceptions."""
        stops = [stop for stop in self._of_kind(ChoreKind.STOP_WETTING) if not _never(stop)]
        hour = ""
        for part in re.split(rf", (?=(?:{CLOCK} )?(?:{self._spots()})(?:,|$| but))", spots):
            match = re.fullmatch(rf"(?:({CLOCK}) )?({self._spots()})(?: but (.*))?", part)
            if match is None:
                yield f"cannot be read: {part}"
                continue
            hour = match[1] or hour
            first = min(
                (_minute(stop.before) for stop in stops if stop.from_spot == match[2]), default=None
            )
            if first != minutes(hour):
                yield f"{match[2]} {hour}"
            late = {
                name
                for chore in self.chores
                if chore.kind in _ON_CROWNS
                and chore.from_spot == match[2]
                and _minute(chore.before) > minutes(hour)
                for name in chore.plants
            }
            if late and (match[3] is None or meant(match[3], late) != len(late)):
                yield f"says nothing of {late}"

    def _read_stop_of_all(self, hour: str, count: str | None, later: str | None) -> Iterator[str]:
        stops = [stop for stop in self._of_kind(ChoreKind.STOP_WETTING) if not _never(stop)]
        first = min(_minute(stop.before) for stop in stops)
        if first != minutes(hour):
            yield hour
        spots = {stop.from_spot for stop in stops}
        late = {
            name
            for chore in self.chores
            if chore.kind in _ON_CROWNS
            and chore.from_spot in spots
            and _minute(chore.before) > first
            for name in chore.plants
        }
        if len(late) != int(count or 0):
            yield f"says nothing of what is wetted later: {late}"
        for name in late if later else ():
            ends = [
                _minute(chore.before)
                for chore in (*stops, *self.chores)
                if name in chore.plants and (chore in stops or chore.kind in _ON_CROWNS)
            ]
            if max(ends) != minutes(later or ""):
                yield f"{name} after {max(ends)}"

    def _read_questions(self, text: str) -> Iterator[str]:
        for part in text.split(", "):
            kind, count = next(
                (kind, found[1])
                for kind, pattern in _ASKED.items()
                if (found := re.fullmatch(pattern, part))
            )
            plants = {
                name
                for remark in self.remarks or ()
                if isinstance(remark, kind)
                for name in getattr(remark, "plants", None) or (remark.plant,)  # type: ignore[attr-defined]
            }
            if self.remarks is not None and len(plants) != int(count):
                yield f"{part}, but {sorted(plants)}"

    # -- what the sheet has

    def _spots(self) -> str:
        """Return a pattern that matches any spot of the sheet."""
        spots = {chore.from_spot for chore in self.chores} | {
            chore.to_spot for chore in self.chores
        }
        return "|".join(map(re.escape, sorted(spots, key=len, reverse=True))) or "(?!)"

    def _of_kind(self, kind: ChoreKind) -> list[Chore]:
        return [chore for chore in self.chores if chore.kind is kind]

    def _first_mistings(self) -> list[Chore]:
        """Return the mistings in which any plant is misted for the first time."""
        first, seen = list[Chore](), set[str]()
        for chore in sorted(
            self._of_kind(ChoreKind.MIST), key=lambda chore: (chore.before, chore.id)
        ):
            if set(chore.plants) - seen:
                first.append(chore)
            seen.update(chore.plants)
        return first

    def _repeats(self) -> list[Chore]:
        first = {chore.id for chore in self._first_mistings()}
        return [chore for chore in self._of_kind(ChoreKind.MIST) if chore.id not in first]

    def _hour(self, chore: Chore) -> int | None:
        """Return the minute of the day at which a chore is told, or None for "now"."""
        at = _enqueued_at(chore)
        return None if at <= self.now else _minute(at)

    def _is_at(self, chore: Chore, hour: str) -> bool:
        return self._hour(chore) == (None if hour.lower() == "now" else minutes(hour))

    def _at(self, kind: ChoreKind, hour: str, spot: str) -> list[Chore]:
        return [
            chore
            for chore in self._of_kind(kind)
            if self._is_at(chore, hour) and _same(chore.from_spot, spot)
        ]

    def _check_spots(self, text: str, chores: Sequence[Chore]) -> Iterator[str]:
        """Check entries such as "by 08:00 pergola 7, roof 2" against these chores."""
        hour = ""
        for when, spot, count in self._entries(text, "by "):
            hour = when or hour
            there = [
                chore for chore in chores if chore.from_spot == spot and self._is_at(chore, hour)
            ]
            if sum(len(chore.plants) for chore in there) != int(count):
                yield f"{hour} {spot} {count}"
            if chores and chores[0].kind is ChoreKind.MIST:
                yield from (fault for chore in there for fault in self._wet_too_late(chore))

    def _entries(self, text: str, by: str) -> Iterator[tuple[str, str, str]]:
        for part in re.split(r"; |, ", text):
            match = re.fullmatch(rf"(?:(?:{by})?({CLOCK}|now):? )?({self._spots()}) (\d+)", part)
            yield (match[1] or "", match[2], match[3]) if match else ("", "", "-1")

    def _check_names(self, who: str, chores: Sequence[Chore]) -> Iterator[str]:
        """Yield what is wrong with the plants that a line names, if it is about these chores."""
        plants = {name for chore in chores for name in chore.plants}
        everybody = {name for chore in self.chores for name in chore.plants} | set(self.standing)
        if all_ := re.fullmatch(r"all(?: but (.*) \((\d+)\)| (\d+))", who):
            if int(all_[2] or all_[3]) != len(plants):
                yield f"{who!r} of {len(plants)}"
            spot = next((chore.from_spot for chore in chores), "")
            there = self._there(spot, chores)
            but = {name for name in there if all_[1] and name in all_[1]}
            if there and there - plants != but:
                yield f"{who!r}, but {there - plants} are there too"
        elif meant(who, everybody) != len(plants) or _named(who, everybody) - plants:
            yield f"{who!r} is not {sorted(plants)}"

    def _there(self, spot: str, chores: Sequence[Chore]) -> set[str]:
        """Return the plants that stand at a spot; for watering also those that come out to it."""
        there = {name for name, where in self.standing.items() if where == spot}
        if there and chores and chores[0].kind in WETTINGS:
            for arriving in self._of_kind(ChoreKind.CARRY_OUT):
                there.update(arriving.plants if arriving.to_spot == spot else ())
        return there

    def _wet_too_late(self, misting: Chore) -> Iterator[str]:
        """Yield the plants of a misting whose crowns must be dry by then."""
        for stop in self._of_kind(ChoreKind.STOP_WETTING):
            some = set(stop.plants) & set(misting.plants)
            if some and misting.before > stop.before:
                yield f"{sorted(some)} must not be wet after {stop.before:%H:%M}"


def _enqueued_at(chore: Chore) -> datetime:
    """Return the hour that a chore is told by: its start if it goes out, else its deadline."""
    starts = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return chore.not_before if starts and chore.not_before else chore.before


def _check_given(rest: str, given: Mapping[str, set[str]]) -> Iterator[str]:
    """Yield each feed and course that is not told for the plants, or the number, that get it."""
    told = sorted((rest.find(what), what) for what in given if what in rest)
    if not told and len(given) == 1:  # what is weighed out stands for its name
        told = [(0, next(iter(given)))]
    ends = [*(at for at, _ in told[1:]), len(rest)]
    for (at, what), end in zip(told, ends, strict=True):
        who = rest[at + (len(what) if what in rest else 0) : end].partition(", rinse")[0]
        count = re.match(r" (?:for )?(\d+)\b", who)
        if count and int(count[1]) != len(given[what]):
            yield f"{what} for {count[1]}"
        others = set().union(*given.values()) - given[what]
        yield from (f"{what} for {name}" for name in sorted(others) if name in who)


def _never(stop: Chore) -> bool:
    """Whether crowns must stay dry all day."""
    return stop.not_before is not None and stop.before <= stop.not_before


def _minute(at: datetime) -> int:
    return 60 * at.hour + at.minute


def _same(spot: str, told: str) -> bool:
    return spot.casefold() == told.casefold()


def _named(who: str, plants: Collection[str]) -> set[str]:
    """Return the plants that are named; longest names first, since one may be part of another."""
    match = set[str]()
    for name in sorted(plants, key=len, reverse=True):
        if name in who:
            match.add(name)
            who = who.replace(name, "")
    return match
