"""The core of sillward: what weather does to plants at their spots, and what to do about it.

Pure: values in, values out; no clock, network, disk, log or environment. Everything up to the
sheet is a function of collection, weather, state and now:

    forecast -> weather at the site -> climate of each spot -> needs (rules)
             -> chores (planners) -> sheet

`draw_up` runs the whole flow; the modules hold its parts.

Constants name their source. "Judgement:" in the docstring of a constant means that there is no
published source: the value is our own estimate, and what was weighed follows.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sillward_rules.chore import Chore, ChoreKind, Reason
    from sillward_rules.explanation import Explanation, explain_plant
    from sillward_rules.plants.collection import Collection, Habits, Recipe
    from sillward_rules.plants.groups import Group, standard_groups
    from sillward_rules.plants.limits import Limit, Limits, RestClass, RotClass
    from sillward_rules.plants.plant import Plant
    from sillward_rules.plants.rule_reading import read_rule, standard_rules
    from sillward_rules.plants.rules import Rule
    from sillward_rules.plants.state import PlantState
    from sillward_rules.remark import Plain, Remark
    from sillward_rules.round import Round
    from sillward_rules.sheet import Sheet, draw_up
    from sillward_rules.transitions import next_state
    from sillward_rules.weather.climate import Climate, climate_of
    from sillward_rules.weather.hourly import Weather
    from sillward_rules.weather.season import Season
    from sillward_rules.weather.site import Site
    from sillward_rules.weather.spot import Spot, SunWindow
    from sillward_rules.weather.uncertainty import Spread

__all__ = [
    "Chore",
    "ChoreKind",
    "Climate",
    "Collection",
    "Explanation",
    "Group",
    "Habits",
    "Limit",
    "Limits",
    "Plain",
    "Plant",
    "PlantState",
    "Reason",
    "Recipe",
    "Remark",
    "RestClass",
    "RotClass",
    "Round",
    "Rule",
    "Season",
    "Sheet",
    "Site",
    "Spot",
    "Spread",
    "SunWindow",
    "Weather",
    "climate_of",
    "draw_up",
    "explain_plant",
    "next_state",
    "read_rule",
    "standard_groups",
    "standard_rules",
]

_MODULES = {
    "Chore": "chore",
    "ChoreKind": "chore",
    "Climate": "weather.climate",
    "Collection": "plants.collection",
    "Explanation": "explanation",
    "Group": "plants.groups",
    "Habits": "plants.collection",
    "Limit": "plants.limits",
    "Limits": "plants.limits",
    "Plain": "remark",
    "Plant": "plants.plant",
    "PlantState": "plants.state",
    "Reason": "chore",
    "Recipe": "plants.collection",
    "Remark": "remark",
    "RestClass": "plants.limits",
    "RotClass": "plants.limits",
    "Round": "sheet",
    "Rule": "plants.rules",
    "Season": "weather.season",
    "Sheet": "sheet",
    "Site": "weather.site",
    "Spot": "weather.spot",
    "Spread": "weather.uncertainty",
    "SunWindow": "weather.spot",
    "Weather": "weather.hourly",
    "climate_of": "weather.climate",
    "draw_up": "sheet",
    "explain_plant": "explanation",
    "next_state": "transitions",
    "read_rule": "plants.rule_reading",
    "standard_groups": "plants.groups",
    "standard_rules": "plants.rule_reading",
}
"""Where each name is from. A module is imported when a name of it is asked for: many programs need
a part of the core only, and all of it takes as long to import as NumPy does.
"""


def __getattr__(name: str) -> Any:
    """Import what is asked for."""
    if name not in _MODULES:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
