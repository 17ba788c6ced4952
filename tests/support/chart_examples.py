"""What tests of charts share: the packaged examples as chart data, and a plain bench."""

from datetime import datetime, timedelta
from functools import cache

import numpy as np

from sillward.assembly import read_only
from sillward.assembly.examples import DEMOS, demo
from sillward.charts.data import KINDS, ChartData, Kind, chart_of
from sillward.text.units import SI, Units
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.hourly import Weather
from tests.support.core import collection, fetched, uncertain, utc, weather

START = utc("2026-05-13T00:00")
NOW = utc("2026-05-14T20:00")
"""17:00 at the bench, by its own clock."""

HOURS = 240

US = Units("°F", "12 h", "mph")

EXAMPLES = [
    (kind, name, spot) for kind in KINDS for name in DEMOS for spot in ("pergola", "wall bench")
]


@cache
def example(kind: Kind, name: str, spot: str) -> ChartData:
    """Return a chart of the courtyard: nights at dusk, or water on the morning after."""
    app = demo(name)
    now = app.clock()
    then = now if kind == "night" else now + timedelta(hours=14)
    forecast = fetched(read_only.fetched_weather(app, now), then)
    return chart_of(kind, spot, app.household.collection, forecast, {}, then)


def bench_weather(temp_c: object = 10.0, **series: object) -> Weather:
    """Return weather from `START` on, fetched now, of the usual errors; by default 10 °C always."""
    temp = np.broadcast_to(np.asarray(temp_c, dtype=np.float64), (HOURS,)).copy()
    return uncertain(fetched(weather(START, temp, **series), NOW))


def on_bench(
    kind: Kind,
    forecast: Weather,
    *plants: Plant,
    now: datetime = NOW,
    spot: str = "bench",
    units: Units = SI,
) -> ChartData:
    """Return the chart of a bench whose leaves have exactly the air temperature of the forecast."""
    return chart_of(kind, spot, collection(*plants), forecast, {}, now, units=units)


def row(text: str) -> int:
    """Return the row of the bench's weather at a moment in UTC."""
    return int((utc(text) - START) / timedelta(hours=1))
