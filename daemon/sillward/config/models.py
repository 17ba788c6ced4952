"""The *collection file* as it is written: a pydantic model for each table, with keys and ranges.

`building` turns these tables into a `household`; `settings` are the environment, not this file.
Checks between tables are in `cross_checks`. Growers read the descriptions in their editors
(`sillward schema`) and in the manual.
"""

import re
from collections.abc import Callable
from datetime import time, timedelta
from typing import Annotated, Any, Literal, TypeAlias
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SecretStr,
    ValidationError,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)
from pydantic_core import PydanticCustomError

from sillward.config import patterns
from sillward.config.credentials import MAX_FILE_NAME, folded_name, passphrase_file
from sillward.text import printable
from sillward_rules.plants.fertiliser import names_of_salts, parse_npk, salt_named
from sillward_rules.plants.water_chemistry import AIMED_PH, MAX_AIMED_PH, MIN_AIMED_PH
from sillward_rules.weather import time_expressions

Share = Annotated[float, Field(ge=0, le=1)]
Celsius = Annotated[float, Field(ge=-60, le=60)]
NightLow = Annotated[float, Field(ge=-30, le=30)]
"""Above 30 °C it is a night limit in °F by mistake."""
Percent = Annotated[float, Field(ge=2, le=100)]
"""Below 2 % it is a share by mistake."""
Kelvin = Annotated[float, Field(ge=-15, le=15)]


def _plain_text(text: str) -> str:
    strange = printable.unprintable(text)
    if strange or not text.strip():
        without = f", without {printable.escaped_char(strange[0])}" if strange else ""
        msg = f"must be plain text on one line{without}"
        raise ValueError(msg)
    return text


Text = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_plain_text)]


def _checked(parse: Callable[[str], object]) -> AfterValidator:
    """Return a validator of a text that a parser of the core must accept; the text is kept."""

    def check(text: str) -> str:
        parse(text)
        return text

    return AfterValidator(check)


def _pattern(pattern: str) -> Any:
    """Return a pattern for the schema alone: the parser's errors say more than a pattern's."""
    return Field(json_schema_extra={"pattern": pattern})


Duration = Annotated[str, _checked(time_expressions.parse_duration), _pattern(patterns.DURATION)]
MomentText = Annotated[str, _checked(time_expressions.parse_moment), _pattern(patterns.MOMENT)]
HoursText = Annotated[str, _checked(time_expressions.parse_hours), _pattern(patterns.HOURS)]
WeeklyText = Annotated[str, _checked(time_expressions.parse_weekly), _pattern(patterns.WEEKLY)]


class Table(BaseModel):
    """A table of the file: unknown keys are errors, and no value is converted."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, populate_by_name=True
    )


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        example = "America/Argentina/Mendoza"
        msg = f'"{name}" is not a time zone; write for example "{example}"'
        raise ValueError(msg) from None


Latitude = Annotated[float, Field(ge=-90, le=90)]
Longitude = Annotated[float, Field(ge=-180, le=180)]
Elevation = Annotated[float, Field(ge=-430, le=6000)]
Zone = Annotated[Text, _checked(_zone), _pattern(patterns.ZONE)]


class SiteTable(Table):
    """[site]: the point on the map that forecasts are for."""

    name: Text = Field(description="what messages call the site")
    latitude: Latitude = Field(
        description=(
            "degrees north of the equator, from -90 to 90; negative in the southern hemisphere"
        ),
    )
    longitude: Longitude = Field(
        description=(
            "degrees east of Greenwich, from -180 to 180; negative in the western hemisphere"
        ),
    )
    elevation: Elevation = Field(
        description="metres above sea level; the forecast is corrected for it"
    )
    zone: Zone = Field(description='time zone, such as "America/Argentina/Mendoza"')


class SunTable(Table):
    """One window of direct sun."""

    azimuth_from: Annotated[float, Field(ge=0, le=360)] = Field(
        alias="from",
        description="compass direction at which the window begins, degrees clockwise from north",
    )
    to: Annotated[float, Field(ge=0, le=360)] = Field(
        description=(
            "compass direction at which it ends, degrees clockwise from north; it may cross north"
        ),
    )
    above: Annotated[float, Field(ge=0, le=90)] = Field(
        0.0, description="least height of the sun above the horizon, degrees (0)"
    )


class SpotTable(Table):
    """[spots.NAME]: a place where plants stand."""

    indoors: bool = Field(
        False, description="true for a room or a house; false for a place under the open sky"
    )
    sky_view: Share | None = Field(
        None,
        description=(
            "share of the sky that the plants see, 0..1 (0.5); 1 on an open lawn, 0.5 beside a wall"
        ),
    )
    wind: Share | None = Field(
        None, description="share of the open-field wind that reaches the plants, 0..1 (0.35)"
    )
    shade: Share = Field(
        0.0, description="share of the light that a shade cloth takes away, 0..1 (0)"
    )
    rain: Share | None = Field(
        None, description="share of the rain that falls on the plants, 0..1 (1); 0 under a roof"
    )
    height: Annotated[float, Field(ge=0.1, le=30)] | None = Field(
        None, description="height of the plants above the ground, m (1.5)"
    )
    sun: list[SunTable] | None = Field(
        None,
        description=(
            "windows of direct sun; [] if no sun comes in; left out: open to the sun all day"
        ),
    )
    night_offset: Kelvin | None = Field(
        None,
        description=(
            "its thermometer minus the forecast at night, K; indoors: for an unheated place"
        ),
    )
    day_offset: Kelvin | None = Field(
        None, description="its thermometer minus the forecast by day, K"
    )
    night_low: Celsius | None = Field(
        None, description="indoors: the temperature that it keeps at night, °C"
    )
    day_low: Celsius | None = Field(
        None, description="indoors: the temperature that it keeps by day, °C"
    )
    humidity: Percent | None = Field(
        None, description="indoors: relative humidity, %; a percentage, not a share"
    )


def _caution(value: object, check: ValidatorFunctionWrapHandler) -> object:
    try:
        return check(value)
    except ValidationError:  # which would tell of the word and of the number, each in a line
        kind = "caution"
        msg = "must be 'relaxed', 'usual' or 'careful', or a number from 0 to 10000"
        raise PydanticCustomError(kind, msg) from None


Caution: TypeAlias = Annotated[
    Literal["relaxed", "usual", "careful"] | Annotated[float, Field(ge=0, le=10_000)],
    WrapValidator(_caution),
]


class HabitsTable(Table):
    """[habits]: how you work. Every default is judgement."""

    in_by: MomentText | None = Field(
        None,
        description='your usual hour for carrying in, if the cold comes later than that ("sunset")',
    )
    lead: Duration | None = Field(
        None,
        description=(
            'how long before the leaf crosses its limit a plant must be under cover ("45 min")'
        ),
    )
    latest_after_sunset: Duration | None = Field(
        None, description='how long after sunset you still carry plants in ("1 h")'
    )
    out_margin: Annotated[float, Field(ge=0, le=10)] | None = Field(
        None,
        description="how far above its limit a leaf must be before the plant goes out again, K (1)",
    )
    out_after: Duration | None = Field(
        None, description='how long the leaf must have been that far above its limit ("1 h")'
    )
    worth_going_out: Duration | None = Field(
        None,
        description=(
            "the shortest stay outside that is worth two trips; left out: by how warm the hours are"
        ),
    )
    caution: Caution | None = Field(
        None,
        description=(
            "how many trips a lost leaf is worth, one trip being to carry a single plant in and "
            'out again: "relaxed" (30), "usual" (120), "careful" (400), or a number; 0 for only '
            'what the forecast itself asks for ("usual")'
        ),
    )
    brief_cold: Duration | None = Field(
        None, description='the longest dip below the night limit that needs no carrying ("1 h")'
    )
    wet_margin: Annotated[float, Field(ge=0, le=5)] | None = Field(
        None,
        description=(
            "how much higher the limits of plants that rot easily are while crowns are wet, K (1.5)"
        ),
    )
    hours: list[HoursText] | None = Field(
        None,
        description=(
            'when you can water, such as ["06:30-08:30", "18:00-20:00"]; left out: at any hour'
        ),
    )
    feed_every: Duration | None = Field(None, description='shortest time between two feeds ("7 d")')
    leaf_uptake: Duration | None = Field(
        None, description='how long a leaf must stay wet to take up feed ("45 min")'
    )
    velamen_uptake: Duration | None = Field(
        None, description='how long bare velamen must stay wet to take up feed ("15 min")'
    )
    mist_from: Celsius | None = Field(
        None,
        description=(
            "nothing is misted on days that stay cooler than this, °C; left out: the plant decides"
        ),
    )
    feed_from: Celsius | None = Field(
        None,
        description=(
            "nothing is fed on days with a mean below this, °C; left out: the plant decides"
        ),
    )
    mistings_most: Annotated[int, Field(ge=0, le=8)] | None = Field(
        None, description="most mistings in a day (3)"
    )
    dry_by: Duration | None = Field(
        None, description='how long before sunset crowns must be dry ("1 h")'
    )
    axil_factor: Annotated[float, Field(ge=1, le=5)] | None = Field(
        None, description="how many times slower a sheltered axil dries than a leaf (1.5)"
    )


Grams = Annotated[float, Field(gt=0, le=20)]
"""Grams per litre. Above 20 it is the dose of a sprayer by mistake."""


def _salt(name: str) -> str:
    salt = salt_named(name)
    if salt is None:
        msg = f'"{name}" is not a salt that is known (known: {names_of_salts()})'
        raise ValueError(msg)
    return salt.formula


Salt = Annotated[str, AfterValidator(_salt)]


class FeedTable(Table):
    """[feed]: what is misted when it is time to feed."""

    npk: Annotated[str, _checked(parse_npk), _pattern(patterns.NPK)] = Field(
        description='percent of N, P2O5 and K2O as on the label, such as "20-20-20"'
    )
    ppm_n: Annotated[float, Field(gt=0, le=1000)] | None = Field(
        None,
        description="nitrogen that you want in the water, mg/L; give this or `grams_per_litre`",
    )
    grams_per_litre: Grams | None = Field(
        None, description="fertiliser in a litre of water, g/L; give this or `ppm_n`"
    )
    mg: Annotated[float, Field(ge=0, le=30)] | None = Field(
        None, description="magnesium on the label, %"
    )
    ec_per_100_ppm_n: Annotated[float, Field(gt=0, le=5)] | None = Field(
        None,
        description="EC at 100 ppm N on the label, mS/cm; left out: an estimate on the high side",
    )
    water_ec: Annotated[float, Field(ge=0, le=10)] | None = Field(
        None,
        description=(
            "EC of the water before anything is added, mS/cm; required unless there is a table "
            "[water], whose blend is then used"
        ),
    )
    litres: Annotated[float, Field(gt=0, le=200)] = Field(
        1.0, description="how much the sprayer holds, L (1)"
    )
    salts: dict[Salt, Grams] = Field(
        {}, description='other salts by name, g/L; such as { "MgSO4.7H2O" = 0.1 }'
    )


class WaterTable(Table):
    """[water]: the water in use."""

    ec: Annotated[float, Field(ge=0, le=10)] = Field(
        description=(
            "its EC as measured by a meter or a laboratory, mS/cm; in µS/cm the number is 1000 "
            "times as large"
        )
    )
    alkalinity: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        None,
        description=(
            "its alkalinity as CaCO3, mg/L; as laboratories report it (50 is 1 mmol/L of charge); "
            "left out: not known"
        ),
    )
    ph: Annotated[float, Field(ge=4, le=11)] | None = Field(
        None, description="its pH; left out: taken as 7.5"
    )
    rain: Share = Field(
        0.0,
        description=(
            "share of rain or of water from reverse osmosis that you mix into it, 0..1 (0); "
            "the other keys describe the water before that"
        ),
    )
    aim_ph: Annotated[float, Field(ge=MIN_AIMED_PH, le=MAX_AIMED_PH)] = Field(
        AIMED_PH, description="the pH that you want in the water, for `sillward mix` (6)"
    )


class RoundsTable(Table):
    """[rounds]: when you are told."""

    dusk: MomentText = Field(
        "sunset-90min",
        description='when you are told what must be under cover tonight ("sunset-90min")',
    )
    morning: MomentText = Field(
        "sunrise+15min",
        description=(
            'when you are told what may go out, and about misting and feed ("sunrise+15min")'
        ),
    )
    week: WeeklyText = Field(
        "sun 18:00",
        description='when you are told about the week ahead; sun is Sunday ("sun 18:00")',
    )


def _since_midnight(clock: time) -> timedelta:
    return timedelta(hours=clock.hour, minutes=clock.minute)


MAX_QUIET = timedelta(hours=14)
"""Judgement: longer quiet hours leave no room to be told in time."""


def _quiet_hours(text: str) -> str:
    hours = time_expressions.parse_hours(text)
    if hours.start is None or hours.end is None:
        msg = f'"{text}" is not a span of quiet hours; write for example "22:30-06:30"'
        raise ValueError(msg)
    if hours.start.clock is not None and hours.end.clock is not None:
        start, end = _since_midnight(hours.start.clock), _since_midnight(hours.end.clock)
        if not timedelta(0) < (end - start) % timedelta(days=1) <= MAX_QUIET:
            msg = f'"{text}" leaves too little of the day: at most 14 hours may be quiet'
            raise ValueError(msg)
    return text


def _duration_or_never(text: str) -> str:
    if text != NEVER:
        time_expressions.parse_duration(text)
    return text


NEVER = "never"

DurationOrNever = Annotated[
    str, AfterValidator(_duration_or_never), _pattern(patterns.DURATION_OR_NEVER)
]


class NoticesTable(Table):
    """[notices]: what follows a round, when nobody is disturbed, and in which words and units."""

    quiet: Annotated[str, AfterValidator(_quiet_hours), _pattern(patterns.QUIET)] | None = Field(
        None,
        description=(
            'hours without messages, such as "22:30-06:30"; orders that '
            "are due in them still come (none)"
        ),
    )
    remind: DurationOrNever = Field(
        "30 min",
        description='how long before its deadline an order is told again, or "never" ("30 min")',
    )
    pass_on: DurationOrNever = Field(
        "15 min",
        description=(
            'how long before its deadline an order goes to the next channel, or "never" ("15 min")'
        ),
    )
    moved_by: Duration = Field(
        "20 min",
        description=(
            "you are not told of a newer forecast that moves an hour by no more than this "
            '("20 min")'
        ),
    )
    most: Annotated[int, Field(ge=1, le=50)] = Field(
        6, description="the most messages that one channel gets in a round (6)"
    )
    temperature: Literal["°C", "°F", "C", "F"] = Field(
        "°C", description='the unit in which temperatures are told ("°C")'
    )
    clock: Literal["24 h", "12 h"] = Field("24 h", description='how hours are told ("24 h")')
    wind: Literal["m/s", "km/h", "mph"] = Field(
        "m/s", description='the unit in which wind is told ("m/s")'
    )
    wording: Text | None = Field(
        None, description="a folder with your own wording, relative to this file (none)"
    )


RoundName = Literal["dusk", "morning", "week", "alarm"]


class ChannelTable(Table):
    """[[channels]]: one way to reach you."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")] = Field(
        description="lower-case letters, digits and _; `SILLWARD_CHANNELS__NAME` may hold its URL"
    )
    url: SecretStr | None = Field(
        None,
        description="an Apprise URL for one target; a secret, better kept out of this file",
    )
    rounds: list[RoundName] = Field(
        ["dusk", "morning", "week", "alarm"],
        description=(
            "what this channel is told; alarm stands for what cannot wait for a round; [] for one "
            "that is told only while `sillward away` asks for it (all)"
        ),
    )
    all_clear: bool = Field(
        False, description="whether it is also told when there is nothing to do (false)"
    )
    length: Literal["short", "full"] | None = Field(
        None,
        description="the full text or a short push; left out: mail is full, everything else short",
    )
    person: Text | None = Field(
        None, description="who reads it: answers given through its links are recorded as theirs"
    )


Quantity = Literal["temperature", "humidity"]
PayloadKind = Literal["number", "json", "senml"]
SensorUnit = Literal["°C", "C", "°F", "F", "K", "%", "share"]
MqttVersion = Literal["3.1.1", "5"]


def _host(text: str) -> str:
    if not re.fullmatch(patterns.HOST, text):
        msg = 'must be just the name or address of a machine, such as "192.168.1.10"'
        raise ValueError(msg)
    return text


def _topic(text: str) -> str:
    if "+" in text or "#" in text:
        msg = "must be one topic; + and # stand for many, but a sensor has only one"
        raise ValueError(msg)
    if text != text.strip():
        msg = "must not begin or end with a blank"
        raise ValueError(msg)
    return text


Host = Annotated[
    str, Field(min_length=1, max_length=253), AfterValidator(_host), _pattern(patterns.HOST)
]
Topic = Annotated[
    str,
    Field(min_length=1, max_length=250),
    AfterValidator(_plain_text),
    AfterValidator(_topic),
    _pattern(patterns.TOPIC),
]


class MqttTable(Table):
    """[mqtt]: the broker that sensors send their readings to."""

    host: Host = Field(description="name or address of the machine on which the broker runs")
    port: Annotated[int, Field(ge=1, le=65535)] | None = Field(
        None, description="its port (1883, with `tls` 8883)"
    )
    tls: bool = Field(False, description="whether the connection is encrypted (false)")
    ca: Text | None = Field(
        None,
        description=(
            "a file with the certificate of the authority that signed the broker's, relative to "
            "this file; left out: the authorities that this machine trusts"
        ),
    )
    version: MqttVersion = Field("3.1.1", description="the version of MQTT to speak")
    user: Text | None = Field(
        None,
        description=(
            "the name to log in with; `SILLWARD_MQTT__PASSWORD` or a credential holds its password"
        ),
    )


def _file_can_be_named_after(name: str) -> str:
    if len(passphrase_file(name)) > MAX_FILE_NAME:
        msg = "is too long for the name of a file; write a shorter one"
        raise ValueError(msg)
    return name


def _told_apart(names: list[str]) -> list[str]:
    if len({folded_name(name) for name in names}) < len(names):
        msg = "names somebody twice (capital letters make no difference)"
        raise ValueError(msg)
    return names


PersonName = Annotated[Text, AfterValidator(_file_can_be_named_after)]


class PageTable(Table):
    """[page]: who signs in to the page on which you answer."""

    people: Annotated[list[PersonName], Field(max_length=20), AfterValidator(_told_apart)] = Field(
        [],
        description=(
            "the names of those who sign in, each with a passphrase of their own, which "
            "`sillward passphrase NAME` sets; left out: one passphrase for all"
        ),
    )


class SensorTable(Table):
    """[[sensors]]: one value that a thermometer or hygrometer at a spot sends over MQTT."""

    spot: Text = Field(description="the spot at which it hangs")
    quantity: Quantity = Field(description="what it measures")
    topic: Topic = Field(description="the topic that it sends to, without wildcards")
    payload: PayloadKind = Field("number", description="how the value is written in a message")
    path: Text | None = Field(
        None,
        description=(
            'for "json": the path to the value, its keys separated by dots, such as '
            '"bme280.temperature"'
        ),
    )
    record: Text | None = Field(
        None, description='for "senml": the name of the record, with or without its base name'
    )
    time_path: Text | None = Field(
        None,
        description=(
            'for "json": the path to the time at which it was measured, ISO 8601 with an offset '
            "or Unix seconds; left out: the time at which it arrives"
        ),
    )
    unit: SensorUnit | None = Field(
        None, description="the unit of values that come without one (°C or %)"
    )
