"""After damage: what the ledger knows of the weeks before, put together for the core to rank.

Where the plant stood is known from answers and orders, what it was there from readings, or else
from what forecasts said of these nights, corrected as its spot is now. The archive has no hours and
no rain: hours are drawn, and wet crowns cannot be told.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial

import numpy as np

from sillward.archive import PastWeather, past_of_ledger
from sillward.errors import SourceError
from sillward.ledger import Ledger, StoredChore
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.readings.spot_lesson import LEARNED_FROM, lesson_of, lows_read
from sillward.service.accepted_limits import COLD_LIMITS, plant_as_given
from sillward.service.whereabouts import About, is_unmoved, whereabouts
from sillward_rules.chore import ChoreKind
from sillward_rules.inquest import (
    LOOK_BACK_NIGHTS,
    Cause,
    ColdNight,
    LateFeed,
    Stay,
    Suspect,
    cold_nights,
    hot_days,
    ranked,
)
from sillward_rules.planners.scene.salts import SaltNow
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.state import PlantState
from sillward_rules.replay.past_nights import past_nights
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate, climate_of
from sillward_rules.weather.hourly import rows_from_to
from sillward_rules.weather.spot import Spot

TOLD_WITHIN_H = 24.0
"""A forecast of a night that is older than this says nothing of it [h]. From then on it would have
been expired (`weather.hourly.EXPIRED_AFTER`)."""

MARGIN_DAYS = 8
"""Days before the first night that are worked out too: a running mean decides on the season."""

FED_LATE = timedelta(minutes=30)
"""A feed that was confirmed so long after its hours is named. Judgement."""

LIMIT_STEP_K = 0.5
"""The limit that would have kept a plant in is told in steps of this [K]."""

YEAR_NIGHTS = 365


@dataclass(frozen=True, slots=True)
class KeptIn:
    """What would have kept a plant in on a night.

    Args:
        told_c: what was expected of its leaves that evening [°C]; None if that is not known.
        limit_c: the limit that would have kept it in by that [°C]; None if that is the one it had,
            or if nothing was expected.
        ordered: whether it was told to go in, or to stay in; confirmed: whether that was done.
    """

    told_c: float | None
    limit_c: float | None
    ordered: bool
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Inquest:
    """What is known of the weeks before damage was seen.

    Args:
        seen: the day on which it was seen. what: how it looks.
        suspects: what may have done it, the likeliest first.
        nights: all nights that are known, in order. unknown: how many are not.
        kept_in: what would have kept it in on the likeliest cold night; None without one.
        salt, water: the salts at its roots by now, and the water of its pot when a morning last
            counted it; None where they are not counted. What they were before is not kept.
    """

    plant: Plant
    seen: date
    what: str
    suspects: tuple[Suspect, ...]
    nights: tuple[ColdNight, ...]
    unknown: int
    kept_in: KeptIn | None
    salt: SaltNow | None = None
    water: PotWater | None = None

    @property
    def coldest(self) -> ColdNight | None:
        """The likeliest cold night, if cold is likelier than anything else."""
        if not self.suspects or self.suspects[0].cause is not Cause.COLD:
            return None
        event = self.suspects[0].event
        return event if isinstance(event, ColdNight) else None


def inquire(
    ledger: Ledger,
    collection: Collection,
    sources: Sequence[str],
    plant: Plant,
    state: PlantState | None,
    seen: date,
    what: str,
    now: datetime,
) -> Inquest:
    """Return what is known of the weeks before a plant was seen to be damaged.

    collection: with what readings have taught of its spots. sources: of forecasts, the one in use
    first.
    """
    site = collection.site
    last = min(seen, site.local_date(now))
    days = [last - timedelta(days=back) for back in range(LOOK_BACK_NIGHTS, 0, -1)]
    since = site.middle_of_day(days[0]) - timedelta(days=2)
    about = partial(ledger.chores.about, site.name)
    chores = about(plant.name, since)
    stays = _stays(ledger, collection, plant, chores, state, days, about)
    past = _past(ledger, collection, days[0])
    if past is None:
        return Inquest(plant, seen, what, (), (), len(days), None)
    climate = _climate(collection, stays, past)
    nights = cold_nights(site, plant, climate, stays)
    fed = list(_late_feeds(collection, chores))
    suspects = ranked([*nights, *hot_days(site, plant, climate, stays), *fed], seen, what)
    found = Inquest(
        plant, seen, what, tuple(suspects), tuple(nights), len(days) - len(nights), None
    )
    if found.coldest is None:
        return found
    unread = [replace(stay, read_low_c={}) for stay in stays if stay.day == found.coldest.day]
    before = _as_known_before(ledger, collection, sources, found.coldest)
    by_forecast = cold_nights(site, plant, _climate(before, unread, past), unread)
    told_c = _told_c(ledger, collection, sources, by_forecast, past)
    return replace(found, kept_in=_kept_in(found.coldest, told_c, chores))


def nights_of_plants(
    ledger: Ledger,
    collection: Collection,
    plants: Sequence[tuple[Plant, PlantState]],
    day: date,
    about: About,
) -> dict[str, ColdNight]:
    """Return what each of some plants went through in one night, where that is known."""
    past = _past(ledger, collection, day) if plants else None
    if past is None:
        return {}
    since = collection.site.middle_of_day(day) - timedelta(days=2)
    stays = {
        plant.name: (plant, _stays(ledger, collection, plant, chores, state, [day], about))
        for plant, state in plants
        for chores in [about(plant.name, since)]
    }
    climate = _climate(collection, [stay for _, each in stays.values() for stay in each], past)
    return {
        name: found[0]
        for name, (plant, each) in stays.items()
        if (found := cold_nights(collection.site, plant, climate, each))
    }


def as_harmful_night(plant: Plant, night: ColdNight, now: datetime) -> HarmfulNight:
    """Return a night as the ledger keeps it."""
    limits = plant_as_given(plant).limits
    given = {name: getattr(limits, name) for name in COLD_LIMITS}
    return HarmfulNight(
        plant.name,
        night.day,
        round(night.low_c, 2),
        round(night.sd_k, 2),
        night.is_read,
        night.is_placed,
        night.limit_c,
        now,
        given={name: limit.value for name, limit in given.items() if limit is not None},
    )


# -- what the ledger knows


def _stays(
    ledger: Ledger,
    collection: Collection,
    plant: Plant,
    chores: Sequence[StoredChore],
    state: PlantState | None,
    days: Sequence[date],
    about: About,
) -> list[Stay]:
    """Return where a plant was on these days, in the nights after them, and what was read there."""
    site, names = collection.site, {spot.name for spot in collection.spots}
    since = sun.night_of(site, days[0]).start
    places = whereabouts(ledger, site, plant, chores, state, since)

    def at(moment: datetime) -> tuple[str, ...]:
        return tuple(spot for spot in places.at(moment) if spot in names)

    nights = {day: at(sun.night_of(site, day).end) for day in days}
    spots = {spot for each in nights.values() for spot in each or (plant.home,)}
    read = {
        spot: {low.night: low.low_c for low in lows_read(ledger, site, spot, since)}
        for spot in sorted(spots)
    }
    return [
        Stay(
            day,
            stood or (plant.home,),
            at(site.middle_of_day(day)) or (plant.home,),
            len(stood) == 1,
            {spot: read[spot][day] for spot in stood or (plant.home,) if day in read[spot]},
            not stood and is_unmoved(about, plant, state, sun.night_of(site, day).end),
        )
        for day, stood in nights.items()
    ]


def _past(ledger: Ledger, collection: Collection, first: date) -> PastWeather | None:
    """Return what forecasts said of the nights from a day on; None if nothing is kept of them.

    Of rain nothing is, and leaves count as dry: to decide by, wet is the side of caution, but here
    a night would seem colder than it was.
    """
    since = first - timedelta(days=MARGIN_DAYS)
    try:
        past = past_of_ledger(ledger, collection.site, since, TOLD_WITHIN_H)
    except SourceError:
        return None
    dry = np.zeros(past.weather.times.shape)
    return replace(past, weather=replace(past.weather, rain_mm=dry))


def _climate(collection: Collection, stays: Sequence[Stay], past: PastWeather) -> Climate:
    used = {spot for stay in stays for spot in (*stay.spots, *stay.day_spots)}
    spots = [spot for spot in collection.spots if spot.name in used]
    return climate_of(collection.site, spots, past.weather)


def _late_feeds(collection: Collection, chores: Sequence[StoredChore]) -> list[LateFeed]:
    return [
        LateFeed(collection.site.local_date(chore.done_at), chore.done_at, chore.before)
        for chore in chores
        if chore.kind is ChoreKind.FEED
        and chore.done_at is not None
        and chore.done_at > chore.before + FED_LATE
    ]


def _as_known_before(
    ledger: Ledger, collection: Collection, sources: Sequence[str], night: ColdNight
) -> Collection:
    """Return a collection with what readings had taught of a spot before a night."""
    site = collection.site
    since = sun.night_of(site, night.day).start - LEARNED_FROM

    def before(spot: Spot) -> Spot:
        if spot.name != night.spot or spot.learned is None:
            return spot
        lesson = lesson_of(ledger, site, spot, sources, since, night.day)
        return replace(spot, learned=None if lesson is None else lesson.course.learned)

    return collection.with_spots(tuple(before(spot) for spot in collection.spots))


def _told_c(
    ledger: Ledger,
    collection: Collection,
    sources: Sequence[str],
    by_forecast: Sequence[ColdNight],
    past: PastWeather,
) -> float | None:
    """Return what was expected at dusk of the leaves of a plant in a night [°C].

    The leaf follows from the last forecast before the low: it is moved by as much as that of dusk
    differed from it.
    """
    if not by_forecast:
        return None
    night = sun.night_of(collection.site, by_forecast[0].day)
    # What a source said that is not in use any more was told all the same.
    known = dict.fromkeys([*sources, *ledger.nights.sources(collection.site.name)])
    told = ledger.nights.before(collection.site.name, list(known), {night.day: night.start})
    rows = rows_from_to(past.weather.times, night.start, night.cold_until)
    came = past.weather.temp_c[rows]
    if night.day not in told or not np.isfinite(came).any():
        return None
    return by_forecast[0].low_c + told[night.day][1].low_c - float(np.nanmin(came))


def _kept_in(night: ColdNight, told_c: float | None, chores: Sequence[StoredChore]) -> KeptIn:
    orders = [
        chore
        for chore in chores
        if chore.day == str(night.day)
        and chore.kind in (ChoreKind.CARRY_IN, ChoreKind.STAY_IN)
        and chore.called_off_at is None
    ]
    confirmed = any(chore.done_at is not None for chore in orders)
    limit_c = None
    if not orders and told_c is not None and told_c >= night.limit_c:
        # The least step above what was expected.
        limit_c = (math.floor(told_c / LIMIT_STEP_K) + 1) * LIMIT_STEP_K
    return KeptIn(told_c, limit_c, bool(orders), confirmed)


# -- what a limit costs


@dataclass(frozen=True, slots=True)
class YearOfNights:
    """How many nights of the last year at a plant's home were under each of some limits.

    nights: how many are known at all. under: by limit [°C].
    """

    nights: int
    under: Mapping[float, int]


def year_of_nights(
    ledger: Ledger, collection: Collection, plant: Plant, limits_c: Sequence[float], now: datetime
) -> YearOfNights | None:
    """Return how many nights of the last year were under some limits; None if none is known."""
    today = collection.site.local_date(now)
    past = _past(ledger, collection, today - timedelta(days=YEAR_NIGHTS))
    if past is None:
        return None
    home = collection.spot(plant.home)
    low = past_nights(collection.site, [home], past.weather).low_c[-YEAR_NIGHTS:, 0]
    known = low[np.isfinite(low)]
    return YearOfNights(known.size, {limit: int((known < limit).sum()) for limit in limits_c})
