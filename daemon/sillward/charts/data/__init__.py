"""What a chart shows, as plain numbers: pure functions of collection, weather, state and now.

Every number is the core's own, in SI; the drawing converts it. None means not known, and leaves a
gap in the drawing.
"""

from dataclasses import replace
from datetime import datetime

from sillward.charts.data.codec import Chart, document, from_plain, to_plain
from sillward.charts.data.model import (
    KINDS,
    MAX_FILM_MIN,
    ChartData,
    Kind,
    LimitLine,
    Window,
    made_line,
)
from sillward.charts.data.night import night_chart
from sillward.charts.data.skill import SkillChart, SourceLine
from sillward.charts.data.spot_nights import (
    SPOT_KINDS,
    CorrectionChart,
    ReadingsChart,
    SpotChart,
    SpotKind,
    correction_chart,
    readings_chart,
)
from sillward.charts.data.water import WATER_DAYS, water_chart, water_charts
from sillward.charts.data.year import YearChart, year_chart
from sillward.text.units import SI, Units
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import State
from sillward_rules.weather.hourly import Weather

__all__ = [
    "KINDS",
    "MAX_FILM_MIN",
    "SPOT_KINDS",
    "WATER_DAYS",
    "Chart",
    "ChartData",
    "CorrectionChart",
    "Kind",
    "LimitLine",
    "ReadingsChart",
    "SkillChart",
    "SourceLine",
    "SpotChart",
    "SpotKind",
    "Window",
    "YearChart",
    "chart_of",
    "correction_chart",
    "document",
    "from_plain",
    "made_line",
    "readings_chart",
    "to_plain",
    "water_charts",
    "year_chart",
]


def chart_of(
    kind: Kind,
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
    *,
    units: Units = SI,
) -> ChartData:
    """Return the chart of a kind for a spot. Raise KeyError if there is no such spot.

    plant: the plant whose limits and mistings alone are shown; None for all plants at the spot.
    units: the units of the drawing.
    """
    collection.spot(spot)
    make = night_chart if kind == "night" else water_chart
    return replace(make(spot, collection, weather, state, now, plant), units=units)
