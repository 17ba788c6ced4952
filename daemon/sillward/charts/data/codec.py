"""A chart's data as plain types and back: for `chart --json`, and for the process that draws."""

from dataclasses import asdict, replace
from datetime import date, datetime
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

from sillward.charts.data import skill, spot_nights, year
from sillward.charts.data.model import ChartData, DaySpan, LimitLine, NightSpan, Window
from sillward.charts.data.skill import SkillChart
from sillward.charts.data.spot_nights import SPOT_KINDS, SpotChart
from sillward.charts.data.year import YearChart
from sillward.text.units import SI, Units

SCHEMA = 1

Chart: TypeAlias = ChartData | YearChart | SkillChart | SpotChart
"""Whatever can be drawn."""


def document(data: ChartData | SpotChart) -> dict[str, Any]:
    """Return the data as a JSON document; times are ISO 8601 in the site's zone.

    It is in SI and 24 hours, whatever units the drawing has.
    """
    plain = to_plain(data)
    if not isinstance(data, ChartData):
        del plain["units"]
        return {"schema": SCHEMA, **plain}
    forecast, _ = plain.pop("forecast"), plain.pop("units")
    return {"schema": SCHEMA, **plain, "footer": [forecast, replace(data, units=SI).made]}


def to_plain(data: Chart) -> dict[str, Any]:
    """Return the data as plain types, units included: what `from_plain` takes."""
    if isinstance(data, YearChart):
        return year.to_plain(data)
    plain: dict[str, Any] = _plain(asdict(data))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def from_plain(plain: dict[str, Any]) -> Chart:
    """Return the data that `to_plain` wrote. Raise KeyError, TypeError or ValueError if invalid."""
    if plain["kind"] == "skill":
        return skill.from_plain(plain)
    if plain["kind"] in SPOT_KINDS:
        return spot_nights.from_plain(plain)
    if plain["kind"] == "year":
        return year.from_plain(plain)
    zone = ZoneInfo(plain["zone"])

    def at(text: str) -> datetime:
        return datetime.fromisoformat(text).astimezone(zone)

    unchanged = {
        key: plain[key]
        for key in (
            "kind", "site", "spot", "plant", "zone", "title", "subtitle", "forecast", "band_origin",
        )
    }  # fmt: skip
    return ChartData(
        now=at(plain["now"]),
        start=at(plain["start"]),
        end=at(plain["end"]),
        times=tuple(at(text) for text in plain["times"]),
        series={key: tuple(values) for key, values in plain["series"].items()},
        limits=tuple(
            LimitLine(**limit | {"plants": tuple(limit["plants"])}) for limit in plain["limits"]
        ),
        nights=tuple(
            NightSpan(
                at(night["start"]),
                at(night["end"]),
                night["low_c"],
                None if night["low_at"] is None else at(night["low_at"]),
            )
            for night in plain["nights"]
        ),
        days=tuple(
            DaySpan(at(day["start"]), at(day["end"]), day["planned"]) for day in plain["days"]
        ),
        windows=tuple(
            Window(at(window["opens"]), at(window["closes"]), tuple(window["plants"]))
            for window in plain["windows"]
        ),
        units=Units(**plain["units"]),
        **unchanged,
    )
