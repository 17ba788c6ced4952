"""How many calls a provider allows in all, and how they are spread to stay within that.

Providers count by weight: for Open-Meteo a request for many places, variables and days counts as
more than one call. If a day would need too many calls, they are spread out rather than stopped: the
interval between two forecasts of a cell gets longer. One call for each cell before its dusk is
reserved, so that none goes without because others had their dusk earlier.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sillward.forecast.cells import next_dusk
from sillward_rules.weather.site import Site

USED_SHARE = 0.9
"""The share of a quota that is used. Judgement: the rest is for repeated requests, for commands,
and for other programs at the same address."""

DUSK_AHEAD = timedelta(hours=3)
"""How long before sunset a cell is due for its reserved call. Judgement: the dusk round is an hour
and a half before sunset, and the hourly limit may delay the call by as much."""

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
        """Return how many sites may be asked for now.

        in_minute, in_hour: for how many was asked in the last; spent: by weight, since the day
        began.
        """
        left = [USED_SHARE * self.a_minute / self.of_site - in_minute]
        if self.an_hour is not None:
            left.append(USED_SHARE * self.an_hour / self.of_site - in_hour)
        if self.a_day is not None:
            left.append((self.a_day - spent) / self.of_site)
        return max(int(min(left)), 0)


@dataclass(frozen=True, slots=True)
class Pace:
    """How often the cells of a provider are asked for at a moment.

    every: the time between two forecasts of a cell.
    first: the cells for which a call is set aside, and from when on it is made: the first one
        before their dusk, or the first of all.
    spare: for how many cells may be asked besides until the UTC day ends.
    """

    every: timedelta
    first: Mapping[str, datetime]
    spare: float

    def interval(self, cell: Site, usual: timedelta, now: datetime) -> timedelta:
        """Return the time between two forecasts that holds for a cell now."""
        return usual if self.is_first(cell, now) else self.every

    def is_first(self, cell: Site, now: datetime) -> bool:
        """Whether the call that was set aside for a cell is to be made."""
        at = self.first.get(cell.name)
        return at is not None and at <= now

    def chosen(self, due: Sequence[Site], room: int, now: datetime) -> list[Site]:
        """Return those of the due cells that are asked for now, in their order: at most room."""
        in_order = sorted(due, key=lambda cell: next_dusk(cell, now))
        first = [cell for cell in in_order if self.is_first(cell, now)]
        others = [cell for cell in in_order if not self.is_first(cell, now)]
        spare = min(room, max(self.spare, 0.0))
        return (first + others[: int(spare)])[:room]


def pace(
    quota: Quota | None,
    interval: timedelta,
    cells: Sequence[Site],
    fetched_at: Mapping[str, datetime],
    spent: float,
    now: datetime,
) -> Pace:
    """Return how the calls that are left of a UTC day are spread.

    Each cell is to have a fresh forecast before its dusk, however many there are: that call is set
    aside, and the others are spread evenly.

    interval: the usual one; fetched_at: by cell; spent: since the day began, by weight.
    """
    if quota is None or quota.a_day is None:
        return Pace(interval, {}, float("inf"))
    left = quota.left_of_day(spent) / quota.of_site
    first = _set_aside(interval, cells, fetched_at, left, now)
    every = stretched(quota, interval, len(cells), spent, now, set_aside=len(first))
    return Pace(every, first, left - len(first))


def stretched(
    quota: Quota,
    interval: timedelta,
    cells: int,
    spent: float,
    now: datetime,
    *,
    set_aside: int = 0,
) -> timedelta:
    """Return the interval at which so many cells can be asked for until the end of the UTC day.

    It is the usual one if there is room for that, and never more than a day. spent: since the day
    began, by weight; set_aside: for how many cells a call is set aside.
    """
    left = quota.left_of_day(spent) / quota.of_site - set_aside
    if left <= 0.0:
        return _DAY
    needed = cells * (_until_midnight(now) / interval) - set_aside
    return min(max(interval, interval * (needed / left)), _DAY)


def _set_aside(
    interval: timedelta,
    cells: Sequence[Site],
    fetched_at: Mapping[str, datetime],
    left: float,
    now: datetime,
) -> dict[str, datetime]:
    """Return the cells that are to have their first call before dusk today, and from when on.

    If there are too many for what is left, those whose forecast is from days before come first, so
    that it is not always the same who have none. A cell without a forecast has its call now,
    whatever is left.
    """
    midnight = now + _until_midnight(now)
    new = {cell.name: now for cell in cells if fetched_at.get(cell.name, midnight) > now}
    wanted = list[tuple[int, datetime, str]]()
    for cell in cells:
        if cell.name in new:
            continue
        at, dusk = fetched_at[cell.name], next_dusk(cell, now)
        if at >= dusk - DUSK_AHEAD:
            dusk += _DAY
        opens = dusk - DUSK_AHEAD
        due_at = max(opens, at + interval)
        if due_at < min(dusk, midnight):
            wanted.append((-round((opens - at) / _DAY), due_at, cell.name))
    room = max(int(left) - len(new), 0)
    return new | {name: due_at for _, due_at, name in sorted(wanted)[:room]}


def _until_midnight(now: datetime) -> timedelta:
    utc = now.astimezone(UTC)
    midnight = utc.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + _DAY - utc
