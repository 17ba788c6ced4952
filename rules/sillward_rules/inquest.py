"""After damage: what a plant went through in the weeks before, ranked by how likely it did it.

    cold_nights(...)   each night where the plant stood: how cold its leaves were, and the harm
    hot_days(...)      each day there against its limit of heat
    ranked(...)        these as suspects, with what the damage looks like

It explains past hours and decides nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import Enum

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.physics import cold_harm
from sillward_rules.physics.exposure import exposure
from sillward_rules.plants.plant import Plant
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import moment, rows_from_to
from sillward_rules.weather.season import GROWS, Season
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

LOOK_BACK_NIGHTS = 21
"""Nights before damage that are looked at. Judgement: in two of 22 foliage plants chilling showed
only after two weeks, in most within days (a trial at 2 to 8 °C, read in its abstract)."""

FULL_WEIGHT_NIGHTS, LATE_WEIGHT = 14, 0.5
"""Nights longer before the damage than this are half as likely to have done it. Judgement, by the
same trial."""

READ_SD_K = 0.7
"""Error of a leaf where the air was read [K]. Judgement: a thermometer at the spot is off by some
tenths, and the leaf is worked out from its air."""

HELD_SD_K = 1.0
"""The same in a room that is said to hold a temperature [K]. Judgement."""

HEAT_FULL_KH = 15.0
"""Degree-hours above the limit of heat that make a full harm [K h]. Judgement: three hours at 5 K
above it; no curve was found."""

LIKELY = 0.15
"""From this weight on a suspect is called likely. Judgement: three hours at 1 K below the limit of
comfort, where 5 K lie between that and injury."""

HINT = 2.0
"""What damage that looks like a cause adds to it: the weight is multiplied by this, and divided by
it for the others. Judgement; a look is only a hint."""


class Cause(Enum):
    """What may have harmed a plant."""

    COLD = "cold"
    HEAT = "heat"
    SALT = "salt"


LOOKS: Mapping[Cause, tuple[str, ...]] = {
    Cause.COLD: ("soft", "water", "glass", "translucent", "black", "collapse", "mush", "pit"),
    Cause.HEAT: ("bleach", "white", "sun", "scorch", "straw"),
    Cause.SALT: ("tip", "edge", "margin", "crust"),
}
"""Words by which growers tell causes apart. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a plant stood in the night after a day, and at the middle of that day.

    - spots, day_spots: one spot each, or two if it is not known which. is_known: whether anybody
      has said so; is_unmoved: if not, whether nobody was told to take it from its home either.
    - read_low_c: the lowest of the night that a thermometer at a spot showed [°C], for the spots
      that have one. By day a thermometer shows the sun as much as the air.
    """

    day: date
    spots: tuple[str, ...]
    day_spots: tuple[str, ...]
    is_known: bool = True
    read_low_c: Mapping[str, float] = field(default_factory=dict)
    is_unmoved: bool = False


@dataclass(frozen=True, slots=True)
class ColdNight:
    """A night that a plant went through.

    - day: the date of its evening. spot: where the plant was, or the colder of two. is_known,
      is_unmoved: as in `Stay`.
    - low_c: the lowest temperature of its leaves [°C], at `at`; sd_k: the standard deviation of its
      error [K]; is_read: whether it follows from a reading.
    - limit_c: its limit of comfort that night [°C]; hours: how long it was below [h].
    - dose, harm: 0 to 1, as in `physics.cold_harm`; harm counts the nights before too.
    """

    day: date
    spot: str
    is_known: bool
    low_c: float
    at: datetime
    sd_k: float
    is_read: bool
    limit_c: float
    hours: float
    dose: float
    harm: float
    is_unmoved: bool = False

    @property
    def is_placed(self) -> bool:
        """Whether somebody has said where it was, or nobody was told to take it from its home."""
        return self.is_known or self.is_unmoved


@dataclass(frozen=True, slots=True)
class HotDay:
    """A day on which the air where a plant stood went above its limit of heat.

    - high_c: the highest [°C]; hours: how long it was above limit_c [h]; harm: 0 to 1.
    """

    day: date
    spot: str
    high_c: float
    limit_c: float
    hours: float
    harm: float


@dataclass(frozen=True, slots=True)
class LateFeed:
    """A feed that was confirmed after its hours: its film may have dried before the rinse."""

    day: date
    done_at: datetime
    due: datetime
    harm: float = 0.1
    """Judgement: it is likelier that the answer came late than the feed."""


Event = ColdNight | HotDay | LateFeed


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something that may have done the damage, and how much speaks for it (0..1)."""

    cause: Cause
    event: Event
    weight: float

    @property
    def is_likely(self) -> bool:
        """Whether it is called likely."""
        return self.weight >= LIKELY


def cold_nights(
    site: Site, plant: Plant, climate: Climate, stays: Sequence[Stay]
) -> list[ColdNight]:
    """Return the nights of a plant, in order, without those of which less than half is known.

    climate : of the spots where it stood, over these nights. stays : in order.
    """
    found: list[ColdNight] = []
    carried, usual_c = 0.0, float("nan")
    for stay in stays:
        night = sun.night_of(site, stay.day)
        rows = rows_from_to(climate.times, night.start, night.cold_until)
        comfort = _comfort_c(plant, climate, stay.spots)
        if rows.size < 2 or comfort is None:
            continue
        courses = [
            (spot, _known(_leaf(climate, spot, rows, stay.read_low_c))) for spot in stay.spots
        ]
        known = [
            (float(leaf.min()), spot, leaf) for spot, leaf in courses if 2 * leaf.size > rows.size
        ]
        if len(known) < len(courses):
            continue
        low_c, spot, leaf = min(known, key=lambda each: each[0])
        injury = plant.limits.brief_low
        span = cold_harm.span_k(comfort, np.nan if injury is None else injury.value)
        step_h = np.diff(climate.times[rows[: leaf.size]]) / HOUR_S
        hours, degree_hours = exposure(leaf, comfort, step_h)
        dose = float(cold_harm.dose_of(degree_hours, span))
        hardened = cold_harm.hardened_share(comfort, usual_c)
        harm = float(cold_harm.night_harm(dose, carried, hardened))
        carried = float(cold_harm.carried_dose(carried, dose))
        usual_c = float(cold_harm.usual_low_c(usual_c, low_c))
        is_read = spot in stay.read_low_c
        found.append(
            ColdNight(
                day=stay.day,
                spot=spot,
                is_known=stay.is_known,
                low_c=low_c,
                at=moment(climate.times[rows[int(np.argmin(leaf))]]),
                sd_k=READ_SD_K if is_read else _sd_k(climate, spot),
                is_read=is_read,
                limit_c=comfort,
                hours=float(hours),
                dose=dose,
                harm=harm,
                is_unmoved=stay.is_unmoved,
            )
        )
    return found


def _comfort_c(plant: Plant, climate: Climate, spots: Sequence[str]) -> float | None:
    """Return the limit of comfort that holds in the season at a spot [°C]."""
    grows, column = GROWS.index(plant.grows), climate.column(spots[0])
    growing, resting = plant.limits.night_low, plant.at_rest.limits.night_low
    if growing is None or resting is None:
        return None
    rests = climate.season[grows, column] is Season.REST
    return min(growing.value, resting.value) if rests else growing.value


def _leaf(climate: Climate, spot: str, rows: np.ndarray, read: Mapping[str, float]) -> Array:
    """Return the leaf at a spot (row,) [°C], moved by as much as a reading moves its air."""
    column = climate.column(spot)
    leaf: Array = climate.leaf_c[rows, column]
    if spot not in read or np.isnan(leaf).all():
        return leaf
    return np.asarray(leaf + read[spot] - np.nanmin(climate.temp_c[rows, column]))


def _known(leaf: Array) -> Array:
    """Return the hours before the first that is not known: past the last low nothing is drawn."""
    gaps = np.flatnonzero(np.isnan(leaf))
    return leaf[: gaps[0]] if gaps.size else leaf


def _sd_k(climate: Climate, spot: str) -> float:
    """Return the error of a leaf that follows from a forecast [K]."""
    it = climate.spots[climate.column(spot)]
    if it.holds_itself:
        return HELD_SD_K
    return USUAL_ERROR_K[0] if it.learned is None else float(it.learned.usual.sd_k)


def hot_days(site: Site, plant: Plant, climate: Climate, stays: Sequence[Stay]) -> list[HotDay]:
    """Return the days on which a plant was beyond its limit of heat, in order."""
    limit = plant.limits.day_high
    if limit is None:
        return []
    found = []
    half_a_day = timedelta(hours=12)
    for stay in stays:
        middle, spot = site.middle_of_day(stay.day), stay.day_spots[0]
        rows = rows_from_to(climate.times, middle - half_a_day, middle + half_a_day)
        if rows.size < 2:
            continue
        air = climate.temp_c[rows, climate.column(spot)]
        step_h = np.diff(climate.times[rows]) / HOUR_S
        # The heat above a limit is the cold below it, turned around.
        hours, degree_hours = exposure(-air, -limit.value, step_h)
        if degree_hours > 0:
            harm = min(1.0, float(degree_hours) / HEAT_FULL_KH)
            high_c = float(np.nanmax(air))
            found.append(HotDay(stay.day, spot, high_c, limit.value, float(hours), harm))
    return found


def looks_like(what: str) -> set[Cause]:
    """Return the causes that damage in these words looks like."""
    words = what.lower()
    return {cause for cause, looks in LOOKS.items() if any(look in words for look in looks)}


def ranked(events: Sequence[Event], seen: date, what: str = "") -> list[Suspect]:
    """Return events as suspects, the likeliest first.

    seen : the day on which the damage was seen; later events are left out. what : how it looks.
    """
    hints = looks_like(what)
    causes = {ColdNight: Cause.COLD, HotDay: Cause.HEAT, LateFeed: Cause.SALT}
    suspects = []
    for event in events:
        # A night ends on the day after the evening that names it.
        days = (seen - event.day).days
        if days < (1 if isinstance(event, ColdNight) else 0) or event.harm <= 0:
            continue
        cause = causes[type(event)]
        weight = event.harm * (1.0 if days <= FULL_WEIGHT_NIGHTS else LATE_WEIGHT)
        weight *= 1.0 if not hints else HINT if cause in hints else 1.0 / HINT
        suspects.append(Suspect(cause, event, min(1.0, weight)))
    return sorted(suspects, key=_order)


def _order(suspect: Suspect) -> tuple[float, float, int]:
    """Return what suspects are sorted by: of cold nights that weigh the same, the coldest first."""
    event = suspect.event
    low_c = event.low_c if isinstance(event, ColdNight) else 0.0
    return -suspect.weight, low_c, -event.day.toordinal()
