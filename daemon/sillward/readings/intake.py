"""From readings to the ledger: what can be used is kept, the rest is set aside with its reason."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from sillward.errors import SourceError, UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import READINGS_DAYS
from sillward.readings.forecast_here import UNITS, ForecastHere
from sillward.text import printable
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from sillward_rules.readings.quality import Reason, in_the_sun, sift, stuck, twins
from sillward_rules.weather.hourly import Weather, moment
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

OTHER_SENSOR_H = 3
SAME_MEAN = 0.02
"""If so many hours, and more than half of all, differ from what is kept of a sensor by this [°C or
%], or have another number of readings, they are of another sensor. Judgement: some hours may lack
readings at the ends of a file; rounding makes 0.01."""

_EVER = datetime(1970, 1, 1, tzinfo=UTC)
_OF_HOURS = (Reason.STUCK, Reason.SUN, Reason.TWIN)


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
            a time that is not kept.
        set_aside: how many are not used, by the reason.
        first_at, last_at: of all of them.
    """

    source: Source
    count: int
    new: int
    too_old: int
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
        first_at, last_at = moment(times[0]), moment(times[-1])
        dated, measured = times[recent], values[recent]
        found = sift(dated, measured, source.quantity, now)
        impossible = found.set_aside[Reason.IMPOSSIBLE]
        if 2 * int(impossible.sum()) > dated.size:
            example = f"{measured[impossible][0]:g} {UNITS[source.quantity]}"
            msg = (
                f"{source.sensor}: most of its values, such as {example}, are {Reason.IMPOSSIBLE}:"
                " is the unit right, and is it the right column?"
            )
            raise SourceError(msg)
        aside: dict[str, np.ndarray] = {
            str(reason): rows for reason, rows in found.set_aside.items()
        }
        aside[Reason.JUMP] = aside.get(Reason.JUMP, impossible & False) | found.undecided
        kept = found.kept & ~self._is_set_aside(source, dated)
        hours = by_the_hour(dated[kept], measured[kept])
        with self.ledger.database.transaction():
            self._require_same_sensor(source, hours)
            for reason, rows in self.doubts(source, hours):
                of_reason = kept & np.isin(dated // HOUR_S * HOUR_S, hours.hour[rows])
                aside[reason] = of_reason
                kept &= ~of_reason
            self._set_aside(source, dated, measured, aside)
            new = self.ledger.readings.keep(
                self.site.name,
                source.spot.name,
                source.quantity,
                source.sensor,
                by_the_hour(dated[kept], measured[kept]),
            )
        counts = Counter({reason: int(rows.sum()) for reason, rows in aside.items() if rows.any()})
        too_old = int((~recent).sum())
        return TakenIn(source, times.size, new, too_old, counts, first_at, last_at)

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
                yield f"{Reason.TWIN}: {name} at {other.name}", twins(hours, theirs)

    def _is_set_aside(self, source: Source, times: np.ndarray) -> np.ndarray:
        """Return which readings lie where the same sensor was in doubt before, by the hour.

        The forecast that showed it may not be held any more when they come again.
        """
        found = np.zeros(times.shape, bool)
        for past in self.ledger.readings.set_aside_since(self.site.name, _EVER):
            is_same = (past.spot, past.quantity, past.sensor) == (
                source.spot.name,
                source.quantity,
                source.sensor,
            )
            if is_same and past.reason.startswith(_OF_HOURS):
                first, last = past.first_at.timestamp(), past.last_at.timestamp()
                found |= (times >= first) & (times <= last)
        return found

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
        if differ.sum() >= OTHER_SENSOR_H and 2 * differ.sum() > common.size:
            msg = (
                f'"{source.sensor}" at {source.spot.name} has other readings of the same hours: is'
                " this another thermometer? Then give it a name of its own with --sensor"
            )
            raise UsageError(msg)

    def _set_aside(
        self,
        source: Source,
        times: np.ndarray,
        values: Array,
        aside: dict[str, np.ndarray],
    ) -> None:
        for reason, rows in aside.items():
            if rows.any():
                self.ledger.readings.set_aside(
                    self.site.name,
                    source.spot.name,
                    source.quantity,
                    source.sensor,
                    reason,
                    [moment(second) for second in times[rows].tolist()],
                    f"{values[rows][-1]:.4g} {UNITS[source.quantity]}",
                )
