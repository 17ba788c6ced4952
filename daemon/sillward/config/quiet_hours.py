"""Quiet hours: when the phone stays silent, and when what falls due in them is told. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import Hours

LEAD = timedelta(minutes=10)
"""What would fall due in quiet hours is told this long before they start. Judgement: time to read
it before they do."""


@dataclass(frozen=True, slots=True)
class QuietHours:
    """The hours of every day in which only what cannot wait is sent; None if there are none."""

    hours: Hours | None = None

    def until(self, site: Site, at: datetime) -> datetime | None:
        """Return when the quiet hours around a moment end; None if it lies in none."""
        span = self._around(site, at)
        return None if span is None else span[1]

    def before(self, site: Site, at: datetime) -> datetime:
        """Return a moment, or if it lies in quiet hours, the time shortly before they start."""
        span = self._around(site, at)
        return at if span is None else span[0] - LEAD

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
