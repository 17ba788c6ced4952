"""Write examples/past-year.csv: a year of invented weather for the courtyard in Mendoza.

No observation and no model's output is in it. Cold spells come and go as a random walk that is
drawn back to the season's mean (an AR(1) by days), cloud keeps nights warm and days cool, a few
days have the dry, hot wind from the mountains, and storms rain in summer evenings. The means of the
seasons are Mendoza's as remembered, rounded.

The file looks like the CSV of the open forecast API's archive: its place, then the hours, in unix
time. Rain and radiation are of the hour that ENDS at the time, everything else
is of the instant. The run is deterministic (a fixed seed, no clock):

    python examples/make_past_year.py
"""

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

Series = NDArray[np.float64]

SITE = Site("Courtyard", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))
START, END = datetime(2024, 11, 20, tzinfo=UTC), datetime(2025, 12, 4, tzinfo=UTC)
"""A year from 1 December on, with ten days before it and three after it."""

SEED = 1130
HOUR_S, DAY_S = 3600, 86400
COLDEST_DAY = 191  # 10 July
LOW_C, LOW_SWING_C = 10.4, 7.8
HIGH_C, HIGH_SWING_C = 23.6, 8.8
DEW_C, DEW_SWING_C = 3.6, 5.2

COLUMNS = {
    "temperature_2m (°C)": "{:g}",
    "dew_point_2m (°C)": "{:g}",
    "wind_speed_10m (km/h)": "{:.0f}",
    "cloud_cover (%)": "{:.0f}",
    "precipitation (mm)": "{:g}",
    "direct_radiation (W/m²)": "{:.0f}",
    "diffuse_radiation (W/m²)": "{:.0f}",
}


def walk(rng: np.random.Generator, count: int, kept: float) -> Series:
    """An AR(1) of unit deviation."""
    steps = rng.standard_normal(count)
    for row in range(1, count):
        steps[row] = kept * steps[row - 1] + np.sqrt(1 - kept**2) * steps[row]
    return steps


def by_season(days: NDArray[np.floating], middle: float, swing: float) -> Series:
    """A quantity on each day of the year that is lowest on `COLDEST_DAY`."""
    turn = np.cos(2 * np.pi * (days - COLDEST_DAY) / 365.25)
    return np.asarray(middle - swing * turn, dtype=np.float64)


class Days:
    """The weather of each local day, from two days before the first to two after the last."""

    def __init__(self, rng: np.random.Generator, first: int, count: int) -> None:
        number = np.arange(first, first + count)
        in_year = (number - 20088.0) % 365.25  # 1 January 2025 is day 20,089 since 1970
        spell = walk(rng, count, 0.65)
        self.cloud = np.clip(0.32 + 0.3 * walk(rng, count, 0.45), 0.0, 1.0)
        winter = by_season(in_year, 0.5, -0.5)  # 1 in July, 0 in January
        mountain_wind = (rng.random(count) < 0.035 * (0.4 + winter)).astype(float)
        self.low = by_season(in_year, LOW_C, LOW_SWING_C) + 2.6 * spell + 3.2 * (self.cloud - 0.32)
        high = by_season(in_year, HIGH_C, HIGH_SWING_C) + 3.4 * spell - 7.0 * (self.cloud - 0.32)
        self.high = np.maximum(high + 7.0 * mountain_wind, self.low + 3.0)
        dew = by_season(in_year, DEW_C, DEW_SWING_C) + 2.4 * walk(rng, count, 0.6)
        self.dew = dew + 3.0 * (self.cloud - 0.32) - 8.0 * mountain_wind
        self.wind = np.exp(0.25 * walk(rng, count, 0.3)) + 1.2 * mountain_wind
        storm = rng.random(count) < 0.55 * self.cloud * (1.1 - winter) * (self.cloud > 0.45)
        self.rain_mm = np.where(storm, rng.gamma(1.3, 4.5, count), 0.0)
        self.rain_hour = rng.integers(16, 22, count)  # local
        self.events = [
            sun.day_events(
                SITE, SITE.local_date(datetime.fromtimestamp(day * DAY_S + DAY_S / 2, UTC))
            )
            for day in number.tolist()
        ]


def temperatures(days: Days, times: Series) -> Series:
    """Coldest soon after sunrise, warmest three hours after noon, falling fast after sunset."""
    at, values = [], []
    for day, events in enumerate(days.events[:-1]):
        rise, down = events.sunrise.timestamp(), events.sunset.timestamp()
        noon, low, high = (rise + down) / 2, days.low[day], days.high[day]
        after = days.low[day + 1]
        dusk = after + 0.62 * (high - after)
        at += [rise + 0.3 * HOUR_S, noon - 1.5 * HOUR_S, noon + 2.8 * HOUR_S, down]
        values += [low, low + 0.72 * (high - low), high, dusk]
        at += [down + 3 * HOUR_S, down + 7 * HOUR_S]
        values += [after + 0.5 * (dusk - after), after + 0.22 * (dusk - after)]
    return np.asarray(np.interp(times, at, values))


def radiation(times: Series, cloud: Series) -> tuple[Series, Series]:
    """Direct (on the level) and diffuse, means of the hour before each time [W/m2]."""
    direct, diffuse = np.zeros(times.shape), np.zeros(times.shape)
    parts = 6
    for part in range(parts):
        moments = times - HOUR_S * (part + 0.5) / parts
        height = np.sin(np.radians(np.maximum(0.0, sun.positions(SITE, moments)[1])))
        safe = np.maximum(height, 1e-4)
        clear = np.where(height > 0, 1054.0 * height * np.exp(-0.057 / safe), 0.0)
        whole = clear * (1.0 - 0.72 * cloud**2.6)
        beam = np.minimum(whole, clear * (1.0 - np.minimum(0.9, 0.06 + 0.06 / safe)))
        beam = beam * (1.0 - cloud) ** 0.9
        direct += beam / parts
        diffuse += (whole - beam) / parts
    return direct, diffuse


def build() -> tuple[NDArray[np.int64], dict[str, Series]]:
    """All series, with their times."""
    rng = np.random.default_rng(SEED)
    start, end = int(START.timestamp()), int(END.timestamp())
    times = np.arange(start, end + 1, HOUR_S, dtype=np.int64)
    first = start // DAY_S - 2
    days = Days(rng, first, end // DAY_S - first + 3)
    local = times - 3 * HOUR_S  # the zone has no summer time
    day = local // DAY_S - first
    hour = local % DAY_S / HOUR_S
    wobble = walk(rng, times.size, 0.8)
    cloud = np.clip(days.cloud[day] + 0.22 * walk(rng, times.size, 0.85), 0.0, 1.0)
    temp = np.round(temperatures(days, times.astype(np.float64)) + 0.35 * wobble, 1)
    middle = (times / DAY_S - first) - 0.5 - 3 / 24
    dew = np.interp(middle, np.arange(days.dew.size), days.dew) + 0.4 * walk(rng, times.size, 0.8)
    cycle = np.interp(hour, (0, 6, 10, 15, 19, 24), (1.2, 1.1, 1.5, 3.0, 2.2, 1.2))
    wind = np.maximum(0.3, days.wind[day] * cycle * np.exp(0.15 * walk(rng, times.size, 0.7)))
    falls = days.rain_hour[day]
    share = np.where(hour == falls, 0.6, np.where(hour == falls + 1, 0.4, 0.0))
    rain = np.round(days.rain_mm[day] * share, 1)
    cloud = np.where(rain > 0, np.maximum(cloud, 0.8), cloud)
    direct, diffuse = radiation(times.astype(np.float64), cloud)
    dew = np.minimum(np.round(dew, 1), temp)
    series = (temp, dew, 3.6 * wind, 100 * cloud, rain, direct, diffuse)
    return times, dict(zip(COLUMNS, series, strict=True))


def text() -> str:
    """The whole file."""
    times, series = build()
    head = [
        "latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation",
        f"{SITE.latitude},{SITE.longitude},{SITE.elevation_m:.1f},0,GMT,GMT",
        "",
        ",".join(["time (unix)", *COLUMNS]),
    ]
    columns = [
        [shape.format(value + 0.0) for value in series[name].tolist()]
        for name, shape in COLUMNS.items()
    ]
    rows = [",".join(row) for row in zip(map(str, times.tolist()), *columns, strict=True)]
    return "\n".join([*head, *rows, ""])


def main() -> None:
    """Write the file beside this script."""
    path = Path(__file__).resolve().parent / "past-year.csv"
    path.write_text(text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
