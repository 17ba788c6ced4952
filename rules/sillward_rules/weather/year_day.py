"""Days of the calendar without their year, and spans of them that come back each year."""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True, order=True)
class YearDay:
    """A day of the calendar without its year."""

    month: int
    day: int

    @classmethod
    def of(cls, day: date) -> "YearDay":
        """Return the day of a date; 29 February is the 28th."""
        return cls(day.month, 28 if (day.month, day.day) == (2, 29) else day.day)

    @classmethod
    def numbered(cls, number: int) -> "YearDay":
        """Return the day of a number from 0 for 1 January to 364; the numbers go round."""
        return cls.of(_COMMON_YEAR + timedelta(days=number % _DAYS))

    @property
    def number(self) -> int:
        """The days since 1 January in a year of 365."""
        return (self.in_year(_COMMON_YEAR.year) - _COMMON_YEAR).days

    def is_within(self, since: "YearDay", until: "YearDay") -> bool:
        """Return whether it lies from one day of the calendar up to the day before another."""
        return self.days_after(since) < until.days_after(since)

    def days_after(self, first: "YearDay") -> int:
        """Return how many days after another it comes, from 0 to 364; it goes over the new year."""
        return (self.number - first.number) % _DAYS

    def in_year(self, year: int) -> date:
        """Return this day of a year."""
        return date(year, self.month, self.day)

    def __str__(self) -> str:
        return f"{self.month:02d}-{self.day:02d}"


_COMMON_YEAR, _DAYS = date(2001, 1, 1), 365


def parse_year_day(text: str) -> YearDay:
    """Read a day such as "03-01", the month first. Raise ValueError for anything else.

    29 February is the 28th.
    """
    month, _, day = text.strip().partition("-")
    try:
        if not (text.isascii() and len(month) == len(day) == 2):
            raise ValueError
        return YearDay.of(date(2000, int(month), int(day)))
    except ValueError:
        msg = f'"{text}": must be a month and a day, such as "03-01" for 1 March'
        raise ValueError(msg) from None


@dataclass(frozen=True, slots=True)
class YearSpan:
    """From one day of the calendar to another, each year, both included.

    It may go over the new year.
    """

    first: YearDay
    last: YearDay

    def __contains__(self, day: YearDay) -> bool:
        return day.days_after(self.first) <= self.last.days_after(self.first)

    def shared_with(self, other: "YearSpan") -> tuple["YearSpan", ...]:
        """Return the days that are in both: none, one span, or two."""
        if ALL_YEAR in (self, other):
            return (self if other == ALL_YEAR else other,)
        starts = {one for one, of in ((self.first, other), (other.first, self)) if one in of}
        return tuple(
            YearSpan(first, min((self.last, other.last), key=lambda last: last.days_after(first)))
            for first in sorted(starts)
        )

    def __str__(self) -> str:
        return "all year" if self == ALL_YEAR else f"{self.first} to {self.last}"


ALL_YEAR = YearSpan(YearDay(1, 1), YearDay(12, 31))
