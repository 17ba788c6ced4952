"""Limits: what a plant tolerates, of which quantity, and where each limit comes from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Literal, TypeAlias, get_args

from sillward_rules.weather.season import GROWS, Grows

Rot: TypeAlias = Literal["low", "medium", "high"]
Rest: TypeAlias = Literal["none", "dry"]

ROT_CLASSES: tuple[Rot, ...] = get_args(Rot)
RESTS: tuple[Rest, ...] = get_args(Rest)


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound and its origin: whose limit it is, and the source behind it.

    was: the limit that the collection gives, where the grower has accepted another one since.
    """

    value: float
    origin: str
    was: "Limit | None" = None


@dataclass(frozen=True, slots=True)
class RotClass:
    """How readily crown and axils rot when wet overnight, and the origin of that."""

    value: Rot
    origin: str


@dataclass(frozen=True, slots=True)
class RestClass:
    """Whether the plant takes a dry rest when growth stops, and the origin of that."""

    value: Rest
    origin: str


@dataclass(frozen=True, slots=True)
class GrowsClass:
    """At what warmth the plant grows, and the origin of that."""

    value: Grows
    origin: str


@dataclass(frozen=True, slots=True)
class Limits:
    """What a plant stands. None where no such limit is known for it.

    - night_low: the leaf over whole nights, for comfort [°C]; rest_low: the same while growth
      rests, None if that makes no difference [°C].
    - brief_low: the leaf temperature that injures within hours [°C].
    - day_high: the air by day [°C]; leaf_high: the leaf in the sun [°C].
    - night_high: the air over whole nights [°C].
    - humidity_low [%], vpd_high [kPa].
    - light_low, light_high: at noon [umol m-2 s-1].
    - salt_high: the feed [mS/cm]; medium_salt_high: the water that the roots hold [mS/cm].
    - gust_high: at the plant [m/s]; rain_high: in an hour [mm] (`plants.storm_limits`).
    - rot, rest, grows: classes rather than numbers.
    """

    night_low: Limit | None = None
    brief_low: Limit | None = None
    day_high: Limit | None = None
    leaf_high: Limit | None = None
    night_high: Limit | None = None
    rest_low: Limit | None = None
    humidity_low: Limit | None = None
    vpd_high: Limit | None = None
    light_low: Limit | None = None
    light_high: Limit | None = None
    salt_high: Limit | None = None
    medium_salt_high: Limit | None = None
    gust_high: Limit | None = None
    rain_high: Limit | None = None
    rot: RotClass | None = None
    rest: RestClass | None = None
    grows: GrowsClass | None = None


UNITS: Mapping[str, str] = {
    "night_low": "°C",
    "rest_low": "°C",
    "brief_low": "°C",
    "day_high": "°C",
    "leaf_high": "°C",
    "night_high": "°C",
    "humidity_low": "%",
    "vpd_high": "kPa",
    "light_low": "umol m-2 s-1",
    "light_high": "umol m-2 s-1",
    "salt_high": "mS/cm",
    "medium_salt_high": "mS/cm",
    "gust_high": "m/s",
    "rain_high": "mm",
}
"""Unit of each numeric limit."""

_TENDEREST_IS_HIGHEST = frozenset({"night_low", "brief_low", "humidity_low", "light_low"})


def tenderest(parents: Sequence[Limits]) -> Limits:
    """Return, limit by limit, the tenderest of the parents; ties go to the first.

    A limit that only some parents have is taken from those. At rest, a parent without a limit of
    its own for that keeps its ordinary one. A hybrid rests dry only if all its parents do: kept a
    little moist it takes less harm (judgement). It grows as the parent that wants most warmth.
    """
    chosen: dict[str, Limit | RotClass | RestClass | GrowsClass] = {}
    for field in fields(Limits):
        known = [value for limits in parents if (value := getattr(limits, field.name)) is not None]
        if not known:
            continue
        if field.name == "rest_low":
            at_rest = [low for limits in parents if (low := limits.rest_low or limits.night_low)]
            chosen["rest_low"] = max(at_rest, key=lambda limit: limit.value)
        elif field.name == "rot":
            chosen["rot"] = max(known, key=lambda rot: ROT_CLASSES.index(rot.value))
        elif field.name == "rest":
            chosen["rest"] = min(known, key=lambda rest: RESTS.index(rest.value))
        elif field.name == "grows":
            chosen["grows"] = min(known, key=lambda grows: GROWS.index(grows.value))
        elif field.name in _TENDEREST_IS_HIGHEST:
            chosen[field.name] = max(known, key=lambda limit: limit.value)
        else:
            chosen[field.name] = min(known, key=lambda limit: limit.value)
    return Limits(**chosen)  # type: ignore[arg-type]


def overridden(limits: Limits, own: Limits) -> Limits:
    """Return the grower's own limits before those of the group.

    A night_low of the grower's own holds during rest too.
    """
    if own.night_low is not None:
        limits = replace(limits, rest_low=None)
    merged = {
        field.name: getattr(own, field.name) or getattr(limits, field.name)
        for field in fields(Limits)
    }
    return Limits(**merged)
