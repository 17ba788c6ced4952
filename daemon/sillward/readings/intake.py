"""From readings to the ledger: what can be used is kept, the rest is set aside with its reason."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain

import numpy as np

from sillward.errors import SourceError, UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import READINGS_DAYS, SetAside
from sillward.readings.forecast_here import UNITS, ForecastHere
from sillward.text import printable
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from sillward_rules.readings.quality import (
    Reason,
    Sifted,
    as_can_be,
    in_the_sun,
    sift,
    stuck,
    twins,
)
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

OTHER_SENSOR_H = 3
SAME_MEAN = 0.02
"""If so many hours, and more than half of all, differ from what is kept of a sensor by this [°C or
%], or have another number of readings, they are of another sensor. Judgement: some hours may lack
readings at the ends of a file; rounding makes 0.01. Of an hour with as many readings, from the same
first to the same last, one that differs is enough."""

ONLY_SENSOR = "logger"
"""The name of a sensor whose file says no number, and to which the grower gave none."""

MAX_NAME = 60
"""Characters of the name of a sensor. Judgement: a line shows it."""


def sensor_name(told: str | None, serial: str | None) -> str:
    """Return the name of the sensor of a file. Raise UsageError for one that cannot be shown.

    told: the grower's name for it. serial: the number that its file says.
    """
    if told is None:
        return ONLY_SENSOR if serial is None else f"{ONLY_SENSOR} {serial}"
    if not told.strip() or len(told) > MAX_NAME or printable.unprintable(told):
        msg = f"a sensor needs a name of up to {MAX_NAME} characters that can be shown"
        raise UsageError(msg)
    return told.strip()


def twin_of(sensor: str, spot: str) -> str:
    """Return why readings are not used that are the same as those of a sensor at another spot."""
    return f"{Reason.TWIN}: {sensor} at {spot}"


@dataclass(frozen=True, slots=True)
class Source:
    """Where readings come from: a sensor at a spot, and what it measures."""

    spot: Spot
    quantity: Quantity
    sensor: str


@dataclass(frozen=True, slots=True, eq=False)
class TakenIn:
    """What became of some readings of a sensor.

    Args:
        count: how many there were; new: how many of them were not known; too_old: how many are of
            a time that is not kept; repeated: how many are of a second that had one already.
        set_aside: how many are not used, by the reason.
        first_at, last_at: of all of them.
    """

    source: Source
    count: int
    new: int
    too_old: int
    repeated: int
    set_aside: Counter[str]
    first_at: datetime
    last_at: datetime


@dataclass(slots=True, eq=False)
class Intake:
    """Takes readings of the spots of a site in.

    Args:
        weather: the forecast that is held, with the past days that it has; None if there is none.
    """

    ledger: Ledger
    collection: Collection
    weather: Weather | None = None

    def take(self, source: Source, times: np.ndarray, values: Array, now: datetime) -> TakenIn:
        """Keep what can be used, and note what is set aside.

        times (reading,) : when they were taken [unix s], in order.
        values (reading,) : [°C or %], none NaN; at least one.

        Raise SourceError if most of it cannot be, and UsageError if another sensor has its name.
        """
        oldest = (now - timedelta(days=READINGS_DAYS)).timestamp()
        recent = times >= oldest
        dated, measured = times[recent], as_can_be(values[recent], source.quantity)
        found = sift(dated, measured, source.quantity, now)
        _require_possible(source, measured, found)
        aside = {str(reason): rows for reason, rows in found.set_aside.items()}
        aside[Reason.JUMP] = aside.get(Reason.JUMP, found.undecided) | found.undecided
        kept = found.kept
        hours = by_the_hour(dated[kept], measured[kept])
        repeated = int(kept.sum() - hours.count.sum())
        with self.ledger.database.transaction():
            self._require_same_sensor(source, hours)
            past = self._judged_anew(source, dated)
            remembered = _remembered(past, hours, dated, measured)
            for reason, rows in chain(self.doubts(source, hours), remembered):
                of_reason = kept & np.isin(dated // HOUR_S * HOUR_S, hours.hour[rows])
                aside[reason] = aside.get(reason, of_reason) | of_reason
                kept = kept & ~of_reason
            self._set_aside(source, dated, measured, aside, now)
            new = self.ledger.readings.keep(
                *self._place(source), by_the_hour(dated[kept], measured[kept])
            )
        counts = Counter({reason: int(rows.sum()) for reason, rows in aside.items() if rows.any()})
        too_old = int((~recent).sum())
        first_at, last_at = moment(times[0]), moment(times[-1])
        return TakenIn(source, times.size, new, too_old, repeated, counts, first_at, last_at)

    @property
    def site(self) -> Site:
        """The site of the collection."""
        return self.collection.site

    def doubts(self, source: Source, hours: HourlyReadings) -> Iterator[tuple[str, np.ndarray]]:
        """Yield why some hours of a sensor are not used, and which (hour,).

        A forecast is held against what follows it: a thermometer at a spot outdoors.
        """
        if not len(hours):
            return
        spot = source.spot
        if source.quantity is Quantity.TEMPERATURE and not spot.indoors and self.weather:
            here = ForecastHere(self.site, spot, self.weather)
            told = self.weather.times, here.course(Quantity.TEMPERATURE)
            yield Reason.STUCK, stuck(hours, *told)
            yield Reason.SUN, in_the_sun(self.site, hours, *told)
        first, last = moment(hours.hour[0]), moment(hours.hour[-1])
        for other in self.collection.spots:
            if other.name == spot.name:
                continue
            known = self.ledger.readings.of_spot(
                self.site.name, other.name, source.quantity, first, last
            )
            for name, theirs in known.items():
                yield twin_of(name, other.name), twins(hours, theirs)

    def set_aside_before(self, source: Source, since: datetime, until: datetime) -> list[SetAside]:
        """Return what was set aside of a sensor in the hours that begin in a span, in order."""
        return self.ledger.readings.set_aside_of(*self._place(source), since, until)

    def _place(self, source: Source) -> tuple[str, str, Quantity, str]:
        return self.site.name, source.spot.name, source.quantity, source.sensor

    def _judged_anew(self, source: Source, times: np.ndarray) -> list[SetAside]:
        """Take back what is judged anew of the hours of some readings; return what stays.

        Whether a sensor shows what another one does depends on what is kept of the other, and what
        is a jump at the end of a file may be none in a longer one.
        """
        if not times.size:
            return []
        first, last = moment(times[0] // HOUR_S * HOUR_S), moment(times[-1])
        hours = {moment(hour) for hour in np.unique(times // HOUR_S * HOUR_S)}
        past = [one for one in self.set_aside_before(source, first, last) if one.hour in hours]
        anew = (Reason.TWIN, Reason.JUMP)
        self.ledger.readings.take_back(
            self.site.name, [one for one in past if one.reason.startswith(anew)]
        )
        return [one for one in past if not one.reason.startswith(anew)]

    def _require_same_sensor(self, source: Source, hours: HourlyReadings) -> None:
        """Raise UsageError if what is kept under the name of a sensor is of another one."""
        if not len(hours):
            return
        known = self.ledger.readings.of_spot(
            self.site.name,
            source.spot.name,
            source.quantity,
            moment(hours.hour[0]),
            moment(hours.hour[-1]),
        ).get(source.sensor)
        if known is None:
            return
        common, mine, theirs = np.intersect1d(hours.hour, known.hour, return_indices=True)
        differ = (hours.count[mine] != known.count[theirs]) | (
            np.abs(hours.mean[mine] - known.mean[theirs]) > SAME_MEAN
        )
        is_complete = hours.count[mine] == known.count[theirs]
        for name in ("first_at", "last_at"):
            is_complete &= getattr(hours, name)[mine] == getattr(known, name)[theirs]
        is_another = differ.sum() >= OTHER_SENSOR_H and 2 * differ.sum() > common.size
        if is_another or bool((differ & is_complete).any()):
            msg = (
                f'"{source.sensor}" at {source.spot.name} has other readings of the same hours: is'
                " this another thermometer? Then give it a name of its own with --sensor. If its"
                " times or its unit were read wrongly before, forget it and read it again:"
                f' sillward readings "{source.spot.name}" --forget "{source.sensor}"'
            )
            raise UsageError(msg)

    def _set_aside(
        self,
        source: Source,
        times: np.ndarray,
        values: Array,
        aside: dict[str, np.ndarray],
        now: datetime,
    ) -> None:
        unit = UNITS[source.quantity]
        for reason, rows in aside.items():
            if rows.any():
                self.ledger.readings.set_aside(
                    *self._place(source),
                    reason,
                    [moment(second) for second in times[rows].tolist()],
                    [f"{round(value, 2):g} {unit}" for value in values[rows].tolist()],
                    now,
                )


def _require_possible(source: Source, values: Array, found: Sifted) -> None:
    """Raise SourceError if most of some values (reading,) cannot be."""
    for reason, advice in (
        (Reason.IMPOSSIBLE, "is the unit right, and is it the right column?"),
        (Reason.CLOCK_AHEAD, "was the clock of the logger right, and is the zone?"),
    ):
        rows = found.set_aside[reason]
        if 2 * int(rows.sum()) > values.size:
            example = f"{values[rows][0]:g} {UNITS[source.quantity]}"
            msg = f"{source.sensor}: most of its values, such as {example}, are {reason}: {advice}"
            raise SourceError(msg)


def _remembered(
    past: Sequence[SetAside], hours: HourlyReadings, times: np.ndarray, values: Array
) -> Iterator[tuple[str, np.ndarray]]:
    """Yield why some hours were not used when the same readings came before, and which (hour,).

    The forecast that showed it may not be held any more. Other readings of the same hours, as of
    another file, are not meant: the last one that was in doubt must be among these.
    """
    for reason in (Reason.STUCK, Reason.SUN):
        of_reason = [one for one in past if one.reason == reason]
        last_at = np.array([int(one.last_at.timestamp()) for one in of_reason], np.int64)
        shown = np.array([float(one.example.partition(" ")[0]) for one in of_reason])
        rows = np.minimum(np.searchsorted(times, last_at), times.size - 1)
        is_same = (times[rows] == last_at) & (np.abs(values[rows] - shown) < SAME_MEAN)
        yield reason, np.isin(hours.hour, last_at[is_same] // HOUR_S * HOUR_S)
