"""Write the invented forecast bodies of examples/recorded/.

This is invented weather for an invented courtyard in Mendoza. No observation and no forecast
of any provider is in it. The bodies are shaped like those of the open forecast API, so that the
same parser reads them: 216 hours from 00:00 UTC of the day before "today", unix times, metres
per second. Radiation, gust and precipitation belong to the hour that ENDS at their time stamp,
everything else to the instant.

The run is deterministic (fixed seeds, no clock) and checks its own physics before it writes:

    python examples/make_recorded.py

Inside, `h` is always local hours since 00:00 local of "today": h = 30.5 is 06:30 tomorrow.
"""

import json
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from pathlib import Path
from typing import NamedTuple

import numpy as np
from astral import Observer
from astral.sun import elevation, noon, sunrise, sunset
from numpy.typing import NDArray

Series = NDArray[np.float64]

HOURS = 216
FIRST_H = -27  # 00:00 UTC of yesterday, in local hours relative to today's local midnight
SUBSTEPS = 12  # of the sun, per hour
LOCAL = timezone(timedelta(hours=-3))  # America/Argentina/Mendoza, which has no DST
SITE = Observer(latitude=-32.89, longitude=-68.85, elevation=0.0)
SOLAR_CONSTANT = 1361.0
TIME_OF_MIN = 0.2  # hours after sunrise
TIME_OF_MAX = 2.5  # hours after solar noon
BLUR_LIFT = 0.025  # share of the daily range by which blurring lifts the dawn minimum
UNITS = {
    "time": "unixtime",
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "dew_point_2m": "°C",
    "surface_pressure": "hPa",
    "cloud_cover": "%",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "precipitation": "mm",
    "direct_radiation": "W/m²",
    "diffuse_radiation": "W/m²",
    "weather_code": "wmo code",
}
HEAD: dict[str, object] = {
    "latitude": -32.875,
    "longitude": -68.875,
    "generationtime_ms": 0.4,
    "utc_offset_seconds": 0,
    "timezone": "GMT",
    "timezone_abbreviation": "GMT",
    "elevation": 780.0,
}


class Bump(NamedTuple):
    """A passing event: a bell with its own width before and after its peak."""

    at: float
    before: float
    after: float
    size: float


class Knot(NamedTuple):
    """A support point of a slowly varying curve."""

    h: float
    value: float


@dataclass(frozen=True)
class Story:
    """What the weather does. `days` starts two days before today: (dawn minimum, maximum)."""

    name: str
    today: date
    seed: int
    days: Sequence[tuple[float, float]]
    decay: float  # of the night curve; larger falls faster after sunset
    dew_point: Sequence[Knot]
    pressure: Sequence[Knot]
    cloud: Sequence[Knot]
    wind: Sequence[Knot]  # h is the hour of the day, 0 to 24
    rain: dict[int, float]  # h at the END of the wet hour, mm
    noon_radiation: tuple[float, float]  # the brightest hour of the week lies in here, W/m2
    temperature_bumps: Sequence[Bump] = ()
    wind_bumps: Sequence[Bump] = ()
    cloud_bumps: Sequence[Bump] = ()
    hail: frozenset[int] = frozenset()  # h at the END of an hour with hail


class Sun(NamedTuple):
    """Sunrise, solar noon and sunset of one local day, in h."""

    rise: float
    noon: float
    set: float


def k(text: str) -> tuple[Knot, ...]:
    """A row of knots from its shorthand "h:value h:value ..."."""
    pairs = (word.split(":") for word in text.split())
    return tuple(Knot(float(h), float(value)) for h, value in pairs)


COLD_SNAP = Story(
    name="cold-snap",
    today=date(2026, 5, 14),
    seed=514,
    days=[
        (11.5, 19.0),
        (11.2, 18.0),
        (11.0, 15.8),
        (4.4, 14.5),
        (3.4, 15.4),
        (6.3, 17.0),
        (8.4, 18.4),
        (10.0, 19.6),
        (11.0, 20.5),
        (11.8, 21.0),
        (11.5, 20.0),
    ],
    decay=2.7,
    dew_point=k(
        "-27:4.5 -6:5.2 4:5.0 9:3.2 14:0.4 24:0.2 32:-0.5 48:-0.6 60:0.0 84:1.6 108:3.2 "
        "132:4.6 156:5.2 188:5.8"
    ),
    pressure=k(
        "-27:924.0 -6:922.2 6:921.4 12:923.0 30:926.4 50:926.9 80:925.6 120:924.2 188:922.8"
    ),
    cloud=k("-27:6 188:4"),
    wind=k("0:1.25 6:1.2 9:1.4 13:2.6 16:2.9 18:1.7 20:1.2 24:1.25"),
    rain={},
    noon_radiation=(545.0, 605.0),
    temperature_bumps=[Bump(20.0, 2.2, 4.5, -1.0)],
    wind_bumps=[Bump(9.0, 4.5, 3.8, 4.6)],
    cloud_bumps=[Bump(6.5, 3.5, 3.0, 86.0)],
)

DRY_SUMMER = Story(
    name="dry-summer",
    today=date(2026, 1, 20),
    seed=120,
    days=[
        (20.0, 35.0),
        (19.8, 34.6),
        (19.4, 35.2),
        (20.1, 36.1),
        (20.9, 36.7),
        (21.3, 38.9),
        (21.6, 35.4),
        (20.4, 36.1),
        (19.2, 29.2),
        (19.0, 33.0),
        (19.5, 34.0),
    ],
    decay=1.9,
    dew_point=k(
        "-27:9.6 0:9.4 24:10.0 48:10.4 60:10.2 79:10.0 82:6.0 86:-0.9 91:-1.2 97:8.0 "
        "104:9.4 120:9.8 136:11.2 139:13.0 142:17.4 150:14.6 160:13.6 174:12.0 188:11.0"
    ),
    pressure=k(
        "-27:924.6 24:924.2 60:923.0 86:921.4 98:923.6 120:923.2 137:922.2 144:925.0 "
        "164:926.0 188:924.8"
    ),
    cloud=k("-27:3 76:3 86:12 98:3 128:4 136:32 152:20 176:5"),
    wind=k("0:2.0 5:1.4 10:1.5 13:2.8 16:4.0 19:4.1 21:2.9 24:2.0"),
    rain={141: 0.9, 142: 3.7, 143: 1.2, 144: 0.2},
    noon_radiation=(950.0, 1045.0),
    temperature_bumps=[Bump(142.2, 1.4, 3.6, -5.6)],
    wind_bumps=[Bump(87.5, 2.6, 2.2, 4.9), Bump(140.5, 0.9, 1.1, 3.2)],
    cloud_bumps=[Bump(141.5, 2.2, 2.8, 66.0)],
)

MILD_WEEK = Story(
    name="mild-week",
    today=date(2026, 10, 6),
    seed=1006,
    days=[
        (10.0, 22.0),
        (10.1, 22.2),
        (10.3, 22.0),
        (10.8, 22.9),
        (11.6, 23.8),
        (12.3, 24.9),
        (13.4, 25.4),
        (14.0, 23.4),
        (14.5, 25.9),
        (15.0, 26.9),
        (15.2, 26.5),
    ],
    decay=2.1,
    dew_point=k(
        "-27:5.9 24:6.2 48:6.8 72:7.7 96:8.9 113:9.6 119:12.4 125:12.4 133:9.7 148:9.8 "
        "168:10.5 188:11.0"
    ),
    pressure=k("-27:925.0 24:925.8 72:924.6 104:922.6 124:922.4 142:924.8 188:924.0"),
    cloud=k("-27:20 10:15 20:28 40:10 60:34 80:22 100:40 110:58 130:60 142:25 160:12 188:22"),
    wind=k("0:1.7 6:1.5 10:1.9 14:3.2 17:3.6 20:2.3 24:1.7"),
    rain={120: 0.3, 121: 0.8, 122: 0.6, 123: 0.2, 125: 0.1},
    noon_radiation=(800.0, 915.0),
    wind_bumps=[Bump(117.0, 4.0, 4.0, 1.6)],
    cloud_bumps=[Bump(121.0, 5.0, 4.0, 36.0)],
)


WET_AUTUMN = Story(
    name="wet-autumn",
    today=date(2026, 4, 9),
    seed=409,
    days=[
        (14.2, 24.8),
        (14.6, 25.0),
        (15.0, 24.1),
        (15.3, 21.6),
        (14.8, 22.3),
        (14.4, 23.0),
        (13.6, 22.0),
        (12.6, 21.5),
        (12.0, 21.9),
        (11.8, 22.4),
        (11.5, 22.0),
    ],
    decay=2.1,
    dew_point=k(
        "-27:10.4 0:11.0 12:11.6 18:13.0 24:13.4 32:13.1 48:11.8 72:11.2 96:10.3 120:9.4 "
        "148:8.8 188:8.4"
    ),
    pressure=k("-27:924.5 12:922.8 24:922.0 48:923.6 64:922.2 96:925.0 188:925.6"),
    cloud=k("-27:20 8:25 14:55 18:85 32:80 40:45 60:40 64:75 72:40 96:20 188:15"),
    wind=k("0:1.2 6:1.1 10:1.6 14:2.4 17:2.3 20:1.3 24:1.2"),
    rain={19: 1.6, 20: 3.2, 21: 2.4, 22: 1.1, 23: 0.5, 65: 6.5, 66: 2.0},
    noon_radiation=(700.0, 860.0),
    wind_bumps=[Bump(64.5, 1.5, 2.0, 5.0)],
    cloud_bumps=[Bump(65.0, 2.0, 3.0, 30.0)],
    hail=frozenset({65}),
)


def require(ok: bool, message: str) -> None:
    """Refuse to write weather that could not be."""
    if not ok:
        raise ValueError(message)


def clock(hours: float) -> float:
    """Hour of the day of h."""
    return hours % 24.0


def when(story: Story, hours: float) -> datetime:
    """The moment of h, in UTC."""
    midnight = datetime.combine(story.today, time(0), tzinfo=LOCAL)
    return (midnight + timedelta(hours=hours)).astimezone(UTC)


def sun_of(story: Story, day: int) -> Sun:
    """Sunrise, solar noon and sunset of the local day `day`, 0 being today."""
    midnight = datetime.combine(story.today, time(0), tzinfo=LOCAL)
    local_day = story.today + timedelta(days=day)
    events = (
        sunrise(SITE, local_day, tzinfo=LOCAL),
        noon(SITE, local_day, tzinfo=LOCAL),
        sunset(SITE, local_day, tzinfo=LOCAL),
    )
    return Sun(*((event - midnight).total_seconds() / 3600.0 for event in events))


def saturation(temperature: Series) -> Series:
    """Saturation vapour pressure over water, kPa."""
    pressure: Series = 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3))
    return pressure


def smooth(values: Series, width: float, step: float = 1.0) -> Series:
    """Blur with a bell of the given standard deviation in hours; `step` is the spacing."""
    reach = math.ceil(4.0 * width / step)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / width) ** 2)
    padded = np.pad(values, reach, mode="edge")
    return np.convolve(padded, kernel / kernel.sum(), mode="valid")


def noise(source: random.Random, width: float) -> Series:
    """Unit noise whose neighbouring hours resemble each other."""
    rough = np.array([source.gauss(0.0, 1.0) for _ in range(HOURS)])
    soft = smooth(rough, width)
    unit: Series = (soft - float(soft.mean())) / float(soft.std())
    return unit


def curve(hours: Series, knots: Sequence[Knot]) -> Series:
    """Straight lines through the knots."""
    return np.interp(hours, [p.h for p in knots], [p.value for p in knots])


def bells(hours: Series, bumps: Sequence[Bump]) -> Series:
    """Sum of the passing events."""
    total = np.zeros_like(hours)
    for bump in bumps:
        width = np.where(hours < bump.at, bump.before, bump.after)
        total += bump.size * np.exp(-0.5 * ((hours - bump.at) / width) ** 2)
    return total


def daily_course(story: Story, hours: Series) -> Series:
    """A sine from the dawn minimum over the maximum to sunset, then a decay to the next dawn."""
    out = np.empty_like(hours)
    suns = [sun_of(story, day) for day in range(-2, len(story.days) - 2)]
    lows = [low - BLUR_LIFT * (high - low) for low, high in story.days]
    for day in range(len(suns) - 1):
        today, tomorrow = suns[day], suns[day + 1]
        low, high, next_low = lows[day], story.days[day][1], lows[day + 1]
        start, end = today.rise + TIME_OF_MIN, tomorrow.rise + TIME_OF_MIN
        quarter = today.noon + TIME_OF_MAX - start
        inside = (hours >= start) & (hours < end)
        angle = np.minimum(hours, today.set) - start
        by_day = low + (high - low) * np.sin(0.5 * math.pi * angle / quarter)
        night = np.clip((hours - today.set) / (end - today.set), 0.0, 1.0)
        left = np.exp(-story.decay * night) - math.exp(-story.decay)
        fall = 0.8 * left / (1.0 - math.exp(-story.decay)) + 0.2 * (1.0 - night)
        out[inside] = (next_low + (by_day - next_low) * fall)[inside]
        morning = inside & (hours < today.set)
        out[morning] = by_day[morning]
    return out


def temperatures(story: Story, hours: Series, source: random.Random) -> Series:
    """Air temperature, to 0.1 degrees."""
    step = 0.1
    fine = np.arange(hours[0] - 6.0, hours[-1] + 6.0, step)
    course = np.interp(hours, fine, smooth(daily_course(story, fine), 0.35, step))
    wobble = 0.16 * noise(source, 2.2) + 0.05 * noise(source, 0.5)
    air = course + wobble + bells(hours, story.temperature_bumps)
    return np.round(air, 1)


def dew_points(story: Story, hours: Series, temperature: Series, source: random.Random) -> Series:
    """Dew point, to 0.1 degrees and never above the air."""
    free = smooth(curve(hours, story.dew_point), 1.2) + 0.3 * noise(source, 2.5)
    return np.minimum(np.round(free, 1), temperature)


def humidities(temperature: Series, dew_point: Series) -> Series:
    """Relative humidity in whole per cent, from the rounded temperature and dew point."""
    percent = 100.0 * saturation(dew_point) / saturation(temperature)
    return np.minimum(100.0, np.round(percent))


def pressures(story: Story, hours: Series, source: random.Random) -> Series:
    """Pressure at the station with its daily and half-daily tide."""
    tide = 0.7 * np.cos(2.0 * math.pi * (hours - 7.0) / 24.0)
    tide += 0.5 * np.cos(4.0 * math.pi * (hours - 10.0) / 24.0)
    trend = smooth(curve(hours, story.pressure), 2.0)
    return np.round(trend + tide + 0.15 * noise(source, 2.0), 1)


def clouds(story: Story, hours: Series, source: random.Random) -> Series:
    """Total cloud in whole per cent; more restless where there is more of it."""
    base = smooth(curve(hours, story.cloud), 2.0) + bells(hours, story.cloud_bumps)
    restless = 2.0 + 0.75 * np.minimum(base, np.maximum(0.0, 100.0 - base))
    cover: Series = np.clip(base + restless * (0.5 * noise(source, 1.3) - 0.2), 0.0, 100.0)
    return np.round(cover)


def winds(story: Story, hours: Series, source: random.Random) -> tuple[Series, Series]:
    """Wind of the instant, and the strongest gust of the hour that ends there."""
    cycle = curve(np.array([clock(h) for h in hours]), story.wind)
    lively = np.exp(0.11 * noise(source, 1.6))
    wind = np.round(cycle * lively + bells(hours, story.wind_bumps), 1)
    stronger = np.maximum(wind, np.concatenate((wind[:1], wind[:-1])))
    factor = 1.78 + 0.1 * noise(source, 1.2)
    return wind, np.round(stronger * factor + 0.4, 1)


def sun_heights(story: Story, hours: Series) -> Series:
    """Sine of the solar elevation in the middle of each part of the hour before each h."""
    parts = (np.arange(SUBSTEPS) + 0.5) / SUBSTEPS - 1.0
    rows = [
        [elevation(SITE, when(story, h + part), with_refraction=False) for part in parts]
        for h in hours.tolist()
    ]
    angles: Series = np.radians(np.array(rows, dtype=np.float64))
    return np.maximum(0.0, np.sin(angles))


def beyond_the_air(story: Story, height: Series) -> Series:
    """Radiation on a level plane above the atmosphere, mean of each hour."""
    day = story.today.timetuple().tm_yday
    distance = 1.0 + 0.033 * math.cos(2.0 * math.pi * day / 365.0)
    mean: Series = height.mean(axis=1)
    return SOLAR_CONSTANT * distance * mean


def clear_sky(story: Story, height: Series) -> Series:
    """Global radiation without cloud: an exponential in the air mass, a little dusty."""
    day = story.today.timetuple().tm_yday
    distance = 1.0 + 0.033 * math.cos(2.0 * math.pi * day / 365.0)
    safe = np.maximum(height, 1e-4)
    return np.where(height > 0.0, 1054.0 * distance * height * np.exp(-0.057 / safe), 0.0)


def radiation(story: Story, cloud: Series, height: Series) -> tuple[Series, Series]:
    """Direct (on the level) and diffuse radiation, means of the preceding hour."""
    before = np.concatenate((cloud[:1], cloud[:-1]))
    parts = (np.arange(SUBSTEPS) + 0.5) / SUBSTEPS
    cover = (before[:, None] * (1.0 - parts) + cloud[:, None] * parts) / 100.0
    clear = clear_sky(story, height)
    safe = np.maximum(height, 1e-4)
    scattered = np.minimum(0.9, 0.06 + 0.06 / safe)
    total = clear * (1.0 - 0.72 * cover**2.6)
    direct = np.minimum(total, clear * (1.0 - scattered) * (1.0 - cover) ** 0.9)
    diffuse = total - direct
    return np.round(direct.mean(axis=1), 1), np.round(diffuse.mean(axis=1), 1)


def build(story: Story) -> dict[str, Series]:
    """All series of one body, checked."""
    source = random.Random(story.seed)
    hours = np.arange(FIRST_H, FIRST_H + HOURS, dtype=np.float64)
    height = sun_heights(story, hours)
    temperature = temperatures(story, hours, source)
    dew_point = dew_points(story, hours, temperature, source)
    cloud = clouds(story, hours, source)
    wind, gust = winds(story, hours, source)
    direct, diffuse = radiation(story, cloud, height)
    made = {
        "time": np.array([when(story, h).timestamp() for h in hours.tolist()]),
        "temperature_2m": temperature,
        "relative_humidity_2m": humidities(temperature, dew_point),
        "dew_point_2m": dew_point,
        "surface_pressure": pressures(story, hours, source),
        "cloud_cover": cloud,
        "wind_speed_10m": wind,
        "wind_gusts_10m": gust,
        "precipitation": np.array([story.rain.get(int(h), 0.0) for h in hours]),
        "direct_radiation": direct,
        "diffuse_radiation": diffuse,
        "weather_code": np.array(
            [weather_code(story, int(h), c) for h, c in zip(hours, cloud, strict=True)]
        ),
    }
    check_grid(story, made)
    check_air(made)
    check_course(story, hours, temperature)
    check_sun(story, made, hours, height)
    return made


def weather_code(story: Story, hour: int, cloud: float) -> float:
    """The WMO code of an hour: hail, rain, or by the cloud."""
    if hour in story.hail:
        return 96.0
    if story.rain.get(hour, 0.0) > 0:
        return 61.0
    return float(np.searchsorted([20.0, 50.0, 85.0], cloud))


def check_grid(story: Story, made: dict[str, Series]) -> None:
    """Names, lengths and times."""
    require(list(made) == list(UNITS), "the series and the units differ")
    require(all(len(v) == HOURS for v in made.values()), "a series has the wrong length")
    require(all(bool(np.isfinite(v).all()) for v in made.values()), "a value is not finite")
    yesterday = datetime.combine(story.today - timedelta(days=1), time(0), tzinfo=UTC)
    require(made["time"][0] == yesterday.timestamp(), "the body starts at a wrong time")
    require(bool((np.diff(made["time"]) == 3600).all()), "the times are not hourly")


def check_air(made: dict[str, Series]) -> None:
    """Temperature, moisture, wind and pressure against each other."""
    temperature, dew_point = made["temperature_2m"], made["dew_point_2m"]
    vapour = saturation(dew_point)
    rh = 100.0 * vapour / saturation(temperature)
    apart = np.abs(np.minimum(100.0, rh) - made["relative_humidity_2m"])
    require(bool((dew_point <= temperature + 0.05).all()), "dew point above the air")
    require(bool((apart <= 1.0).all()), "humidity does not fit the dew point")
    require(float(np.abs(np.diff(temperature)).max()) <= 6.0, "the temperature jumps")
    require(float(np.abs(np.diff(vapour)).max()) <= 0.25, "the vapour pressure jumps")
    wind, gust = made["wind_speed_10m"], made["wind_gusts_10m"]
    require(bool((wind >= 0.3).all() and (gust >= wind).all()), "gusts weaker than the wind")
    pressure = made["surface_pressure"]
    require(bool(((pressure >= 919.5) & (pressure <= 928.5)).all()), "pressure out of range")
    wet = made["precipitation"] > 0.0
    require(bool((made["cloud_cover"][wet] >= 50.0).all()), "rain out of a blue sky")


def check_course(story: Story, hours: Series, temperature: Series) -> None:
    """Every dawn coldest near sunrise, every day warmest well after noon, both as told."""
    for day in range(-1, 8):
        sun, (low, high) = sun_of(story, day), story.days[day + 2]
        name = f"{story.name}, day {day}: "
        night = (hours >= 24 * day - 5) & (hours <= sun.rise + 2.0)
        coldest = float(hours[night][temperature[night].argmin()])
        require(abs(coldest - sun.rise) <= 1.3, f"{name}coldest at {clock(coldest)} h")
        require(abs(float(temperature[night].min()) - low) <= 0.7, f"{name}wrong minimum")
        light = (hours >= sun.rise) & (hours <= sun.set)
        warmest = float(hours[light][temperature[light].argmax()])
        late = warmest - sun.noon
        require(1.5 <= late <= 3.5, f"{name}warmest {late:.1f} h after solar noon")
        require(abs(float(temperature[light].max()) - high) <= 0.8, f"{name}wrong maximum")


def check_sun(story: Story, made: dict[str, Series], hours: Series, height: Series) -> None:
    """Radiation against the sun, the top of the atmosphere and the cloud."""
    direct, diffuse = made["direct_radiation"], made["diffuse_radiation"]
    total = direct + diffuse
    suns = [sun_of(story, day) for day in range(-2, 9)]
    dark = np.array([not any(h > s.rise and h - 1.0 < s.set for s in suns) for h in hours])
    require(bool((total[dark] == 0.0).all()), f"{story.name}: sun at night")
    require(bool((direct >= 0.0).all() and (diffuse >= 0.0).all()), "negative radiation")
    limit = 0.8 * beyond_the_air(story, height)
    require(bool((total <= limit + 0.1).all()), f"{story.name}: more sun than there is")
    low, high = story.noon_radiation
    require(low <= float(total.max()) <= high, f"{story.name}: {total.max():.0f} W/m2 at noon")
    clear = clear_sky(story, height).mean(axis=1)
    cover = 0.5 * (made["cloud_cover"][1:] + made["cloud_cover"][:-1])
    day = height.mean(axis=1)[1:] > 0.25
    overcast, blue = day & (cover >= 55.0), day & (cover <= 10.0)
    if overcast.any() and blue.any():
        kept, share = total[1:] / np.maximum(clear[1:], 1.0), diffuse[1:] / (total[1:] + 0.1)
        dimmed = kept[overcast].max() < kept[blue].min()
        require(bool(dimmed), f"{story.name}: cloud does not dim")
        scattered = share[overcast].min() > share[blue].max()
        require(bool(scattered), f"{story.name}: cloud does not scatter")


def numbers(name: str, values: Series) -> str:
    """One array as JSON text: whole numbers where the API has them, one decimal elsewhere."""
    whole = name in ("time", "relative_humidity_2m", "cloud_cover", "weather_code")
    row = [int(v) if whole else round(v, 1) + 0.0 for v in values.tolist()]
    return json.dumps(row, separators=(",", ":"))


def body(made: dict[str, Series]) -> str:
    """The whole JSON text, one array to a line."""
    head = [f"{json.dumps(key)}: {json.dumps(value)}" for key, value in HEAD.items()]
    head.append('"hourly_units": ' + json.dumps(UNITS, ensure_ascii=False))
    rows = [f"  {json.dumps(name)}: {numbers(name, values)}" for name, values in made.items()]
    hourly = '"hourly": {\n' + ",\n".join(rows) + "\n }"
    return "{\n " + ",\n ".join([*head, hourly]) + "\n}\n"


def main() -> None:
    """Build and check all of them before writing any."""
    stories = (COLD_SNAP, DRY_SUMMER, MILD_WEEK, WET_AUTUMN)
    texts = {story.name: body(build(story)) for story in stories}
    folder = Path(__file__).resolve().parent / "recorded"
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        (folder / f"{name}.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
