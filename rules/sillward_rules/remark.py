"""Remarks: what the grower must know beside the chores, as facts. Their words are the shell's.

One class for each kind. Values are as exact as they are known: rounding is wording too. Moments
are in the site's zone; plants are all that a remark speaks of; None is what nobody knows.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal


@dataclass(frozen=True, slots=True)
class Remark:
    """Anything worth telling beside the chores."""


@dataclass(frozen=True, slots=True)
class Plain(Remark):
    """What came as text already: of a source about its own data, of the shell about its work."""

    text: str


# -- the forecast


@dataclass(frozen=True, slots=True)
class NoForecast(Remark):
    """There is none: nothing is known of the weather."""


@dataclass(frozen=True, slots=True)
class ForecastElsewhere(Remark):
    """The forecast does not reach the present hour."""


@dataclass(frozen=True, slots=True)
class ForecastOld(Remark):
    """How old the forecast is, and whether that is too old to judge a night by."""

    hours: float
    expired: bool


@dataclass(frozen=True, slots=True)
class ForecastUndated(Remark):
    """The forecast is of a time to come: the clock was ahead, and nobody knows how old it is."""


@dataclass(frozen=True, slots=True)
class ForecastsDisagree(Remark):
    """Two sources are far apart on the coming night, at the hour of the colder one's low."""

    source: str
    temp_c: float
    other_source: str
    other_temp_c: float
    at: datetime


@dataclass(frozen=True, slots=True)
class ForecastDoubted(Remark):
    """A source's forecast that cannot be true: why not, and what one goes by instead."""

    source: str
    why: str
    used: str | None
    """Whose forecast one goes by; None if there is none, so that nights count as cold."""
    fetched: datetime | None
    colder: bool
    """Whether nights that the doubted one has much colder count as cold all the same."""


@dataclass(frozen=True, slots=True)
class ForecastInstead(Remark):
    """Why there is no newer forecast, and when the one that one goes by was fetched."""

    error: str
    fetched: datetime


def nothing_known(remark: Remark) -> bool:
    """Whether a remark says that there is no forecast at all, or none that can be believed."""
    return isinstance(remark, NoForecast) or (
        isinstance(remark, ForecastDoubted) and remark.used is None
    )


# -- a night


@dataclass(frozen=True, slots=True)
class NightUnjudged(Remark):
    """Homes at which too few hours of the night are known, so that it counts as cold."""

    spots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoShelter(Remark):
    """Plants that must go in, with no shelter given and no cover warmer than home."""

    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShelterChosen(Remark):
    """Plants without a shelter of their own, and the spot to which they go, which holds."""

    plants: tuple[str, ...]
    spot: str
    low_c: float


@dataclass(frozen=True, slots=True)
class ShelterTooCold(Remark):
    """A spot that does not hold the limit of plants, or not surely, and where they go instead."""

    plants: tuple[str, ...]
    spot: str
    low_c: float
    limit_c: float
    better_spot: str | None
    """None if no spot holds the limit: they go to this one, the warmest."""
    better_low_c: float | None


@dataclass(frozen=True, slots=True)
class ShelterUnknown(Remark):
    """A spot of which nobody knows what it holds tonight, and where plants go instead."""

    plants: tuple[str, ...]
    spot: str
    better_spot: str | None
    """None if no spot is known to hold their limit: they go to this one."""
    better_low_c: float | None


@dataclass(frozen=True, slots=True)
class OnNights(Remark):
    """What is true of some nights of the week, by the dates of their evenings, in order."""

    nights: tuple[date, ...]
    about: Remark


@dataclass(frozen=True, slots=True)
class NotConfirmed(Remark):
    """Plants that were to go in last night, and nobody has said that they did: tenderest first."""

    plants: tuple[str, ...]
    low_c: float | None
    """How cold the leaf of the first of them got where it stood; None where that is not known."""
    until: datetime | None
    """When the last of them is back above its limit; None where that is over."""


@dataclass(frozen=True, slots=True)
class ColdBorne(Remark):
    """Plants that may stay out: the night dips under their limit for a short while only."""

    plants: tuple[str, ...]
    low_c: float
    at: datetime
    hours: float
    limit_c: float


@dataclass(frozen=True, slots=True)
class Threat:
    """The chance (0..1) that a night goes under a limit, and whose limit: a part of `CloseCall`."""

    chance: float
    limit_c: float
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CloseCall(Remark):
    """A spot where plants stay out although it may well get too cold, the likeliest first."""

    spot: str
    threats: tuple[Threat, ...]


# -- rules, water, feed


@dataclass(frozen=True, slots=True)
class Note(Remark):
    """A rule that asks for a word: the worst value at a spot, in the quantity's own unit."""

    rule: str
    spot: str
    quantity: str
    value: float
    unit: str
    at: datetime


@dataclass(frozen=True, slots=True)
class MistingMissed(Remark):
    """Plants that fall dry as no hour of the grower's serves, and by when each misting is due."""

    plants: tuple[str, ...]
    spot: str
    dry_from: datetime
    dry_until: datetime
    due: tuple[datetime, ...]


@dataclass(frozen=True, slots=True)
class HeatUnrelieved(Remark):
    """Plants too hot where they stand, and no order helps; dry: whether water would cool."""

    plants: tuple[str, ...]
    spot: str
    high_c: float
    limit_c: float
    at: datetime
    dry: bool


@dataclass(frozen=True, slots=True)
class HeatAhead(Remark):
    """Plants for which tomorrow's heat asks something before the morning round: what, by when."""

    plants: tuple[str, ...]
    kind: str
    high_c: float
    limit_c: float
    by: datetime


@dataclass(frozen=True, slots=True)
class WarmNights(Remark):
    """Plants that want cooler nights: the low of the warmest of so many, and the first of them."""

    plants: tuple[str, ...]
    low_c: float
    limit_c: float
    first_day: date
    nights: int


@dataclass(frozen=True, slots=True)
class FeedTooStrong(Remark):
    """Plants that get no feed today as the feed in use is beyond their limit for salt."""

    plants: tuple[str, ...]
    ec_ms_cm: float
    limit_ms_cm: float


@dataclass(frozen=True, slots=True)
class WateringUnplanned(Remark):
    """The forecast is too old to plan any watering by."""


@dataclass(frozen=True, slots=True)
class WateringIncomplete(Remark):
    """Of today's weather too little is known to plan all the watering."""


# -- the week


@dataclass(frozen=True, slots=True)
class Spell(Remark):
    """Days in a row that are too hot, or too dry, for so many plants on the worst of them."""

    kind: Literal["hot", "dry"]
    first_day: date
    days: int
    most_plants: int


@dataclass(frozen=True, slots=True)
class CarryBegins(Remark):
    """The first night that needs a carry, after one that did not."""

    day: date


@dataclass(frozen=True, slots=True)
class CarryEnds(Remark):
    """The first night from which on no carry is needed, as far as the forecast goes."""

    day: date


@dataclass(frozen=True, slots=True)
class SpotDark(Remark):
    """A spot too dark for so many plants: its light in a day, and what the neediest wants."""

    spot: str
    light_mol_m2: float
    neediest: str
    need_mol_m2: float
    plant_count: int
