"""The last week in review, from what the ledger holds: what was told and done, what was in vain.

Nobody has measured anything: how far a forecast was off is told by a later forecast of the same
night, the last one before its low.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from sillward.ledger import StoredChore
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.revision import ORDERS
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site

DAYS = 7
"""Whole days before the day of the week round."""

CLEAR_BY_K = 1.0
"""A night that stayed this far above the limits of those who were told in was a false alarm [K].
Judgement: the usual error of a forecast for the same night is not much less."""

IN_TIME = timedelta(minutes=15)
"""Whoever acknowledges so soon after the hour has done it in time. Judgement."""

Archive = Sequence[tuple[str, datetime, NightForecast]]
"""Forecasts of nights as `Ledger.nights` gives them: source, when it was fetched, what it said."""


@dataclass(frozen=True, slots=True)
class Night:
    """The low of a night as it was forecast at dusk, and at last, after midnight [°C]."""

    day: date
    at_dusk_c: float
    last_c: float

    @property
    def off_k(self) -> float:
        """How much milder it came [K], by the later forecast; negative: colder."""
        return self.last_c - self.at_dusk_c


@dataclass(frozen=True, slots=True)
class Review:
    """The days from `first` to `last`, both included.

    told: orders (`ORDERS`), those that were called off included; done: acknowledged, late: of these
    more than `IN_TIME` after their hour. missed: notices that could not be sent in time.
    false_alarms: orders to carry in that turned out not to be needed. nights: those of which both
    forecasts are known.
    """

    first: date
    last: date
    told: int
    done: int
    late: int
    called_off: int
    missed: int
    false_alarms: int
    nights: tuple[Night, ...]


def first_day(day: date) -> date:
    """The first day of a review that is told on this day."""
    return day - timedelta(days=DAYS)


def review(
    site: Site,
    day: date,
    chores: Sequence[StoredChore],
    missed: int,
    archive: Archive,
    sources: Sequence[str],
    dusk: Mapping[date, datetime],
) -> Review:
    """The week before a day.

    chores: any, those of other days are left out. sources: by name, the first that knows a night is
    believed. dusk: when each night was told; without it a night is left out.
    """
    first, last = first_day(day), day - timedelta(days=1)
    orders = [
        one
        for one in chores
        if str(first) <= one.day <= str(last) and ChoreKind(one.kind) in ORDERS
    ]
    orders = [one for one in orders if not _moved(one, orders)]
    days = [first + timedelta(days=offset) for offset in range(DAYS)]
    looked = (_night(site, one, archive, sources, dusk.get(one)) for one in days)
    nights = tuple(one for one in looked if one is not None)
    off_k = {str(one.day): one.off_k for one in nights}
    return Review(
        first,
        last,
        told=len(orders),
        done=sum(one.done_at is not None for one in orders),
        late=sum(one.done_at is not None and one.done_at > one.before + IN_TIME for one in orders),
        called_off=sum(one.called_off_at is not None for one in orders),
        missed=missed,
        false_alarms=sum(_in_vain(one, off_k.get(one.day)) for one in orders),
        nights=nights,
    )


def _moved(chore: StoredChore, orders: Sequence[StoredChore]) -> bool:
    """Whether all its plants are in other orders of that day: it got another hour, no more."""
    if chore.called_off_at is None:
        return False
    elsewhere = {
        name
        for one in orders
        if one.called_off_at is None and (one.day, one.kind) == (chore.day, chore.kind)
        for name in one.plants
    }
    return elsewhere.issuperset(chore.plants)


def _night(
    site: Site, day: date, archive: Archive, sources: Sequence[str], dusk: datetime | None
) -> Night | None:
    if dusk is None:
        return None
    midnight = site.at_clock(day + timedelta(days=1), time(0))
    for source in sources:
        of_night = sorted(
            (
                (at, night.low_c)
                for name, at, night in archive
                if name == source and night.night == day
            ),
            key=lambda one: one[0],
        )
        before = [low_c for at, low_c in of_night if at <= dusk]
        after = [low_c for at, low_c in of_night if at >= midnight]
        if before and after:
            return Night(day, before[-1], after[-1])
    return None


def _in_vain(chore: StoredChore, off_k: float | None) -> bool:
    """Whether it was a false alarm.

    The archive knows the air of the site, an order the leaf at its spot: that is taken to have come
    as much milder as the air.
    """
    if ChoreKind(chore.kind) is not ChoreKind.CARRY_IN:
        return False
    if chore.called_off_at is not None:
        return True
    because: list[dict[str, Any]] = chore.document["because"]
    known = [one for one in because if one["value"] is not None and one["limit"] is not None]
    if off_k is None or not known or len(known) < len(because):
        return False
    if any(one["quantity"] not in _COLD or one.get("above") for one in known):
        return False
    return all(one["value"] + off_k >= one["limit"] + CLEAR_BY_K for one in known)


_COLD = frozenset({"temperature", "leaf temperature"})


# -- in words


def heading(week: Review, voice: Voice) -> str:
    """ "Last week, Thu 07 May to Wed 13 May"."""
    return voice.say("last_week", first=week.first, last=week.last)


def facts(week: Review, voice: Voice) -> list[str]:
    """What is to be told of it, a sentence each."""
    told = [
        voice.say(
            "orders_behind",
            told=week.told,
            done=week.done,
            late=week.late,
            called_off=week.called_off,
            missed=week.missed,
        ),
        _forecast(week, voice),
    ]
    if week.false_alarms:
        told.append(voice.say("false_alarms", count=week.false_alarms, clear_k=CLEAR_BY_K))
    return told


def lines(week: Review, voice: Voice) -> list[str]:
    """The same for a text: the heading, and a line for each fact and each night."""
    nights = [
        voice.say(
            "night_behind",
            day=one.day,
            at_dusk_c=one.at_dusk_c,
            last_c=one.last_c,
            off_k=one.off_k,
        )
        for one in week.nights
    ]
    told = [f"  {fact}" for fact in facts(week, voice)]
    return [heading(week, voice).upper(), *told, *(f"    {night}" for night in nights)]


def _forecast(week: Review, voice: Voice) -> str:
    sizes = [abs(one.off_k) for one in week.nights]
    worst = max(week.nights, key=lambda one: abs(one.off_k), default=None)
    return voice.say(
        "forecast_behind",
        nights=len(sizes),
        mean_k=sum(sizes) / len(sizes) if sizes else 0.0,
        worst_day=worst and worst.day,
        worst_k=worst.off_k if worst else 0.0,
    )
