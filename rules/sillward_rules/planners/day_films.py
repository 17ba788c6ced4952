"""How long a wetting lasts on a day: `DayAir` is what dries, `SpotFilms` the films at one spot,
`DayFilms` those at all spots."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.physics import air
from sillward_rules.physics.crown_wetness import WETTING_RAIN_MM
from sillward_rules.physics.water_film import (
    LEAF_FILM,
    VELAMEN_FILM,
    FilmAir,
    drying_times,
    evaporation,
)
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.limits import Rot
from sillward_rules.weather import sun
from sillward_rules.weather.climate import film_air
from sillward_rules.weather.hourly import moment

STEP = timedelta(minutes=5)
STEP_S = STEP.total_seconds()
STEP_H = STEP / timedelta(hours=1)

CROWN_POOL_MM: Mapping[Rot, float] = {"high": 1.0, "medium": 0.5, "low": 0.2}
"""Water that a crown or axil holds, by rot class [mm]. Judgement: from a film to a pool."""

_USUAL_DEPTHS_MM = (LEAF_FILM.depth_mm, *CROWN_POOL_MM.values())


class DayAir:
    """The air of a day at every spot, in steps of five minutes, and when the grower can water.

    The steps run from sunrise until six hours after the next sunrise. Arrays are (step, spot);
    unknown air is NaN.
    """

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self.events = sun.day_events(scene.site, day)
        end = sun.day_events(scene.site, day + timedelta(days=1)).sunrise + timedelta(hours=6)
        self.starts = np.arange(self.events.sunrise.timestamp(), end.timestamp(), STEP_S)
        self.air = film_air(scene.climate, self.starts + STEP_S / 2)

    @cached_property
    def drying(self) -> Array:
        """Deficit of the air, summed from the first step to the end of each [kPa h]."""
        deficit = air.vapour_pressure_deficit(self.air.temp_c, self.air.vapour_kpa)
        return np.asarray(np.cumsum(deficit * STEP_H, axis=0))

    @cached_property
    def free(self) -> np.ndarray:
        """(step,) whether the grower can water; always, if no hours are given."""
        hours = self.scene.habits.hours
        free = np.full(self.starts.shape, not hours)
        for span in hours:
            free |= span.mask(self.scene.site, self.starts, np.zeros(free.shape, dtype=bool))
        return free

    @cached_property
    def rained_on(self) -> np.ndarray:
        """Whether a step is in an hour whose rain wets; unknown rain wets nothing."""
        times = self.scene.climate.times
        if times.size == 0:
            return np.zeros((self.starts.size, len(self.scene.climate.spots)), dtype=bool)
        rows = np.searchsorted(times, self.starts + STEP_S / 2, side="left")
        inside = (rows < times.size) & (self.starts >= times[0] - HOUR_S)
        rain = self.scene.climate.rain_mm[np.minimum(rows, times.size - 1)]
        return np.asarray((rain >= WETTING_RAIN_MM) & inside[:, None])


class _Films:
    """The films at some spots, worked out together. Arrays are (step, place)."""

    def __init__(self, day_air: DayAir, columns: Sequence[int]) -> None:
        air = day_air.air
        self._air = FilmAir(
            air.temp_c[:, columns],
            air.vapour_kpa[:, columns],
            air.wind_m_s[:, columns],
            air.net_w_m2[:, columns],
            air.pressure_kpa,
        )

    @cached_property
    def leaf_rate(self) -> Array:
        """Evaporation of a wet leaf [mm/h]."""
        return evaporation(self._air, LEAF_FILM.shape)

    @cached_property
    def root_rate(self) -> Array:
        """Evaporation of a wet aerial root [mm/h]."""
        return evaporation(self._air, VELAMEN_FILM.shape)

    @cached_property
    def lasting(self) -> Mapping[float, Array]:
        """Life of a film on a leaf or in a crown, by its depth [h], for all usual depths."""
        lasting = drying_times(self.leaf_rate, STEP_H, _USUAL_DEPTHS_MM)
        return dict(zip(_USUAL_DEPTHS_MM, np.moveaxis(lasting, -1, 0), strict=True))

    @cached_property
    def velamen(self) -> Array:
        """Life of the water in bare velamen [h]."""
        return drying_times(self.root_rate, STEP_H, VELAMEN_FILM.depth_mm)


class SpotFilms:
    """How long a wetting lasts at one spot, for every step of a day.

    Arrays are (step,), by the step in which plants are wetted. A film that outlasts the following
    morning lasts infinitely long; where the air is unknown it is NaN.
    """

    def __init__(self, day_air: DayAir, column: int, films: _Films, place: int) -> None:
        """Look at one of the places of these films."""
        self.day_air = day_air
        self._films, self._place = films, place
        self.column = column
        self.events = day_air.events
        self.starts = day_air.starts
        self._begin, self._last_step = float(self.starts[0]), self.starts.size - 1
        self._habits = day_air.scene.habits
        self._crowns: dict[Rot, Array] = {}
        self._lasting: dict[float, Array] = {}
        self._velamen: dict[float, Array] = {}
        self._last: dict[Rot, datetime | None] = {}
        self._enough: dict[tuple[timedelta, bool], np.ndarray] = {}

    @cached_property
    def temp_c(self) -> Array:
        """Air temperature [°C]."""
        return self.day_air.air.temp_c[:, self.column]

    @cached_property
    def known(self) -> bool:
        """Whether the air is known from sunrise to sunset."""
        in_day = self.starts < self.events.sunset.timestamp()
        return bool(np.isfinite(self.leaf_rate[in_day]).all())

    @cached_property
    def leaf_rate(self) -> Array:
        """Evaporation of a wet leaf [mm/h]."""
        return np.ascontiguousarray(self._films.leaf_rate[:, self._place])

    @cached_property
    def root_rate(self) -> Array:
        """Evaporation of a wet aerial root [mm/h]."""
        return np.ascontiguousarray(self._films.root_rate[:, self._place])

    @cached_property
    def leaf(self) -> Array:
        """Life of the film on a leaf [h]."""
        return self.lasting(LEAF_FILM.depth_mm)

    @cached_property
    def velamen(self) -> Array:
        """Life of the water in bare velamen [h]."""
        return np.ascontiguousarray(self._films.velamen[:, self._place])

    @cached_property
    def drying(self) -> Array:
        """Deficit of the air, summed up to the end of each step [kPa h]."""
        return np.ascontiguousarray(self.day_air.drying[:, self.column])

    @cached_property
    def rained_on(self) -> np.ndarray:
        """Whether rain wets the plants in a step."""
        return np.ascontiguousarray(self.day_air.rained_on[:, self.column])

    @cached_property
    def rains(self) -> bool:
        """Whether rain wets the plants at all."""
        return bool(self.rained_on.any())

    def velamen_lasting(self, share: float) -> Array:
        """Return the time until this share of the water in bare velamen is gone [h]."""
        if share not in self._velamen:
            depth_mm = share * VELAMEN_FILM.depth_mm
            self._velamen[share] = drying_times(self.root_rate, STEP_H, depth_mm)
        return self._velamen[share]

    def lasting(self, depth_mm: float) -> Array:
        """Return the life of a film of this depth on a leaf or in a crown [h]."""
        if depth_mm not in self._lasting:
            usual = self._films.lasting.get(depth_mm)
            self._lasting[depth_mm] = (
                drying_times(self.leaf_rate, STEP_H, depth_mm)
                if usual is None
                else np.ascontiguousarray(usual[:, self._place])
            )
        return self._lasting[depth_mm]

    def enough(self, uptake: timedelta, velamen: bool) -> np.ndarray:
        """(step,) whether a film on a leaf lasts long enough, and in velamen too if that counts."""
        key = (uptake, velamen)
        if key not in self._enough:
            lasts = self.leaf >= uptake / timedelta(hours=1)
            if velamen:
                lasts = lasts & (self.velamen >= self._habits.velamen_uptake / timedelta(hours=1))
            self._enough[key] = lasts
        return self._enough[key]

    def index(self, at: datetime) -> int:
        """Return the step that holds a moment; the first or last one for moments outside."""
        index = int((at.timestamp() - self._begin) // STEP_S)
        if index <= 0:
            return 0
        return index if index <= self._last_step else self._last_step

    def at(self, series: Array, when: datetime) -> float:
        """Return the value of a series at the step that holds the moment."""
        return float(series[self.index(when)])

    def starts_at(self, index: int) -> datetime:
        """Return the moment at which a step begins."""
        return moment(self.starts[index])

    def dose(self, start: datetime, end: datetime) -> float:
        """Return the drying between two moments, deficit times hours [kPa h]; NaN if not known."""
        if end <= start:
            return 0.0
        return float(self.drying[self.index(end)] - self.drying[self.index(start)])

    def dried_out(self, dry_from: datetime, tolerance: float) -> datetime | None:
        """Return when roots that are dry from this moment on have dried as much as they tolerate.

        tolerance : [kPa h]. None if that is not within the series, or not known: no misting is
        planned on a guess.
        """
        start = (dry_from.timestamp() - self._begin) / STEP_S
        if start >= self.starts.size:
            return None
        first = max(0, math.ceil(start))
        before = self.drying[first - 1] if first else 0.0
        if not math.isfinite(before):
            return None
        index = int(self.drying.searchsorted(before + tolerance - 1e-9))
        if index >= self.drying.size or not math.isfinite(self.drying[index]):
            return None
        return self.starts_at(index)

    def crown_drying(self, rot: Rot) -> Array:
        """Return the time for a crown to dry [h], the shelter of its axils included."""
        if rot not in self._crowns:
            factor = 1.0 if rot == "low" else self._habits.axil_factor
            self._crowns[rot] = self.lasting(CROWN_POOL_MM[rot]) * factor
        return self._crowns[rot]

    def dry_deadline(self, rot: Rot) -> datetime:
        """Return by when crowns of this class must be dry."""
        return self.events.sunset - (timedelta(0) if rot == "low" else self._habits.dry_by)

    def last_wetting(self, rot: Rot) -> datetime | None:
        """Return the latest moment from which a crown still dries in time, or None."""
        if rot not in self._last:
            hours = self.crown_drying(rot)
            fits = self.starts + hours * HOUR_S <= self.dry_deadline(rot).timestamp()
            self._last[rot] = self.starts_at(int(np.flatnonzero(fits)[-1])) if fits.any() else None
        return self._last[rot]


class DayFilms:
    """The films of a day at all spots, each worked out when it is first asked for.

    The films refer to the air of the day and not to this object: objects in a reference cycle stay,
    with their scene, until the garbage collector runs.
    """

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self._day_air = DayAir(scene, day)
        self.events, self.starts = self._day_air.events, self._day_air.starts
        self._by_column: dict[int, SpotFilms] = {}

    def at_spot(self, column: int) -> SpotFilms:
        """Return the films at the spot of this column."""
        self.prepare([column])
        return self._by_column[column]

    def prepare(self, columns: Iterable[int]) -> None:
        """Take the spots of these columns together: that is quicker than one after the other."""
        new = sorted({*columns} - self._by_column.keys())
        if not new:
            return
        films = _Films(self._day_air, new)
        for place, column in enumerate(new):
            self._by_column[column] = SpotFilms(self._day_air, column, films, place)
