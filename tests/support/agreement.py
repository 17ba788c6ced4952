"""Whether a push of a round agrees with its sheet, read from its words alone.

`contradictions(title, body, chores, now, standing)` tells every place at which it does not. What
cannot be read is one too: a line that this does not understand passes for nothing.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from tests.support.prose import CLOCK, meant, minutes

_VERBS = {
    "carry in": ChoreKind.CARRY_IN,
    "put out": ChoreKind.CARRY_OUT,
    "mist": ChoreKind.MIST,
    "cover": ChoreKind.COVER,
    "secure": ChoreKind.SECURE,
    "shade": ChoreKind.SHADE,
    "damp down": ChoreKind.DAMP_DOWN,
    "move": ChoreKind.MOVE,
}
_GUARDS = "cover|secure|shade|damp down"

_HEAD = re.compile(
    rf"\b(carry in|put out|mist|move|{_GUARDS})(?: around)? (\d+) plants? "
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
) -> list[str]:
    """Everything that a push says otherwise than the chores of its sheet.

    chores: of the sheet, those of tomorrow as well. now: when it was told. standing: the spot of
    every plant as the sheet takes it, for what "all" means.
    """
    reader = _Reader(chores, now, standing or {})
    return [
        *reader.of_title(title),
        *(one for line in body.splitlines() for one in reader.of(line)),
    ]


@dataclass(frozen=True)
class _Reader:
    chores: Sequence[Chore]
    now: datetime
    standing: Mapping[str, str]

    def of_title(self, title: str) -> Iterator[str]:
        for head in _HEAD.finditer(title):
            verb, count, hour, more, several, more_hour, later = head.groups()
            kind = _VERBS[verb.lower()]
            walks = self._kind(kind) if kind is not ChoreKind.MIST else self._first_mistings()
            hours: dict[int | None, int] = {}
            for one in sorted(walks, key=_told_at):
                key = self._hour(one)
                hours[key] = hours.get(key, 0) + len(one.plants)
            told = None if hour is None else minutes(hour)
            if next(iter(hours), told) != told or hours.pop(told, 0) != int(count):
                yield f"title: {head[0]!r}, but {hours} besides"
            if sum(hours.values()) != int(more or later or 0):
                yield f"title: {head[0]!r} leaves {hours}"
            if more and (
                minutes(more_hour) != next(iter(hours), None) or (len(hours) > 1) != bool(several)
            ):
                yield f"title: {head[0]!r} tells another hour than {hours}"

    def of(self, line: str) -> Iterator[str]:
        for pattern, read in self._forms():
            if found := re.fullmatch(pattern, line, re.IGNORECASE):
                yield from (f"{wrong}: {line}" for wrong in read(*found.groups()))
                return
        if re.match(
            rf"(?:Mist|Put out|Carry in|From|Move|Keep (?:other )?crowns|Now|{_GUARDS})\b|{CLOCK}",
            line,
            re.IGNORECASE,
        ):
            yield f"cannot be read: {line}"

    def _forms(self) -> Iterable[tuple[str, Callable[..., Iterator[str]]]]:
        when = rf"(?:Carry in )?(?:by )?({CLOCK}|now),?"
        spot = self._spots()
        return (
            (rf"{when} ((?:{spot}): .* to (?:{spot}))", self._crowded_in),
            (
                rf"(From )?{when} (?:({spot}) )?(to (?:{spot}): .*?)"
                r"(?:, if taken in|; [^;]* only if taken in)?(?:; not (.*))?",
                self._carried,
            ),
            (
                rf"Put out (?:from )?({CLOCK}|now): (.*?)(?:, if they were taken in)?",
                self._crowded_out,
            ),
            (r"Mist by (.* \d+|.* \d+; .*)", self._crowded_mist),
            (
                r"Mist again by (.*)",
                lambda walks: self._by_spot(f"by {walks}", self._repeats()),
            ),
            (rf"Mist (?:again )?({spot}) {CLOCK}-({CLOCK}): ([^;]*)(.*)", self._mist),
            (rf"({_GUARDS}) (by {CLOCK}|now): (.*)", self._crowded_guard),
            (rf"Move (?:by )?({CLOCK}|now): (.*)", self._crowded_move),
            (
                rf"Move (.*) from ({spot}) to ({spot}) (?:by )?({CLOCK}|now)(?:[,;] .*)?",
                self._move,
            ),
            (rf"({_GUARDS}) ({spot}) (?:by )?({CLOCK}|now): ([^;]*)(?:;.*)?", self._guard),
            (rf"Keep (other )?crowns dry after ({CLOCK})(?:;.*)?", self._stop_of_all),
            (r"Keep crowns dry all day: .*", lambda: iter(())),
            (r"Keep crowns dry after ((?:\d|[^;])*?)(?:; all day.*)?", self._stop),
        )

    # -- lines

    def _carried(
        self, out: str | None, hour: str, spot: str | None, ways: str, but: str | None
    ) -> Iterator[str]:
        """In or out: a line of what goes out tells from when on, or that it may go now."""
        told = re.findall(
            rf"to ({self._spots()}): (.+?)(?=; to (?:{self._spots()}): |$)", ways, re.IGNORECASE
        )
        walks = self._at(ChoreKind.CARRY_IN, hour, spot or "")
        if out or not walks:
            for to, who in told:
                yield from self._carry_out(hour, to, who)
        else:
            yield from self._carry_in(walks, told, but)

    def _carry_in(
        self, walks: Sequence[Chore], told: Iterable[tuple[str, str]], but: str | None
    ) -> Iterator[str]:
        for to, who in told:
            yield from self._meant(who, [one for one in walks if _same(one.to_spot, to)])
        if but and any(
            name in but for one in self._kind(ChoreKind.CARRY_IN) for name in one.plants
        ):
            yield "leaves out whom the sheet carries"

    def _crowded_in(self, hour: str, spots: str) -> Iterator[str]:
        for part in spots.split("; "):
            found = re.fullmatch(rf"({self._spots()}): (.*)", part, re.IGNORECASE)
            if found is None:
                yield f"cannot be read: {part}"
                continue
            walks = self._at(ChoreKind.CARRY_IN, hour, found[1])
            for who, to in re.findall(rf"(.+?) to ({self._spots()})(?:, |$)", found[2]):
                going = [name for one in walks if one.to_spot == to for name in one.plants]
                if going != [who] and str(len(going)) != who:
                    yield f"{who} to {to}"

    def _carry_out(self, hour: str, to: str, who: str) -> Iterator[str]:
        walks = [one for one in self._kind(ChoreKind.CARRY_OUT) if self._is_at(one, hour)]
        told = [list(self._meant(who, [one])) for one in walks if _same(one.to_spot, to)]
        if [] not in told:
            yield f"{who!r} is no walk: {told}"

    def _crowded_out(self, hour: str, walks: str) -> Iterator[str]:
        out = [one for one in self._kind(ChoreKind.CARRY_OUT) if self._is_at(one, hour)]
        entries = [re.fullmatch(rf"(\d+) to ({self._spots()})", one) for one in walks.split(", ")]
        for count, spot in (one.groups() if one else ("-1", "") for one in entries):
            if int(count) not in [len(one.plants) for one in out if one.to_spot == spot]:
                yield f"{spot} {count}"

    def _crowded_mist(self, walks: str) -> Iterator[str]:
        walks, _, rest = walks.partition("; feed")
        walks = walks.removesuffix("; some again later").removesuffix("; plain")
        yield from self._by_spot(f"by {walks}", self._first_mistings())
        yield from self._feed(rest, self._first_mistings())

    def _mist(self, spot: str, hour: str, who: str, rest: str) -> Iterator[str]:
        walks = self._at(ChoreKind.MIST, hour, spot)
        fitting = [one for one in walks if not list(self._meant(who, [one]))]
        if not fitting:
            yield "no walk of the sheet is this one"
            return
        again = re.search(r"; again (?:by )?([\d:, apm]+)$", rest)
        for later in again[1].split(", ") if again else ():
            same = [
                two
                for two in self._at(ChoreKind.MIST, later, spot)
                if any(set(two.plants) == set(one.plants) for one in fitting)
            ]
            if not same:
                yield f"not all of them again at {later}"
            fitting += same
        yield from (wrong for one in fitting for wrong in self._forbidden(one))
        yield from self._feed(rest, fitting)

    def _feed(self, rest: str, walks: Sequence[Chore]) -> Iterator[str]:
        found = re.search(r"(?:feed|for) (\d+)\b", rest)
        misted = {name for one in walks for name in one.plants}
        fed = {name for one in self._kind(ChoreKind.FEED) for name in one.plants} & misted
        if found and int(found[1]) != len(fed):
            yield f"feed for {len(fed)}"

    def _guard(self, verb: str, spot: str, hour: str, who: str) -> Iterator[str]:
        yield from self._meant(who, self._at(_VERBS[verb.lower()], hour, spot))

    def _crowded_guard(self, verb: str, by: str, spots: str) -> Iterator[str]:
        yield from self._by_spot(f"{by} {spots}", self._kind(_VERBS[verb.lower()]))

    def _move(self, who: str, spot: str, to: str, hour: str) -> Iterator[str]:
        walks = self._at(ChoreKind.MOVE, hour, spot)
        yield from self._meant(who, [one for one in walks if _same(one.to_spot, to)])

    def _crowded_move(self, hour: str, ways: str) -> Iterator[str]:
        for way in ways.split(", "):
            found = re.fullmatch(rf"(\d+) from ({self._spots()}) to ({self._spots()})", way)
            if found is None:
                yield f"cannot be read: {way}"
                continue
            walks = self._at(ChoreKind.MOVE, hour, found[2])
            if sum(len(one.plants) for one in walks if one.to_spot == found[3]) != int(found[1]):
                yield way

    def _stop(self, spots: str) -> Iterator[str]:
        """Every spot's first hour, and nobody who is wetted later without being named."""
        stops = [one for one in self._kind(ChoreKind.STOP_WETTING) if not _never(one)]
        hour = ""
        for part in re.split(rf", (?=(?:{CLOCK} )?(?:{self._spots()})(?:,|$| but))", spots):
            found = re.fullmatch(rf"(?:({CLOCK}) )?({self._spots()})(?: but (.*))?", part)
            if found is None:
                yield f"cannot be read: {part}"
                continue
            hour = found[1] or hour
            first = min(
                (_minute(one.before) for one in stops if one.from_spot == found[2]), default=None
            )
            if first != minutes(hour):
                yield f"{found[2]} {hour}"
            late = {
                name
                for one in self.chores
                if one.kind in WETTINGS
                and one.from_spot == found[2]
                and _minute(one.before) > minutes(hour)
                for name in one.plants
            }
            if late and (found[3] is None or meant(found[3], late) != len(late)):
                yield f"says nothing of {late}"

    def _stop_of_all(self, others: str | None, hour: str) -> Iterator[str]:
        stops = [one for one in self._kind(ChoreKind.STOP_WETTING) if not _never(one)]
        first = min(_minute(one.before) for one in stops)
        if first != minutes(hour):
            yield hour
        late = {
            one.from_spot
            for one in self.chores
            if one.kind in WETTINGS and _minute(one.before) > first
        }
        if not others and late & {one.from_spot for one in stops}:
            yield f"says nothing of what is wetted later at {late}"

    # -- what the sheet has

    def _spots(self) -> str:
        spots = {one.from_spot for one in self.chores} | {one.to_spot for one in self.chores}
        return "|".join(map(re.escape, sorted(spots, key=len, reverse=True))) or "(?!)"

    def _kind(self, kind: ChoreKind) -> list[Chore]:
        return [one for one in self.chores if one.kind is kind]

    def _first_mistings(self) -> list[Chore]:
        first, seen = list[Chore](), set[str]()
        for one in sorted(self._kind(ChoreKind.MIST), key=lambda two: (two.before, two.id)):
            if set(one.plants) - seen:
                first.append(one)
            seen.update(one.plants)
        return first

    def _repeats(self) -> list[Chore]:
        first = {one.id for one in self._first_mistings()}
        return [one for one in self._kind(ChoreKind.MIST) if one.id not in first]

    def _hour(self, chore: Chore) -> int | None:
        at = _told_at(chore)
        return None if at <= self.now else _minute(at)

    def _is_at(self, chore: Chore, hour: str) -> bool:
        return self._hour(chore) == (None if hour.lower() == "now" else minutes(hour))

    def _at(self, kind: ChoreKind, hour: str, spot: str) -> list[Chore]:
        return [
            one for one in self._kind(kind) if self._is_at(one, hour) and _same(one.from_spot, spot)
        ]

    def _by_spot(self, walks: str, of: Sequence[Chore]) -> Iterator[str]:
        hour = ""
        for when, spot, count in self._entries(walks, "by "):
            hour = when or hour
            there = [one for one in of if one.from_spot == spot and self._is_at(one, hour)]
            if sum(len(one.plants) for one in there) != int(count):
                yield f"{hour} {spot} {count}"
            if of and of[0].kind is ChoreKind.MIST:
                yield from (wrong for one in there for wrong in self._forbidden(one))

    def _entries(self, walks: str, by: str) -> Iterator[tuple[str, str, str]]:
        for part in re.split(r"; |, ", walks):
            found = re.fullmatch(rf"(?:(?:{by})?({CLOCK}|now):? )?({self._spots()}) (\d+)", part)
            yield (found[1] or "", found[2], found[3]) if found else ("", "", "-1")

    def _meant(self, who: str, walks: Sequence[Chore]) -> Iterator[str]:
        """What is wrong with who is meant, if these walks are."""
        plants = {name for one in walks for name in one.plants}
        everybody = {name for one in self.chores for name in one.plants} | set(self.standing)
        if all_ := re.fullmatch(r"all(?: but (.*) \((\d+)\)| (\d+))", who):
            if int(all_[2] or all_[3]) != len(plants):
                yield f"{who!r} of {len(plants)}"
            spot = next((one.from_spot for one in walks), "")
            there = self._there(spot, walks)
            but = {name for name in there if all_[1] and name in all_[1]}
            if there and there - plants != but:
                yield f"{who!r}, but {there - plants} are there too"
        elif meant(who, everybody) != len(plants) or _named(who, everybody) - plants:
            yield f"{who!r} is not {sorted(plants)}"

    def _there(self, spot: str, walks: Sequence[Chore]) -> set[str]:
        """Who stands at a spot, on the day also who comes out to it."""
        there = {name for name, where in self.standing.items() if where == spot}
        if there and walks and walks[0].kind in WETTINGS:
            for one in self._kind(ChoreKind.CARRY_OUT):
                there.update(one.plants if one.to_spot == spot else ())
        return there

    def _forbidden(self, misting: Chore) -> Iterator[str]:
        """Plants of a misting whose crowns must be dry by then."""
        for stop in self._kind(ChoreKind.STOP_WETTING):
            some = set(stop.plants) & set(misting.plants)
            if some and misting.before > stop.before:
                yield f"{sorted(some)} must not be wet after {stop.before:%H:%M}"


def _told_at(chore: Chore) -> datetime:
    starts = chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None
    return chore.not_before if starts and chore.not_before else chore.before


def _never(stop: Chore) -> bool:
    return stop.not_before is not None and stop.before <= stop.not_before


def _minute(at: datetime) -> int:
    return 60 * at.hour + at.minute


def _same(spot: str, told: str) -> bool:
    return spot.casefold() == told.casefold()


def _named(who: str, plants: Collection[str]) -> set[str]:
    """Plants that are named, the longest name first: one may be a part of another."""
    found = set[str]()
    for name in sorted(plants, key=len, reverse=True):
        if name in who:
            found.add(name)
            who = who.replace(name, "")
    return found
