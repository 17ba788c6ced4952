"""The numbers of the last week, from rows of the ledger: orders, confirmations, false alarms.

The forecast at dusk is compared with what a thermometer showed, where one was read, or else with a
later forecast of the same night, the last one before its low.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from sillward.ledger.records import StoredChore
from sillward.ledger.tables.diary import DiaryEntry
from sillward_rules.chore import URGENT, ChoreKind
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site

DAYS = 7
"""Whole days before the day of the week round."""

CLEAR_BY_K = 1.0
"""A night was a false alarm if it stayed this far above the limits of the plants that were carried
in [K]. Judgement: the usual error of a forecast for the same night is not much less."""

IN_TIME = timedelta(minutes=15)
"""A confirmation this soon after the deadline counts as done in time. Judgement: it takes minutes
to put plants down and to confirm."""

Archive = Sequence[tuple[str, datetime, NightForecast]]
"""Forecasts of nights as `Ledger.nights.since` returns them: source, when fetched, forecast."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a thermometer showed of past nights.

    Args:
        off_k: how much milder than was expected there at dusk each night became [K].
    """

    spot: str
    off_k: Mapping[date, float]


_COLD_QUANTITIES = frozenset({"temperature", "leaf temperature"})


@dataclass(frozen=True, slots=True)
class ReviewedNight:
    """The low of a night as it was forecast at dusk, and as it came [°C]: as a thermometer showed
    it, less what its spot is always off (`measured`), or as it was forecast last, after midnight.
    """

    day: date
    at_dusk_c: float
    last_c: float
    measured: bool = False

    @property
    def off_k(self) -> float:
        """How much milder the night became [K]; negative if colder."""
        return self.last_c - self.at_dusk_c


@dataclass(frozen=True, slots=True)
class WeekReview:
    """What happened in the days from `first` to `last`, both included.

    Args:
        told: how many orders (`URGENT`) there were, with those that were called off.
        done: how many of them were confirmed.
        late: how many of those were confirmed more than `IN_TIME` after their deadline.
        missed: how many notices could not be sent in time.
        false_alarms: how many orders to carry in proved unnecessary.
        declined: how many orders the grower said were not needed.
        seen: what people noted of plants in these days, in the order in which they saw it.
        nights: the nights of which the forecast at dusk is known, and what came.
        thermometer: the spot whose thermometer says what came; None if none does.
    """

    first: date
    last: date
    told: int
    done: int
    late: int
    called_off: int
    missed: int
    false_alarms: int
    nights: tuple[ReviewedNight, ...]
    thermometer: str | None = None
    declined: int = 0
    seen: tuple[DiaryEntry, ...] = ()


def first_day(day: date) -> date:
    """Return the first day of the review that a week round of this day shows."""
    return day - timedelta(days=DAYS)


def review_of(
    site: Site,
    day: date,
    chores: Sequence[StoredChore],
    missed: int,
    archive: Archive,
    sources: Sequence[str],
    dusk: Mapping[date, datetime],
    read: Read | None = None,
    seen: Sequence[DiaryEntry] = (),
) -> WeekReview:
    """Return the review of the week before a day.

    Args:
        chores: chores of the week; those of other days are left out.
        missed: how many notices could not be sent in time.
        archive: the forecasts of the nights.
        sources: names of forecast sources; the first that has both forecasts of a night is used.
        dusk: when the dusk round of each night was enqueued; other nights are left out.
        read: what a thermometer showed of the nights.
        seen: entries of diaries; those of other days are left out.
    """
    first, last = first_day(day), day - timedelta(days=1)
    orders = [
        chore for chore in chores if str(first) <= chore.day <= str(last) and chore.kind in URGENT
    ]
    orders = [order for order in orders if not _was_rescheduled(order, orders)]
    days = [first + timedelta(days=offset) for offset in range(DAYS)]
    off_read = {} if read is None else read.off_k
    compared = (
        _night(site, night, archive, sources, dusk.get(night), off_read.get(night))
        for night in days
    )
    nights = tuple(night for night in compared if night is not None)
    off_k = {str(night.day): night.off_k for night in nights}
    confirmed = [(order.done_at, order.before) for order in orders if order.done_at is not None]
    return WeekReview(
        first,
        last,
        told=len(orders),
        done=len(confirmed),
        late=sum(done_at > before + IN_TIME for done_at, before in confirmed),
        called_off=sum(order.called_off_at is not None for order in orders),
        declined=sum(order.declined_at is not None for order in orders),
        missed=missed,
        false_alarms=sum(_was_false_alarm(order, off_k.get(order.day)) for order in orders),
        nights=nights,
        seen=tuple(entry for entry in seen if first <= site.local_date(entry.seen_at) <= last),
        thermometer=read.spot if read and any(night.measured for night in nights) else None,
    )


def _was_rescheduled(order: StoredChore, orders: Sequence[StoredChore]) -> bool:
    """Whether an order was called off only because other orders of that day took all its plants."""
    if order.called_off_at is None:
        return False
    elsewhere = {
        plant
        for other in orders
        if other.called_off_at is None and (other.day, other.kind) == (order.day, order.kind)
        for plant in other.plants
    }
    return elsewhere.issuperset(order.plants)


def _night(
    site: Site,
    day: date,
    archive: Archive,
    sources: Sequence[str],
    dusk: datetime | None,
    off_k: float | None,
) -> ReviewedNight | None:
    """Return a night by its forecasts before dusk and after midnight; None without both.

    off_k: how much milder it became by a thermometer [K], in place of the later forecast.
    """
    if dusk is None:
        return None
    midnight = site.at_clock(day + timedelta(days=1), time(0))
    for source in sources:
        forecasts = sorted(
            (
                (at, forecast.low_c)
                for name, at, forecast in archive
                if name == source and forecast.night == day
            ),
            key=lambda fetched: fetched[0],
        )
        before = [low_c for at, low_c in forecasts if at <= dusk]
        after = [low_c for at, low_c in forecasts if at >= midnight]
        if before and off_k is not None:
            return ReviewedNight(day, before[-1], before[-1] + off_k, measured=True)
        if before and after:
            return ReviewedNight(day, before[-1], after[-1])
    return None


def _was_false_alarm(order: StoredChore, off_k: float | None) -> bool:
    """Whether an order to carry in proved unnecessary.

    The archive has the temperature of the air at the site, an order that of the leaf at its spot:
    the leaf is taken to have been milder by as much as the air was.
    """
    if order.kind is not ChoreKind.CARRY_IN:
        return False
    if order.called_off_at is not None:
        return True
    reasons = order.chore.single_reasons
    known = [
        (reason.value, reason.limit)
        for reason in reasons
        if reason.value is not None and reason.limit is not None
    ]
    if off_k is None or not known or len(known) < len(reasons):
        return False
    if any(reason.quantity not in _COLD_QUANTITIES or reason.above for reason in reasons):
        return False
    return all(value + off_k >= limit + CLEAR_BY_K for value, limit in known)
