"""A sheet for a phone: a title that says what by when, and one walk in at most 300 characters."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sillward.notices import phrases, remarks
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.sheet import Round, Sheet
from sillward_rules.site import Site

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

    What is optional is told again by a later round.
    """

    words: Words
    optional: bool = False


def message(sheet: Sheet, site: Site, footer: Sequence[str] = ()) -> Message:
    """The sheet in at most 300 characters.

    footer: what else is to be told, if there is room.

    First every line that counts without names, then as many names as there is room for, the
    lines with the fewest first, then the optional lines.
    """
    title, lines = _Teller(sheet, site).tell()
    lines = [line for line in lines if line.words(0)]
    lines += [_fixed(text, optional=True) for text in footer]
    room = MOST_CHARACTERS - len(title) - 1
    told = {index: 0 for index, line in enumerate(lines) if not line.optional}
    if _length(lines, told) > room:
        return Message(title, _cut([line.words(0) for line in lines if not line.optional], room))
    for index in sorted(told, key=lambda one: len(lines[one].words(_ALL_NAMES))):
        fits = [most for most in _NAME_STEPS if _length(lines, {**told, index: most}) <= room]
        told[index] = max(fits, default=0)
    for index, line in enumerate(lines):
        if line.optional and _length(lines, {**told, index: 0}) <= room:
            told[index] = 0
    return Message(title, _body(lines, told) or "That is all.")


_NAME_STEPS = (1, 2, 3, 5, 8)
_ALL_NAMES = _NAME_STEPS[-1]


def _body(lines: Sequence[Line], told: Mapping[int, int]) -> str:
    return "\n".join(lines[index].words(told[index]) for index in sorted(told))


def _length(lines: Sequence[Line], told: Mapping[int, int]) -> int:
    return len(_body(lines, told))


def _cut(lines: Sequence[str], room: int) -> str:
    """As many whole lines as there is room for, and how to read the rest."""
    for kept in range(len(lines), -1, -1):
        rest = len(lines) - kept
        tail = [f"+{rest} more: `sillward sheet`"] if rest else []
        text = "\n".join([*lines[:kept], *tail])
        if len(text) <= room:
            return text
    return ""


def _fixed(text: str, *, optional: bool = False) -> Line:
    return Line(lambda _: text, optional)


class _Teller:
    """Words for one sheet."""

    def __init__(self, sheet: Sheet, site: Site) -> None:
        self.sheet = sheet
        self.site = site

    def tell(self) -> tuple[str, list[Line]]:
        """Title and lines, most urgent first."""
        tellers = {Round.DUSK: self._dusk, Round.MORNING: self._morning, Round.WEEK: self._week}
        title, lines = tellers[self.sheet.round]()
        if self.sheet.round is not Round.DUSK:
            lines += [_fixed(f"! {text}") for text in self._warnings()]
        return title, lines

    def _warnings(self) -> list[str]:
        """Every warning, and in one line what the spots leave open."""
        spots = sorted({text.split(":")[0] for text in self.sheet.assumptions})
        unknown = [f"Defaults used for {', '.join(spots)}: `sillward check`"] if spots else []
        return [*remarks.texts(self.sheet.warnings, self.site), *unknown]

    def _of(self, *kinds: ChoreKind) -> list[Chore]:
        return [chore for chore in self.sheet.chores if chore.kind in kinds]

    def _clock(self, chore: Chore) -> str:
        """The hour that a chore is told by: its start for going out, else its deadline."""
        at = chore.before
        if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
            at = chore.not_before
        return phrases.clock(at, self.sheet.at, self.site)

    def _who(self, chore: Chore, most: int) -> str:
        # A shelter also houses what lives there: only outdoors does "all" mean something.
        out = chore.kind in (ChoreKind.CARRY_OUT, ChoreKind.STAY_IN)
        others = None if out else self._standing(chore.from_spot) - set(chore.plants)
        return phrases.names(chore.plants, most, others)

    def _standing(self, spot: str) -> set[str]:
        return {name for name, state in self.sheet.states.items() if state.spot == spot}

    # -- dusk

    def _dusk(self) -> tuple[str, list[Line]]:
        into = self._of(ChoreKind.CARRY_IN)
        stay = [chore for chore in self._of(ChoreKind.STAY_IN) if chore.not_before is None]
        lines = self._carry_in(into)
        if into or stay:
            lines.append(_fixed(phrases.why([*into, *stay], self.site)))
        lines += [_fixed(f"! {text}") for text in self._warnings()]
        lines += [self._named("Stay in tonight", chore) for chore in stay]
        lines += self._protect()
        lines.append(_fixed(self._tomorrow(), optional=True))
        if not into:
            guard = self._guard_heads()
            title = phrases.capital(", ".join(guard)) if guard else "Nothing to carry in tonight"
            return title, [*lines, _fixed(self._lows())]
        return phrases.capital(phrases.in_head(into, self.sheet.at, self.site)), lines

    def _carry_in(self, into: Sequence[Chore]) -> list[Line]:
        """A line for each spot; the largest of its walks is "the rest" if that is clear enough."""
        spots = dict.fromkeys(chore.from_spot for chore in into)
        return [
            self._from_spot([chore for chore in into if chore.from_spot == spot]) for spot in spots
        ]

    def _from_spot(self, chores: Sequence[Chore]) -> Line:
        first = chores[0]
        *small, large = sorted(chores, key=lambda chore: len(chore.plants))
        gone = {name for chore in chores for name in chore.plants}
        others = self._standing(first.from_spot) - gone
        head = phrases.capital(f"{self._clock(first)} {first.from_spot}")

        def words(most: int) -> str:
            parts = [f"{phrases.names(one.plants, most)} > {one.to_spot}" for one in small]
            if small and phrases.few(others, large.plants):
                rest = phrases.all_but("rest", len(large.plants), others)
            else:
                rest = phrases.names(large.plants, most, others if not small else None)
            return f"{head}: {'; '.join([*parts, f'{rest} > {large.to_spot}'])}"

        return Line(words)

    def _named(self, head: str, chore: Chore, *, optional: bool = False) -> Line:
        return Line(lambda most: f"{head}: {self._who(chore, most)}", optional)

    def _carry_out(self, chore: Chore) -> Line:
        way = f"> {chore.to_spot}: "

        def words(most: int) -> str:
            start = f"{chore.from_spot} " if most else ""  # the grower knows where it stands
            return f"{self._clock(chore)} {start}{way}{self._who(chore, most)}"

        return Line(words)

    def _tomorrow(self) -> str:
        """When things may go out again, in half a line."""
        out, stay = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.STAY_IN)
        kept = sum(len(chore.plants) for chore in stay if chore.not_before is not None)
        parts = []
        if out:
            count = sum(len(chore.plants) for chore in out)
            parts.append(f"Out again from {self._clock(out[0])} ({count})")
        if kept:
            parts.append(f"{kept} stay in")
        return ", ".join(parts)

    def _lows(self) -> str:
        known = {name: low for name, low in self.sheet.lows.items() if low is not None}
        text = ", ".join(f"{name} {phrases.fixed(low, 1)} °C" for name, low in known.items())
        return f"Leaf low tonight: {text}" if text else ""

    # -- morning

    def _morning(self) -> tuple[str, list[Line]]:
        out, mist = self._of(ChoreKind.CARRY_OUT), self._of(ChoreKind.MIST)
        stay, into = self._of(ChoreKind.STAY_IN), self._of(ChoreKind.CARRY_IN)
        heads = []
        if into:
            heads.append(phrases.in_head(into, self.sheet.at, self.site))
        if out:
            count = sum(len(chore.plants) for chore in out)
            heads.append(f"out {_from(self._clock(out[0]))}: {phrases.plants(count)}")
        if mist:
            soon = [one for one in mist if one.before - mist[0].before <= phrases.SAME_TRIP]
            count = len({name for chore in soon for name in chore.plants})
            heads.append(f"mist {phrases.by(self._clock(mist[0]))}: {phrases.plants(count)}")
        heads += self._guard_heads()
        if not out and stay:
            heads.append(f"stay in: {phrases.plants(sum(len(chore.plants) for chore in stay))}")
        title = ", ".join(heads[:MOST_HEADS]) or "nothing to carry or mist today"
        lines = self._carry_in(into)
        lines += [_fixed(phrases.why(into, self.site))] if into else []
        lines += [self._carry_out(chore) for chore in out]
        lines += self._protect()
        lines.append(_fixed(self._stop()))  # before the mistings: what is cut off is the end
        lines += self._mist(mist)
        told_in_title = not out
        lines += [self._named("Stay in", chore, optional=told_in_title) for chore in stay]
        return phrases.capital(title), lines

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
        feeds = self._of(ChoreKind.FEED)
        start = phrases.hour(first.not_before or first.before, self.site)
        until = phrases.hour(first.before, self.site)
        of_first = set(first.plants)

        def again(chore: Chore, *, brief: bool) -> str:
            hour = phrases.hour(chore.before, self.site)
            some = of_first & set(chore.plants)
            return hour if brief or some == of_first else f"{hour} ({len(some)})"

        def words(most: int) -> str:
            brief = most == 0
            advice = mist_advice(first, feeds, self.site, brief=brief)
            hours = ", ".join(again(chore, brief=brief) for chore in later)
            then = f"; {'' if brief else 'again '}by {hours}" if hours else ""
            who = self._who(first, most)
            return f"Mist {first.from_spot} {start}-{until}: {who}{advice}{then}"

        return Line(words)

    def _guard_heads(self) -> list[str]:
        """ "shade by 11:00: 3 plants", for each kind of protection."""
        heads = []
        for kind, word in _PROTECTION.items():
            chores = self._of(kind)
            if chores:
                count = phrases.plants(sum(len(chore.plants) for chore in chores))
                heads.append(f"{word} {phrases.by(self._clock(chores[0]))}: {count}")
        return heads

    def _protect(self) -> list[Line]:
        """A line for each chore of protection, with the number that asks for it."""
        return [
            self._protecting(word, chore)
            for kind, word in _PROTECTION.items()
            for chore in self._of(kind)
        ]

    def _protecting(self, word: str, chore: Chore) -> Line:
        reason = phrases.deciding([chore])
        at = phrases.hour(reason.at, self.site)
        why = f"{phrases.quantity(reason)} {phrases.number(reason)} at {at}"
        head = f"{phrases.capital(word)} {chore.from_spot} {phrases.by(self._clock(chore))}"
        return Line(lambda most: f"{head}: {self._who(chore, most)}{f'; {why}' if most else ''}")

    def _stop(self) -> str:
        never: dict[str, int] = {}
        until: dict[str, str] = {}
        for chore in self._of(ChoreKind.STOP_WETTING):
            if phrases.no_wetting(chore):
                never[chore.from_spot] = never.get(chore.from_spot, 0) + len(chore.plants)
            else:  # the first of a spot: the most sensitive crowns there
                until.setdefault(chore.from_spot, phrases.hour(chore.before, self.site))
        parts = []
        if until:
            hours = ", ".join(f"{hour} {spot}" for spot, hour in until.items())
            parts.append(f"No wet crowns after {hours}")
        if never:
            spots = ", ".join(f"{spot} ({count})" for spot, count in never.items())
            parts.append(f"Keep crowns dry today: {spots}")
        return "; ".join(parts)

    # -- week

    def _week(self) -> tuple[str, list[Line]]:
        ahead = self.sheet.outlook
        if ahead is None or not ahead.nights:
            return "Week: no forecast reaches that far", []
        cold = [night for night in ahead.nights if night.plants_in]
        count = len(ahead.nights)
        title = f"Week: no carrying in for {count} nights"
        if cold:
            title = f"Week: {len(cold)} of {count} nights under a limit, {ahead.trips} trips"
        lows = []
        for night in ahead.nights:
            known = [low for low in night.lows.values() if low is not None]
            mark = f" ({len(night.plants_in)})" if night.plants_in else ""
            lows.append(
                f"{night.day:%a} {f'{phrases.fixed(min(known), 0)}°' if known else '?'}{mark}"
            )
        lines = [_fixed("Leaf low (plants in): " + ", ".join(lows))]
        misted = [f"{day.day:%a} {day.mistings}" for day in ahead.days if day.mistings]
        if ahead.turn:
            lines.append(_fixed(phrases.capital(remarks.text(ahead.turn, self.site))))
        told = [f"mistings: {', '.join(misted)}"] if misted else []
        told += remarks.texts([*ahead.spells, *ahead.dark], self.site)
        return title, [*lines, *(_fixed(phrases.capital(text), optional=True) for text in told)]


_PROTECTION = {
    ChoreKind.COVER: "cover",
    ChoreKind.SECURE: "secure",
    ChoreKind.SHADE: "shade",
    ChoreKind.DAMP_DOWN: "damp down",
}
"""Chores that guard plants where they stand, the most urgent first, in a word."""


def _from(when: str) -> str:
    return "now" if when == "now" else f"from {when}"


def mist_advice(mist: Chore, feeds: Sequence[Chore], site: Site, *, brief: bool = False) -> str:
    """What to mist with: feed and the time to its rinse, or plain water; how soon it is gone."""
    reason = min(mist.because, key=_minutes)
    fed = [feed for feed in feeds if feed.goes_with(mist)]
    if fed:
        plants = {name for feed in fed for name in feed.plants} & set(mist.plants)
        rinse = min(_minutes(one) for feed in fed for one in feed.because)
        without = [name for name in mist.plants if name not in plants]
        within = f" within {rinse:.0f} min" if rinse < float("inf") else " before it dries"
        if brief:
            return f"; feed{f' {len(plants)}' if without else ''}, rinse{within}"
        some = f" for {len(plants)}" if len(without) > 2 else ""
        some += f" (not {', '.join(without)})" if 0 < len(without) <= 2 else ""
        advice = f"; weak feed{some}, rinse each{within}"
        if reason.value is None:
            return advice
        at = phrases.hour(reason.at, site)
        return f"{advice}; at {at} gone in {reason.value:.0f} min and leaves salt"
    # Its reason may tell of a later moment; in its own window the film lasts.
    short_lived = reason.limit is not None and _minutes(reason) < reason.limit
    if not short_lived or reason.at > mist.before or reason.value is None:
        return ""
    return "; plain" if brief else f"; plain water, gone in {reason.value:.0f} min"


def _minutes(reason: Reason) -> float:
    return float("inf") if reason.value is None else reason.value
