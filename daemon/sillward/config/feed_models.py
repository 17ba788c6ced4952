"""The tables [[feeds]] and [[courses]] as they are written: keys, types and ranges."""

from datetime import date, timedelta
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from sillward.config import patterns
from sillward.config.models import Duration, FeedTable, Grams, Salt, Table, Text
from sillward_rules.plants.course_progress import KEPT
from sillward_rules.plants.feeds import WEEK
from sillward_rules.weather.time_expressions import parse_duration
from sillward_rules.weather.year_day import parse_year_day


def _a_day_or_more(text: str) -> str:
    days = parse_duration(text) / timedelta(days=1)
    if not 1 <= days <= 366:
        msg = f'"{text}": must be from "1 d" to "366 d"; what is given is given once a day at most'
        raise ValueError(msg)
    return text


def _span_of_course(text: str) -> str:
    if not timedelta(days=1) <= parse_duration(text) <= KEPT - WEEK:
        msg = f'"{text}": must be from "1 d" to "{(KEPT - WEEK).days} d"'
        raise ValueError(msg)
    return text


def _year_day(text: str) -> str:
    parse_year_day(text)
    return text


def _short(text: str) -> str:
    if not timedelta(minutes=5) <= parse_duration(text) <= timedelta(hours=6):
        msg = f'"{text}": must be from "5 min" to "6 h"'
        raise ValueError(msg)
    return text


Every = Annotated[Duration, AfterValidator(_a_day_or_more)]
CourseEvery = Annotated[Duration, AfterValidator(_span_of_course)]
YearDayText = Annotated[
    str, AfterValidator(_year_day), Field(json_schema_extra={"pattern": patterns.YEAR_DAY})
]
RinseAfter = Annotated[Duration, AfterValidator(_short)]

_CHOICE = "which plants it is for, as in a rule (all)"


class NamedFeedTable(FeedTable):
    """[[feeds]]: a feed for some plants, in place of [feed]."""

    name: Text = Field(description="what messages call it")
    every: Every | None = Field(
        None, description="shortest time between two of them; left out: `feed_every` of your habits"
    )
    season: Annotated[list[Literal["growing", "slowing"]], Field(min_length=1)] | None = Field(
        None,
        description=(
            "in which seasons of growth it is given, at that pace; left out: while plants grow, "
            "and half as often while growth slows down"
        ),
    )
    begins: YearDayText | None = Field(
        None,
        alias="from",
        description='its first day of each year, such as "03-01"; left out: all year',
    )
    until: YearDayText | None = Field(
        None, description="its last day of each year; it may be after the new year"
    )
    plants: dict[str, Any] = Field({}, description=_CHOICE)


class CourseTable(Table):
    """[[courses]]: a salt that some plants get for a while, besides their feed."""

    name: Text = Field(description="what messages call it")
    salt: Salt = Field(description='a salt by name or formula, such as "Epsom salt"')
    grams_per_litre: Grams = Field(description="how much of it goes into a litre of water, g/L")
    water_ec: Annotated[float, Field(ge=0, le=10)] | None = Field(
        None,
        description=(
            "EC of the water before the salt is added, mS/cm; left out: as in [water] or [feed]"
        ),
    )
    ec: Annotated[float, Field(gt=0, le=10)] | None = Field(
        None,
        description="EC of the mix by your meter, mS/cm; left out: an estimate on the high side",
    )
    litres: Annotated[float, Field(gt=0, le=200)] = Field(
        1.0, description="how much you mix at a time, L (1)"
    )
    times: Annotated[int, Field(ge=1, le=7)] | None = Field(
        None, description="how often in a week; give this or `every`"
    )
    every: CourseEvery | None = Field(
        None, description="time from one to the next; give this or `times`"
    )
    begins: date | None = Field(
        None, alias="from", description="its first day, such as 2026-03-01; left out: at once"
    )
    until: date | None = Field(
        None, description="its last day; left out: until `sillward course --end`"
    )
    rinse_after: RinseAfter | None = Field(
        None,
        description=(
            "how long after it plain water follows; left out: the uptake time in your habits"
        ),
    )
    never_with: Annotated[list[Text], Field(max_length=20)] = Field(
        [], description="what it must not be mixed with, in your words; its sheet says so"
    )
    plants: dict[str, Any] = Field({}, description=_CHOICE)
