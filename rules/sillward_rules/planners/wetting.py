"""Films over a day: how long a wetting lasts, and the latest hour at which crowns may be wetted."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

import numpy as np

from sillward_rules import sun
from sillward_rules.air import Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.film import LEAF_FILM, VELAMEN_FILM, drying_times, evaporation
from sillward_rules.plant import Plant, Rot
from sillward_rules.scene import Scene
from sillward_rules.spot import film_air

STEP = timedelta(minutes=5)

CROWN_POOL_MM: Mapping[Rot, float] = {"high": 1.0, "medium": 0.5, "low": 0.2}
"""Water that a crown or axil holds, by rot class [mm]. Judgement: 1 mm pools, 0.2 mm films."""


class DayFilms:
    """Drying times at one spot for every five minutes from a day's sunrise to the next.

    Films that would outlast the following morning are infinite; unknown air gives NaN.
    """

    def __init__(self, scene: Scene, day: date, column: int) -> None:
        self.events = sun.day_events(scene.site, day)
        end = sun.day_events(scene.site, day + timedelta(days=1)).sunrise + timedelta(hours=6)
        self.starts = np.arange(
            self.events.sunrise.timestamp(), end.timestamp(), STEP.total_seconds()
        )
        self._habits = scene.habits
        self.air = film_air(scene.climate, self.starts + STEP.total_seconds() / 2, column)

    @cached_property
    def known(self) -> bool:
        """Whether the air is known from sunrise to sunset."""
        in_day = self.starts < self.events.sunset.timestamp()
        return bool(np.isfinite(self.leaf_rate[in_day]).all())

    @cached_property
    def leaf_rate(self) -> Array:
        """Evaporation of a wet leaf [mm/h], (step,)."""
        return evaporation(self.air, LEAF_FILM.shape)

    @cached_property
    def leaf(self) -> Array:
        """Life of the film on a leaf [h], by the step in which it is wetted, (step,)."""
        return self.drying(LEAF_FILM.depth_mm)

    @cached_property
    def velamen(self) -> Array:
        """Life of the water in bare velamen [h], (step,)."""
        rate = evaporation(self.air, VELAMEN_FILM.shape)
        return drying_times(rate, STEP / timedelta(hours=1), VELAMEN_FILM.depth_mm)

    def drying(self, depth_mm: float) -> Array:
        """Life of a film of this depth on a leaf or in a crown [h], (step,)."""
        return drying_times(self.leaf_rate, STEP / timedelta(hours=1), depth_mm)

    def at(self, series: Array, moment: datetime) -> float:
        """The value of a (step,) series for the step that holds the moment."""
        index = int((moment.timestamp() - self.starts[0]) // STEP.total_seconds())
        return float(series[min(max(index, 0), series.size - 1)])

    def starts_at(self, index: int) -> datetime:
        """The moment at which a step begins."""
        return datetime.fromtimestamp(float(self.starts[index]), UTC)

    def crown_drying(self, rot: Rot) -> Array:
        """Time for a crown to dry [h], the shelter of its axils included, (step,)."""
        factor = 1.0 if rot == "low" else self._habits.axil_factor
        return self.drying(CROWN_POOL_MM[rot]) * factor

    def dry_deadline(self, rot: Rot) -> datetime:
        """By when crowns of this class must be dry."""
        return self.events.sunset - (timedelta(0) if rot == "low" else self._habits.dry_by)

    def last_wetting(self, rot: Rot) -> datetime | None:
        """Latest moment from sunrise on from which a crown still dries in time; None: none."""
        hours = self.crown_drying(rot)
        fits = self.starts + hours * 3600 <= self.dry_deadline(rot).timestamp()
        if not fits.any():
            return None
        return self.starts_at(int(np.flatnonzero(fits)[-1]))


def stop_wetting(films: DayFilms, plant: Plant, spot: str) -> Errand | None:
    """Until when this plant's crown may be wetted today; None where the air is not known."""
    rot = plant.rot
    hours = films.crown_drying(rot)
    if not films.known:
        return None
    in_day = films.starts < films.events.sunset.timestamp()
    last = films.last_wetting(rot)
    # With no wetting at all, the number that says so is the shortest drying of the day.
    at = last or films.starts_at(int(np.argmin(np.where(in_day, hours, np.inf))))
    reason = Reason(
        plant=plant.name,
        quantity="crown drying time",
        value=_finite(films.at(hours, at)),
        unit="h",
        limit=round((films.dry_deadline(rot) - at) / timedelta(hours=1), 1),
        at=at,
        origin=f"rot {rot}: {plant.limits.rot.origin if plant.limits.rot else 'not known'}",
    )
    sunrise = films.events.sunrise
    kind = ChoreKind.STOP_WETTING
    return Errand(kind, plant.name, spot, spot, sunrise, last or sunrise, reason)


def _finite(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None
