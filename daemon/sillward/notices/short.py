"""A sheet for a phone: a title that says what by when, and one walk in at most 300 characters."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sillward.notices import phrases
from sillward.notices.voice import Voice, capital, few
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.sheet import Round, Sheet

MOST_CHARACTERS = 300
"""Title and body together; some phones cut near 500, servers at 4 KiB."""


@dataclass(frozen=True, slots=True)
class Message:
    """What a channel gets.

    html: the same for a mail program; other channels, and those that cannot, get the body alone.
    images: PNG by the content id under which the html shows them.
    """

    title: str
    body: str
    html: str | None = None
    images: tuple[tuple[str, bytes], ...] = ()


def fits(title: str, body: str) -> bool:
    """Whether a push may be this long."""
    return len(title) + 1 + len(body) <= MOST_CHARACTERS


def shortened(title: str, lines: Sequence[str]) -> Message:
    """A push of as many lines as fit; the last, which says what to do, is kept."""
    kept = list(lines)
    while len(kept) > 1 and not fits(title, "\n".join(kept)):
        kept.pop(-2)
    return Message(title, "\n".join(kept))


MOST_HEADS = 2
"""Chores that a title speaks of."""

Words = Callable[[int], str]


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the body, to be told with at most so many names. An optional one may be left out.

    What is optional is told again by a later round. plants: whom it is about.
    """

    words: Words
    optional: bool = False
    plants: frozenset[str] = frozenset()


BARE = -1
"""In place of a number of names: no names, and no more than what and when."""


def message(sheet: Sheet, voice: Voice, footer: Sequence[str] = ()) -> Message:
    """The sheet in at most 300 characters.

    footer: what else is to be told, if there is room.

    First every line that counts without names, then as many names as there is room for, the
    lines with the fewest first, then the optional lines. On crowded days the last lines are bare.
    """
    title, lines = _Teller(sheet, voice).tell()
    lines = [line for line in lines if line.words(0)]
    lines += [_fixed(text, optional=True) for text in footer]
    room = MOST_CHARACTERS - len(title) - 1
    told = {index: 0 for index, line in enumerate(lines) if not line.optional}
    for index in sorted(told, reverse=True):
        if _length(lines, told) <= room:
            break
        told[index] = BARE
    if _length(lines, told) > room:
        return Message(title, _cut([lines[index] for index in told], room, voice))
    for index in sorted(told, key=lambda one: len(lines[one].words(_ALL_NAMES))):
        steps = [most for most in _NAME_STEPS if _length(lines, {**told, index: most}) <= room]
        told[index] = max(steps, default=told[index])
    for index, line in enumerate(lines):
        if line.optional and _length(lines, {**told, index: 0}) <= room:
            told[index] = 0
    return Message(title, _body(lines, told) or voice.say("that_is_all"))


_NAME_STEPS = (0, 1, 2, 3, 5, 8)
_ALL_NAMES = _NAME_STEPS[-1]


def _body(lines: Sequence[Line], told: Mapping[int, int]) -> str:
    return "\n".join(lines[index].words(told[index]) for index in sorted(told))


def _length(lines: Sequence[Line], told: Mapping[int, int]) -> int:
    return len(_body(lines, told))


def _cut(lines: Sequence[Line], room: int, voice: Voice) -> str:
    """As many whole lines as there is room for, bare, and how to read the rest."""
    for kept in range(len(lines), -1, -1):
        rest = lines[kept:]
        plants = frozenset[str]().union(*(line.plants for line in rest))
        tail = [voice.say("cut", lines=len(rest), plants=len(plants))] if rest else []
        text = "\n".join([*(line.words(BARE) for line in lines[:kept]), *tail])
        if len(text) <= room:
            return text
    return ""


def _fixed(text: str, *, optional: bool = False) -> Line:
    return Line(lambda _: text, optional)


class _Teller:
    """Words for one sheet."""

    def __init__(self, sheet: Sheet, voice: Voice) -> None:
        self.sheet = sheet
        self.voice = voice
        self.say = voice.say

    def tell(self) -> tuple[str, list[Line]]:
        """Title and lines, most urgent first."""
        tellers = {Round.DUSK: self._dusk, Round.MORNING: self._morning, Round.WEEK: self._week}
        title, lines = tellers[self.sheet.round]()
        if self.sheet.round is not Round.DUSK:
            lines += self._warnings()
        return title, lines

    def _warnings(self) -> list[Line]:
        """Every warning, and in one line what the spots leave open."""
        said = [self.voice.remark(one) for one in self.sheet.warnings]
        spots = sorted({text.split(":")[0] for text in self.sheet.assumptions})
        said += [self.say("defaults_used", spots=spots)] if spots else []
        return [_fixed(self.say("watch_out", text=text)) for text in said]

    def _of(self, *kinds: ChoreKind) -> list[Chore]:
        return [chore for chore in self.sheet.chores if chore.kind in kinds]

    def _clock(self, chore: Chore) -> str:
        """The hour that a chore is told by: its start for going out, else its deadline."""
        at = chore.before
        if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
            at = chore.not_before
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

    # -- dusk

    def _dusk(self) -> tuple[str, list[Line]]:
        into = self._of(ChoreKind.CARRY_IN)
        stay = [chore for chore in self._of(ChoreKind.STAY_IN) if chore.not_before is None]
        lines = self._carry_in(into)
        if into or stay:
            lines.append(_fixed(phrases.why([*into, *stay], self.voice)))
        lines += self._warnings()
        lines += [self._named("stay_tonight", chore) for chore in stay]
        lines += self._protect()
        lines.append(_fixed(self._tomorrow(), optional=True))
        if not into:
            guard = self._guard_heads()
            title = capital(", ".join(guard)) if guard else self.say("nothing_tonight")
            return title, [*lines, _fixed(self._lows())]
        return capital(phrases.head_in(into, self.sheet.at, self.voice)), lines

    def _carry_in(self, into: Sequence[Chore]) -> list[Line]:
        """A line for each spot; the largest of its walks is "the rest" if that is clear enough."""
        spots = dict.fromkeys(chore.from_spot for chore in into)
        return [
            self._from_spot([chore for chore in into if chore.from_spot == spot]) for spot in spots
        ]

    def _from_spot(self, chores: Sequence[Chore]) -> Line:
        first, voice = chores[0], self.voice
        *small, large = sorted(chores, key=lambda chore: len(chore.plants))
        gone = {name for chore in chores for name in chore.plants}
        others = self._standing(first.from_spot) - gone

        def words(most: int) -> str:
            ways = [(voice.names(one.plants, most), one.to_spot) for one in small]
            if small and few(others, large.plants):
                rest = voice.all_but("rest", len(large.plants), others)
            else:
                rest = voice.names(large.plants, most, others if not small else None)
            ways.append((rest, large.to_spot))
            return self.say("carry_in", when=self._clock(first), spot=first.from_spot, ways=ways)

        return Line(words, plants=frozenset(gone))

    def _named(self, macro: str, chore: Chore, *, optional: bool = False) -> Line:
        def words(most: int) -> str:
            return self.say(macro, who=self._who(chore, most))

        return Line(words, optional, frozenset(chore.plants))

    def _carry_out(self, chore: Chore) -> Line:
        def words(most: int) -> str:
            return self.say(
                "carry_out",
                when=self._clock(chore),
                spot=chore.from_spot if most > 0 else "",  # the grower knows where it stands
                to=chore.to_spot,
                who=self._who(chore, most),
            )

        return Line(words, plants=frozenset(chore.plants))

    def _tomorrow(self) -> str:
        """When things may go out again, in half a line."""
        out, stay = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.STAY_IN)
        kept = phrases.count_of([chore for chore in stay if chore.not_before is not None])
        if not out and not kept:
            return ""
        when = self._clock(out[0]) if out else ""
        return self.say("out_again", when=when, count=phrases.count_of(out), kept=kept)

    def _lows(self) -> str:
        known = [(name, low) for name, low in self.sheet.lows.items() if low is not None]
        return self.say("lows", lows=known) if known else ""

    # -- morning

    def _morning(self) -> tuple[str, list[Line]]:
        out, mist = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.MIST)
        stay, into = self._of(ChoreKind.STAY_IN), self._of(ChoreKind.CARRY_IN)
        heads = []
        if into:
            heads.append(phrases.head_in(into, self.sheet.at, self.voice))
        if out:
            start = out[0].not_before or out[0].before
            when = self.voice.since(start, self.sheet.at)
            heads.append(self.say("head_out", when=when, count=phrases.count_of(out)))
        if mist:
            soon = [one for one in mist if one.before - mist[0].before <= phrases.SAME_TRIP]
            count = len({name for chore in soon for name in chore.plants})
            heads.append(self.say("head_mist", by=self._by(mist[0]), count=count))
        heads += self._guard_heads()
        if not out and stay:
            heads.append(self.say("head_stay", count=phrases.count_of(stay)))
        title = ", ".join(heads[:MOST_HEADS]) or self.say("nothing_today")
        lines = self._carry_in(into)
        lines += [_fixed(phrases.why(into, self.voice))] if into else []
        lines += [self._carry_out(chore) for chore in out]
        lines += self._protect()
        lines.append(_fixed(self._stop()))  # before the mistings: what is cut off is the end
        lines += self._mist(mist)
        told_in_title = not out
        lines += [self._named("stay_in", chore, optional=told_in_title) for chore in stay]
        return capital(title), lines

    def _mist(self, mist: Sequence[Chore]) -> list[Line]:
        """A line for each walk on which plants are misted first, with the hours of their others."""
        lines, seen = [], set[str]()
        for number, chore in enumerate(mist):
            if not seen.issuperset(chore.plants):
                seen.update(chore.plants)
                plants = set(chore.plants)
                again = [one for one in mist[number + 1 :] if not plants.isdisjoint(one.plants)]
                lines.append(self._misting(chore, again))
        return lines

    def _misting(self, first: Chore, later: Sequence[Chore]) -> Line:
        """The first misting with its feed, then by when the others."""
        feeds, voice = self._of(ChoreKind.FEED), self.voice
        of_first = set(first.plants)

        def again(chore: Chore, *, brief: bool) -> tuple[str, int]:
            """The hour, and how many of the first, unless it is all of them."""
            some = of_first & set(chore.plants)
            return voice.hour(chore.before), 0 if brief or some == of_first else len(some)

        def words(most: int) -> str:
            brief = most <= 0
            return self.say(
                "mist",
                spot=first.from_spot,
                span=voice.span(first.not_before or first.before, first.before),
                who=self._who(first, most),
                advice=mist_advice(first, feeds, voice, brief=brief),
                again=[again(chore, brief=brief) for chore in later],
                brief=brief,
            )

        return Line(words, plants=frozenset(first.plants))

    def _guard_heads(self) -> list[str]:
        """ "shade by 11:00: 3 plants", for each kind of protection."""
        heads = []
        for kind in _PROTECTION:
            chores = self._of(kind)
            if chores:
                by, count = self._by(chores[0]), phrases.count_of(chores)
                heads.append(self.say("head_guard", kind=kind.value, by=by, count=count))
        return heads

    def _protect(self) -> list[Line]:
        """A line for each chore of protection, with the number that asks for it."""
        return [self._protecting(chore) for kind in _PROTECTION for chore in self._of(kind)]

    def _protecting(self, chore: Chore) -> Line:
        reason = phrases.deciding([chore])

        def words(most: int) -> str:
            return self.say(
                "guard",
                kind=chore.kind.value,
                spot=chore.from_spot,
                by=self._by(chore),
                who=self._who(chore, most),
                quantity=reason.quantity,
                value=phrases.number(reason, self.voice) if most > 0 else "",
                hour=self.voice.hour(reason.at),
            )

        return Line(words, plants=frozenset(chore.plants))

    def _stop(self) -> str:
        never: dict[str, int] = {}
        until: dict[str, str] = {}
        for chore in self._of(ChoreKind.STOP_WETTING):
            if phrases.no_wetting(chore):
                never[chore.from_spot] = never.get(chore.from_spot, 0) + len(chore.plants)
            else:  # the first of a spot: the most sensitive crowns there
                until.setdefault(chore.from_spot, self.voice.hour(chore.before))
        if not until and not never:
            return ""
        hours = [(hour, spot) for spot, hour in until.items()]
        return self.say("stop_wetting", until=hours, never=list(never.items()))

    # -- week

    def _week(self) -> tuple[str, list[Line]]:
        ahead = self.sheet.outlook
        if ahead is None or not ahead.nights:
            return self.say("week_not_known"), []
        cold = [night for night in ahead.nights if night.plants_in]
        title = self.say("week", nights=len(ahead.nights), cold=len(cold), trips=ahead.trips)
        lows = []
        for night in ahead.nights:
            known = [low for low in night.lows.values() if low is not None]
            lows.append((night.day, min(known, default=None), len(night.plants_in)))
        lines = [_fixed(self.say("week_lows", nights=lows))]
        if ahead.turn:
            lines.append(_fixed(capital(self.voice.remark(ahead.turn))))
        misted = [(day.day, day.mistings) for day in ahead.days if day.mistings]
        told = [self.say("week_mistings", days=misted)] if misted else []
        told += [capital(self.voice.remark(one)) for one in (*ahead.spells, *ahead.dark)]
        return title, [*lines, *(_fixed(text, optional=True) for text in told)]


_PROTECTION = (ChoreKind.COVER, ChoreKind.SECURE, ChoreKind.SHADE, ChoreKind.DAMP_DOWN)
"""Chores that guard plants where they stand, the most urgent first."""


def mist_advice(mist: Chore, feeds: Sequence[Chore], voice: Voice, *, brief: bool = False) -> str:
    """What to mist with: feed and the time to its rinse, or plain water; how soon it is gone."""
    reason = min(mist.because, key=_minutes)
    fed = [feed for feed in feeds if feed.goes_with(mist)]
    if fed:
        plants = {name for feed in fed for name in feed.plants} & set(mist.plants)
        rinse = min(_minutes(one) for feed in fed for one in feed.because)
        without = [name for name in mist.plants if name not in plants]
        return voice.say(
            "feed_advice",
            rinse_min=round(rinse) if rinse < float("inf") else None,
            fed=len(plants) if without else 0,
            without=", ".join(without) if len(without) <= _FEW else "",
            salt_min=None if reason.value is None else round(reason.value),
            hour=voice.hour(reason.at),
            brief=brief,
        )
    # Its reason may tell of a later moment; in its own window the film lasts.
    short_lived = reason.limit is not None and _minutes(reason) < reason.limit
    if not short_lived or reason.at > mist.before or reason.value is None:
        return ""
    return voice.say("plain_advice", gone_min=round(reason.value), brief=brief)


_FEW = 2
"""Plants that are not fed are named up to here."""


def _minutes(reason: Reason) -> float:
    return float("inf") if reason.value is None else reason.value
