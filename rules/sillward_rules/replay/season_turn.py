"""What is worth saying of the season outlook in the weeks before nights become safe, or unsafe."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sillward_rules.plants.collection import Collection
from sillward_rules.remark import NightsSafe
from sillward_rules.replay.season import (
    LimitOutlook,
    NightLimit,
    Safe,
    plants_by_limit,
)
from sillward_rules.weather.year_day import YearDay

TOLD_DAYS = 28
"""A date is told so many days before it comes. Judgement: four week sheets, time enough to make
room or to plan a journey, and silence for most of the year."""


@dataclass(frozen=True, slots=True)
class SafePart:
    """The part of the year in which nights are safe for a limit, as it is kept from an outlook.

    since, until: as `LimitOutlook.safe_from` and `safe_until`; None if all of the year is safe.
    years: how many say so.
    """

    limit: NightLimit
    since: YearDay | None
    until: YearDay | None
    years: int

    def has(self, day: date) -> bool:
        """Return whether the night of this evening is safe."""
        if self.since is None or self.until is None:
            return True
        return YearDay.of(day).is_within(self.since, self.until)


def safe_part(found: LimitOutlook) -> SafePart | None:
    """Return what is worth keeping of a limit's outlook; None where no night counts as safe."""
    if found.safe in (Safe.NEVER, Safe.UNKNOWN):
        return None
    years = min(found.first.years, found.last.years)
    return SafePart(found.limit, found.safe_from, found.safe_until, years)


def season_turn(
    collection: Collection, parts: Iterable[SafePart], today: date
) -> NightsSafe | None:
    """Return the turn of the season within `TOLD_DAYS`, or None if there is none.

    At each spot that is the last day from which, or the first until which, nights are safe for more
    plants or fewer. Of several spots it is that where it concerns most plants. Limits of which
    nothing is kept are left out.
    """
    plants = plants_by_limit(collection)
    known = [part for part in parts if part.limit in plants]
    turns: list[NightsSafe] = []
    for spot in dict.fromkeys(part.limit.spot for part in known):
        there = [part for part in known if part.limit.spot == spot]
        since = [day for part in there if (day := _within_reach(part.since, today))]
        tomorrow = today + timedelta(days=1)
        until = [day for part in there if (day := _within_reach(part.until, tomorrow))]
        if since:
            turns.append(_turn(there, plants, max(since), begins=True))
        if until:
            turns.append(_turn(there, plants, min(until) - timedelta(days=1), begins=False))
    return max(turns, key=lambda turn: len(turn.plants), default=None)


def _within_reach(day: YearDay | None, start: date) -> date | None:
    """Return the date of a day of the calendar if it comes soon after a date."""
    if day is None:
        return None
    for year in (start.year, start.year + 1):
        if 0 <= (day.in_year(year) - start).days < TOLD_DAYS:
            return day.in_year(year)
    return None


def _turn(
    there: Sequence[SafePart],
    plants: Mapping[NightLimit, tuple[str, ...]],
    day: date,
    *,
    begins: bool,
) -> NightsSafe:
    safe = [part for part in there if part.has(day)]
    names = tuple(name for part in safe for name in plants[part.limit])
    return NightsSafe(there[0].limit.spot, names, day, begins, min(part.years for part in safe))
