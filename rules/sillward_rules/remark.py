"""Remarks: what the grower must know besides the chores, as facts; the shell puts them into words.

One class for each kind. Values are not rounded: rounding is part of the wording. Moments are in the
site's zone. plants are all plants that a remark is about. None is not known.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal


@dataclass(frozen=True, slots=True)
class Remark:
    """Anything worth saying besides the chores."""


@dataclass(frozen=True, slots=True)
class Plain(Remark):
    """Text as it came: from a source about its own data, or from the shell about its work."""

    text: str


# -- the forecast


@dataclass(frozen=True, slots=True)
class NoForecast(Remark):
    """There is no forecast: nothing is known of the weather."""


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
    """The forecast is from the future: the clock was ahead, and its age is not known."""


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
    """A source's forecast that cannot be true: why not, and which is used instead."""

    source: str
    why: str
    used: str | None
    """The source whose forecast is used; None if there is none, so that nights count as cold."""
    fetched: datetime | None
    colder: bool
    """Whether nights that the doubted one has much colder count as cold all the same."""


@dataclass(frozen=True, slots=True)
class ForecastInstead(Remark):
    """Why there is no newer forecast, and when the one in use was fetched."""

    error: str
    fetched: datetime


def nothing_known(remark: Remark) -> bool:
    """Return whether a remark says that there is no forecast, or none that can be believed."""
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
    """Plants without a shelter or cover warmer than home, and the room to blame if there is one."""

    plants: tuple[str, ...]
    room: str | None = None
    """Their home, or the shelter that is theirs."""
    low_c: float | None = None
    """The lower side of what the room holds tonight [°C]."""
    is_colder_shelter: bool = False
    """Whether it is their shelter, which is colder than their home."""


@dataclass(frozen=True, slots=True)
class ShelterChosen(Remark):
    """Plants without a shelter of their own, and the spot that they go to, which holds."""

    plants: tuple[str, ...]
    spot: str
    low_c: float


@dataclass(frozen=True, slots=True)
class ShelterTooCold(Remark):
    """A spot that does not surely hold the limit of plants, and where they go instead."""

    plants: tuple[str, ...]
    spot: str
    low_c: float
    limit_c: float
    better_spot: str | None
    """None if no spot holds the limit; they go to this one, the warmest."""
    better_low_c: float | None
    expected_c: float | None = None
    """The low that its thermometer has taught to expect, of which low_c is the lower side [°C]."""


@dataclass(frozen=True, slots=True)
class ShelterUnknown(Remark):
    """A spot whose temperature tonight is not known, and where plants go instead."""

    plants: tuple[str, ...]
    spot: str
    better_spot: str | None
    """None if no spot is known to hold their limit; they go to this one."""
    better_low_c: float | None


@dataclass(frozen=True, slots=True)
class ShelterFailing(Remark):
    """A spot that by its thermometer will not hold the limit of plants on nights ahead."""

    plants: tuple[str, ...]
    spot: str
    nights: tuple[date, ...]
    """The dates of the evenings of these nights, in order."""
    coldest: date
    """The night with the lowest low there, to which all that follows belongs."""
    low_c: float
    """The low that is expected [°C]; sd_k is its standard deviation [K]."""
    sd_k: float
    limit_c: float
    """The highest limit of these plants."""
    better_spot: str | None
    """Where they go instead; None if no spot is known to hold their limit."""
    better_low_c: float | None


@dataclass(frozen=True, slots=True)
class OnNights(Remark):
    """A remark on some nights of the week, by the dates of their evenings, in order."""

    nights: tuple[date, ...]
    about: Remark


@dataclass(frozen=True, slots=True)
class PotsUnknown(Remark):
    """Plants in pots of which it is not known how wet these are, by name."""

    plants: tuple[str, ...]
    days: int = 0
    """For how many days that has not been known of the longest unknown of them."""


@dataclass(frozen=True, slots=True)
class WaterUnlessHeavy(Remark):
    """Plants whose pots may be dry before the next morning; how wet they are is not known."""

    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RootsHot(Remark):
    """Plants whose roots get too hot in dark pots in the sun, the hottest first."""

    plants: tuple[str, ...]
    root_c: float
    """How hot the roots of the first of them get [°C]."""
    at: datetime
    """When they are hottest."""


@dataclass(frozen=True, slots=True)
class NotConfirmed(Remark):
    """Plants that were to go in last night and are not confirmed, the tenderest first."""

    plants: tuple[str, ...]
    low_c: float | None
    """How cold the leaf of the first of them got where it stood [°C]; None if not known."""
    until: datetime | None
    """When the last of them is back above its limit; None if that is over."""


@dataclass(frozen=True, slots=True)
class NotNeeded(Remark):
    """Plants for which a chore (kind) was declined, and the worst value that asks for it."""

    plants: tuple[str, ...]
    kind: str
    quantity: str
    value: float | None
    unit: str
    limit: float | None


@dataclass(frozen=True, slots=True)
class LeftOutByChoice(Remark):
    """Plants that the grower chose to leave out in a cold night, the tenderest first."""

    plants: tuple[str, ...]
    low_c: float | None
    """How cold the leaf of the first of them got where it stands [°C]; None if not known."""
    limit_c: float | None
    until: datetime | None
    """When the last of them is back above its limit; None if that is over."""


@dataclass(frozen=True, slots=True)
class ColdBorne(Remark):
    """Plants that may stay out: the night dips under their limit only for a short while."""

    plants: tuple[str, ...]
    low_c: float
    at: datetime
    hours: float
    limit_c: float


@dataclass(frozen=True, slots=True)
class NightRead(Remark):
    """How cold last night was at a spot, as it was read and as it had been told; air [°C]."""

    spot: str
    low_c: float
    at: datetime | None
    """When it was read first; None where a minimum thermometer was read later."""
    told_c: float


@dataclass(frozen=True, slots=True)
class Threat:
    """The chance (0..1) that a night falls under a limit, and the plants: a part of `CloseCall`."""

    chance: float
    limit_c: float
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CloseCall(Remark):
    """A spot where plants stay out although it may well get too cold, the likeliest first."""

    spot: str
    threats: tuple[Threat, ...]


@dataclass(frozen=True, slots=True)
class Undecided(Remark):
    """Plants that may have to go in tonight, and by when the grower is told whether they do."""

    plants: tuple[str, ...]
    told_by: datetime


# -- rules, water, feed


@dataclass(frozen=True, slots=True)
class Note(Remark):
    """What a rule that asks for a note finds: the worst value at a spot, in the quantity's unit."""

    rule: str
    spot: str
    quantity: str
    value: float
    unit: str
    at: datetime


@dataclass(frozen=True, slots=True)
class MistingMissed(Remark):
    """Plants that dry out because the grower has no time, and by when each misting is due."""

    plants: tuple[str, ...]
    spot: str
    dry_from: datetime
    dry_until: datetime
    due: tuple[datetime, ...]


@dataclass(frozen=True, slots=True)
class HeatUnrelieved(Remark):
    """Plants too hot where they stand that no order helps; dry: whether water would cool."""

    plants: tuple[str, ...]
    spot: str
    high_c: float
    limit_c: float
    at: datetime
    dry: bool


@dataclass(frozen=True, slots=True)
class HeatAhead(Remark):
    """Plants that need something against tomorrow's heat before the morning round."""

    plants: tuple[str, ...]
    kind: str
    high_c: float
    limit_c: float
    by: datetime


@dataclass(frozen=True, slots=True)
class WarmNights(Remark):
    """Plants that want cooler nights: low of the warmest, the first, and their number."""

    plants: tuple[str, ...]
    low_c: float
    limit_c: float
    first_day: date
    nights: int


@dataclass(frozen=True, slots=True)
class FeedTooStrong(Remark):
    """Plants for which a feed is too strong, and the most of its fertiliser [g/L]."""

    plants: tuple[str, ...]
    feed: str
    """Its name; empty for the feed of all other plants."""
    ec_ms_cm: float
    limit_ms_cm: float
    most_g_l: float
    dries: bool = False
    """Whether it is within the limit, and its film passes that before it is taken up."""


@dataclass(frozen=True, slots=True)
class CourseTooStrong(Remark):
    """Plants for which the mix of a course is too strong, and the most of its salt [g/L]."""

    plants: tuple[str, ...]
    course: str
    ec_ms_cm: float
    limit_ms_cm: float
    most_g_l: float
    dries: bool = False
    """As above."""


@dataclass(frozen=True, slots=True)
class FeedWaits(Remark):
    """Plants that are given one thing today and wait for another that is due as well."""

    plants: tuple[str, ...]
    given: str
    waits: str
    """Names of feeds or courses; empty for the feed of all other plants."""
    clouds: bool
    """Whether the two must not be mixed."""


@dataclass(frozen=True, slots=True)
class CourseBehind(Remark):
    """A course that was given less often than it is meant to be, in its last span of days."""

    course: str
    plants: tuple[str, ...]
    given: int
    unconfirmed: int
    """How many of those were told, and nobody has said that they were done."""
    times: int
    days: int


@dataclass(frozen=True, slots=True)
class LookAtLeaf(Remark):
    """Plants of a course whose leaves nobody has looked at for so many days."""

    plants: tuple[str, ...]
    course: str
    days: int


@dataclass(frozen=True, slots=True)
class SaltsNear(Remark):
    """Plants whose roots have nearly as much salt as they bear."""

    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FlushWaits(Remark):
    """Plants with too much salt at their roots that cannot be flushed today, and are not fed."""

    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WaterTooSalty(Remark):
    """Plants with too much salt at their roots for which the water in use is too salty."""

    plants: tuple[str, ...]
    ec_ms_cm: float
    limit_ms_cm: float
    rain: float
    """The share of rain in it that would do (0..1); 1 for nothing but rain."""


@dataclass(frozen=True, slots=True)
class WateringUnplanned(Remark):
    """The forecast is too old to plan any watering by."""


@dataclass(frozen=True, slots=True)
class WateringIncomplete(Remark):
    """Too little is known of today's weather to plan all the watering."""


# -- rests


@dataclass(frozen=True, slots=True)
class RestBegins(Remark):
    """Plants that go to rest, dry or with a little water, and until when days are too short."""

    plants: tuple[str, ...]
    dry: bool
    not_before: date | None
    """Growth is not to be expected before this day; None if warmth alone decides."""


@dataclass(frozen=True, slots=True)
class RestEnds(Remark):
    """Plants whose rest is over; dry: they were kept dry."""

    plants: tuple[str, ...]
    dry: bool


@dataclass(frozen=True, slots=True)
class PlantsRest(Remark):
    """Plants that rest, as in `RestBegins`."""

    plants: tuple[str, ...]
    dry: bool
    not_before: date | None


# -- the week


@dataclass(frozen=True, slots=True)
class Spell(Remark):
    """Days in a row that are too hot or too dry, with the most plants affected on one of them."""

    kind: Literal["hot", "dry"]
    first_day: date
    days: int
    most_plants: int


@dataclass(frozen=True, slots=True)
class CarryBegins(Remark):
    """The first night that needs carrying, after one that did not."""

    day: date


@dataclass(frozen=True, slots=True)
class CarryEnds(Remark):
    """The first night from which on no carrying is needed, as far as the forecast goes."""

    day: date


@dataclass(frozen=True, slots=True)
class NightsSafe(Remark):
    """From or up to which evening nights at a spot are safe for plants, by many past years."""

    spot: str
    plants: tuple[str, ...]
    day: date
    begins: bool
    """Whether they are safe from this day on; else it is the last such day."""
    years: int
    """How many years say so."""


@dataclass(frozen=True, slots=True)
class SpotDark(Remark):
    """A spot too dark for this many plants: its light in a day, and the need of the neediest."""

    spot: str
    light_mol_m2: float
    neediest: str
    need_mol_m2: float
    plant_count: int


@dataclass(frozen=True, slots=True)
class SensorQuiet(Remark):
    """A sensor at a spot that has sent nothing for days, and when it last did."""

    spot: str
    quantity: str
    since: datetime


@dataclass(frozen=True, slots=True)
class ThermometerMoved(Remark):
    """A thermometer that reads so much warmer than before since a night [K]; below zero: colder."""

    spot: str
    warmer_k: float
    since: date


@dataclass(frozen=True, slots=True)
class ThermometerTooWarm(Remark):
    """A thermometer that reads so much warmer than the forecast as can never be outdoors [K]."""

    spot: str
    warmer_k: float


# -- damage, and limits


@dataclass(frozen=True, slots=True)
class DamageAsked(Remark):
    """Plants that went through a cold night some days ago: does damage show by now?"""

    plants: tuple[str, ...]
    night: date
    low_c: float
    """The lowest temperature of their leaves [°C]; of the one that had it worst."""
    is_read: bool
    """Whether a thermometer showed it; else it follows from a forecast."""


@dataclass(frozen=True, slots=True)
class LimitProposed(Remark):
    """A limit that nights speak for changing: how many did damage, and how many spells did none."""

    plant: str
    limit: str
    was_c: float
    value_c: float
    damaged: int
    unharmed: int
