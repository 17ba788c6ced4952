"""The types of a chart's data."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias, get_args

from sillward.text.units import SI, Units

Kind: TypeAlias = Literal["night", "water"]

KINDS: tuple[Kind, ...] = get_args(Kind)

MAX_FILM_MIN = 480.0
"""A film that lasts longer is shown as this [min]. Judgement: eight hours are a whole day."""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit that plants share, in the unit of the series it is compared with.

    plants: their names; or, for a bound that is no plant's limit, a word for it.
    """

    series: str
    value: float
    unit: str
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NightSpan:
    """A night from sunset to sunrise, with its lowest leaf temperature [°C] and the time of it.

    The low is None unless every hour of the night is known, and always None on a water chart.
    """

    start: datetime
    end: datetime
    low_c: float | None = None
    low_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class DaySpan:
    """The hours of a day in which plants can still be misted.

    planned: whether enough is known of the day to plan its misting.
    """

    start: datetime
    end: datetime
    planned: bool


@dataclass(frozen=True, slots=True)
class Window:
    """One misting: its window, and the plants that are misted."""

    opens: datetime
    closes: datetime
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChartData:
    """Everything that a chart shows. Times are in the site's zone, in full seconds.

    series: by name, a value for each of `times`, which are consecutive full hours. On a night
        chart: leaf_c, air_c, band_low_c, band_high_c [°C]; the band is one standard deviation of
        the forecast either way. On a water chart: vpd_kpa [kPa], film_min [min], by day only, at
        most `MAX_FILM_MIN`.
    band_origin: where the band comes from.
    forecast: its source and age, and how far it can be trusted.
    units: the units of the drawing.
    """

    kind: Kind
    site: str
    spot: str
    plant: str | None
    zone: str
    now: datetime
    start: datetime
    end: datetime
    title: str
    subtitle: str
    forecast: str
    times: tuple[datetime, ...]
    series: dict[str, tuple[float | None, ...]]
    limits: tuple[LimitLine, ...]
    nights: tuple[NightSpan, ...]
    days: tuple[DaySpan, ...] = ()
    windows: tuple[Window, ...] = ()
    band_origin: str | None = None
    units: Units = SI

    @property
    def made(self) -> str:
        """Return when it was made, in words."""
        return made_line(self.now, self.zone, self.units)


def made_line(now: datetime, zone: str, units: Units) -> str:
    """Return "made Thu 14 May 17:00, times of America/Argentina/Mendoza". now: in that zone."""
    return f"made {now:%a %d %b} {units.hour(now)}, times of {zone}"
