"""The water chart: how dry the air is, how long a wetted leaf stays wet, and when to mist."""

from collections.abc import Container, Sequence
from datetime import date, datetime, time, timedelta

import numpy as np

from sillward.charts.data.common import (
    chart_data,
    climate_rows,
    column_of,
    full_hours,
    is_known,
    limit_lines,
    plants_shown,
    values_at,
)
from sillward.charts.data.model import (
    MAX_FILM_MIN,
    ChartData,
    DaySpan,
    LimitLine,
    NightSpan,
    Window,
)
from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.explanation import film_life_min
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather

WATER_DAYS = 3
"""Days of a water chart. Judgement: so many leave room for the hours of each misting."""


def water_chart(
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
) -> ChartData:
    """Return VPD, film life and mistings at a spot for the coming days."""
    (chart,) = water_charts([spot], collection, weather, state, now, plant)
    return chart


def water_charts(
    spots: Sequence[str],
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
) -> list[ChartData]:
    """Return the chart of each of these spots; the mistings of all are planned once."""
    scene = Scene(collection, weather, state, now)
    today = scene.site.local_date(now)
    first = today if now < sun.day_events(scene.site, today).sunset else today + timedelta(days=1)
    dates = [first + timedelta(days=offset) for offset in range(WATER_DAYS)]
    mistings, planned = _mistings(scene, state, dates[-1])
    return [_chart(scene, spot, plant, dates, mistings, planned) for spot in spots]


def _chart(
    scene: Scene,
    spot: str,
    plant: Plant | None,
    dates: Sequence[date],
    mistings: Sequence[Chore],
    planned: Container[date],
) -> ChartData:
    """Return the chart of a spot.

    mistings: those of all spots until the last date. planned: the dates whose mistings are known.
    """
    collection, site, now = scene.collection, scene.site, scene.now
    column = column_of(collection, spot)
    hours = full_hours(now, site.at_clock(dates[-1] + timedelta(days=1), time(0)))
    rows = climate_rows(scene, hours)
    film = _film_min(scene, column, rows)
    uptake_min = collection.habits.leaf_uptake / timedelta(minutes=1)
    return chart_data(
        scene,
        spot,
        plant,
        kind="water",
        what="VPD, film life and misting",
        hours=hours,
        series={"vpd_kpa": values_at(scene, column, scene.climate.vpd_kpa, rows), "film_min": film},
        limits=[
            *limit_lines("vpd_kpa", "vpd_high", plants_shown(collection, spot, plant)),
            LimitLine("film_min", uptake_min, "min", ("uptake",)),
        ],
        nights=[
            NightSpan(night.start, night.end)
            for day in (dates[0] - timedelta(days=1), *dates)
            for night in [sun.night_of(site, day)]
            if night.end.timestamp() > hours[0] and night.start.timestamp() < hours[-1]
        ],
        days=[_day_span(scene, day, hours, film, planned=day in planned) for day in dates],
        windows=[
            Window(misting.not_before or now, misting.before, tuple(misting.plants))
            for misting in mistings
            if misting.from_spot == spot and (plant is None or plant.name in misting.plants)
        ],
    )


def _film_min(scene: Scene, column: int, rows: np.ndarray) -> Array:
    """Return how long a film on a leaf lasts [min], shape (hour,); NaN by night and if unknown."""
    film = np.full(rows.shape, np.nan)
    if not is_known(scene, column):
        return film
    by_day = (rows >= 0) & ~scene.climate.night[rows] if scene.climate.times.size else rows >= 0
    film[by_day] = film_life_min(scene, column, scene.climate.times[rows[by_day]])
    return np.asarray(np.minimum(film, MAX_FILM_MIN))


def _mistings(scene: Scene, state: State, last: date) -> tuple[list[Chore], set[date]]:
    """Return the mistings that the rounds would tell until the last day, and the planned days."""
    if scene.forecast_expired:
        return [], set()
    now, today = scene.now, scene.site.local_date(scene.now)
    morning, week = (
        draw_up(round_, scene.collection, scene.weather, state, now)
        for round_ in (Round.MORNING, Round.WEEK)
    )
    mistings = [chore for chore in morning.chores if chore.kind is ChoreKind.MIST]
    planned = {today}
    for day in week.outlook.days if week.outlook else ():
        if today < day.day <= last:
            planned.add(day.day)
            mistings += day.misting
    return mistings, planned


def _day_span(scene: Scene, day: date, hours: np.ndarray, film: Array, *, planned: bool) -> DaySpan:
    """Return what is left of a day; it counts as planned only if its film life is known."""
    events = sun.day_events(scene.site, day)
    start = max(events.sunrise, scene.now)
    inside = (hours >= start.timestamp()) & (hours <= events.sunset.timestamp())
    known = planned and bool(np.isfinite(film[inside]).all())
    return DaySpan(start, events.sunset, known)
