"""A sheet for a phone: a title that says what by when, and one walk."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

from sillward.wording import phrases
from sillward.wording.follow_up import room_for_minutes
from sillward.wording.phrases import once, plants_of, plants_of_each
from sillward.wording.push import Line, Message, Part, Words, composed, said
from sillward.wording.voice import Voice, capital, shorter_to_exclude
from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Reason
from sillward_rules.remark import (
    CloseCall,
    ForecastElsewhere,
    NoShelter,
    NotConfirmed,
    Remark,
    WateringIncomplete,
    WateringUnplanned,
    nothing_known,
)
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round, Sheet

MOST_HEADS = 2
"""Chores that a title speaks of."""

MOST_ASKED = 2
"""Plants that the question about last night names."""


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
    part: Part


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
        """All but those that are told with the orders."""
        said = (one for one in told if not phrases.is_too_cold(one))
        return [Part((phrases.watch_out(one, self.voice),)) for one in said]

    def _asked(self, remark: NotConfirmed) -> Part:
        """The question whether they went in: whoever never answers it must be able to read on."""
        words = phrases.watch_out(remark, self.voice)
        return Part((lambda most: words(min(most, MOST_ASKED)),), kept=True)

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
        due = self._due(self._carry_in(into), into)
        first = [phrases.too_cold(self.sheet.warnings, self.voice), cold]
        orders = [one.part for one in due]
        parts = [
            *([*orders, *first] if into else [*first, *orders]),
            *self._warnings(self.sheet.warnings),
            *(self._staying("stay_tonight", stay, unsure=unsure) for unsure in (True, False)),
            said(self._tomorrow(), optional=True),
            self._open_questions(),
        ]
        heads = [one.head for one in due]
        if homeless:
            count = sum(len(one.plants) for one in homeless)
            heads.insert(1 if into else 0, self.say("head_no_shelter", count=count))
        unsure = sum(len(chore.unconfirmed) for chore in stay)
        if unsure:
            heads.append(self.say("head_check", count=unsure))
        title = capital(", ".join(heads[:MOST_HEADS]))
        if into:
            return phrases.overdue(title, into, self.sheet.at, self.voice), parts
        close = any(isinstance(one, CloseCall) for one in self.sheet.warnings)
        return title or self.say("nothing_tonight", close=close), [*parts, said(self._lows())]

    def _due(self, carrying: Part, into: Sequence[Chore]) -> list[_Due]:
        """Carrying in and protection by their hours: orders first, as the minutes that are left may
        be put before the title. carrying: the part that tells of carrying in."""
        due = []
        for kind in (ChoreKind.CARRY_IN, *_PROTECTION):
            chores = into if kind is ChoreKind.CARRY_IN else self._of(kind)
            if chores:
                head = phrases.head_of(chores, self.sheet.at, self.voice)
                part = carrying if kind is ChoreKind.CARRY_IN else self._protect(chores)
                due.append(_Due(kind, chores[0].before, head, part))
        return sorted(due, key=lambda one: (one.kind not in ORDERS, one.at))

    def _carry_in(
        self, into: Sequence[Chore], *, later: bool = False, by_hour: bool = True
    ) -> Part:
        """A line for each hour and spot. later: beside others of the day, so with what it is.

        by_hour: told among others in the order of their hours.
        """
        kind, now = ChoreKind.CARRY_IN, self.sheet.at
        walks = [
            (at, [chore for chore in same if chore.from_spot == spot])
            for at, same in phrases.by_hour(into, now)
            for spot in dict.fromkeys(chore.from_spot for chore in same)
        ]
        carried = plants_of(into)
        return Part(
            tuple(self._from_spot(at, chores, carried, later=later) for at, chores in walks),
            partial(phrases.crowded, kind, into, now, self.voice, later=later),
            plants=tuple(plants_of(chores) for _, chores in walks),
            hours=tuple(at for at, _ in walks) if by_hour else (),
        )

    def _from_spot(
        self, at: datetime, chores: Sequence[Chore], carried: AbstractSet[str], *, later: bool
    ) -> Words:
        """The walks from a spot with one hour. carried: all that is carried in from anywhere."""
        spot, voice = chores[0].from_spot, self.voice
        walk, there = plants_of(chores), self._standing(spot)
        stays = there - carried
        no_shelter = (one for one in self.sheet.warnings if isinstance(one, NoShelter))
        homeless = any(not stays.isdisjoint(one.plants) for one in no_shelter)
        told = shorter_to_exclude(stays, list(walk)) and not homeless
        # "All" is all that stand there.
        others = set[str]() if there <= walk and len(chores) == 1 else None

        def words(most: int) -> str:
            ways = [(voice.names(one.plants, most, others), one.to_spot) for one in chores]
            named = all(len(one.plants) <= max(1, most + 1) for one in chores)
            not_meant = ", ".join(sorted(stays)) if told and not named else ""
            facts: dict[str, Any] = {"spot": spot, "ways": ways, "stays": not_meant}
            if later:
                return self.say("carry_in_later", by=voice.by(at, self.sheet.at), **facts)
            return self.say("carry_in", when=self._clock(at), **facts)

        return words

    def _staying(
        self,
        macro: str,
        stay: Sequence[Chore],
        *,
        optional: bool = False,
        unsure: bool | None = None,
    ) -> Part:
        """What stays in, from wherever it stands: one line. unsure: those alone of whom nobody has
        said that they are in, or the others alone."""
        plants = [
            name
            for chore in stay
            for name in chore.plants
            if unsure is None or (name in chore.unconfirmed) is unsure
        ]
        facts = {} if unsure is None else {"unsure": unsure}

        def words(most: int) -> str:
            return self.say(macro, who=self.voice.names(plants, most), **facts)

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
        """In first, whatever its hour: it is no use later; but what goes out before it is told as
        the day goes, like the rest."""
        # What is open since last night is asked about in one line.
        day = str(self.voice.local(self.sheet.at).date())
        into = [one for one in self._of(ChoreKind.CARRY_IN) if one.id >= day]
        asked = [one for one in self.sheet.warnings if isinstance(one, NotConfirmed)]
        stay = self._of(ChoreKind.STAY_IN)
        out, mist = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.MIST)
        back = bool(out and into) and _start(out[0]) < into[0].before
        due = self._due(self._carry_in(into, later=True, by_hour=back), into)
        carrying = [] if back else [one.part for one in due if one.kind is ChoreKind.CARRY_IN]
        parts = [*carrying]
        parts += [phrases.too_cold(self.sheet.warnings, self.voice)]
        parts += [said(phrases.why(into, self.voice))] if into else []
        parts += [self._asked(one) for one in asked]
        # Those have hours, by which they are told.
        by_hour = [self._carry_out(out), *self._mist(mist)]
        by_hour += [
            replace(one.part, kept=True) if one.kind is ChoreKind.CARRY_IN else one.part
            for one in due
            if one.part not in carrying
        ]
        parts += sorted(by_hour, key=lambda one: one.hours[:1])
        parts += [
            self._stop(),
            self._staying("stay_in", stay, optional=not out),  # then the title has told it
            *self._warnings(one for one in self.sheet.warnings if one not in asked),
            self._open_questions(),
        ]
        first = [one for one in due[:1] if one.kind in ORDERS]
        others = [
            *self._heads_of_day(out, mist),
            *((one.at, one.head) for one in due if one not in first),
        ]
        of_day = [head for _, head in sorted(others, key=lambda one: one[0])]
        before = of_day[: int(back)]  # an order is in the title whatever its hour
        heads = [*before, *(one.head for one in first), *of_day[len(before) :]]
        if not out and stay:
            heads.append(self.say("head_stay", count=phrases.count_of(stay)))
        title = capital(", ".join(heads[:MOST_HEADS]))
        return phrases.overdue(
            title, into, self.sheet.at, self.voice
        ) or self._nothing_today(), parts

    def _nothing_today(self) -> str:
        unknown = (WateringIncomplete, WateringUnplanned, ForecastElsewhere)
        known = not any(
            isinstance(one, unknown) or nothing_known(one) for one in self.sheet.warnings
        )
        return self.say("nothing_today" if known else "today_not_known")

    def _heads_of_day(
        self, out: Sequence[Chore], mist: Sequence[Chore]
    ) -> Iterator[tuple[datetime, str]]:
        now = self.sheet.at
        if out:
            (at, first), *rest = phrases.by_hour(out, now)
            count, later = phrases.count_of(first), sum(phrases.count_of(one) for _, one in rest)
            when = self.voice.since(at, now)
            yield at, self.say("head_out", when=when, count=count, later=later)
        if mist:
            (at, first), *rest = phrases.by_hour(_first_of(mist), now)
            count, later = phrases.count_of(first), sum(phrases.count_of(one) for _, one in rest)
            yield at, self.say("head_mist", by=self.voice.by(at, now), count=count, later=later)

    def _carry_out(self, out: Sequence[Chore]) -> Part:
        """A line for each walk; on crowded days for each hour."""

        def crowded() -> list[Line]:
            return [self._out_at(at, same) for at, same in phrases.by_hour(out, self.sheet.at)]

        lines = tuple(self._way_out(chore) for chore in out)
        return Part(lines, crowded, plants=plants_of_each(out), hours=self._hours(out))

    def _out_at(self, at: datetime, out: Sequence[Chore]) -> Line:
        """All that go out from one hour on, in one line."""
        spots = [(one.to_spot, len(one.plants)) for one in out]
        if_in = any(one.unconfirmed for one in out)
        text = self.say(
            "crowded_out", when=self.voice.since(at, self.sheet.at), spots=spots, if_in=if_in
        )
        return Line(lambda _: text, plants_of(out), at)

    def _hours(self, chores: Iterable[Chore]) -> tuple[datetime, ...]:
        """The hour by which each is told: when it may begin, if that is said."""
        return tuple(max(_start(one), self.sheet.at) for one in chores)

    def _way_out(self, chore: Chore) -> Words:
        def words(most: int) -> str:
            return self.say(
                "carry_out",
                when=self.voice.since(_start(chore), self.sheet.at),
                spot=chore.from_spot if most else "",  # the grower knows where it stands
                to=chore.to_spot,
                who=self._who(chore, most),
                if_in=phrases.if_taken_in(chore, self.voice, most),
            )

        return words

    def _mist(self, mist: Sequence[Chore]) -> list[Part]:
        """A line for each walk on which plants are misted first, with when the very same are misted
        again; a line for each other walk on which plants are misted again."""
        first = _first_of(mist)
        again = [one for one in mist if one not in first]
        same = [[two for two in again if _whom(two) == _whom(one)] for one in first]
        others = [one for one in again if not any(one in walks for walks in same)]

        def crowded() -> str:
            feeds = self._of(ChoreKind.FEED)
            advice = feed_advice(first, feeds, self.voice, brief=True) or ""
            walks = self._counts(first)
            return self.say("crowded_mist", walks=walks, advice=advice, more=any(same))

        lines = tuple(map(self._misting, first, same))
        part = Part(lines, plants=plants_of_each(first), hours=self._hours(first))
        repeats = Part(
            tuple(self._misting_again(one) for one in others),
            plants=plants_of_each(others),
            hours=self._hours(others),
            spare=True,
        )
        again_in_one = partial(self.say, "crowded_again", walks=self._counts(others))
        return [_or_in_one(part, crowded), _or_in_one(repeats, again_in_one)]

    def _counts(self, walks: Sequence[Chore]) -> list[tuple[str, str, int]]:
        """By when, where, and how many; the hour empty where it is the one before."""
        counts: dict[tuple[str, str], int] = {}
        for one in walks:
            key = self._by(one), one.from_spot
            counts[key] = counts.get(key, 0) + len(one.plants)
        return once([(by, spot, count) for (by, spot), count in counts.items()])

    def _misting(self, first: Chore, again: Sequence[Chore]) -> Words:
        """The first misting with its feed, then by when the same plants get others."""
        feeds, voice = self._of(ChoreKind.FEED), self.voice

        def words(most: int) -> str:
            brief = most == 0
            return self.say(
                "mist",
                spot=first.from_spot,
                span=voice.span(_start(first), first.before),
                who=self._wetted(first, most),
                advice=mist_advice(first, feeds, voice, brief=brief),
                again=[voice.hour(chore.before) for chore in again],
            )

        return words

    def _misting_again(self, chore: Chore) -> Words:
        """A misting of some that were misted before."""

        def words(most: int) -> str:
            span = self.voice.span(_start(chore), chore.before)
            who = self._wetted(chore, most)
            return self.say("mist_again", spot=chore.from_spot, span=span, who=who)

        return words

    def _wetted(self, chore: Chore, most: int) -> str:
        """Who gets water. What comes out to its spot on this day stands there too."""
        out = self._of(ChoreKind.CARRY_OUT)
        arrive = plants_of(one for one in out if one.to_spot == chore.from_spot)
        others = (self._standing(chore.from_spot) | arrive) - set(chore.plants)
        return self.voice.names(chore.plants, most, others)

    def _stop(self) -> Part:
        """Until when crowns may be wet, for each spot the first hour of any of its plants; but for
        those that the sheet wets later."""
        never: dict[str, int] = {}
        until: dict[str, datetime] = {}
        for chore in self._of(ChoreKind.STOP_WETTING):
            if phrases.no_wetting(chore):
                never[chore.from_spot] = never.get(chore.from_spot, 0) + len(chore.plants)
            else:  # the first of a spot: the most sensitive crowns there
                until.setdefault(chore.from_spot, chore.before)
        in_order = sorted(until.items(), key=lambda one: one[1])
        but = {spot: self._wetted_after(spot, at) for spot, at in in_order}
        hours = once([(self.voice.hour(at), spot, sorted(but[spot])) for spot, at in in_order])

        def words(most: int) -> str:
            spots = [
                (hour, spot, self.voice.names(some, most) if some else "")
                for hour, spot, some in hours
            ]
            return self.say("stop_wetting", until=spots, never=list(never.items()))

        def crowded() -> str:
            first = min(until.values(), default=None)
            return self.say(
                "crowded_stop",
                until=self.voice.hour(first) if first else "",
                never=sum(never.values()),
                others=first is not None and any(self._wetted_after(one, first) for one in until),
            )

        return _or_in_one(Part((words,) if until or never else ()), crowded)

    def _wetted_after(self, spot: str, at: datetime) -> frozenset[str]:
        """The plants of a spot that get water after an hour."""
        wetted = self._of(*WETTINGS)
        return plants_of(one for one in wetted if one.from_spot == spot and one.before > at)

    # -- protection

    def _protect(self, chores: Sequence[Chore]) -> Part:
        """A line for each chore of a kind of protection, with the number that asks for it."""
        lines = tuple(self._protecting(chore) for chore in chores)
        crowded = partial(phrases.crowded, chores[0].kind, chores, self.sheet.at, self.voice)
        hours = tuple(max(one.before, self.sheet.at) for one in chores)
        spare = chores[0].kind is ChoreKind.DAMP_DOWN
        return Part(lines, crowded, plants=plants_of_each(chores), hours=hours, spare=spare)

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


def _or_in_one(part: Part, text: Callable[[], str]) -> Part:
    """The part, which is told in this one line on a crowded day."""
    return replace(part, crowded=lambda: [part.in_one(text())])


def _start(chore: Chore) -> datetime:
    """From when on it may be done; its deadline where that is not said."""
    return chore.not_before or chore.before


def _whom(chore: Chore) -> tuple[str, frozenset[str]]:
    """Whom a chore is about, and where."""
    return chore.from_spot, frozenset(chore.plants)


def _first_of(mist: Sequence[Chore]) -> list[Chore]:
    """The walks on which any of their plants are misted for the first time."""
    first, seen = list[Chore](), set[str]()
    for chore in mist:
        if not seen.issuperset(chore.plants):
            first.append(chore)
        seen.update(chore.plants)
    return first


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
