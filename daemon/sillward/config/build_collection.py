"""From the checked tables of a collection file to the types of the core and of the household."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sillward.config import group_lookup
from sillward.config.household import NoticePolicy, Rounds
from sillward.config.models import (
    NEVER,
    FeedTable,
    HabitsTable,
    NoticesTable,
    RoundsTable,
    SiteTable,
    SpotTable,
    WaterTable,
)
from sillward.config.plant_models import LimitsTable, PlantKeys
from sillward.config.quiet_hours import QuietHours
from sillward.text.units import Units
from sillward_rules.plants import salt_balance
from sillward_rules.plants.collection import CAUTION, Habits, Recipe
from sillward_rules.plants.fertiliser import SALTS, Fertiliser, Mix, grams_per_litre_for, parse_npk
from sillward_rules.plants.group_names import alias_named
from sillward_rules.plants.groups import Group, standard_groups
from sillward_rules.plants.limits import (
    GrowsClass,
    Limit,
    Limits,
    RestClass,
    RotClass,
    overridden,
    tenderest,
)
from sillward_rules.plants.plant import Holder, Plant
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.plants.storm_limits import STORM_LIMITS
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.weather import time_expressions
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import PLANT_HEIGHT_M, Spot, SunWindow

OWN_LIMIT = "your own limit"
"""The origin of a limit that the collection gives itself."""

OWN_CLASS = "your own"
"""The origin of a class that it gives itself."""


def build_site(table: SiteTable, key: str | None = None) -> Site:
    """Return the site of [site]. key: its key, if that is another than its name."""
    zone, called = ZoneInfo(table.zone), None if key is None else table.name
    return Site(key or table.name, table.latitude, table.longitude, table.elevation, zone, called)


def build_spot(name: str, table: SpotTable) -> Spot:
    """Return the spot of [spots.NAME]."""
    windows = None
    if table.sun is not None:
        windows = tuple(
            SunWindow(window.azimuth_from, window.to, window.above) for window in table.sun
        )
    return Spot(
        name=name,
        indoors=table.indoors,
        sky_view=table.sky_view,
        wind=table.wind,
        shade=table.shade,
        rain=table.rain,
        height_m=PLANT_HEIGHT_M if table.height is None else table.height,
        sun_windows=windows,
        night_offset_k=table.night_offset,
        day_offset_k=table.day_offset,
        night_low_c=table.night_low,
        day_low_c=table.day_low,
        humidity_pct=table.humidity,
    )


def build_plant(name: str, table: PlantKeys, group_names: Sequence[str]) -> Plant:
    """Return the plant of this name, of all that the file says of it.

    group_names: its groups as the file names them, all of them known to exist.
    """
    if table.holder is None or table.home is None:
        msg = "a plant needs a holder and a home"
        raise ValueError(msg)
    resolved = [group_lookup.resolve(name).group for name in group_names]
    groups = [standard_groups()[name] for name in resolved if name is not None]
    in_compost = bool(groups) and not any(group.grows_bare for group in groups)
    hangs_bare = table.holder in ("basket", "mount") and any(group.velamen for group in groups)
    return Plant(
        name=name,
        home=table.home,
        shelter=table.shelter,
        holder=table.holder,
        limits=_limits_of(table, table.holder, groups),
        groups=tuple(group.name for group in groups),
        named=tuple(group_names),
        velamen=hangs_bare if table.velamen is None else table.velamen,
        worth=1.0 if table.worth is None else table.worth,
        pot=None if table.pot is None else Pot(**table.pot.model_dump()),
        span_cm=table.span,
        compost=in_compost and not table.velamen,
    )


def _limits_of(table: PlantKeys, holder: Holder, groups: Sequence[Group]) -> Limits:
    """Return a plant's limits: the grower's own, before those of its groups, before any plant's."""
    of_groups = overridden(STORM_LIMITS[holder], tenderest([group.limits for group in groups]))
    return overridden(of_groups, _own_limits(table.limits))


def _own_limits(table: LimitsTable) -> Limits:
    numbers = table.model_dump(exclude={"rot", "rest", "grows"}, exclude_none=True)
    return Limits(
        **{name: Limit(float(value), OWN_LIMIT) for name, value in numbers.items()},
        rot=RotClass(table.rot, OWN_CLASS) if table.rot else None,
        rest=RestClass(table.rest, OWN_CLASS) if table.rest else None,
        grows=GrowsClass(table.grows, OWN_CLASS) if table.grows else None,
    )


def with_known_names(chosen: PlantFilter, together: Mapping[str, Sequence[str]]) -> PlantFilter:
    """Return a choice of plants by the own names of plants and groups.

    A name that stands for several groups, or for several plants, chooses all of them.

    together: the names of plants by a name that they share.
    """
    aliases = [(name, alias_named(name)) for name in chosen.group]
    groups = [group for name, alias in aliases for group in (alias.groups if alias else (name,))]
    plants = [plant for name in chosen.name for plant in together.get(name, (name,))]
    return replace(chosen, group=tuple(dict.fromkeys(groups)), name=tuple(dict.fromkeys(plants)))


_HABITS_WITH_UNITS = {
    "out_margin": "out_margin_k",
    "wet_margin": "wet_margin_k",
    "mist_from": "mist_from_c",
    "feed_from": "feed_from_c",
}
"""Keys of [habits] that the core names with their unit."""


def build_habits(table: HabitsTable) -> Habits:
    """Return the habits of [habits]; what is left out keeps the core's default."""
    values: dict[str, Any] = {}
    for key, value in table.model_dump(exclude_none=True).items():
        if key == "in_by":
            value = time_expressions.parse_moment(value)
        elif key == "hours":
            value = tuple(time_expressions.parse_hours(text) for text in value)
        elif key == "caution":
            value = CAUTION.get(value, value)
        elif isinstance(value, str):
            value = time_expressions.parse_duration(value)
        values[_HABITS_WITH_UNITS.get(key, key)] = value
    return Habits(**values)


def build_water(table: WaterTable) -> Water:
    """Return the water of [water]."""
    return Water(**table.model_dump())


def with_medium_limit(plant: Plant) -> Plant:
    """Return a plant with how strong the water at its roots may get, if it has no such limit."""
    limits = replace(plant.limits, medium_salt_high=salt_balance.medium_limit(plant.limits))
    return replace(plant, limits=limits)


def build_feed(table: FeedTable, water: Water | None = None) -> Recipe:
    """Return the recipe of [feed]. Raise ValueError if it is impossible.

    water: where the EC of its water comes from if the table does not give one.
    """
    water_ec = table.water_ec
    if water_ec is None:
        if water is None:
            msg = "water_ec is missing; give it here, or as ec in a table [water]"
            raise ValueError(msg)
        water_ec = water.blended.ec
    fertiliser = Fertiliser(
        *parse_npk(table.npk), mg_pct=table.mg, ec_per_100_ppm_n=table.ec_per_100_ppm_n
    )
    grams = table.grams_per_litre
    if grams is None:
        grams = float(grams_per_litre_for(table.ppm_n or 0.0, fertiliser.n_pct))
    salts = tuple((SALTS[name], amount) for name, amount in table.salts.items())
    return Recipe(Mix(fertiliser, grams, water_ec, salts), table.litres)


def build_rounds(table: RoundsTable, notices: NoticesTable) -> Rounds:
    """Return the rounds of [rounds], with the quiet hours of [notices]."""
    quiet = None if notices.quiet is None else time_expressions.parse_hours(notices.quiet)
    return Rounds(
        time_expressions.parse_moment(table.dusk),
        time_expressions.parse_moment(table.morning),
        time_expressions.parse_weekly(table.week),
        QuietHours(quiet),
    )


def build_policy(table: NoticesTable) -> NoticePolicy:
    """Return what follows a round, of [notices]."""
    return NoticePolicy(
        _duration_or_never(table.remind),
        _duration_or_never(table.pass_on),
        time_expressions.parse_duration(table.moved_by),
        table.most,
    )


def _duration_or_never(text: str) -> timedelta | None:
    return None if text == NEVER else time_expressions.parse_duration(text)


def build_units(table: NoticesTable) -> Units:
    """Return the units of [notices]."""
    return Units("°F" if table.temperature.endswith("F") else "°C", table.clock, table.wind)
