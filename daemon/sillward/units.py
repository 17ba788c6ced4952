"""Units as a grower reads them: °C or °F, 24 or 12 hours, m/s, km/h or mph. All else stays SI."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Temperature = Literal["°C", "°F"]
ClockFace = Literal["24 h", "12 h"]
Speed = Literal["m/s", "km/h", "mph"]

_PER_M_S: dict[Speed, float] = {"m/s": 1.0, "km/h": 3.6, "mph": 1 / 0.44704}
"""Exact: the international mile is 1609.344 m."""


@dataclass(frozen=True, slots=True)
class Units:
    """What numbers are shown in."""

    temperature: Temperature = "°C"
    clock: ClockFace = "24 h"
    wind: Speed = "m/s"

    def shown(self, value: float, unit: str) -> tuple[float, str]:
        """A value of the core with its unit, in the grower's unit."""
        if unit == "°C" and self.temperature == "°F":
            return value * 1.8 + 32, self.temperature
        if unit == "m/s":
            return value * _PER_M_S[self.wind], self.wind
        return value, unit

    def difference(self, value_k: float) -> tuple[float, str]:
        """A difference of temperatures [K] in the grower's unit."""
        return (value_k * 1.8, "°F") if self.temperature == "°F" else (value_k, "K")

    def hour(self, local: datetime) -> str:
        """The bare clock time: "17:05", "5:05 pm"."""
        if self.clock == "24 h":
            return f"{local:%H:%M}"
        return f"{local.hour % 12 or 12}:{local:%M} {'am' if local.hour < 12 else 'pm'}"

    def span(self, start: datetime, end: datetime) -> str:
        """From one clock time to another: "07:10-08:05", "7:10-8:05 am", "11:30 am-12:15 pm"."""
        first, last = self.hour(start), self.hour(end)
        if self.clock == "12 h" and first[-2:] == last[-2:]:
            first = first[:-3]
        return f"{first}-{last}"


SI = Units()
"""What nobody has asked to change."""
