"""Which nights are replayed, and on which days the grower is away."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from sillward.errors import SourceError, UsageError
from sillward.text import printable
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.site import Site

DAY_BEFORE, DAY_AFTER = timedelta(hours=24), timedelta(hours=24)
"""So much weather is needed before the noon with which the first night begins, and after the one
with which the last night ends. Judgement: the dusk round looks at the night before it, and the
morning round at the one after it."""


@dataclass(frozen=True, slots=True)
class Period:
    """The nights from the first to the last, by the dates of their evenings."""

    first: date
    last: date

    @property
    def nights(self) -> int:
        """How many nights these are."""
        return (self.last - self.first).days + 1


def read_day(text: str, option: str) -> date:
    """Read an ISO date. Raise UsageError."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        msg = f'{option} "{printable.escaped(text[:40])}" is not a date; write 2025-07-01'
        raise UsageError(msg) from None


def read_away(spans: Iterable[str], period: Period) -> frozenset[date]:
    """Read spans of dates such as 2025-07-01..2025-07-14, or single ones. Raise UsageError.

    period: the nights that are replayed, of which each span must hold one.
    """
    days: set[date] = set()
    for span in spans:
        start, dots, end = span.partition("..")
        first = read_day(start, "--away")
        last = read_day(end, "--away") if dots else first
        if last < first:
            msg = f"--away {first}..{last}: ends before it begins"
            raise UsageError(msg)
        if (last - first).days > MAX_AWAY_DAYS:
            msg = f"--away {first}..{last}: is longer than {MAX_AWAY_DAYS} days"
            raise UsageError(msg)
        if last < period.first or first > period.last:
            nights = f"from {period.first} to {period.last}"
            msg = f"--away {span}: is outside the nights that are replayed, {nights}"
            raise UsageError(msg)
        days.update(first + timedelta(days=number) for number in range((last - first).days + 1))
    return frozenset(days)


MAX_AWAY_DAYS = 3660
"""Judgement: ten years; longer is a slip."""


def whole_period(site: Site, weather: Weather) -> Period:
    """Return the nights that a weather reaches. Raise SourceError if there is none."""
    if weather.times.size:
        begins, ends = moment(weather.times[0]) + DAY_BEFORE, moment(weather.times[-1]) - DAY_AFTER
        first, last = site.local_date(begins), site.local_date(ends) - timedelta(days=1)
        while site.middle_of_day(first) < begins:
            first += timedelta(days=1)
        while site.middle_of_day(last + timedelta(days=1)) > ends:
            last -= timedelta(days=1)
        if first <= last:
            return Period(first, last)
    msg = f"{weather.source}: too short for a replay; it takes three days"
    raise SourceError(msg)


def period_asked(whole: Period, first: date | None, last: date | None) -> Period:
    """Return the nights that are asked for, within those there are. Raise UsageError."""
    asked = Period(first or whole.first, last or whole.last)
    for option, day in (("--from", first), ("--to", last)):
        if day is not None and not whole.first <= day <= whole.last:
            msg = (
                f"{option} {day}: the past weather reaches for the nights from {whole.first} to "
                f"{whole.last}"
            )
            raise UsageError(msg)
    if asked.last < asked.first:
        msg = f"--from {asked.first} --to {asked.last}: ends before it begins"
        raise UsageError(msg)
    return asked
