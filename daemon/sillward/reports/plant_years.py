"""The years of a plant, told by its diary and by what was confirmed of its water and feed."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward.ledger import Ledger
from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.plant_years import Given, given_by
from sillward.service.coldest_nights import cold_nights, coldest_by_year
from sillward.service.plant_nights import PlantNight
from sillward_rules.weather.site import Site

ONE_BLOOMING = timedelta(days=120)
"""Flowers that open this long after the last ones are of another blooming, and one of which no end
was noted is over by then. Judgement: few potted plants flower longer, moth orchids just so."""

LEAF = "leaf"
"""What a look is at that a course of feed asks for. Those at pots change from day to day."""

_TOLD = frozenset({EntryKind.REPOTTED, EntryKind.DAMAGE})

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
        repotted, damage, looks: the entries that say so, in order; looks are those at a leaf.
        given: what it was given, of which somebody has confirmed that it was done.
        days: the days on which something of a kind was noted, in order.
        coldest: the coldest night that began in this year, of those of which anything is known.
    """

    year: int
    spikes: int
    flowers: int
    bloomings: tuple[Blooming, ...]
    roots: int
    growths: int
    repotted: tuple[DiaryEntry, ...]
    damage: tuple[DiaryEntry, ...]
    looks: tuple[DiaryEntry, ...]
    given: tuple[Given, ...]
    coldest: ColdNight | None
    days: tuple[tuple[date, EntryKind], ...] = ()


def years_of(
    ledger: Ledger, site: Site, plant: str, nights: Iterable[PlantNight], now: datetime
) -> list[PlantYear]:
    """Return the years of a plant of which anything is known, the last one first.

    nights: those that it went through lately; harmful ones of earlier years the ledger has.
    """
    entries = ledger.diary.of_plant(site.name, plant)[::-1]
    given = ledger.plant_years.of_plant(site.name, plant)
    for chore in ledger.chores.about(site.name, plant):
        given += given_by(chore)
    cold = _of_all_years(ledger, site, plant, nights)
    return years_from(entries, given, cold, site, now)


def _of_all_years(
    ledger: Ledger, site: Site, plant: str, nights: Iterable[PlantNight]
) -> list[ColdNight]:
    """Return the low of each night of which it is kept, once: what was read goes before what was
    expected, and where it is known before where it is not."""
    harmful = ledger.harmful_nights.of_plant(site.name, plant)
    found = {
        each.night: ColdNight(each.night, each.low_c, each.is_read, each.limit_c)
        for each in harmful
    }
    for night in (*ledger.coldest_nights.of_plant(site.name, plant), *cold_nights(nights)):
        known = found.get(night.night)
        if known is None or night.is_read >= known.is_read:
            found[night.night] = night
    return list(found.values())


def years_from(
    entries: Sequence[DiaryEntry],
    given: Iterable[Given],
    nights: Iterable[ColdNight],
    site: Site,
    now: datetime,
) -> list[PlantYear]:
    """Return the years that entries make, in the order in which they were seen, with the water and
    the nights of the plant."""
    bloomings = _bloomings(entries, site, now)
    times: Counter[tuple[int, str, str]] = Counter()
    for each in given:
        times[each.year, each.kind, each.what] += each.count
    counts: Counter[tuple[int, EntryKind]] = Counter()
    told: dict[tuple[int, EntryKind], list[DiaryEntry]] = {}
    days: dict[int, list[tuple[date, EntryKind]]] = {}
    for entry in entries:
        day = site.local_date(entry.seen_at)
        days.setdefault(day.year, []).append((day, entry.kind))
        key = day.year, entry.kind
        if entry.kind in _COUNTED:
            counts[key] += entry.count or 1
        elif entry.kind in _TOLD or (entry.kind is EntryKind.LOOK and entry.what == LEAF):
            told.setdefault(key, []).append(entry)
    coldest = coldest_by_year(nights)
    years = (
        coldest.keys()
        | {key[0] for key in times}
        | {key[0] for key in counts}
        | {key[0] for key in told}
    )
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
            tuple(told.get((year, EntryKind.LOOK), ())),
            tuple(Given(*key, count) for key, count in sorted(times.items()) if key[0] == year),
            coldest.get(year),
            tuple(days.get(year, ())),
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
