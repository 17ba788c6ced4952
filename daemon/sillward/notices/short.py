"""A sheet for a phone: a title that says what by when, and one walk."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from sillward.notices import phrases
from sillward.notices.follow_up import room_for_minutes
from sillward.notices.phrases import once, plants_of, plants_of_each
from sillward.notices.push import Message, Part, Words, composed, said
from sillward.notices.voice import Voice, capital, few
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.remark import (
    ForecastElsewhere,
    NoShelter,
    Remark,
    WateringIncomplete,
    WateringUnplanned,
    nothing_known,
)
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round, Sheet

MOST_HEADS = 2
"""Chores that a title speaks of."""

SAME_TIME = timedelta(hours=1)
"""On a crowded day mistings this close together are one: of them the first hour is told, which
suits all. Judgement."""


def message(sheet: Sheet, voice: Voice, footer: Sequence[str] = ()) -> Message:
    """The sheet as a push. footer: what else is to be told, whatever is cut."""
    title, parts = _Teller(sheet, voice).tell()
    parts += [said(text, kept=True) for text in footer]
    orders = [one for one in sheet.chores if one.kind in ORDERS and sheet.round is not Round.WEEK]
    return composed(title, parts, voice, room_for_minutes(orders, sheet.at, voice))


@dataclass(frozen=True, slots=True)
class _Due:
    """A kind of chore with a deadline: when, how a title says it, and its lines."""

    kind: ChoreKind
    at: datetime
    head: str
    parts: tuple[Part, ...]


def _is_in(one: _Due) -> bool:
    return one.kind is ChoreKind.CARRY_IN


class _Teller:
    """Words for one sheet."""

    def __init__(self, sheet: Sheet, voice: Voice) -> None:
        self.sheet = sheet
        self.voice = voice
        self.say = voice.say

    def tell(self) -> tuple[str, list[Part]]:
        """Title and parts, most urgent first."""
        tellers = {Round.DUSK: self._dusk, Round.MORNING: self._morning, Round.WEEK: self._week}
        return tellers[self.sheet.round]()

    def _of(self, *kinds: ChoreKind) -> list[Chore]:
        return [chore for chore in self.sheet.chores if chore.kind in kinds]

    def _clock(self, at: datetime) -> str:
        return self.voice.clock(at, self.sheet.at)

    def _by(self, chore: Chore) -> str:
        return self.voice.by(chore.before, self.sheet.at)

    def _who(self, chore: Chore, most: int) -> str:
        # A shelter also houses what lives there: only outdoors does "all" mean something.
        out = chore.kind in (ChoreKind.CARRY_OUT, ChoreKind.STAY_IN)
        others = None if out else self._standing(chore.from_spot) - set(chore.plants)
        return self.voice.names(chore.plants, most, others)

    def _standing(self, spot: str) -> set[str]:
        return {name for name, state in self.sheet.states.items() if state.spot == spot}

    # -- what to beware of

    def _warnings(self, told: Iterable[Remark]) -> list[Part]:
        return [Part((self._warning(one),)) for one in told]

    def _warning(self, remark: Remark) -> Words:
        return lambda most: self.say("watch_out", text=self.voice.remark(remark, most))

    def _open_questions(self) -> Part:
        """In one line what the spots leave open; it is so every day."""
        spots = sorted({one.spot for one in self.sheet.assumptions})
        line = self.say("defaults_used", spots=spots) if spots else ""
        return said(line and self.say("watch_out", text=line), optional=True)

    # -- dusk

    def _dusk(self) -> tuple[str, list[Part]]:
        into = self._of(ChoreKind.CARRY_IN)
        stay = [chore for chore in self._of(ChoreKind.STAY_IN) if chore.not_before is None]
        homeless = [one for one in self.sheet.warnings if isinstance(one, NoShelter)]
        cold = said(phrases.why([*into, *stay], self.voice) if into or stay else "")
        due = self._due([self._carry_in(into), *self._warnings(homeless), cold])
        parts = [part for one in due for part in one.parts]
        if not into:
            parts = [*self._warnings(homeless), cold, *parts]
        parts += [
            *self._warnings([one for one in self.sheet.warnings if one not in homeless]),
            self._staying("stay_tonight", stay),
            said(self._tomorrow(), optional=True),
            self._open_questions(),
        ]
        heads = [one.head for one in due]
        if homeless:
            count = sum(len(one.plants) for one in homeless)
            heads.insert(1 if into else 0, self.say("head_no_shelter", count=count))
        title = capital(", ".join(heads[:MOST_HEADS]))
        if into:
            return title, parts
        return title or self.say("nothing_tonight"), [*parts, said(self._lows())]

    def _due(self, carrying: Sequence[Part]) -> list[_Due]:
        """Carrying in and protection by their hours: orders first, as the minutes that are left may
        be put before the title. carrying: the parts that tell of carrying in."""
        due = []
        for kind in (ChoreKind.CARRY_IN, *_PROTECTION):
            chores = self._of(kind)
            if chores:
                head = phrases.head_of(chores, self.sheet.at, self.voice)
                parts = carrying if kind is ChoreKind.CARRY_IN else [self._protect(chores)]
                due.append(_Due(kind, chores[0].before, head, tuple(parts)))
        return sorted(due, key=lambda one: (one.kind not in ORDERS, one.at))

    def _carry_in(self, into: Sequence[Chore], *, later: bool = False) -> Part:
        """A line for each spot. later: beside others of the day, so with what it is."""
        spots = [
            [chore for chore in into if chore.from_spot == spot]
            for spot in dict.fromkeys(chore.from_spot for chore in into)
        ]

        kind, now = ChoreKind.CARRY_IN, self.sheet.at
        crowded = partial(phrases.crowded, kind, into, now, self.voice, later=later)
        lines = tuple(self._from_spot(chores, later=later) for chores in spots)
        return Part(lines, crowded, plants=tuple(plants_of(chores) for chores in spots))

    def _from_spot(self, chores: Sequence[Chore], *, later: bool) -> Words:
        """A spot's walks; the largest of them is "the rest" if that is clear enough."""
        first, voice = chores[0], self.voice
        *small, large = sorted(chores, key=lambda chore: len(chore.plants))
        others = self._standing(first.from_spot) - plants_of(chores)

        def words(most: int) -> str:
            ways = [(voice.names(one.plants, most), one.to_spot) for one in small]
            if small and few(others, large.plants):
                rest = voice.all_but("rest", len(large.plants), others)
            else:
                rest = voice.names(large.plants, most, others if not small else None)
            ways.append((rest, large.to_spot))
            if later:
                by = self._by(first)
                return self.say("carry_in_later", by=by, spot=first.from_spot, ways=ways)
            when = self._clock(first.before)
            return self.say("carry_in", when=when, spot=first.from_spot, ways=ways)

        return words

    def _staying(self, macro: str, stay: Sequence[Chore], *, optional: bool = False) -> Part:
        """What stays in, from wherever it stands: one line."""
        plants = [name for chore in stay for name in chore.plants]

        def words(most: int) -> str:
            return self.say(macro, who=self.voice.names(plants, most))

        return Part((words,) if plants else (), None, optional, (frozenset(plants),))

    def _tomorrow(self) -> str:
        """When things may go out again, in half a line."""
        out, stay = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.STAY_IN)
        kept = phrases.count_of([chore for chore in stay if chore.not_before is not None])
        if not out and not kept:
            return ""
        when = self._clock(_start(out[0])) if out else ""
        return self.say("out_again", when=when, count=phrases.count_of(out), kept=kept)

    def _lows(self) -> str:
        known = phrases.known_lows(self.sheet)
        return self.say("lows", lows=known) if known else ""

    # -- morning

    def _morning(self) -> tuple[str, list[Part]]:
        """In first, whatever its hour: it is no use later. The rest as the day goes."""
        into, stay = self._of(ChoreKind.CARRY_IN), self._of(ChoreKind.STAY_IN)
        out, mist = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.MIST)
        due = self._due([self._carry_in(into, later=True)])
        by_hour = [*self._carry_out(out), *self._mist(mist)]
        by_hour += [(one.at, part) for one in due for part in one.parts if not _is_in(one)]
        parts = [part for one in due for part in one.parts if _is_in(one)]
        parts += [said(phrases.why(into, self.voice))] if into else []
        parts += [part for _, part in sorted(by_hour, key=lambda one: one[0])]
        parts += [
            self._stop(),
            self._staying("stay_in", stay, optional=not out),  # then the title has told it
            *self._warnings(self.sheet.warnings),
            self._open_questions(),
        ]
        first = [one for one in due[:1] if one.kind in ORDERS]
        others = [
            *self._heads_of_day(out, mist),
            *((one.at, one.head) for one in due if one not in first),
        ]
        heads = [one.head for one in first]
        heads += [head for _, head in sorted(others, key=lambda one: one[0])]
        if not out and stay:
            heads.append(self.say("head_stay", count=phrases.count_of(stay)))
        return capital(", ".join(heads[:MOST_HEADS])) or self._nothing_today(), parts

    def _nothing_today(self) -> str:
        unknown = (WateringIncomplete, WateringUnplanned, ForecastElsewhere)
        known = not any(
            isinstance(one, unknown) or nothing_known(one) for one in self.sheet.warnings
        )
        return self.say("nothing_today" if known else "today_not_known")

    def _heads_of_day(
        self, out: Sequence[Chore], mist: Sequence[Chore]
    ) -> Iterator[tuple[datetime, str]]:
        if out:
            when = self.voice.since(_start(out[0]), self.sheet.at)
            yield _start(out[0]), self.say("head_out", when=when, count=phrases.count_of(out))
        if mist:
            soon = [one for one in mist if one.before - mist[0].before <= phrases.SAME_TRIP]
            count = len(plants_of(soon))
            yield mist[0].before, self.say("head_mist", by=self._by(mist[0]), count=count)

    def _carry_out(self, out: Sequence[Chore]) -> Iterator[tuple[datetime, Part]]:
        """A line for each walk."""

        def crowded() -> str:
            walks = [(self._clock(_start(one)), one.to_spot, len(one.plants)) for one in out]
            return self.say("crowded_out", walks=once(walks))

        if out:
            lines = tuple(self._way_out(chore) for chore in out)
            yield _start(out[0]), Part(lines, crowded, plants=plants_of_each(out))

    def _way_out(self, chore: Chore) -> Words:
        def words(most: int) -> str:
            return self.say(
                "carry_out",
                when=self._clock(_start(chore)),
                spot=chore.from_spot if most else "",  # the grower knows where it stands
                to=chore.to_spot,
                who=self._who(chore, most),
            )

        return words

    def _mist(self, mist: Sequence[Chore]) -> Iterator[tuple[datetime, Part]]:
        """A line for each walk on which plants are misted first, with the hours of their others."""
        first, again, seen = list[Chore](), list[Chore](), set[str]()
        for chore in mist:
            (again if seen.issuperset(chore.plants) else first).append(chore)
            seen.update(chore.plants)

        def crowded() -> str:
            counts: dict[tuple[str, str], int] = {}
            for one in first:
                key = self._by(one), one.from_spot
                counts[key] = counts.get(key, 0) + len(one.plants)
            walks = [(by, spot, count) for (by, spot), count in counts.items()]
            feeds = self._of(ChoreKind.FEED)
            advice = feed_advice(first, feeds, self.voice, brief=True) or ""
            hours = [self.voice.hour(at) for at in _apart([one.before for one in again])]
            return self.say("crowded_mist", walks=once(walks), advice=advice, again=hours)

        lines = []
        for number, one in enumerate(mist):
            if one in first:
                mine = set(one.plants)
                later = [two for two in mist[number + 1 :] if not mine.isdisjoint(two.plants)]
                lines.append(self._misting(one, later))
        if lines:
            yield first[0].before, Part(tuple(lines), crowded, plants=plants_of_each(first))

    def _misting(self, first: Chore, later: Sequence[Chore]) -> Words:
        """The first misting with its feed, then by when the others."""
        feeds, voice = self._of(ChoreKind.FEED), self.voice
        of_first = set(first.plants)

        def again(chore: Chore, *, brief: bool) -> tuple[str, int]:
            """The hour, and how many of the first, unless it is all of them."""
            some = of_first & set(chore.plants)
            return voice.hour(chore.before), 0 if brief or some == of_first else len(some)

        def words(most: int) -> str:
            brief = most == 0
            return self.say(
                "mist",
                spot=first.from_spot,
                span=voice.span(first.not_before or first.before, first.before),
                who=self._who(first, most),
                advice=mist_advice(first, feeds, voice, brief=brief),
                again=[again(chore, brief=brief) for chore in later],
                brief=brief,
            )

        return words

    def _stop(self) -> Part:
        never: dict[str, int] = {}
        until: dict[str, datetime] = {}
        for chore in self._of(ChoreKind.STOP_WETTING):
            if phrases.no_wetting(chore):
                never[chore.from_spot] = never.get(chore.from_spot, 0) + len(chore.plants)
            else:  # the first of a spot: the most sensitive crowns there
                until.setdefault(chore.from_spot, chore.before)
        in_order = sorted(until.items(), key=lambda one: one[1])
        hours = once([(self.voice.hour(at), spot, 0) for spot, at in in_order])

        def words(_: int) -> str:
            spots = [(hour, spot) for hour, spot, _ in hours]
            return self.say("stop_wetting", until=spots, never=list(never.items()))

        def crowded() -> str:
            first = self.voice.hour(min(until.values())) if until else ""
            return self.say("crowded_stop", until=first, never=sum(never.values()))

        return Part((words,), crowded) if until or never else Part(())

    # -- protection

    def _protect(self, chores: Sequence[Chore]) -> Part:
        """A line for each chore of a kind of protection, with the number that asks for it."""
        lines = tuple(self._protecting(chore) for chore in chores)
        crowded = partial(phrases.crowded, chores[0].kind, chores, self.sheet.at, self.voice)
        return Part(lines, crowded, plants=plants_of_each(chores))

    def _protecting(self, chore: Chore) -> Words:
        reason = phrases.deciding([chore])

        def moving(most: int) -> str:
            return self.say(
                "move",
                spot=chore.from_spot,
                to=chore.to_spot,
                by=self._by(chore),
                who=self._who(chore, most),
                value=phrases.number(reason, self.voice),
                limit=phrases.limit(reason, self.voice),
                back=phrases.back(chore, self.voice),
                brief=most == 0,
            )

        def words(most: int) -> str:
            if chore.kind is ChoreKind.MOVE:
                return moving(most)
            return self.say(
                "guard",
                kind=chore.kind.value,
                spot=chore.from_spot,
                by=self._by(chore),
                who=self._who(chore, most),
                quantity=reason.quantity,
                value=phrases.number(reason, self.voice) if most else "",
                hour=self.voice.hour(reason.at),
            )

        return words

    # -- week

    def _week(self) -> tuple[str, list[Part]]:
        ahead, voice = self.sheet.outlook, self.voice
        if ahead is None or not any(night.judged for night in ahead.nights):
            return self.say("week_not_known"), [
                *self._warnings(self.sheet.warnings),
                self._open_questions(),
            ]
        cold = [night for night in ahead.nights if night.plants_in]
        title = self.say("week", nights=len(ahead.nights), cold=len(cold), trips=ahead.trips)
        lows = []
        for night in ahead.nights:
            known = [low for low in night.lows.values() if low is not None]
            lows.append((night.day, min(known, default=None), len(night.plants_in)))
        outdoors = any(night.lows for night in ahead.nights)
        misted = [(day.day, day.mistings) for day in ahead.days if day.mistings]
        rest = [self.say("week_mistings", days=misted)] if misted else []
        rest += [capital(voice.remark(one)) for one in (*ahead.spells, *ahead.dark)]
        return title, [
            said(self.say("week_lows", nights=lows) if outdoors else ""),
            said(capital(voice.remark(ahead.turn)) if ahead.turn else ""),
            *self._warnings(self.sheet.warnings),
            *(said(text, optional=True) for text in rest),
            self._open_questions(),
        ]


_PROTECTION = (
    ChoreKind.COVER,
    ChoreKind.SECURE,
    ChoreKind.MOVE,
    ChoreKind.SHADE,
    ChoreKind.DAMP_DOWN,
)
"""Chores that guard plants where they stand, the most urgent first."""


def _start(out: Chore) -> datetime:
    """The hour that going out is told by."""
    return out.not_before or out.before


def _apart(hours: Sequence[datetime]) -> list[datetime]:
    """The first of all that lie within `SAME_TIME` of it, and so on."""
    kept: list[datetime] = []
    for at in sorted(hours):
        if not kept or at - kept[-1] > SAME_TIME:
            kept.append(at)
    return kept


def mist_advice(mist: Chore, feeds: Sequence[Chore], voice: Voice, *, brief: bool = False) -> str:
    """What to mist with: feed and the time to its rinse, or plain water; how soon it is gone."""
    advice = feed_advice([mist], feeds, voice, brief=brief)
    if advice is not None:
        return advice
    reason = min(mist.because, key=_minutes)
    # Its reason may tell of a later moment; in its own window the film lasts.
    short_lived = reason.limit is not None and _minutes(reason) < reason.limit
    if not short_lived or reason.at > mist.before or reason.value is None:
        return ""
    return voice.say("plain_advice", gone_min=round(reason.value), brief=brief)


def feed_advice(
    walks: Sequence[Chore], feeds: Sequence[Chore], voice: Voice, *, brief: bool
) -> str | None:
    """Who of these is fed, and how soon it must be rinsed; None if nobody is."""
    fed = [feed for feed in feeds if any(feed.goes_with(mist) for mist in walks)]
    if not fed:
        return None
    reason = min((one for mist in walks for one in mist.because), key=_minutes)
    misted = [name for mist in walks for name in mist.plants]
    plants = plants_of(fed) & set(misted)
    rinse = min(_minutes(one) for feed in fed for one in feed.because)
    without = [name for name in misted if name not in plants]
    return voice.say(
        "feed_advice",
        rinse_min=round(rinse) if rinse < float("inf") else None,
        fed=len(plants) if without else 0,
        without=", ".join(without) if len(without) <= _FEW else "",
        salt_min=None if reason.value is None else round(reason.value),
        hour=voice.hour(reason.at),
        brief=brief,
    )


_FEW = 2
"""Plants that are not fed are named up to here."""


def _minutes(reason: Reason) -> float:
    return float("inf") if reason.value is None else reason.value
