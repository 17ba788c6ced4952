"""The voice of one household: facts in words, in its units, its kind of clock and its wording."""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from sillward.text.conversion import converted
from sillward.text.numbered_names import folded
from sillward.text.units import SI, Units, fixed
from sillward.wording.budget import Budget
from sillward.wording.macros import VOICE_FILTERS, Wording, packaged
from sillward.wording.rendering import Renderer
from sillward_rules.remark import OnNights, Plain, Remark
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import Hours, Moment
from sillward_rules.weather.uncertainty import percent

if TYPE_CHECKING:
    from sillward_rules.sheet import OpenQuestion

MAX_DIGITS = 3
"""Decimal places, at most, that show on which side of its limit a value is."""


MAX_RENDERERS = 100
"""Zones and units for which one is kept, some 50 kB each. Judgement: many households are in few."""


@dataclass(frozen=True)
class Voice:
    """Puts facts into words. Times are given in the site's zone."""

    site: Site
    units: Units = SI
    wording: Wording = field(default_factory=packaged, repr=False)

    def say(self, name: str, /, **facts: Any) -> str:
        """Return one line, by the name of its macro, as `Renderer.line` chooses its wording."""
        return self._renderer.line(name, facts)

    def in_our_words(self, name: str, facts: Mapping[str, Any]) -> str:
        """Return what the packaged macro says. Raise KeyError if there is none."""
        return self._renderer.packaged_line(name, facts)

    def in_own_words(self, name: str, facts: Mapping[str, Any]) -> str:
        """Return what the grower's macro says. Raise what it raises, KeyError if there is none."""
        return self._renderer.own_line(name, facts)

    def page(self, *, strict: bool, **facts: Any) -> str:
        """Return the page of the weekly mail as HTML.

        strict: whether to raise what is wrong with the grower's own page.
        """
        return self._renderer.page(facts, strict=strict)

    @cached_property
    def _renderer(self) -> Renderer:
        if self.wording is packaged():
            return _packaged_renderer(self.site.zone, self.units)
        return self._build_renderer()

    def _build_renderer(self) -> Renderer:
        functions = {"capital": capital, "number": fixed, "percent": percent}
        filters = {name: functions.get(name) or getattr(self, name) for name in VOICE_FILTERS}
        return Renderer(self.wording, filters, self._budget)

    @cached_property
    def _budget(self) -> Budget:
        return Budget()

    def remark(self, remark: Remark, most: int | None = None) -> str:
        """Return something to beware of as a sentence without a full stop.

        most: how many plants are named before the rest is counted; None for all.
        """
        if isinstance(remark, Plain):
            return self.retold(remark.text)
        facts = {fact.name: getattr(remark, fact.name) for fact in fields(remark)}
        if isinstance(remark, OnNights):
            facts["about"] = self.remark(remark.about, most)
        return self.say(_snake(type(remark).__name__), **facts, most=most)

    def question(self, question: "OpenQuestion") -> str:
        """Return what the grower has not said of a spot, and what is assumed instead."""
        return f"{question.spot}: {self.retold(question.question)}"

    # -- times

    def local(self, at: datetime) -> datetime:
        """Return the moment as clocks at the site show it."""
        return at.astimezone(self.site.zone)

    def hour(self, at: datetime) -> str:
        """Return the bare clock time: "17:10", "5:10 pm"."""
        return self.units.hour(self.local(at))

    def span(self, start: datetime, end: datetime) -> str:
        """Return two clock times: "07:10-08:05"."""
        return self.units.span(self.local(start), self.local(end))

    def weekday(self, day: date) -> str:
        """Return a day as "Thu"."""
        return self.say("weekday", number=self._date(day).weekday())

    def day(self, day: date) -> str:
        """Return a day as "Thu 14 May"."""
        date_ = self._date(day)
        return self.say("day", weekday=date_.weekday(), day=date_.day, month=date_.month)

    def long_day(self, at: datetime) -> str:
        """Return a moment as "Thursday 14 May 2026, 17:50"."""
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
        """Return a moment as "Thu 14 May 17:10"."""
        return f"{self.day(at)} {self.hour(at)}"

    def _date(self, day: date) -> date:
        return self.local(day).date() if isinstance(day, datetime) else day

    def day_and_hour(self, at: datetime) -> str:
        """Return a moment as "Thu 17:10"."""
        return self.say("on_weekday", day=self.local(at), hour=self.hour(at))

    def clock(self, at: datetime, now: datetime) -> str:
        """Return "17:10", "tomorrow 10:35" or "Fri 10:35", and "now" for a time in the past."""
        if at <= now:
            return self.say("now")
        days = (self._date(at) - self._date(now)).days
        if days == 0:
            return self.hour(at)
        return self.say("tomorrow", hour=self.hour(at)) if days == 1 else self.day_and_hour(at)

    def clock_of_day(self, at: datetime, now: datetime) -> str:
        """Return a time, past or future, as "17:10", or as "Fri 17:10" on another day."""
        same_day = self._date(at) == self._date(now)
        return self.hour(at) if same_day else self.day_and_hour(at)

    def by(self, at: datetime, now: datetime) -> str:
        """Return "by 17:10", or "now" for a time in the past."""
        return self._unless_now("by", at, now)

    def since(self, at: datetime, now: datetime) -> str:
        """Return "from 08:20", or "now" for a time in the past."""
        return self._unless_now("from_hour", at, now)

    def _unless_now(self, name: str, at: datetime, now: datetime) -> str:
        when = self.clock(at, now)
        return when if at <= now else self.say(name, when=when)

    def hours(self, hours: Hours) -> str:
        """Return hours of a day as the grower wrote them, in 24 or 12 hours as the units ask."""
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
        """Return a temperature [°C] as "4.1 °C" or "39.4 °F"; "?" if it is not known."""
        return self.measure(value_c, "°C", digits)

    def kelvins(self, value_k: float, digits: int = 1) -> str:
        """Return a difference of temperatures [K] as "0.8 °C" or "1.4 °F"."""
        value, unit = self.units.difference(value_k)
        return f"{fixed(value, digits)} {unit}"

    def measure(self, value: float | None, unit: str, digits: int = 1) -> str:
        """Return a value of the core with its unit; "?" if it is not known."""
        if value is None:
            return "?"
        shown, unit = self.units.shown(value, unit)
        return f"{fixed(shown, digits)} {unit}"

    def offset(self, value: float | None, unit: str = "K") -> str:
        """Return a difference as "+0.8 °C" or "-1.4 °F", shortest form; "?" if it is not known."""
        if value is None:
            return "?"
        if unit in ("K", "°C"):
            shown, shown_unit = self.units.difference(value)
        else:
            shown, shown_unit = self.units.shown(value, unit)
        return f"{shown if shown == value else round(shown, 1):+g} {shown_unit}"

    def bound(self, value: float | None, unit: str = "°C", digits: int | None = None) -> str:
        """Return a limit in its shortest form: "13 °C", "55.4 °F"; "?" if it is not known.

        digits: decimal places at most; None for all that it has.
        """
        if value is None:
            return "?"
        return f"{self.bare(value, unit, digits)} {self.units.shown(value, unit)[1]}"

    def beside(self, value: float, limit: float, unit: str = "°C", digits: int = 1) -> str:
        """Return a value with as many digits as show on which side of its limit it is."""
        shown, shown_unit = self.units.shown(value, unit)
        bound = float(self.bare(limit, unit))
        while digits < MAX_DIGITS and value != limit:
            rounded = round(shown, digits)
            if (rounded > bound) if value > limit else (rounded < bound):
                break
            digits += 1
        return f"{fixed(shown, digits)} {shown_unit}"

    def bare(self, value: float, unit: str, digits: int | None = None) -> str:
        """Return a limit in its shortest form, without its unit."""
        return self.units.bare(value, unit, digits)

    def retold(self, text: str) -> str:
        """Return a finished text of the core or a source, its SI values in the grower's units."""
        return converted(text, self.units)

    def degree_sign(self, value_c: float) -> str:
        """Return a temperature [°C] in as few characters as possible: "4°"."""
        return f"{fixed(self.units.shown(value_c, '°C')[0], 0)}°"

    # -- plants

    def plants(self, count: int) -> str:
        """Return "1 plant" or "3 plants"."""
        return self.say("plants", count=count)

    def names(
        self, listed: Sequence[str], most: int | None, others: AbstractSet[str] | None = None
    ) -> str:
        """Return at most `most` names, then how many more; only the count for 0, all for None.

        others: the plants at the same spot that are not listed, if they are known. Where they are
        few, the listed ones become "all 6" or "all but Grey curls (6)". Names that are numbered in
        a row count as one: "Moth 1–12".
        """
        count, parts = len(listed), folded(listed)
        names = [name for name, _ in parts]
        if most is None:
            return ", ".join(names)
        if others is not None and count > max(2, most) and shorter_to_exclude(others, listed):
            return self.all_but("all", count, others)
        if most == 0 and count > 1:
            return self.plants(count)
        if len(parts) <= max(1, most + 1):
            return ", ".join(names)
        more = sum(number for _, number in parts[most:])
        return self.say("and_more", names=", ".join(names[:most]), count=more)

    def all_but(self, everything: str, count: int, others: AbstractSet[str]) -> str:
        """Return "all 6" or "all but Grey curls (6)".

        everything: "all", or "rest" if others are named before.
        """
        return self.say("all_but", which=everything, count=count, others=", ".join(sorted(others)))

    def age(self, old: timedelta) -> str:
        """Return an age as "12 min old" or "5 h old"."""
        return self.say("age", minutes=max(0, int(old / timedelta(minutes=1))))


def capital(text: str) -> str:
    """Return the text with a capital first letter."""
    return text[:1].upper() + text[1:]


def shorter_to_exclude(others: AbstractSet[str], listed: Sequence[str]) -> bool:
    """Whether it is shorter to name the few others than those who are listed."""
    return len(others) <= min(2, len(listed) - 1)


@lru_cache(MAX_RENDERERS)
def _packaged_renderer(zone: ZoneInfo, units: Units) -> Renderer:
    """Build what all voices of the packaged wording share: of a site, lines show only the hours."""
    return Voice(Site("", 0.0, 0.0, 0.0, zone), units)._build_renderer()


def _snake(name: str) -> str:
    return "".join(f"_{char.lower()}" if char.isupper() else char for char in name).lstrip("_")
