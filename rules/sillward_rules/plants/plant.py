"""Plants, their limits, and where each limit comes from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Literal, TypeAlias, get_args

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.season import GROWS, Grows

Rot: TypeAlias = Literal["low", "medium", "high"]
Holder: TypeAlias = Literal["basket", "mount", "moss", "pot"]
Rest: TypeAlias = Literal["none", "dry"]

ROT_CLASSES: tuple[Rot, ...] = get_args(Rot)
HOLDERS: tuple[Holder, ...] = get_args(Holder)
RESTS: tuple[Rest, ...] = get_args(Rest)


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound and its origin: whose limit it is, and the source behind it."""

    value: float
    origin: str


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
    - salt_high [mS/cm], gust_high [m/s], rain_high: in an hour [mm].
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
    "gust_high": "m/s",
    "rain_high": "mm",
}
"""Unit of each numeric limit."""

_TENDEREST_IS_HIGHEST = frozenset({"night_low", "brief_low", "humidity_low", "light_low"})


@dataclass(frozen=True, slots=True)
class Plant:
    """One container: what it is, how it grows, where it lives and where it shelters."""

    name: str
    home: str
    shelter: str | None
    holder: Holder
    limits: Limits
    groups: tuple[str, ...] = ()
    velamen: bool = False
    """Roots with velamen that hang in the air and are misted."""
    named: tuple[str, ...] = ()
    """Its groups as the grower names them, one for each of `groups`."""

    @property
    def rot(self) -> Rot:
        """The rot class; "medium" where nothing is known."""
        return self.limits.rot.value if self.limits.rot else "medium"

    @property
    def rests_dry(self) -> bool:
        """Whether it is kept dry while growth rests."""
        return self.limits.rest is not None and self.limits.rest.value == "dry"

    @property
    def at_rest(self) -> "Plant":
        """The same plant with the night limit of its rest, if it has one."""
        limits = self.limits
        return replace(self, limits=replace(limits, night_low=limits.rest_low or limits.night_low))

    @property
    def grows(self) -> Grows:
        """At what warmth it grows; "warm" where not known, as feed it cannot use is harmful."""
        return self.limits.grows.value if self.limits.grows else "warm"


@dataclass(frozen=True, slots=True, eq=False)
class Traits:
    """What planners need to know of many plants, in columns of shape (plant,).

    - limits: by name, in their UNITS; NaN where a plant has no such limit.
    - holder, rot, rest: the words of these classes.
    - velamen: whether the roots have it.
    - grows: positions in GROWS.
    """

    plants: tuple[Plant, ...]
    limits: Mapping[str, Array]
    holder: np.ndarray
    rot: np.ndarray
    rest: np.ndarray
    velamen: np.ndarray
    grows: np.ndarray

    @classmethod
    def of(cls, plants: Sequence[Plant]) -> "Traits":
        """Return the traits of these plants."""

        def values(name: str) -> Array:
            limits = (getattr(plant.limits, name) for plant in plants)
            return np.array(
                [np.nan if limit is None else limit.value for limit in limits], np.float64
            )

        return cls(
            tuple(plants),
            {name: values(name) for name in UNITS},
            np.array([plant.holder for plant in plants], dtype="U8"),
            np.array([plant.rot for plant in plants], dtype="U8"),
            np.array(["dry" if plant.rests_dry else "none" for plant in plants], dtype="U8"),
            np.array([plant.velamen for plant in plants], dtype=bool),
            np.array([GROWS.index(plant.grows) for plant in plants], dtype=np.int64),
        )

    def take(self, indices: np.ndarray) -> "Traits":
        """Return the traits of some of the plants, in this order."""
        return Traits(
            tuple(self.plants[index] for index in indices.tolist()),
            {name: values[indices] for name, values in self.limits.items()},
            self.holder[indices],
            self.rot[indices],
            self.rest[indices],
            self.velamen[indices],
            self.grows[indices],
        )

    def resting(self, rests: np.ndarray) -> "Traits":
        """Return the same with the night limit of their rest for plants that rest, if it is lower.

        rests (plant,) : whether each rests. A limit of rest never asks for more warmth than growth
        does.
        """
        at_rest, night_low = self.limits["rest_low"], self.limits["night_low"]
        lower = rests & (at_rest < night_low)
        if not lower.any():
            return self
        return replace(
            self,
            plants=tuple(
                plant.at_rest if low else plant
                for plant, low in zip(self.plants, lower.tolist(), strict=True)
            ),
            limits={**self.limits, "night_low": np.where(lower, at_rest, night_low)},
        )


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
