"""Units as a grower reads them: °C or °F, 24 or 12 hours, m/s, km/h or mph. All else stays SI."""

from dataclasses import dataclass
from datetime import datetime, time
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
        """A difference of temperatures [K] in the grower's unit, as thermometers name it."""
        return (value_k * 1.8, "°F") if self.temperature == "°F" else (value_k, "°C")

    def bare(self, value: float, unit: str, digits: int | None = None) -> str:
        """A value of the core in its shortest form, of so many digits at most, without its unit."""
        shown, its = self.shown(value, unit)
        if digits is None and its != unit:
            digits = 2  # enough for a limit in tenths; the rest nobody wrote
        return f"{(shown if digits is None else round(shown, digits)) + 0.0:g}"

    def hour(self, local: datetime | time) -> str:
        """The bare clock time: "17:05", "5:05 pm"."""
        if self.clock == "24 h":
            return f"{local:%H:%M}"
        return f"{local.hour % 12 or 12}:{local:%M} {_half(local)}"

    def full_hour(self, local: datetime | time) -> str:
        """A full hour in as little room as possible: "17:00", "5 pm"."""
        return self.hour(local).replace(":00 ", " ")

    def span(self, start: datetime | time, end: datetime | time, dash: str = "-") -> str:
        """From one clock time to another: "07:10-08:05", "7:10-8:05 am", "11:30 am-12:15 pm"."""
        first, last = self.hour(start), self.hour(end)
        if self.clock == "12 h" and _half(start) == _half(end):
            first = first.removesuffix(f" {_half(start)}")
        return f"{first}{dash}{last}"


def _half(local: datetime | time) -> str:
    return "am" if local.hour < 12 else "pm"


SI = Units()
"""What nobody has asked to change."""
