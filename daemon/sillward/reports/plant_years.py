"""The years of a plant, told by its diary and by what was confirmed of its water and feed."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.plant_years import Given, given_by
from sillward_rules.weather.site import Site

ONE_BLOOMING = timedelta(days=120)
"""Flowers that open this long after the last ones are of another blooming, and one of which no end
was noted is over by then. Judgement: few potted plants flower longer, moth orchids just so."""

_COUNTED = frozenset({EntryKind.SPIKE, EntryKind.FLOWER, EntryKind.ROOT, EntryKind.GROWTH})


@dataclass(frozen=True, slots=True)
class Blooming:
    """A time in flower.

    Args:
        first: the day on which its first flowers were seen open.
        last: the day on which they were seen to be over; None if nobody has said so.
        lasts: whether it goes on as far as is known.
        flowers: how many opened.
    """

    first: date
    last: date | None
    lasts: bool
    flowers: int

    @property
    def days(self) -> int | None:
        """How long it was in flower; None if that is not known."""
        return None if self.last is None else (self.last - self.first).days


@dataclass(frozen=True, slots=True)
class PlantYear:
    """A year of a plant. What was noted without a number counts as one.

    Args:
        bloomings: those that began in this year.
        repotted, damage: the entries that say so, in order.
        given: what it was given, of which somebody has confirmed that it was done.
    """

    year: int
    spikes: int
    flowers: int
    bloomings: tuple[Blooming, ...]
    roots: int
    growths: int
    repotted: tuple[DiaryEntry, ...]
    damage: tuple[DiaryEntry, ...]
    given: tuple[Given, ...]


def years_of(ledger: Ledger, site: Site, plant: str, now: datetime) -> list[PlantYear]:
    """Return the years of a plant of which anything is known, the last one first."""
    entries = ledger.diary.of_plant(site.name, plant)[::-1]
    given = ledger.plant_years.of_plant(site.name, plant)
    for chore in ledger.chores.done_for(site.name, plant):
        given += given_by(chore)
    return years_from(entries, given, site, now)


def years_from(
    entries: Sequence[DiaryEntry], given: Iterable[Given], site: Site, now: datetime
) -> list[PlantYear]:
    """Return the years that entries, in the order in which they were seen, and water make."""
    bloomings = _bloomings(entries, site, now)
    times: Counter[tuple[int, str, str]] = Counter()
    for each in given:
        times[each.year, each.kind, each.what] += each.count
    counts: Counter[tuple[int, EntryKind]] = Counter()
    told: dict[tuple[int, EntryKind], list[DiaryEntry]] = {}
    for entry in entries:
        key = site.local_date(entry.seen_at).year, entry.kind
        if entry.kind in _COUNTED:
            counts[key] += entry.count or 1
        elif entry.kind in (EntryKind.REPOTTED, EntryKind.DAMAGE):
            told.setdefault(key, []).append(entry)
    years = {year for year, *_ in (*times, *counts, *told)}
    years |= {blooming.first.year for blooming in bloomings}
    return [
        PlantYear(
            year,
            counts[year, EntryKind.SPIKE],
            counts[year, EntryKind.FLOWER],
            tuple(each for each in bloomings if each.first.year == year),
            counts[year, EntryKind.ROOT],
            counts[year, EntryKind.GROWTH],
            tuple(told.get((year, EntryKind.REPOTTED), ())),
            tuple(told.get((year, EntryKind.DAMAGE), ())),
            tuple(Given(*key, count) for key, count in sorted(times.items()) if key[0] == year),
        )
        for year in sorted(years, reverse=True)
    ]


def _bloomings(entries: Iterable[DiaryEntry], site: Site, now: datetime) -> list[Blooming]:
    """Return the times in flower, in order."""
    found: list[Blooming] = []
    seen_at = now
    for entry in entries:
        day = site.local_date(entry.seen_at)
        goes_on = bool(found) and found[-1].lasts and entry.seen_at - seen_at < ONE_BLOOMING
        if entry.kind is EntryKind.FLOWER:
            count = entry.count or 1
            if goes_on:
                found[-1] = replace(found[-1], flowers=found[-1].flowers + count)
            else:
                found = [replace(each, lasts=False) for each in found]
                found.append(Blooming(day, None, lasts=True, flowers=count))
            seen_at = entry.seen_at
        elif entry.kind is EntryKind.FADED and goes_on:
            found[-1] = replace(found[-1], last=day, lasts=False)
    if found and now - seen_at >= ONE_BLOOMING:
        found[-1] = replace(found[-1], lasts=False)
    return found
