"""What a replay finds, night by night: plain values, the same for any way of running it.

A *night* here is the 24 hours from the middle of its local date to the middle of the next: the
dusk round with what it asks for, and the morning round after it. What is said of plants being too
cold compares the leaf where a plant really stood, by the weather that was, with the plant's own
limit: at comfort during the hours in which that counts (sunset until the cold of the morning is
over), at injury during all hours.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, tzinfo
from enum import Enum
from typing import Any, TypeAlias

from sillward_rules.arrays import finite_or_none

JsonValue: TypeAlias = Any

DEEP_K = 1.0
"""A plant that comes so far under its limit comes to harm [K]. Judgement: less is within what
thermometers differ by."""


class Cause(Enum):
    """Why a plant stood under its limit."""

    MISSED = "missed"
    """Nothing told that night asked for it to be in."""
    LATE = "late"
    """It was told to go in, but the leaf was under the limit before the hour told."""
    OUT_TOO_EARLY = "out too early"
    """It went out again as told, and the leaf was under the limit still or again."""
    NOT_DONE = "not done"
    """It was told to go in, and still stood outside after the hour told."""
    NO_COVER = "no cover"
    """It stood where it was told to, under cover that did not hold its limit; or it was to go in
    and has no cover to go to."""


class Warned(Enum):
    """What the grower was told of a plant that no order asked for."""

    NOTHING = "nothing"
    CLOSE_CALL = "close call"
    DIP_BORNE = "dip borne"


@dataclass(frozen=True, slots=True)
class Exposure:
    """Plants that stood under their limit at one spot in one night, and went through the same.

    - spot: where they stood.
    - limit_c, low_c: their limit, and the lowest leaf temperature while they stood there [°C].
    - at: when that was.
    - hours, degree_hours: time and depth under the limit [h], [K h].
    - dose: of cold, 0 to 1 for each plant (`physics.cold_harm.night_dose`).
    - chance: the chance, as it was told at dusk, that the leaf falls under the limit; None where
      there was none.
    - warned: what was told of them, if nothing asked for them to go in.
    """

    cause: Cause
    plants: tuple[str, ...]
    spot: str
    limit_c: float
    low_c: float
    at: datetime
    hours: float
    degree_hours: float
    dose: float
    chance: float | None = None
    warned: Warned = Warned.NOTHING

    @property
    def depth_k(self) -> float:
        """How far under the limit the leaf fell [K]."""
        return self.limit_c - self.low_c

    @property
    def count(self) -> int:
        """How many plants it is about."""
        return len(self.plants)


@dataclass(frozen=True, slots=True)
class NearMiss:
    """The plants that came closest to their limit, on one side or the other.

    low_c : the lowest leaf temperature of the night at that spot [°C].
    """

    plants: tuple[str, ...]
    spot: str
    limit_c: float
    low_c: float

    @property
    def margin_k(self) -> float:
        """How far above the limit the leaf stayed [K]; negative under it."""
        return self.low_c - self.limit_c


@dataclass(frozen=True, slots=True)
class ChanceBin:
    """Plants of one night whose told chances lay in one bin, and what came.

    - bin: its number among the bins of `scores.CHANCE_EDGES`, 0 for the lowest chances.
    - plants: how many; told: the sum of their chances; came: for how many the leaf at home fell
      under the limit.
    """

    bin: int
    plants: int
    told: float
    came: int


@dataclass(frozen=True, slots=True)
class NightRecord:
    """One night of a replay. What is counted are plants, unless said otherwise."""

    night: date
    """The local date of its evening."""
    lows_c: Mapping[str, float | None]
    """The true lowest leaf temperature at each outdoor home, by spot [°C]; None is not known."""
    away: bool = False
    """Whether the grower was away, and did and confirmed nothing."""
    plants_in: int = 0
    """Plants under cover in the middle of the night."""
    carried_in: int = 0
    carried_out: int = 0
    walks: int = 0
    """Chores of carrying that were done, each a walk from one spot to another."""
    needless_walks: int = 0
    """Walks to carry in on which no plant needed it."""
    pushes: int = 0
    """Messages of rounds that had something to say."""
    corrections: int = 0
    """Messages about what a newer forecast changed."""
    added: int = 0
    moved: int = 0
    called_off: int = 0
    """Plants in these messages whose orders were new, moved or called off."""
    needed: int = 0
    """Plants for which the night asked for cover, by any rule and the weather that was, at home."""
    covered: int = 0
    """Those of them that stood under cover from before the leaf crossed its limit until it was
    over."""
    deadlines: int = 0
    """Plants told to go in by an hour, and in need of it: deadlines that can be kept or missed."""
    needless: int = 0
    """Plants told to go in, or kept in, for a night that did not ask for it."""
    needless_carried: int = 0
    """Those of them that were carried in for it: trips for nothing."""
    unjudged: int = 0
    """Plants of which too little is known of the weather that was."""
    alarms: int = 0
    """Alarms by thermometers at the spots."""
    false_alarms: int = 0
    """Those of them in which no plant would have come under its limit that night."""
    alarmed: int = 0
    """Plants that alarms called in."""
    deep_alarmed: int = 0
    """Those of them that would have come `DEEP_K` under their limit."""
    caught: int = 0
    eased: int = 0
    """Those of these that could be in before that, and after that but before their low."""
    exposures: tuple[Exposure, ...] = ()
    chances: tuple[ChanceBin, ...] = ()
    narrowest: NearMiss | None = None
    """The plants that stood outside and came closest to their limit without falling under it."""
    saved: NearMiss | None = None
    """The plants under cover whose leaf at home would have fallen furthest under their limit."""

    def of_cause(self, cause: Cause) -> tuple[Exposure, ...]:
        """Return the exposures of one cause."""
        return tuple(exposure for exposure in self.exposures if exposure.cause is cause)

    @property
    def misses(self) -> tuple[Exposure, ...]:
        """The exposures of plants that nothing asked to be in."""
        return self.of_cause(Cause.MISSED)

    @property
    def late(self) -> tuple[Exposure, ...]:
        """The exposures of plants that were told to go in too late."""
        return self.of_cause(Cause.LATE)


@dataclass(frozen=True, slots=True)
class ReplayResult:
    """What a replay found, in order of nights; fewer of them if it was interrupted.

    - site, plants, kinds: the name of the site, how many plants there are, and of how many kinds.
    - forecasts: what forecasts the tool had, in words.
    - seed: of their errors; None where nothing is drawn.
    - first, last: the nights that were asked for.
    """

    site: str
    plants: int
    kinds: int
    forecasts: str
    seed: int | None
    first: date
    last: date
    nights: tuple[NightRecord, ...] = ()
    sensors: tuple[str, ...] = ()
    """The spots at which thermometers were read."""

    @property
    def complete(self) -> bool:
        """Whether all the nights that were asked for are there."""
        return len(self.nights) == (self.last - self.first).days + 1


def as_json(value: Any, zone: tzinfo = UTC, digits: int = 3) -> JsonValue:
    """Return a record, a result or a summary as values that JSON has.

    Dates and times become ISO 8601 text, times in this zone, enumerations their values; numbers are
    rounded to so many digits. What is derived (a depth, a margin) is added.
    """
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return finite_or_none(value, digits)
    if isinstance(value, Mapping):
        return {str(key): as_json(item, zone, digits) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [as_json(item, zone, digits) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        names = [*(one.name for one in fields(value)), *_DERIVED.get(type(value), ())]
        return {name: as_json(getattr(value, name), zone, digits) for name in names}
    return value


_DERIVED: Mapping[type, tuple[str, ...]] = {
    Exposure: ("depth_k", "count"),
    NearMiss: ("margin_k",),
    ReplayResult: ("complete",),
}
