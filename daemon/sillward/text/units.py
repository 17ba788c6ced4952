"""Units as a grower reads them: °C or °F, 24 or 12 hours, m/s, km/h or mph. All else stays SI."""

from dataclasses import dataclass
from datetime import datetime, time
from typing import Literal

Temperature = Literal["°C", "°F"]
ClockFace = Literal["24 h", "12 h"]
Speed = Literal["m/s", "km/h", "mph"]

_PER_M_S: dict[Speed, float] = {"m/s": 1.0, "km/h": 3.6, "mph": 1 / 0.44704}
"""How many of each unit make 1 m/s. Exact: the international mile is 1609.344 m."""

MAX_DECIMALS = 10
"""Decimal places that `fixed` gives at most."""


@dataclass(frozen=True, slots=True)
class Units:
    """The units in which values are shown to a grower."""

    temperature: Temperature = "°C"
    clock: ClockFace = "24 h"
    wind: Speed = "m/s"

    def shown(self, value: float, unit: str) -> tuple[float, str]:
        """Return a value of the core and its unit in the grower's unit."""
        if unit == "°C" and self.temperature == "°F":
            return value * 1.8 + 32, self.temperature
        if unit == "m/s":
            return value * _PER_M_S[self.wind], self.wind
        return value, unit

    def difference(self, value_k: float) -> tuple[float, str]:
        """Return a difference of temperatures [K] in °C or °F, as thermometers are labelled."""
        return (value_k * 1.8, "°F") if self.temperature == "°F" else (value_k, "°C")

    def bare(self, value: float, unit: str, digits: int | None = None) -> str:
        """Return a value of the core in its shortest form, without its unit.

        digits: decimal places at most; None for all that the value has, or two if it was converted.
        """
        shown, shown_unit = self.shown(value, unit)
        if digits is None and shown_unit != unit:
            digits = 2  # enough for a limit written in tenths
        return f"{(shown if digits is None else round(shown, digits)) + 0.0:g}"

    def hour(self, local: datetime | time) -> str:
        """Return the bare clock time: "17:05", "5:05 pm"."""
        if self.clock == "24 h":
            return f"{local:%H:%M}"
        return f"{local.hour % 12 or 12}:{local:%M} {_half(local)}"

    def full_hour(self, local: datetime | time) -> str:
        """Return a full hour in as few characters as possible: "17:00", "5 pm"."""
        return self.hour(local).replace(":00 ", " ")

    def span(self, start: datetime | time, end: datetime | time, dash: str = "-") -> str:
        """Return two clock times: "07:10-08:05", "7:10-8:05 am", "11:30 am-12:15 pm"."""
        first, last = self.hour(start), self.hour(end)
        if self.clock == "12 h" and _half(start) == _half(end):
            first = first.removesuffix(f" {_half(start)}")
        return f"{first}{dash}{last}"


def fixed(value: float, digits: int) -> str:
    """Return the value with so many decimal places, never with a minus before a zero."""
    digits = max(0, min(digits, MAX_DECIMALS))
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _half(local: datetime | time) -> str:
    return "am" if local.hour < 12 else "pm"


SI = Units()
"""The units of a grower who has chosen none."""
