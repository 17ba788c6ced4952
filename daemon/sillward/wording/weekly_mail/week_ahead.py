"""The week ahead in words: trips, feeding, and tables of its nights and days."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TypeGuard

from sillward.text.columns import cut, padded
from sillward.wording import chore_phrases
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.outlook import DayAhead, NightAhead, Outlook
from sillward_rules.remark import Remark, Spell
from sillward_rules.sheet import Sheet
from sillward_rules.weather.uncertainty import percent

DAY_WIDTH = 12
"""Columns of a day, with the indent before it."""

MAX_COLUMNS = 3
"""Spots that fit next to each other in the table of nights."""


def carrying(chores: Sequence[Chore], voice: Voice) -> Iterator[tuple[date, str]]:
    """Yield for each day of a week what goes out and in, from or by when, in the order of hours."""
    days: dict[date, list[Chore]] = {}
    for chore in sorted(chores, key=lambda chore: told_at(chore, voice)):
        days.setdefault(told_at(chore, voice).date(), []).append(chore)
    for day, trips in days.items():
        kinds = dict.fromkeys(trip.kind for trip in trips)
        yield (
            day,
            "; ".join(
                _trips([trip for trip in trips if trip.kind is kind], voice) for kind in kinds
            ),
        )


def _trips(trips: Sequence[Chore], voice: Voice) -> str:
    """Return the trips of a day in one direction: those of the first hour, and how many later."""
    hour = told_at(trips[0], voice)
    first = chore_phrases.count_of([trip for trip in trips if told_at(trip, voice) == hour])
    return voice.say(
        "walk",
        out=trips[0].kind is ChoreKind.CARRY_OUT,
        hour=voice.hour(hour),
        count=first,
        later=chore_phrases.count_of(trips) - first,
    )


def is_hot(spell: Remark) -> TypeGuard[Spell]:
    """Whether it is a spell of hot days."""
    return isinstance(spell, Spell) and spell.kind == "hot"


def heat(ahead: Outlook, voice: Voice) -> str:
    """Return how hot it gets, when and for how many plants, if that is what the week is about.

    It is if more plants are too hot on a day than must be under cover in any night.
    """
    for spell in ahead.spells:
        if not is_hot(spell):
            continue
        last = spell.first_day + timedelta(days=spell.days - 1)
        days = [day for day in ahead.days if spell.first_day <= day.day <= last]
        known = [day for day in days if day.high_c is not None]
        cold = max((len(night.plants_in) for night in ahead.nights), default=0)
        if not known or spell.most_plants <= cold:
            continue
        hottest = max(known, key=lambda day: day.high_c or 0.0)
        return voice.say(
            "week_heat",
            first_day=spell.first_day,
            last=last,
            day=hottest.day,
            high_c=hottest.high_c,
            most_plants=spell.most_plants,
        )
    return ""


def feeding(sheet: Sheet, voice: Voice) -> Iterator[str]:
    """Yield each feed and course, and on which days of the week how many plants get it."""
    days = sheet.outlook.days if sheet.outlook is not None else ()
    why = sheet.outlook.not_given if sheet.outlook is not None else {}
    if not sheet.mixes:
        if sheet.feed is not None:
            yield voice.say("feed_mix", feed=sheet.feed)
        fed = [(day.day, day.fed) for day in days if day.fed]
        yield voice.say("feed_days", days=fed, why=why[""].why if "" in why else "")
        return
    others = {"": sheet.feed} if sheet.feed is not None else {}
    for what, mix in {**sheet.mixes, **others}.items():
        counts = [(day.day, dict((*day.feeds, *day.courses)).get(what, 0)) for day in days]
        name = what or voice.say("other_feed")
        yield voice.say("mix_named", what=name, feed=mix)
        known = why.get(what)
        yield voice.say(
            "given_days",
            what=name,
            days=[(day, n) for day, n in counts if n],
            why="" if known is None else known.why,
            span="" if known is None else known.days,
        )


def watering(ahead: Outlook, voice: Voice) -> Iterator[str]:
    """Yield on which days of the week which pots will want water."""
    for plants, on in ahead.watering:
        yield voice.say("water_of", who=", ".join(plants), days=water_days(on, ahead, voice))


def water_days(on: Sequence[date], ahead: Outlook, voice: Voice) -> str:
    """Return the days on which pots want water: "Tue, Fri", or "daily"."""
    every = {day.day for day in ahead.days}
    return voice.say("water_days", days=[] if len(on) > 1 and every <= set(on) else list(on))


def told_at(chore: Chore, voice: Voice) -> datetime:
    """Return the local hour that a trip is told by: the start if it goes out, else the deadline."""
    out = chore.kind is ChoreKind.CARRY_OUT
    return voice.local((chore.not_before if out else None) or chore.before)


def outlook(ahead: Outlook, voice: Voice) -> Iterator[str]:
    """Yield the week ahead as text: the season, the trips, and tables of nights and days."""
    for fact in (ahead.turn, ahead.season, *ahead.spells, *ahead.dark, *ahead.resting):
        if fact is not None:
            yield capital(voice.remark(fact))
    yield voice.say("trips", trips=ahead.trips, nights=len(ahead.nights))
    yield ""
    yield from _nights(ahead.nights, voice)
    yield ""
    yield from _days(ahead.days, voice)
    yield ""


def _nights(nights: Sequence[NightAhead], voice: Voice) -> Iterator[str]:
    """Yield the nights as a table if the spots fit next to each other, else as lines."""
    spots = list(nights[0].lows) if nights else []
    title, table = _column("nights", voice), len(spots) <= MAX_COLUMNS
    if table:
        heads = "".join(padded(cut(spot, 12), 13, right=True) for spot in spots)
        chance = padded(_column("chance", voice), 9, right=True)
        yield f"{padded(title, DAY_WIDTH)}{heads}{chance}   {_column('plants in', voice)}"
    else:
        yield title
    for night in nights:
        chance = "" if night.chance is None else percent(night.chance)
        if table:
            unsure = "" if night.judged else f"  {voice.say('too_few_hours')}"
            lows = "".join(f"{voice.degrees(night.lows[spot]):>13}" for spot in spots)
            day = padded(f"  {voice.day(night.day)}", DAY_WIDTH)
            yield f"{day}{lows}{chance or '-':>9}   {len(night.plants_in) or '-'}{unsure}"
        else:
            line = voice.say(
                "night",
                day=night.day,
                count=len(night.plants_in),
                chance=chance,
                judged=night.judged,
                lows=list(night.lows.items()),
            )
            yield f"  {line}"


def _days(days: Sequence[DayAhead], voice: Voice) -> Iterator[str]:
    warmest, driest = _column("warmest", voice), _column("driest", voice)
    heads = f"{padded(warmest, 10, right=True)}{padded(driest, 9, right=True)}"
    yield f"{padded(_column('days', voice), DAY_WIDTH)}{heads}   {_column('mistings', voice)}"
    for day in days:
        dry = "?" if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %"
        asks = day_asks(day, voice, "-")
        told = padded(f"  {voice.day(day.day)}", DAY_WIDTH)
        yield f"{told}{voice.degrees(day.high_c):>10}{dry:>9}   {asks}"


def day_asks(day: DayAhead, voice: Voice, nothing: str) -> str:
    """Return what a day asks for.

    nothing: the text for a day without mistings.
    """
    return voice.say(
        "day_asks",
        mistings=day.mistings,
        plants=day.misted_plants,
        fed=day.fed,
        given=sum(count for _, count in day.courses),
        hot=day.too_hot_for,
        others=[(kind.value, count) for kind, count in day.others],
        nothing=nothing,
    )


def _column(name: str, voice: Voice) -> str:
    return voice.say("column", name=name)
