"""A site on the map, and what a local date and clock time mean there."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Site:
    """A point on the map: degrees north and east, metres above the sea, IANA zone.

    name: the key under which all is kept that belongs to it.
    called: what people call it, if that is something else; `label` is what they read.
    """

    name: str
    latitude: float
    longitude: float
    elevation_m: float
    zone: ZoneInfo
    called: str | None = None

    @property
    def label(self) -> str:
        """What people read as its name."""
        return self.name if self.called is None else self.called

    def local_date(self, at: datetime) -> date:
        """Return the calendar date at the site at this moment."""
        return require_aware(at).astimezone(self.zone).date()

    def at_clock(self, day: date, clock: time) -> datetime:
        """Return the moment (UTC) at which the site's clocks show this time on this date.

        A time that clocks skip in spring is taken as much later as the skip is long; one they
        show twice in autumn is the first of the two. So every date has each clock time once.
        """
        wall = datetime.combine(day, clock.replace(fold=0), tzinfo=self.zone)
        return wall.astimezone(UTC)

    def middle_of_day(self, day: date) -> datetime:
        """Return the sun's mean noon on this date (UTC), within a quarter hour of true noon."""
        noon = datetime.combine(day, time(12), tzinfo=UTC) - timedelta(hours=self.longitude / 15)
        # The zone may lie across the date line from the longitude: step to the local date.
        for shift in (0, 1, -1):
            moved = noon + timedelta(days=shift)
            if self.local_date(moved) == day:
                return moved
        return noon


def require_aware(at: datetime) -> datetime:
    """Return the moment unchanged; raise ValueError if it has no time zone."""
    if at.tzinfo is None:
        msg = f"the time {at.isoformat()} has no zone; give it an offset such as +00:00"
        raise ValueError(msg)
    return at
