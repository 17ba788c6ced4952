"""The season outlook: what years of past nights say of the first and the last cold one.

The years are cut in the warm half-year, so that each cold season is whole. A date is one of the
calendar, without a year; 29 February counts as the 28th.

The chances are for a year to come, not a description of the years that were. A further year comes
before the k-th of n years with a chance of k / (n + 1), as every place among n + 1 years is equally
likely (Weibull's plotting position). So "nine years out of ten" takes at least nine years. Between
two years nothing is interpolated: the more cautious one is taken.
"""

import math
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.replay.past_nights import PastNights
from sillward_rules.weather.season import Grows, Season, day_length_h, season_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.year_day import YearDay

ENOUGH_YEARS = 10
"""With fewer years their number is told. Judgement: the dates for one year in ten are then little
more than the earliest and the latest that happened to be seen."""

RARE = 0.1
"""The share of the years for which the outer dates stand: one of ten."""

_ENOUGH_FOR_RARE = round(1 / RARE) - 1
"""From so many years on the earliest or latest of them is passed in one year of ten."""


CUT_NORTH, CUT_SOUTH = YearDay(7, 1), YearDay(1, 1)
"""Where the years are cut. Judgement: soon after the solstice, well inside the warm half-year of a
continent, a coast or the tropics; and so an archive of ten calendar years has ten first and ten
last nights."""

EDGE_NIGHTS = 2
"""So many nights on either side of the cut may be missing. Judgement: an archive of calendar years
lacks the night of New Year's Eve, which is a summer night where it is next to the cut."""


def cut_of(site: Site) -> YearDay:
    """Return the day on which a cold season of the site begins, in the midst of its summer."""
    return CUT_NORTH if site.latitude >= 0 else CUT_SOUTH


# -- what is found


@dataclass(frozen=True, slots=True)
class ColdSeason:
    """The nights under a limit from one summer to the next.

    - year: the year of the summer with which it begins.
    - first, last: the evenings of the first and the last such night; None for none.
    - first_known, last_known: whether these are certain: no night before the first, or after the
      last, is missing, but for `EDGE_NIGHTS`. Without a night under the limit both are known only
      if all other nights are.
    """

    year: int
    first: date | None
    last: date | None
    first_known: bool
    last_known: bool


@dataclass(frozen=True, slots=True)
class Turn:
    """When the first or the last night under a limit comes, by chance.

    - early: in one year of ten it comes no later; median; late: in one year of ten no sooner. None
      where so many years have no such night, or where no year is known.
    - years: of how many years it is known; without: how many of these have no such night.
    """

    early: YearDay | None
    median: YearDay | None
    late: YearDay | None
    years: int
    without: int

    @property
    def enough(self) -> bool:
        """Whether the years are enough for a chance of one in ten."""
        return self.years >= _ENOUGH_FOR_RARE


class Safe(Enum):
    """In which part of the year nights stay above a limit in nine years out of ten."""

    ALL_YEAR = "all year"
    FROM_UNTIL = "from until"
    NEVER = "never"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class NightLimit:
    """What plants that live at a spot stand at night.

    limit_c : the limit [°C]. rest_limit_c : the lower one that holds while they rest, or None;
    grows : for these, at what warmth they grow.
    """

    spot: str
    limit_c: float
    rest_limit_c: float | None = None
    grows: Grows | None = None


@dataclass(frozen=True, slots=True)
class LimitOutlook:
    """The outlook for the plants that live at a spot and share a night limit.

    - plants: their names, in the order of the collection.
    - seasons: the cold seasons that the weather has a part of, in order.
    - first, last: the first and the last night under the limit of a cold season.
    - by_month: how many nights of each month are under it, January first; NaN where no such month
      is wholly known.
    - safe, safe_from, safe_until: the part of the year in which nights are safe in nine years of
      ten: from the evening of `safe_from` up to that before `safe_until`. Both are None unless
      safe is FROM_UNTIL.
    """

    limit: NightLimit
    plants: tuple[str, ...]
    seasons: tuple[ColdSeason, ...]
    first: Turn
    last: Turn
    by_month: tuple[float, ...]
    safe: Safe
    safe_from: YearDay | None
    safe_until: YearDay | None

    def is_safe_on(self, day: YearDay) -> bool:
        """Return whether the night of this evening is safe in nine years out of ten."""
        if self.safe_from is None or self.safe_until is None:
            return self.safe is Safe.ALL_YEAR
        return day.is_within(self.safe_from, self.safe_until)


@dataclass(frozen=True, slots=True)
class MissingNights:
    """How many nights of a cold season are missing, and the first and the last of these.

    Nights before the weather begins, or after it ends, are not counted.
    """

    year: int
    nights: int
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class SeasonOutlook:
    """What past weather says of the cold season, for every spot and limit of a collection.

    - first, last: the evenings of the first and last night of the weather.
    - cut: the day on which the years are cut.
    - missing: cold seasons with missing nights; they count wherever these do not matter.
    - limits: in the order of the spots, the most tender plants first.
    """

    first: date
    last: date
    cut: YearDay
    missing: tuple[MissingNights, ...]
    limits: tuple[LimitOutlook, ...]

    @property
    def years(self) -> int:
        """Of how many years both ends are known, for the limit of which most is known."""
        return max((min(limit.first.years, limit.last.years) for limit in self.limits), default=0)


# -- working it out


def plants_by_limit(collection: Collection) -> dict[NightLimit, tuple[str, ...]]:
    """Return the plants that live outdoors and have a night limit, by spot and limit.

    In the order of the spots, the most tender plants of a spot first. The night limit of a plant
    is that of comfort, or else that of injury, as for the daily tool.
    """
    found: dict[NightLimit, list[str]] = {}
    for plant in collection.plants:
        limit = _limit_of(plant)
        if limit is not None and not collection.spot(plant.home).holds_itself:
            found.setdefault(limit, []).append(plant.name)
    order = {spot.name: number for number, spot in enumerate(collection.spots)}
    limits = sorted(found, key=lambda limit: (order[limit.spot], -limit.limit_c))
    return {limit: tuple(found[limit]) for limit in limits}


def _limit_of(plant: Plant) -> NightLimit | None:
    growing, resting = (of.limits.night_low or of.limits.brief_low for of in (plant, plant.at_rest))
    if growing is None or resting is None:
        return None
    if resting.value >= growing.value:
        return NightLimit(plant.home, growing.value)
    return NightLimit(plant.home, growing.value, resting.value, plant.grows)


def spots_in_question(collection: Collection) -> tuple[Spot, ...]:
    """Return the spots that follow the weather and are home to plants with a night limit."""
    homes = {limit.spot for limit in plants_by_limit(collection)}
    return tuple(spot for spot in collection.spots if spot.name in homes)


def season_outlook(collection: Collection, nights: PastNights) -> SeasonOutlook:
    """Return the outlook for every limit of a collection from its past nights.

    nights : at `spots_in_question` at least. Raise ValueError if there is no night.
    """
    if not len(nights.low_c):
        msg = "season_outlook: there is no night in the weather"
        raise ValueError(msg)
    calendar = _Calendar(collection.site, nights)
    return SeasonOutlook(
        first=nights.first,
        last=nights.days[-1],
        cut=calendar.cut,
        missing=calendar.missing(),
        limits=tuple(
            _limit_outlook(calendar, limit, plants)
            for limit, plants in plants_by_limit(collection).items()
        ),
    )


class _Calendar:
    """Past nights filled up to whole seasons with nights that are not known.

    Arrays are (night,) or (night, spot). season : the year in which the season of a night begins.
    within : the nights of the weather.
    """

    def __init__(self, site: Site, nights: PastNights) -> None:
        self.site = site
        self.cut = cut_of(site)
        self.columns = {name: column for column, name in enumerate(nights.spots)}
        days = nights.days
        first, last = self._season(days[0]), self._season(days[-1])
        start, end = self.cut.in_year(first), self.cut.in_year(last + 1)
        self.days = [start + timedelta(days=day) for day in range((end - start).days)]
        pad = ((days[0] - start).days, (end - days[-1]).days - 1)
        self.low_c, self.mean_c = (
            np.pad(series, (pad, (0, 0)), constant_values=np.nan)
            for series in (nights.low_c, nights.mean_c)
        )
        self.within = slice(pad[0], len(self.days) - pad[1])
        self.season = np.array([self._season(day) for day in self.days])
        self.year = np.array([day.year for day in self.days])
        self.month = np.array([day.month for day in self.days])

    def _season(self, day: date) -> int:
        return day.year - (YearDay.of(day) < self.cut)

    def missing(self) -> tuple[MissingNights, ...]:
        """Return the seasons that have nights missing between the first and the last night."""
        unknown = np.isnan(self.low_c).any(axis=1)
        # The weather need not begin before the first sunset nor end after the last sunrise.
        inner = np.zeros(unknown.shape, dtype=bool)
        inner[self.within.start + 1 : self.within.stop - 1] = True
        found = []
        for year in np.unique(self.season[unknown & inner]).tolist():
            rows = np.flatnonzero(unknown & inner & (self.season == year))
            found.append(
                MissingNights(year, rows.size, self.days[int(rows[0])], self.days[int(rows[-1])])
            )
        return tuple(found)

    def limit_c(self, limit: NightLimit) -> Array:
        """(night,) the limit that holds, growing or at rest [°C]."""
        limits = np.full(len(self.days), limit.limit_c)
        if limit.rest_limit_c is not None and limit.grows is not None:
            lengths = [day_length_h(self.site, day) for day in self.days]
            mean_c = self.mean_c[:, self.columns[limit.spot]]
            limits[season_of(lengths, mean_c, limit.grows) == Season.REST] = limit.rest_limit_c
        return limits


def _limit_outlook(calendar: _Calendar, limit: NightLimit, plants: tuple[str, ...]) -> LimitOutlook:
    low = calendar.low_c[:, calendar.columns[limit.spot]]
    under, known = low < calendar.limit_c(limit), np.isfinite(low)
    seasons = tuple(
        _cold_season(calendar, year, under, known) for year in np.unique(calendar.season).tolist()
    )
    first, earliest = _turn(calendar.cut, seasons, last=False)
    last, latest = _turn(calendar.cut, seasons, last=True)
    safe, since, until = _safe_part(calendar.cut, earliest, latest)
    return LimitOutlook(
        limit=limit,
        plants=plants,
        seasons=seasons,
        first=first,
        last=last,
        by_month=_by_month(calendar, under, known),
        safe=safe,
        safe_from=since,
        safe_until=until,
    )


def _cold_season(
    calendar: _Calendar, year: int, under: np.ndarray, known: np.ndarray
) -> ColdSeason:
    rows = np.flatnonzero(calendar.season == year)
    cold = rows[under[rows]]
    known = known.copy()
    known[[*rows[:EDGE_NIGHTS], *rows[-EDGE_NIGHTS:]]] = True
    if not cold.size:
        whole = bool(known[rows].all())
        return ColdSeason(year, None, None, whole, whole)
    first, last = int(cold[0]), int(cold[-1])
    return ColdSeason(
        year,
        calendar.days[first],
        calendar.days[last],
        bool(known[rows[0] : first].all()),
        bool(known[last : rows[-1] + 1].all()),
    )


def _by_month(calendar: _Calendar, under: np.ndarray, known: np.ndarray) -> tuple[float, ...]:
    """Return the mean number of nights under the limit in each month, of those wholly known."""
    means = []
    for month in range(1, 13):
        counts = []
        of_month = calendar.month == month
        for year in np.unique(calendar.year[of_month]).tolist():
            rows = of_month & (calendar.year == year)
            if known[rows].sum() == monthrange(year, month)[1]:
                counts.append(int(under[rows].sum()))
        means.append(float(np.mean(counts)) if counts else math.nan)
    return tuple(means)


# -- chances


def _turn(cut: YearDay, seasons: Sequence[ColdSeason], *, last: bool) -> tuple[Turn, float]:
    """Return the first or last nights by chance, and the outer one that counts for safety.

    The latter in days since the cut: for first nights the early one, for last nights the late one.
    Infinite (a first night that never comes, or a last one before all time) where so many years
    have no such night; NaN where no year is known.
    """
    none = -math.inf if last else math.inf
    known = [
        (season.last if last else season.first)
        for season in seasons
        if (season.last_known if last else season.first_known)
    ]
    offsets = sorted(
        none if day is None else float(YearDay.of(day).days_after(cut)) for day in known
    )
    count = len(offsets)
    if not count:
        return Turn(None, None, None, 0, 0), math.nan
    # Between two years the more cautious one: of first nights the earlier, of last ones the later.
    middle = math.ceil((count + 1) / 2) if last else (count + 1) // 2
    ranks = (max(1, rank_of_rare(count)), middle, min(count, count + 1 - rank_of_rare(count)))
    early, median, late = (offsets[rank - 1] for rank in ranks)
    turn = Turn(
        early=_day_at(cut, early),
        median=_day_at(cut, median),
        late=_day_at(cut, late),
        years=count,
        without=sum(day is None for day in known),
    )
    return turn, late if last else early


def _day_at(cut: YearDay, offset: float) -> YearDay | None:
    return YearDay.numbered(cut.number + int(offset)) if math.isfinite(offset) else None


def rank_of_rare(years: int) -> int:
    """Return the largest rank, from 1, that is not reached in more than one year of ten.

    0 with fewer years than that takes.
    """
    return math.floor(RARE * (years + 1) + 1e-9)


def _safe_part(
    cut: YearDay, first: float, last: float
) -> tuple[Safe, YearDay | None, YearDay | None]:
    """Return the part of the year between the late last night and the early first one.

    first, last : these nights in days since the cut, as `_turn` has them.
    """
    if math.isnan(first) or math.isnan(last):
        return Safe.UNKNOWN, None, None
    if math.isinf(first) and math.isinf(last):
        return Safe.ALL_YEAR, None, None
    if math.isinf(first):
        first = last  # only years without a known first night have cold ones
    elif math.isinf(last):
        last = first
    if last + 1 >= first + 365:
        return Safe.NEVER, None, None
    return Safe.FROM_UNTIL, _day_at(cut, last + 1), _day_at(cut, first)
