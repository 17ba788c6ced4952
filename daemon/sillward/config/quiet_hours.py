"""Quiet hours: when the phone stays silent, and how what cannot wait is told all the same. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import Hours

AHEAD = timedelta(minutes=10)
"""What would fall due in quiet hours is told this long before they start. Judgement."""


@dataclass(frozen=True, slots=True)
class QuietHours:
    """Hours of every day in which only what cannot wait is sent; None: there are none."""

    hours: Hours | None = None

    def until(self, site: Site, at: datetime) -> datetime | None:
        """When the quiet hours end that hold this moment; None if none do."""
        span = self._around(site, at)
        return None if span is None else span[1]

    def before(self, site: Site, at: datetime) -> datetime:
        """This moment, or a little before the quiet hours start that hold it."""
        span = self._around(site, at)
        return at if span is None else span[0] - AHEAD

    def _around(self, site: Site, at: datetime) -> tuple[datetime, datetime] | None:
        if self.hours is None or self.hours.start is None or self.hours.end is None:
            return None
        today = site.local_date(at)
        for day in (today - timedelta(days=1), today):
            start, end = self.hours.start.on(site, day), self.hours.end.on(site, day)
            if end <= start:
                end = self.hours.end.on(site, day + timedelta(days=1))
            if start <= at < end:
                return start, end
        return None
