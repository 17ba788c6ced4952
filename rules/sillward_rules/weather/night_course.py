"""The rest of a night at a spot, where a thermometer there shows it to be colder than forecast."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array


@dataclass(frozen=True, slots=True)
class NightCourse:
    """How much colder than forecast the rest of a night is at a spot, by a thermometer there.

    - read_at, read_c: its newest reading [°C].
    - told_c: what the forecast gave the air there for that moment [°C].
    - falling: whether it shows less than before.
    - at: moments from then on, in order [unix s].
    - departure_k: what is added to the air temperature at each [K]. Never above zero: what a
      thermometer shows too warm, the forecast may still be right about.
    - sd_k: how far off that may be, standard deviation at each [K].
    """

    read_at: datetime
    read_c: float
    told_c: float
    falling: bool
    at: tuple[float, ...]
    departure_k: tuple[float, ...]
    sd_k: tuple[float, ...]

    def __post_init__(self) -> None:
        if not len(self.at) == len(self.departure_k) == len(self.sd_k) >= 1:
            msg = "the course of a night has one departure and one error for each moment"
            raise ValueError(msg)
        if max(self.departure_k) > 0:
            msg = "the course of a night is never warmer than the forecast"
            raise ValueError(msg)

    def departures_k(self, times: ArrayLike) -> Array:
        """Return what is added to the air temperature at moments (time,) [unix s]: (time,) [K].

        Linear in between; zero before the first moment and after the last.
        """
        at, departure_k = np.asarray(self.at), np.asarray(self.departure_k)
        return np.asarray(np.interp(np.asarray(times), at, departure_k, left=0.0, right=0.0))
