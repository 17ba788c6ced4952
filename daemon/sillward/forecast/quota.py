"""How many calls a provider takes in all, and how they are spread so that there are no more.

Providers count by weight: for Open-Meteo a request for many places, variables and days is more than
one call. Where the calls of a day would be too many they are spread over a longer time rather than
stopped: the interval between two forecasts of a cell becomes longer, and those whose dusk is near
come first.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sillward.forecast.cells import hours_to_dusk
from sillward_rules.weather.site import Site

USED_SHARE = 0.9
"""Of a quota so much is used. Judgement: the rest is for requests that are repeated, for commands,
and for other programs behind the same address."""

DUSK_AHEAD_H = 3.0
"""In the last hours before its dusk a cell keeps its usual interval [h]. Judgement: what is carried
in is decided then."""

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Quota:
    """What a provider allows, in its own weight.

    Args:
        a_minute: the most in a minute.
        a_day: the most in a UTC day, or None for any number.
        of_site: what a request counts for each of its sites.
        an_hour: the most in an hour, or None for any number.
    """

    a_minute: float
    a_day: float | None
    of_site: float
    an_hour: float | None = None

    def left_of_day(self, spent: float) -> float:
        """Return what is left of a day, or infinity."""
        return float("inf") if self.a_day is None else max(USED_SHARE * self.a_day - spent, 0.0)

    def sites_left(self, in_minute: int, in_hour: int, spent: float) -> int:
        """Return for how many sites may be asked now.

        in_minute, in_hour: for how many was asked in the last; spent: by weight, since the day
        began.
        """
        left = [USED_SHARE * self.a_minute / self.of_site - in_minute]
        if self.an_hour is not None:
            left.append(USED_SHARE * self.an_hour / self.of_site - in_hour)
        if self.a_day is not None:
            left.append((self.a_day - spent) / self.of_site)
        return max(int(min(left)), 0)


def stretched(
    quota: Quota | None, interval: timedelta, cells: int, spent: float, now: datetime
) -> timedelta:
    """Return the interval at which so many cells can be asked for until the end of the UTC day.

    It is the usual one if there is room for that, and never more than a day. spent: since the day
    began, by weight.
    """
    if quota is None or quota.a_day is None:
        return interval
    left = quota.left_of_day(spent)
    if left <= 0.0:
        return _DAY
    needed = cells * quota.of_site * (_until_midnight(now) / interval)
    return min(max(interval, interval * (needed / left)), _DAY)


def in_order(cells: Sequence[Site], now: datetime) -> list[Site]:
    """Return cells by how soon their dusk is."""
    hour = _hour(now)
    return sorted(cells, key=lambda cell: hours_to_dusk(cell, hour))


def is_near_dusk(cell: Site, now: datetime) -> bool:
    """Whether the dusk of a cell is near."""
    return hours_to_dusk(cell, _hour(now)) <= DUSK_AHEAD_H


def _hour(now: datetime) -> float:
    utc = now.astimezone(UTC)
    return utc.hour + utc.minute / 60


def _until_midnight(now: datetime) -> timedelta:
    utc = now.astimezone(UTC)
    midnight = utc.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + _DAY - utc
