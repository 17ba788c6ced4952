"""Plants: what each is, what it grows in, and where it stands; their traits as arrays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias, get_args

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.memo import Memo
from sillward_rules.plants.limits import UNITS, Limits, Rot
from sillward_rules.plants.pot import Pot
from sillward_rules.weather.season import GROWS, Grows
from sillward_rules.weather.spot import Spot

Holder: TypeAlias = Literal["basket", "mount", "moss", "pot"]

HOLDERS: tuple[Holder, ...] = get_args(Holder)


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
    worth: float = 1.0
    """How much it counts beside the other plants when harm is weighed against trips."""
    pot: Pot | None = None
    """What it stands in; None if the grower has not said."""
    span_cm: float | None = None
    """How wide it is across its leaves [cm]; None if the grower has not said."""
    compost: bool = False
    """Whether it is of a kind that grows in soil or compost, also where that hangs in a basket."""

    @property
    def roots_as_in(self) -> Holder:
        """The holder by which its roots are watered: a basket of compost is a pot that hangs."""
        return "pot" if self.compost and self.holder == "basket" else self.holder

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

    def is_safe_at(self, spot: Spot) -> bool:
        """Whether a spot indoors is known to hold its night limit."""
        low = self.limits.night_low
        return spot.is_known_to_keep(None if low is None else low.value)

    @property
    def grows(self) -> Grows:
        """At what warmth it grows; "warm" where not known, as feed it cannot use is harmful."""
        return self.limits.grows.value if self.limits.grows else "warm"


_KEPT, _KEPT_VARIANTS = 32, 2
"""Results that are kept for each set of traits: about as many as a day's sheets have rules, and the
traits by day and by night. Each holds a number or so for every plant."""


@dataclass(frozen=True, slots=True, eq=False)
class Traits:
    """What planners need to know of many plants, in columns of shape (plant,).

    - limits: by name, in their UNITS; NaN where a plant has no such limit.
    - holder (by `Plant.roots_as_in`), rot, rest: the words of these classes.
    - velamen: whether the roots have it.
    - grows: positions in GROWS.
    - worth: as in `Plant`.
    """

    plants: tuple[Plant, ...]
    limits: Mapping[str, Array]
    holder: np.ndarray
    rot: np.ndarray
    rest: np.ndarray
    velamen: np.ndarray
    grows: np.ndarray
    worth: Array
    memo: Memo = field(default_factory=lambda: Memo(_KEPT), init=False, repr=False)
    """What has been worked out of these traits alone, for the next sheet of the same plants."""
    bounds: Memo = field(default_factory=lambda: Memo(_KEPT), init=False, repr=False)
    """The bounds of each rule for these plants, which do not depend on where they stand."""
    _variants: Memo = field(default_factory=lambda: Memo(_KEPT_VARIANTS), init=False, repr=False)

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
            np.array([plant.roots_as_in for plant in plants], dtype="U8"),
            np.array([plant.rot for plant in plants], dtype="U8"),
            np.array(["dry" if plant.rests_dry else "none" for plant in plants], dtype="U8"),
            np.array([plant.velamen for plant in plants], dtype=bool),
            np.array([GROWS.index(plant.grows) for plant in plants], dtype=np.int64),
            np.array([plant.worth for plant in plants], dtype=np.float64),
        )

    def take(self, indices: np.ndarray) -> "Traits":
        """Return the traits of some of the plants, in this order."""
        if np.array_equal(indices, np.arange(len(self.plants))):
            return self
        return self._variants.of(indices.tobytes(), lambda: self._taken(indices))

    def _taken(self, indices: np.ndarray) -> "Traits":
        return Traits(
            tuple(self.plants[index] for index in indices.tolist()),
            {name: values[indices] for name, values in self.limits.items()},
            self.holder[indices],
            self.rot[indices],
            self.rest[indices],
            self.velamen[indices],
            self.grows[indices],
            self.worth[indices],
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
        return self._variants.of(("resting", lower.tobytes()), lambda: self._resting(lower))

    def _resting(self, lower: np.ndarray) -> "Traits":
        at_rest, night_low = self.limits["rest_low"], self.limits["night_low"]
        return replace(
            self,
            plants=tuple(
                plant.at_rest if low else plant
                for plant, low in zip(self.plants, lower.tolist(), strict=True)
            ),
            limits={**self.limits, "night_low": np.where(lower, at_rest, night_low)},
        )
