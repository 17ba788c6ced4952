"""The tables of the week ahead, cell by cell: its nights, the lows of each spot, its days."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sillward.errors import one_line
from sillward.wording.voice import Voice
from sillward.wording.weekly_mail import week_ahead
from sillward_rules.planners.outlook import DayAhead, NightAhead, Outlook
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.uncertainty import percent

MAX_NAME = 60
"""Characters of a name in a table. Judgement: it still fits next to the numbers."""


def sentence(ahead: Outlook | None, voice: Voice) -> str:
    """Return the week in one sentence, after one on its heat where there is any to speak of."""
    hot = week_ahead.heat(ahead, voice) if ahead else ""
    nights, days = (ahead.nights, ahead.days) if ahead else ((), ())
    counts = [len(night.plants_in) for night in nights if night.plants_in]
    return (f"{hot}. " if hot else "") + voice.say(
        "week_sentence",
        nights=len(nights),
        cold=len(counts),
        least=min(counts, default=0),
        most=max(counts, default=0),
        trips=ahead.trips if ahead else 0,
        misted=sum(bool(day.mistings) for day in days),
        days=len(days),
    )


# -- nights


@dataclass(frozen=True, slots=True)
class NightRow:
    """A night: its day, the chance of cold, plants in, trips; cold: whether any plant is in."""

    day: str
    chance: str
    plants: str
    trips: str
    cold: bool


def night_row(night: NightAhead, ahead: Outlook, voice: Voice) -> NightRow:
    """Return a night of the week as a row."""
    trips = sum(week_ahead.told_at(chore, voice).date() == night.day for chore in ahead.chores)
    return NightRow(
        voice.day(night.day),
        "–" if night.chance is None else percent(night.chance),
        voice.say("plants_in", count=len(night.plants_in), judged=night.judged),
        f"{trips or voice.say('nothing')}",
        bool(night.plants_in),
    )


@dataclass(frozen=True, slots=True)
class LowRow:
    """A night at a spot: its low, how many plants are under their limits, what is left to the
    tenderest; cold: whether any plant is under its limit, or may be."""

    day: str
    low: str
    under: str
    room: str
    cold: bool


@dataclass(frozen=True, slots=True)
class SpotNights:
    """A spot, the night limits of its plants in words, and its nights."""

    name: str
    limits: str
    rows: tuple[LowRow, ...]


def spots_by_night(
    nights: Sequence[NightAhead], collection: Collection, voice: Voice
) -> Iterator[SpotNights]:
    """Yield each outdoor spot with its lows, compared with the night limits of its plants."""
    residents: dict[str, list[Plant]] = {}
    for plant in collection.plants:
        residents.setdefault(plant.home, []).append(plant)
    for spot in nights[0].lows:
        limits = [
            (plant.limits.night_low.value, plant.name)
            for plant in residents.get(spot, ())
            if plant.limits.night_low is not None
        ]
        yield SpotNights(
            name_of(spot),
            _limits(limits, voice),
            tuple(_low(night.day, night.lows.get(spot), limits, voice) for night in nights),
        )


def _limits(limits: Sequence[tuple[float, str]], voice: Voice) -> str:
    highest_c, tenderest = max(limits, default=(0.0, ""))
    return voice.say(
        "night_limits",
        count=len(limits),
        least_c=min(limits, default=(0.0, ""))[0],
        most_c=highest_c,
        tenderest=name_of(tenderest),
    )


def _low(
    day: date, low_c: float | None, limits: Sequence[tuple[float, str]], voice: Voice
) -> LowRow:
    """Return the low of a night at a spot, and how many plants are under their limits."""
    shown_day, say = voice.day(day), voice.say
    if low_c is None:
        return LowRow(shown_day, say("not_known"), say("treat_as_cold"), "–", cold=True)
    if not limits:
        return LowRow(shown_day, degrees(low_c, voice), "–", "–", cold=False)
    under = sum(limit > low_c for limit, _ in limits)
    return LowRow(
        shown_day,
        degrees(low_c, voice),
        say("under_limit", under=under, count=len(limits)),
        say("room", room_k=low_c - max(limits)[0]),
        cold=under > 0,
    )


def degrees(value_c: float, voice: Voice) -> str:
    """Return a temperature with a no-break space before its unit."""
    return voice.degrees(value_c).replace(" ", "\N{NO-BREAK SPACE}")


def name_of(text: str) -> str:
    """Return a name on one line."""
    return one_line(text, MAX_NAME)


# -- days


@dataclass(frozen=True, slots=True)
class DayRow:
    """A day: how warm and how dry it gets, and what it asks for."""

    day: str
    high: str
    dry: str
    mistings: str


def day_row(day: DayAhead, voice: Voice) -> DayRow:
    """Return a day of the week as a row."""
    unknown = voice.say("not_known")
    return DayRow(
        voice.day(day.day),
        unknown if day.high_c is None else degrees(day.high_c, voice),
        unknown if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %",
        week_ahead.day_asks(day, voice, voice.say("nothing")),
    )
