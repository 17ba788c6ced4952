"""The tables of a collection file as pydantic models: keys, types, ranges. No cross-checks."""

from collections.abc import Callable
from datetime import time, timedelta
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SecretStr

from sillward_rules import moments
from sillward_rules.feed import SALTS, parse_npk, salt_named
from sillward_rules.plant import Holder, Rest, Rot

Share = Annotated[float, Field(ge=0, le=1)]
Celsius = Annotated[float, Field(ge=-60, le=60)]
NightLow = Annotated[float, Field(ge=-30, le=30)]
"""More than 30 °C is a night limit in °F."""
Percent = Annotated[float, Field(ge=2, le=100)]
"""Less than 2 % is a share that was meant as percent."""
Kelvin = Annotated[float, Field(ge=-15, le=15)]


_JOINERS = str.maketrans("", "", "\u200c\u200d\u200e\u200f")
"""Signs without a shape that names in Persian, Arabic and Hebrew need, and some emoji."""


def _plain(text: str) -> str:
    if not text.strip() or not text.translate(_JOINERS).isprintable():
        msg = "must be plain text on one line"
        raise ValueError(msg)
    return text


Text = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_plain)]


def _checked(parse: Callable[[str], object]) -> AfterValidator:
    """A text that the core's own parser must accept; the text itself is kept."""

    def check(text: str) -> str:
        parse(text)
        return text

    return AfterValidator(check)


Duration = Annotated[str, _checked(moments.parse_duration)]
MomentText = Annotated[str, _checked(moments.parse_moment)]
HoursText = Annotated[str, _checked(moments.parse_hours)]
WeeklyText = Annotated[str, _checked(moments.parse_weekly)]


class Table(BaseModel):
    """A table of the file: nothing unknown in it, nothing guessed."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, populate_by_name=True
    )


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        example = "America/Argentina/Mendoza"
        msg = f'"{name}" is no time zone; write for example "{example}"'
        raise ValueError(msg) from None


class SiteTable(Table):
    """[site]"""

    name: Text
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    elevation: Annotated[float, Field(ge=-430, le=6000)]
    zone: Annotated[Text, _checked(_zone)]


class SunTable(Table):
    """One window of direct sun: azimuth from..to and least elevation, degrees."""

    azimuth_from: Annotated[float, Field(ge=0, le=360, alias="from")]
    to: Annotated[float, Field(ge=0, le=360)]
    above: Annotated[float, Field(ge=0, le=90)] = 0.0


class SpotTable(Table):
    """[spots.NAME]"""

    indoors: bool = False
    sky_view: Share | None = None
    wind: Share | None = None
    shade: Share = 0.0
    rain: Share | None = None
    height: Annotated[float, Field(ge=0.1, le=30)] | None = None
    sun: list[SunTable] | None = None
    night_offset: Kelvin | None = None
    day_offset: Kelvin | None = None
    night_low: Celsius | None = None
    day_low: Celsius | None = None
    humidity: Percent | None = None


class LimitsTable(Table):
    """The grower's own limits for a plant."""

    night_low: NightLow | None = None
    brief_low: NightLow | None = None
    day_high: Celsius | None = None
    leaf_high: Celsius | None = None
    humidity_low: Percent | None = None
    vpd_high: Annotated[float, Field(gt=0, le=10)] | None = None
    light_low: Annotated[float, Field(gt=0, le=3000)] | None = None
    light_high: Annotated[float, Field(gt=0, le=3000)] | None = None
    salt_high: Annotated[float, Field(gt=0, le=10)] | None = None
    gust_high: Annotated[float, Field(gt=0, le=60)] | None = None
    rain_high: Annotated[float, Field(gt=0, le=200)] | None = None
    rot: Rot | None = None
    rest: Rest | None = None


class PlantTable(Table):
    """[[plants]]"""

    name: Text
    group: Text | None = None
    parents: Annotated[list[Text], Field(min_length=1)] | None = None
    holder: Holder
    home: Text
    shelter: Text | None = None
    velamen: bool | None = None
    limits: LimitsTable = LimitsTable()


class HabitsTable(Table):
    """[habits]"""

    in_by: MomentText | None = None
    lead: Duration | None = None
    latest_after_sunset: Duration | None = None
    out_margin: Annotated[float, Field(ge=0, le=10)] | None = None
    out_after: Duration | None = None
    worth_going_out: Duration | None = None
    brief_cold: Duration | None = None
    wet_margin: Annotated[float, Field(ge=0, le=5)] | None = None
    hours: list[HoursText] | None = None
    feed_every: Duration | None = None
    leaf_uptake: Duration | None = None
    velamen_uptake: Duration | None = None
    mist_from: Celsius | None = None
    feed_from: Celsius | None = None
    mistings_most: Annotated[int, Field(ge=0, le=8)] | None = None
    dry_by: Duration | None = None
    axil_factor: Annotated[float, Field(ge=1, le=5)] | None = None


Grams = Annotated[float, Field(gt=0, le=20)]
"""Grams per litre; more is a dose per sprayer."""


def _salt(name: str) -> str:
    salt = salt_named(name)
    if salt is None:
        msg = f'"{name}" is no salt that is known (known: {", ".join(SALTS)})'
        raise ValueError(msg)
    return salt.formula


class FeedTable(Table):
    """[feed]"""

    npk: Annotated[str, _checked(parse_npk)]
    ppm_n: Annotated[float, Field(gt=0, le=1000)] | None = None
    grams_per_litre: Grams | None = None
    mg: Annotated[float, Field(ge=0, le=30)] | None = None
    ec_per_100_ppm_n: Annotated[float, Field(gt=0, le=5)] | None = None
    water_ec: Annotated[float, Field(ge=0, le=10)]
    litres: Annotated[float, Field(gt=0, le=200)] = 1.0
    salts: dict[Annotated[str, AfterValidator(_salt)], Grams] = {}


class RoundsTable(Table):
    """[rounds]"""

    dusk: MomentText = "sunset-90min"
    morning: MomentText = "sunrise+15min"
    week: WeeklyText = "sun 18:00"


def _into_day(clock: time) -> timedelta:
    return timedelta(hours=clock.hour, minutes=clock.minute)


MOST_QUIET = timedelta(hours=14)
"""Longer quiet hours leave no room to be told in time. Judgement."""


def _from_to(text: str) -> str:
    hours = moments.parse_hours(text)
    if hours.start is None or hours.end is None:
        msg = f'"{text}" are no quiet hours; write for example "22:30-06:30"'
        raise ValueError(msg)
    if hours.start.clock is not None and hours.end.clock is not None:
        long = (_into_day(hours.end.clock) - _into_day(hours.start.clock)) % timedelta(days=1)
        if not timedelta(0) < long <= MOST_QUIET:
            msg = f'"{text}" leave too little of the day; 14 hours may be quiet at most'
            raise ValueError(msg)
    return text


def _duration_or_never(text: str) -> str:
    if text != NEVER:
        moments.parse_duration(text)
    return text


NEVER = "never"

DurationOrNever = Annotated[str, AfterValidator(_duration_or_never)]


class NoticesTable(Table):
    """[notices]"""

    quiet: Annotated[str, AfterValidator(_from_to)] | None = None
    remind: DurationOrNever = "30 min"
    pass_on: DurationOrNever = "15 min"
    moved_by: Duration = "20 min"
    most: Annotated[int, Field(ge=1, le=50)] = 6


Told = Literal["dusk", "morning", "week", "alarm"]


class ChannelTable(Table):
    """[[channels]]"""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
    url: SecretStr | None = None
    rounds: Annotated[list[Told], Field(min_length=1)] = ["dusk", "morning", "week", "alarm"]
    all_clear: bool = False
    length: Literal["short", "full"] | None = None
