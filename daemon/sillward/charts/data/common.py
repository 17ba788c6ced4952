"""What charts of both kinds are computed with."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import numpy as np

from sillward.charts.data.model import ChartData, DaySpan, Kind, LimitLine, NightSpan, Window
from sillward.errors import one_line
from sillward.wording.voice import Voice
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import UNITS
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.hourly import Freshness, moment

MAX_NAME = 34
"""Characters of a spot's or plant's name in a title. Judgement: two names fit on a phone."""


def column_of(collection: Collection, spot: str) -> int:
    """Return the column of a spot in the arrays of a climate."""
    return collection.spots.index(collection.spot(spot))


def plants_shown(collection: Collection, spot: str, plant: Plant | None) -> list[Plant]:
    """Return the plants whose limits are drawn: the one asked for, or those that live at a spot."""
    if plant is not None:
        return [plant]
    return [resident for resident in collection.plants if resident.home == spot]


def full_hours(start: datetime, end: datetime) -> np.ndarray:
    """Return the full hours that enclose a span [unix s]."""
    first, last = start.timestamp() // HOUR_S, -(-end.timestamp() // HOUR_S)
    return HOUR_S * np.arange(int(first), int(last) + 1, dtype=np.int64)


def climate_rows(scene: Scene, hours: np.ndarray) -> np.ndarray:
    """Return the row of the climate for each hour, -1 outside of it, shape (hour,)."""
    times = scene.climate.times
    if not times.size:
        return np.full(hours.shape, -1)
    rows = (hours - times[0]) // HOUR_S
    return np.asarray(np.where((rows >= 0) & (rows < times.size), rows, -1))


def is_known(scene: Scene, column: int) -> bool:
    """Whether the climate of a spot can be relied on: not if it comes from too old a forecast."""
    return bool(scene.holds_itself[column]) or not scene.forecast_expired


def values_at(scene: Scene, column: int, series: Array, rows: np.ndarray) -> Array:
    """Return a series of the climate at these rows; NaN outside of it, and where it is too old."""
    if not is_known(scene, column) or not series.size:
        return np.full(rows.shape, np.nan)
    return np.where(rows >= 0, series[rows, column], np.nan)


def limit_lines(series: str, name: str, plants: Iterable[Plant]) -> list[LimitLine]:
    """Return the limits of a name, highest first, each with all the plants that share it."""
    shared: dict[float, list[str]] = {}
    for plant in plants:
        limit = getattr(plant.limits, name)
        if limit is not None:
            shared.setdefault(limit.value, []).append(plant.name)
    return [
        LimitLine(series, value, UNITS[name], tuple(names))
        for value, names in sorted(shared.items(), reverse=True)
    ]


def chart_data(
    scene: Scene,
    spot: str,
    plant: Plant | None,
    *,
    kind: Kind,
    what: str,
    hours: np.ndarray,
    series: dict[str, Array],
    limits: Sequence[LimitLine],
    nights: Sequence[NightSpan],
    days: Sequence[DaySpan] = (),
    windows: Sequence[Window] = (),
    band_origin: str | None = None,
) -> ChartData:
    """Return the data of a chart with its title, its origin, and all times in the site's zone.

    what: the quantities of the chart, in words.
    """
    site = scene.site

    def local(at: datetime) -> datetime:
        return at.astimezone(site.zone).replace(microsecond=0)

    start, end = (local(moment(hours[edge])) for edge in (0, -1))
    # The last hour of a water chart is the midnight that ends its last day.
    last = end - timedelta(hours=1)
    name = one_line(spot, MAX_NAME)
    low_times = [None if night.low_at is None else local(night.low_at) for night in nights]
    return ChartData(
        kind=kind,
        site=site.label,
        spot=spot,
        plant=None if plant is None else plant.name,
        zone=str(site.zone),
        now=local(scene.now),
        start=start,
        end=end,
        title=name if plant is None else f"{one_line(plant.name, MAX_NAME)}, {name}",
        subtitle=f"{what}, {start:%a %d %b} to {last:%a %d %b %Y}",
        forecast=_forecast(scene),
        times=tuple(local(moment(hour)) for hour in hours),
        series={
            key: tuple(None if np.isnan(value) else round(float(value), 2) for value in values)
            for key, values in series.items()
        },
        limits=tuple(limits),
        nights=tuple(
            NightSpan(local(night.start), local(night.end), night.low_c, low_at)
            for night, low_at in zip(nights, low_times, strict=True)
        ),
        days=tuple(DaySpan(local(day.start), local(day.end), day.planned) for day in days),
        windows=tuple(
            Window(local(window.opens), local(window.closes), window.plants) for window in windows
        ),
        band_origin=band_origin,
    )


def _forecast(scene: Scene) -> str:
    """Return the source and age of the forecast, and how far it can be trusted."""
    weather = scene.weather
    if not np.isfinite(weather.temp_c).any():
        return "no forecast: nothing is known"
    trust = {
        Freshness.FRESH: "",
        Freshness.OLD: ": use it with care",
        Freshness.EXPIRED: ": too old to go by",
    }[weather.freshness(scene.now)]
    age = Voice(scene.site).age(weather.age(scene.now))
    return f"{one_line(weather.source, MAX_NAME)}, {age}{trust}"
