"""The night chart: leaf temperature at a spot through the coming nights."""

from collections.abc import Sequence
from datetime import datetime, timedelta

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
from sillward.charts.data.model import ChartData, NightSpan
from sillward_rules.arrays import Array
from sillward_rules.planners.outlook import NIGHTS
from sillward_rules.planners.scene.night_risk import spread_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.shelter import spot_lows
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import State
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.spot_doubt import doubt_factor
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import Spread

MORNING_AFTER = timedelta(hours=4)
"""How long the chart goes on after its last night. Judgement: so that the last low can be read."""


def night_chart(
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
) -> ChartData:
    """Return leaf temperature at a spot through the coming nights, with its plants' limits."""
    scene, column = Scene(collection, weather, state, now), column_of(collection, spot)
    first = sun.night_at_or_after(scene.site, now)
    nights = [
        sun.night_of(scene.site, first.day + timedelta(days=offset)) for offset in range(NIGHTS)
    ]
    hours = full_hours(min(now, first.start), nights[-1].end + MORNING_AFTER)
    rows = climate_rows(scene, hours)
    leaf = values_at(scene, column, scene.climate.leaf_c, rows)
    sd_k, origin = _spread(scene, column, nights)
    error = np.where(rows >= 0, sd_k[rows], np.nan) if sd_k.size else np.full(rows.shape, np.nan)
    has_band = bool(np.isfinite(leaf + error).any())
    return chart_data(
        scene,
        spot,
        plant,
        kind="night",
        what="Leaf temperature",
        hours=hours,
        series={
            "leaf_c": leaf,
            "air_c": values_at(scene, column, scene.climate.temp_c, rows),
            "band_low_c": leaf - error,
            "band_high_c": leaf + error,
        },
        limits=limit_lines("leaf_c", "night_low", plants_shown(collection, spot, plant)),
        nights=[_with_low(scene, column, night) for night in nights],
        band_origin=origin if has_band else None,
    )


def _spread(scene: Scene, column: int, nights: Sequence[Night]) -> tuple[Array, str | None]:
    """Return the standard deviation of the forecast there [K], (time,), and where it comes from.

    An ensemble has one for every hour. The usual errors are those of nights and hold for no other
    hours; they also serve for a night that an ensemble covers in part, as in the night's chance.
    A spot that holds its own temperature has none.
    """
    sd_k = np.full(scene.climate.times.shape, np.nan)
    origins: dict[str, None] = {}
    if scene.holds_itself[column] or scene.forecast_expired:
        return sd_k, None
    ensemble = scene.weather.spread
    if ensemble is not None:
        rows = [row for row in range(sd_k.size) if ensemble.knows(np.array([row]))]
        sd_k[rows] = _at_spot(scene, column, ensemble)[rows]
        origins |= {ensemble.origin: None} if rows else {}
    for night in nights:
        known = spread_of(scene, night)
        if known is not None:
            spread, of_night = known
            sd_k[of_night] = _at_spot(scene, column, spread)[of_night]
            origins[spread.origin] = None
    return sd_k, ", then ".join(origins) or None


def _at_spot(scene: Scene, column: int, spread: Spread) -> Array:
    """Return the standard deviation of a forecast at a spot [K], (time,)."""
    times = scene.climate.times
    factor = doubt_factor(scene.climate, times, spread, scene.usual_k(times))
    return np.asarray(spread.sd_k * factor[:, column])


def _with_low(scene: Scene, column: int, night: Night) -> NightSpan:
    """Return the span of a night with its lowest leaf temperature, if the whole night is known."""
    low = float(spot_lows(scene, night)[column])
    rows = scene.steps(night.start, night.cold_until)
    if not np.isfinite(low) or not rows.size or not is_known(scene, column):
        return NightSpan(night.start, night.end)
    row = rows[np.argmin(scene.by_night.leaf_c[rows, column])]
    return NightSpan(night.start, night.end, round(low, 2), moment(scene.by_night.times[row]))
