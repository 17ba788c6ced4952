"""The nights ahead and today's water: charts, the numbers in them, and the week as it is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from werkzeug.wrappers import Response

from sillward.charts.data import ChartData, LimitLine, chart_of, water_charts
from sillward.page.drawings.night import (
    HourNumbers,
    NightDrawing,
    NightNumbers,
    hours_of_night,
    night_drawing,
    night_numbers,
    night_words,
)
from sillward.page.drawings.water import (
    WaterDrawing,
    WaterNumbers,
    days_shown,
    is_planned,
    water_drawing,
    water_numbers,
    water_words,
    windows_shown,
)
from sillward.page.keys import key_of
from sillward.page.route import Route
from sillward.page.visit import Visit
from sillward.wording.voice import Voice, capital
from sillward.wording.weekly_mail import week_ahead, week_tables
from sillward_rules.plants.collection import Collection
from sillward_rules.remark import ForecastOld
from sillward_rules.sheet import Round, Sheet

MAX_NAMED = 6
"""Plants that the line of a limit names before it counts the rest. Judgement: three lines of a
phone; the page of the spot names all."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit in words, and the plants that have it."""

    value: str
    plants: str


@dataclass(frozen=True, slots=True)
class SpotNights:
    """A spot's coming nights: drawn, in words and as numbers. likely: where its range is from."""

    key: str
    name: str
    drawing: NightDrawing
    words: str
    limits: Sequence[Bound]
    likely: str | None
    numbers: Sequence[NightNumbers]
    hours: Sequence[HourNumbers]
    coming: str
    plants: int


@dataclass(frozen=True, slots=True)
class SpotWater:
    """A spot's water: drawn, in words and as numbers. mistings: hours and plants.

    planned: whether enough is known to plan them. uptake: how long a leaf must stay wet.
    """

    key: str
    name: str
    drawing: WaterDrawing
    words: str
    days: str
    limits: Sequence[Bound]
    mistings: Sequence[Bound]
    planned: bool
    uptake: str
    numbers: Sequence[WaterNumbers]


@dataclass(frozen=True, slots=True)
class Charts:
    """The nights of each spot by its name, and the water of those where plants live."""

    nights: Mapping[str, ChartData]
    water: Sequence[ChartData]


def ahead(visit: Visit) -> Response:
    """Show the week."""
    context, voice, now = visit.context, visit.voice, visit.now
    made, sheet = charts(visit), visit.desk.sheet(Round.WEEK)
    nights = [made.nights[spot] for spot in spots_lived_at(context.collection)]
    return visit.page(
        "ahead.html",
        spots=[spot_nights(data, now, voice) for data in nights],
        waters=[_spot_water(data, now, voice) for data in made.water],
        origin=nights[0].forecast if nights else "",
        **_week(sheet, voice),
    )


def charts(visit: Visit) -> Charts:
    """Return the charts; they are worked out once an hour, while nothing changes."""
    context = visit.context

    def make() -> Charts:
        collection, weather, states = context.collection, context.weather(), context.states()
        now = context.clock()
        nights = {
            spot.name: chart_of("night", spot.name, collection, weather, states, now)
            for spot in collection.spots
        }
        homes = spots_lived_at(collection)
        return Charts(nights, water_charts(homes, collection, weather, states, now))

    return visit.desk.worked_out("charts", make)


def spots_lived_at(collection: Collection) -> list[str]:
    """Return the spots where plants live: those outdoors first, then as in the collection."""
    homes = {plant.home for plant in collection.plants}
    lived_at = [spot for spot in collection.spots if spot.name in homes]
    return [spot.name for spot in sorted(lived_at, key=lambda spot: spot.indoors)]


def spot_nights(data: ChartData, now: datetime, voice: Voice) -> SpotNights:
    """Return the nights of a spot, ready to be shown."""
    return SpotNights(
        key_of(data.spot),
        data.spot,
        night_drawing(data, now, voice),
        night_words(data, voice),
        [bound_of(limit, voice) for limit in data.limits],
        data.band_origin,
        night_numbers(data, voice),
        hours_of_night(data, voice),
        voice.day(data.nights[0].start),
        sum(len(limit.plants) for limit in data.limits),
    )


def bound_of(limit: LimitLine, voice: Voice) -> Bound:
    """Return a limit in words."""
    return Bound(voice.bound(limit.value, limit.unit), voice.names(limit.plants, MAX_NAMED))


def _spot_water(data: ChartData, now: datetime, voice: Voice) -> SpotWater:
    days = days_shown(data)
    return SpotWater(
        key_of(data.spot),
        data.spot,
        water_drawing(data, now, voice),
        water_words(data, voice),
        " and ".join(voice.day(day) for day in days),
        [bound_of(limit, voice) for limit in data.limits if limit.series == "vpd_kpa"],
        [
            Bound(
                f"{voice.weekday(window.opens.date())} "
                f"{voice.units.span(window.opens, window.closes)}",
                voice.names(window.plants, MAX_NAMED),
            )
            for window in windows_shown(data)
        ],
        is_planned(data),
        next(f"{limit.value:.0f}" for limit in data.limits if limit.series == "film_min"),
        water_numbers(data, voice),
    )


def _week(sheet: Sheet, voice: Voice) -> dict[str, Any]:
    """Return the tables of the week, as its mail has them."""
    ahead = sheet.outlook
    if ahead is None:
        return {
            "sentence": "",
            "nights": [],
            "walks": [],
            "days": [],
            "facts": [],
            "warnings": [],
            "watering": [],
            "water_days": [],
        }
    facts = [ahead.turn, ahead.season, *ahead.spells, *ahead.dark, *ahead.resting]
    return {
        "sentence": week_tables.sentence(ahead, voice),
        "nights": [week_tables.night_row(night, ahead, voice) for night in ahead.nights],
        "walks": [(voice.day(day), text) for day, text in week_ahead.carrying(sheet.chores, voice)],
        "days": [week_tables.day_row(day, voice) for day in ahead.days],
        "water_days": [voice.weekday(day.day) for day in ahead.days],
        "watering": [
            (", ".join(plants), [day.day in on for day in ahead.days])
            for plants, on in ahead.watering
        ],
        "facts": [capital(voice.remark(fact)) for fact in facts if fact is not None],
        "warnings": [
            capital(voice.remark(warning))
            for warning in sheet.warnings
            if not isinstance(warning, ForecastOld)  # the line of the forecast says so
        ],
    }


ROUTES = (Route("/ahead", "ahead", ahead),)
