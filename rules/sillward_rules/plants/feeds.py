"""Feeds and courses: what is given besides water, to which plants, how often."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from sillward_rules.plants.fertiliser import Element, Mix, Salt
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.weather.season import Season
from sillward_rules.weather.year_day import ALL_YEAR, YearDay, YearSpan

MOST_GRAMS = 1000.0
"""No water holds more of a salt [g/L]; the most of one that brings no EC."""

WEEK = timedelta(days=7)

WEAK_FEED = "weak feed"
"""What the feed without a name is called where a watering with it is told from plain water."""

SLOW_PAUSE = 2
"""While growth slows down, the pause between two feeds is this many times as long. Judgement: a
plant that grows half as fast takes up half as much."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """A feed by its mix, and how much is mixed at a time [L]."""

    mix: Mix
    litres: float = 1.0


@dataclass(frozen=True, slots=True)
class Feed:
    """A feed for some plants.

    - name: empty for the feed of all plants for which there is no other.
    - recipe: None if the grower has not said what it is.
    - every: the shortest time between two of them; None for the grower's habit.
    - seasons: in which it is given, at that pace; None for growing, and half as often while growth
      slows down.
    - plants: the plants that get it.
    - days: the days of each year on which it is given.
    """

    name: str = ""
    recipe: Recipe | None = None
    every: timedelta | None = None
    seasons: tuple[Season, ...] | None = None
    plants: PlantFilter = field(default_factory=PlantFilter)
    days: YearSpan = ALL_YEAR

    def runs_on(self, day: date) -> bool:
        """Return whether it is given at that time of the year."""
        return YearDay.of(day) in self.days

    def meets(self, other: "Feed") -> str | None:
        """Return when both are given to plants that both are for, in words; None for never."""
        spans = self.days.shared_with(other.days)
        seasons = [
            season
            for season in (Season.GROWING, Season.SLOWING)
            if all(of.seasons is None or season in of.seasons for of in (self, other))
        ]
        if not spans or not seasons:
            return None
        when = " and ".join(map(str, spans))
        return when if len(seasons) > 1 else f"{when}, while {seasons[0].value}"

    @property
    def ec(self) -> float:
        """EC of the mix [mS/cm]; 0 where it is not known."""
        return 0.0 if self.recipe is None else float(self.recipe.mix.ec)

    def grams_within(self, limit_ec: float) -> float:
        """Return the most fertiliser [g/L], rounded down, with which it stays within limit_ec."""
        if self.recipe is None:
            return 0.0
        most = float(self.recipe.mix.grams_within(limit_ec))
        return math.floor(100 * min(most, MOST_GRAMS)) / 100

    def pause(self, season: Season, usual: timedelta) -> timedelta | None:
        """Return the shortest time between two feeds in a season; None for never in it.

        usual: the grower's habit, for a feed that says nothing itself.
        """
        every = usual if self.every is None else self.every
        if season is Season.REST:
            return None
        if self.seasons is None:
            return every * (SLOW_PAUSE if season is Season.SLOWING else 1)
        return every if season in self.seasons else None


@dataclass(frozen=True, slots=True)
class Course:
    """A salt that some plants get for a while, in mistings of its own, besides their feed.

    - grams_per_litre: of the salt [g/L]; water_ec: EC of the bare water [mS/cm].
    - measured_ec: EC of the whole by a meter [mS/cm]; None to estimate it.
    - litres: how much is mixed at a time [L].
    - times, within: it is given so many times in such a span, and no more often.
    - begins, until: the first and the last day; None for at once, and until the grower ends it.
    - rinse_after: plain water follows so long after; None for the time in which plants take it up.
    - never_with: what the grower says that it must not be mixed with, in words.
    """

    name: str
    salt: Salt
    grams_per_litre: float
    water_ec: float
    times: int
    within: timedelta = WEEK
    plants: PlantFilter = field(default_factory=PlantFilter)
    begins: date | None = None
    until: date | None = None
    rinse_after: timedelta | None = None
    measured_ec: float | None = None
    litres: float = 1.0
    never_with: tuple[str, ...] = ()

    @property
    def ec(self) -> float:
        """EC of the mix, water included [mS/cm]; errs high unless it was measured."""
        if self.measured_ec is not None:
            return self.measured_ec
        return self.water_ec + float(self.salt.ec(self.grams_per_litre))

    @property
    def gap(self) -> timedelta:
        """The shortest time between two of its mistings, in whole days.

        Three times a week are never on two days running. A day that was left out moves those after
        it, so that it is made up for as long as that holds.
        """
        return max(timedelta(days=1), timedelta(days=self.within.days // self.times))

    def runs_on(self, day: date, ended: date | None) -> bool:
        """Return whether it runs on a day, for plants for which the grower ended it on another.

        A course that begins anew after it was ended runs again.
        """
        if ended is not None and (self.begins is None or self.begins <= ended):
            return False
        not_yet = self.begins is not None and day < self.begins
        return not not_yet and (self.until is None or day <= self.until)

    def clouds_with(self, other: "Feed | Course") -> bool:
        """Return whether it precipitates with a feed or another course, as far as labels tell."""
        if isinstance(other, Course):
            return clouds(self.salt, {partner: other.salt.pct(partner) for partner in PARTNERS})
        mix = None if other.recipe is None else other.recipe.mix
        held = {} if mix is None else {partner: float(mix.ppm(partner)) for partner in PARTNERS}
        return clouds(self.salt, held)

    def grams_within(self, limit_ec: float) -> float:
        """Return the most salt [g/L], rounded down, with which it stays within limit_ec [mS/cm]."""
        of_salt = self.ec - self.water_ec
        if of_salt <= 0:
            return self.grams_per_litre
        most = self.grams_per_litre * (limit_ec - self.water_ec) / of_salt
        return max(0.0, math.floor(100 * most) / 100)


PARTNERS: tuple[Element, ...] = ("Ca", "S", "P")
"""Elements of ions that precipitate: calcium with sulphate and with phosphate."""


def clouds(salt: Salt, other: Mapping[Element, float]) -> bool:
    """Return whether a salt precipitates with something else.

    Calcium does with sulphate, as gypsum, and with phosphate, which feed the plant no more; growers
    have them in tanks of their own (docs/decisions.md, "Courses").

    other : how much of each of `PARTNERS` is in it, in any unit; NaN or left out where not known.
    """
    if salt.pct("Ca") > 0:
        return other.get("S", 0.0) > 0 or other.get("P", 0.0) > 0
    return (salt.pct("S") > 0 or salt.pct("P") > 0) and other.get("Ca", 0.0) > 0
