"""How one household is spoken to: in its units, at its clock, in its wording."""

import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, fields
from datetime import date, datetime, time, timedelta
from functools import cached_property
from html import escape
from typing import Any

from sillward.text.units import SI, Units
from sillward.wording.macros import OURS, Macros, Wording, called, packaged
from sillward.wording.sandbox import Budget, BudgetError
from sillward_rules.remark import OnNights, Plain, Remark
from sillward_rules.sheet import OpenQuestion
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import percent
from sillward_rules.weather.written_times import Hours, Moment

log = logging.getLogger(__name__)


MOST_DIGITS = 3
"""Digits after the point, to show on which side of its limit a number is."""

MOST_CALLS = 1_000
"""Macros of the grower's that may be called for one line: enough for any, and over at once."""

LINES_OF_A_PAGE = 50
"""A page may take as much as so many lines. Judgement: ours takes a tenth."""

PASSED_ON = (
    "title", "heads", "text", "what", "who", "ways", "walks", "when", "by", "later_by", "spot",
    "spots", "to", "count", "later",
)  # fmt: skip
"""Facts by which a grower acts: a wording may say them in its own way, not leave them out."""


def fixed(value: float, digits: int) -> str:
    """A number with so many digits, ten at most; no minus before a zero."""
    digits = max(0, min(digits, 10))
    return f"{round(value, digits) + 0.0:.{digits}f}"


def capital(text: str) -> str:
    """The text with a capital at its start."""
    return text[:1].upper() + text[1:]


@dataclass(frozen=True)
class Voice:
    """Says facts in words. Times are told in the site's zone."""

    site: Site
    units: Units = SI
    wording: Wording = field(default_factory=packaged, repr=False)

    def say(self, name: str, /, **facts: Any) -> str:
        """One line, by the name of its macro.

        Where the grower's own fails, or is wrong as `wrong_with` tells, ours is used: wording must
        cost no notice.
        """
        ours = self.in_our_words(name, facts)
        if name not in self.wording.own or name in self._speaking or name in self._exhausting:
            return ours
        try:
            own = self.in_own_words(name, facts)
            wrong = wrong_with(own, ours, facts)
        except BudgetError as error:
            self._exhausting.add(name)
            wrong = one_reason(error)
        except Exception as error:
            wrong = one_reason(error)
        if wrong is None:
            return own
        if name not in self._failed:  # once: it is said for every line of every message
            self._failed.add(name)
            log.warning("wording.failed macro=%s reason=%s", name, wrong)
        return ours

    def in_our_words(self, name: str, facts: Mapping[str, Any]) -> str:
        """What the packaged macro says. Raise KeyError if there is none."""
        return called(self._macros.ours(name), facts)

    def in_own_words(self, name: str, facts: Mapping[str, Any]) -> str:
        """What the grower's own macro says. Raise whatever it raises, KeyError if there is none.

        Of itself it hears our words: so it may add to them, and cannot call itself for ever.
        """
        outermost = not self._speaking
        if outermost:
            self._calls.clear()
            self._budget.renew()
        self._calls.append(name)
        if len(self._calls) > MOST_CALLS:
            msg = f"more than {MOST_CALLS} macros for one line"
            raise ArithmeticError(msg)
        self._speaking.add(name)
        try:
            return called(self._macros.own(name), facts)
        finally:
            self._speaking.discard(name)
            if outermost:
                self._budget.rest()

    def page(self, *, strict: bool, **facts: Any) -> str:
        """The week as HTML; the grower's own page, unless it fails or says next to nothing.

        strict: raise what is wrong with it.
        """
        if self.wording.page is not None:
            try:
                return self._own_page(facts)
            except Exception as error:
                if strict:
                    raise
                log.warning("wording.failed page reason=%s", one_reason(error))
        return self._macros.page(own=False).render(facts)

    def _own_page(self, facts: Mapping[str, Any]) -> str:
        self._budget.renew(LINES_OF_A_PAGE)
        try:
            page = self._macros.page(own=True).render(facts)
        finally:
            self._budget.rest()
        if str(escape(facts["sentence"])) not in page:
            msg = "it does not tell `sentence`, the week in one sentence"
            raise ValueError(msg)
        return page

    @cached_property
    def _speaking(self) -> set[str]:
        return set()

    @cached_property
    def _exhausting(self) -> set[str]:
        """Macros that took more than their budget: it is not spent on them again."""
        return set()

    @cached_property
    def _budget(self) -> Budget:
        return Budget()

    @cached_property
    def _calls(self) -> list[str]:
        return []

    @cached_property
    def _failed(self) -> set[str]:
        return set()

    @cached_property
    def _macros(self) -> Macros:
        plain = {"capital": capital, "number": fixed, "percent": percent}
        filters = {name: plain.get(name) or getattr(self, name) for name in OURS}
        return Macros(self.wording, filters, _Say(self), self._budget)

    def remark(self, remark: Remark, most: int | None = None) -> str:
        """Something to beware of, in a sentence without a full stop.

        most: so many plants are named, of more the rest is counted; None: all are.
        """
        if isinstance(remark, Plain):
            return self.retold(remark.text)
        facts = {one.name: getattr(remark, one.name) for one in fields(remark)}
        if isinstance(remark, OnNights):
            facts["about"] = self.remark(remark.about, most)
        return self.say(_snake(type(remark).__name__), **facts, most=most)

    def question(self, open_: OpenQuestion) -> str:
        """What a spot leaves open, in the grower's units; its name stays as it is."""
        return f"{open_.spot}: {self.retold(open_.question)}"

    # -- times

    def local(self, at: datetime) -> datetime:
        """The moment as clocks show it there."""
        return at.astimezone(self.site.zone)

    def hour(self, at: datetime) -> str:
        """The bare clock time: "17:10", "5:10 pm"."""
        return self.units.hour(self.local(at))

    def span(self, start: datetime, end: datetime) -> str:
        """From one clock time to another."""
        return self.units.span(self.local(start), self.local(end))

    def weekday(self, day: date) -> str:
        """ "Thu"."""
        return self.say("weekday", number=self._date(day).weekday())

    def day(self, day: date) -> str:
        """ "Thu 14 May"."""
        date_ = self._date(day)
        return self.say("day", weekday=date_.weekday(), day=date_.day, month=date_.month)

    def long_day(self, at: datetime) -> str:
        """ "Thursday 14 May 2026, 17:50"."""
        local = self.local(at)
        return self.say(
            "long_day",
            weekday=local.weekday(),
            day=local.day,
            month=local.month,
            year=local.year,
            hour=self.hour(at),
        )

    def date_and_hour(self, at: datetime) -> str:
        """ "Thu 14 May 17:10"."""
        return f"{self.day(at)} {self.hour(at)}"

    def _date(self, day: date) -> date:
        return self.local(day).date() if isinstance(day, datetime) else day

    def day_and_hour(self, at: datetime) -> str:
        """ "Thu 17:10"."""
        return self.say("on_weekday", day=self.local(at), hour=self.hour(at))

    def clock(self, at: datetime, now: datetime) -> str:
        """A time as people say it: "17:10", "tomorrow 10:35", "Fri 10:35"; "now" if it is over."""
        if at <= now:
            return self.say("now")
        days = (self._date(at) - self._date(now)).days
        if days == 0:
            return self.hour(at)
        return self.say("tomorrow", hour=self.hour(at)) if days == 1 else self.day_and_hour(at)

    def clock_of_day(self, at: datetime, now: datetime) -> str:
        """A time that may be over: "17:10", with its day if that is another one."""
        same = self._date(at) == self._date(now)
        return self.hour(at) if same else self.day_and_hour(at)

    def by(self, at: datetime, now: datetime) -> str:
        """ "by 17:10", or "now"."""
        return self._unless_now("by", at, now)

    def since(self, at: datetime, now: datetime) -> str:
        """ "from 08:20", or "now"."""
        return self._unless_now("from_hour", at, now)

    def _unless_now(self, name: str, at: datetime, now: datetime) -> str:
        when = self.clock(at, now)
        return when if at <= now else self.say(name, when=when)

    def hours(self, hours: Hours) -> str:
        """Hours of a day as the grower wrote them, but by the clock that is read here."""
        start, end = hours.start, hours.end
        if self.units.clock == "24 h" or start is None or end is None:
            return hours.text
        if start.clock is not None and end.clock is not None:
            return self.units.span(start.clock, end.clock)
        return f"{self._moment(start)} to {self._moment(end)}"

    def _moment(self, moment: Moment) -> str:
        return moment.text if moment.clock is None else self.units.hour(moment.clock)

    # -- numbers

    def degrees(self, value_c: float | None, digits: int = 1) -> str:
        """A temperature [°C]: "4.1 °C", "39.4 °F", "?"."""
        return self.measure(value_c, "°C", digits)

    def kelvins(self, value_k: float, digits: int = 1) -> str:
        """A difference of temperatures [K]: "0.8 °C", "1.4 °F"."""
        value, unit = self.units.difference(value_k)
        return f"{fixed(value, digits)} {unit}"

    def measure(self, value: float | None, unit: str, digits: int = 1) -> str:
        """A value of the core with its unit; "?" where it is not known."""
        if value is None:
            return "?"
        shown, unit = self.units.shown(value, unit)
        return f"{fixed(shown, digits)} {unit}"

    def offset(self, value: float | None, unit: str = "K") -> str:
        """A difference with its sign, in its shortest form: "+0.8 °C", "-1.4 °F"; "?": unknown."""
        if value is None:
            return "?"
        if unit in ("K", "°C"):
            shown, its = self.units.difference(value)
        else:
            shown, its = self.units.shown(value, unit)
        return f"{shown if shown == value else round(shown, 1):+g} {its}"

    def bound(self, value: float | None, unit: str = "°C", digits: int | None = None) -> str:
        """A limit in its shortest form, of so many digits at most: "13 °C", "55.4 °F", "?"."""
        if value is None:
            return "?"
        return f"{self.bare(value, unit, digits)} {self.units.shown(value, unit)[1]}"

    def beside(self, value: float, limit: float, unit: str = "°C", digits: int = 1) -> str:
        """A value of the core with digits enough that it is visibly on its side of its limit."""
        shown, its = self.units.shown(value, unit)
        bound = float(self.bare(limit, unit))
        while digits < MOST_DIGITS and value != limit:
            told = round(shown, digits)
            if (told > bound) if value > limit else (told < bound):
                break
            digits += 1
        return f"{fixed(shown, digits)} {its}"

    def bare(self, value: float, unit: str, digits: int | None = None) -> str:
        """A limit in its shortest form, without its unit."""
        return self.units.bare(value, unit, digits)

    def retold(self, text: str) -> str:
        """What came as text, of the core or a source, with its SI values in the grower's units.

        "1 to 3 K colder" is "1.8 to 5.4 °F colder", or "1 to 3 °C colder".
        """
        return _RETOLD.sub(self._piece_retold, text)

    def _piece_retold(self, found: re.Match[str]) -> str:
        if found["clock"]:
            return self.units.hour(time.fromisoformat(found["clock"]))
        unit, units = found["unit"], self.units

        def shown(value: float) -> tuple[float, str]:
            return units.difference(value) if unit == "K" else units.shown(value, unit)

        if unit is None:  # a name, or what others said
            return found[0]
        its = shown(0.0)[1]
        if shown(1.0)[0] == 1.0:
            return f"{found['values']} {its}"

        def converted(number: re.Match[str]) -> str:
            return f"{round(shown(float(number[0]))[0], 1) + 0.0:g}"

        return f"{_NUMBER.sub(converted, found['values'])} {its}"

    def degree_sign(self, value_c: float) -> str:
        """A temperature [°C] in as little room as possible: "4°"."""
        return f"{fixed(self.units.shown(value_c, '°C')[0], 0)}°"

    # -- plants

    def plants(self, count: int) -> str:
        """ "1 plant", "3 plants"."""
        return self.say("plants", count=count)

    def names(
        self, listed: Sequence[str], most: int | None, others: AbstractSet[str] | None = None
    ) -> str:
        """At most `most` names, then how many more; with most 0 only the count, with None all.

        others are the plants that stand there and are not meant, if that is known: where they are
        few, the many are "all 6" or "all but Grey curls (6)".
        """
        count = len(listed)
        if most is None:
            return ", ".join(listed)
        if others is not None and count > max(2, most) and few(others, listed):
            return self.all_but("all", count, others)
        if most == 0 and count > 1:
            return self.plants(count)
        if count <= max(1, most + 1):
            return ", ".join(listed)
        return self.say("and_more", names=", ".join(listed[:most]), count=count - most)

    def all_but(self, everything: str, count: int, others: AbstractSet[str]) -> str:
        """ "all 6", "all but Grey curls (6)"; everything: "all", or "rest" for what is left."""
        return self.say("all_but", which=everything, count=count, others=", ".join(sorted(others)))

    def age(self, old: timedelta) -> str:
        """ "12 min old", "5 h old"."""
        return self.say("age", minutes=max(0, int(old / timedelta(minutes=1))))


_ONE = r"\d+(?:\.\d+)?"

_NUMBER = re.compile(rf"(?<!\d)-?{_ONE}")

_RETOLD = re.compile(
    rf"""
    "[^"]*"                                  # names, and what others said: left as they are
    | (?<![\w.])(?P<values>-?{_ONE}(?:(?:[ ]to[ ]-?|[-–]){_ONE})?)[ ](?P<unit>°C|K|m/s)(?!\w)
    | (?<![\w:.+-])(?P<clock>(?:[01]\d|2[0-3]):[0-5]\d)(?![:\w]|-\d|[ ][ap]m)
    """,
    re.VERBOSE,
)
"""A value, or from one to another, and a clock time (no ISO time), as the core and the sources
write them."""


def few(others: AbstractSet[str], listed: Sequence[str]) -> bool:
    """Whether it is shorter to name those who are not meant."""
    return len(others) <= min(2, len(listed) - 1)


def most_of(ours: str) -> int:
    """Signs that the grower's wording may take where ours takes these: what is twice as long has
    no room in a push. Judgement."""
    return 2 * len(ours) + 20


def wrong_with(own: str, ours: str, facts: Mapping[str, Any]) -> str | None:
    """What is wrong with the grower's words for these facts, beside ours; None if nothing is."""
    if ours and not own:
        return f'says nothing where ours says "{ours}"'
    if len(own) > most_of(ours):
        return f"says {len(own)} signs where ours says {len(ours)}"
    told, theirs = ours.casefold(), own.casefold()
    for name in PASSED_ON:
        for piece in _pieces(facts.get(name)):
            if _holds(told, piece) and not _holds(theirs, piece):
                return f'leaves out {name}, here "{piece}"'
    return None


def _pieces(fact: Any) -> Iterator[str]:
    """The texts and the numbers above one in a fact: one may be said in a word."""
    if isinstance(fact, str):
        yield from (fact.casefold(),) if fact else ()
    elif isinstance(fact, list | tuple):
        for one in fact:
            yield from _pieces(one)
    elif isinstance(fact, int) and not isinstance(fact, bool) and fact > 1:
        yield str(fact)


def _holds(text: str, piece: str) -> bool:
    return bool(re.search(rf"(?<!\w){re.escape(piece)}(?!\w)", text))


def one_reason(error: Exception) -> str:
    """What went wrong in a macro, in one line without a newline in it."""
    return " ".join(f"{type(error).__name__}: {error}".split())[:200]


class _Say:
    """`say.plants(3)` in a template: any other macro, the grower's in place of ours."""

    def __init__(self, voice: Voice) -> None:
        self._voice = voice

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name not in self._voice.wording.ours:
            raise AttributeError(name)
        facts = self._voice.wording.ours[name].facts

        def macro(*given: Any, **named: Any) -> str:
            return self._voice.say(name, **dict(zip(facts, given, strict=False)), **named)

        return macro


def _snake(name: str) -> str:
    return "".join(f"_{one.lower()}" if one.isupper() else one for one in name).lstrip("_")
