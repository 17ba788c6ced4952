"""Reasons not to believe a forecast, as facts; the shell puts them into words."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Doubt:
    """Any reason not to believe a forecast."""


@dataclass(frozen=True, slots=True)
class Jump(Doubt):
    """How much warmer (colder: below zero) it is than the one before at the hours of both [K]."""

    warmer_k: float


@dataclass(frozen=True, slots=True)
class WarmerThanAnother(Doubt):
    """How much warmer it is than another source's at the hours of both [K]."""

    source: str
    warmer_k: float


@dataclass(frozen=True, slots=True)
class OutOfSeason(Doubt):
    """A temperature, or a mean, beyond what is possible there in that season [°C]."""

    what: Literal["hours", "nights", "days"]
    value_c: float
    bound_c: float


@dataclass(frozen=True, slots=True)
class NoDayAndNight(Doubt):
    """A temperature that stays the same, or repeats the same few hours again and again.

    hours : how long it does. period_h : after how many hours it repeats; 1 if it stays the same.
    """

    temp_c: float
    hours: int
    period_h: int


@dataclass(frozen=True, slots=True)
class Leap(Doubt):
    """A change from one hour to the next that is too large for air [K]."""

    change_k: float


@dataclass(frozen=True, slots=True)
class DewPointAbove(Doubt):
    """A dew point above the temperature, and at how many hours."""

    hours: int


@dataclass(frozen=True, slots=True)
class HumidityMisfit(Doubt):
    """A humidity that does not fit the temperature and dew point given with it; medians [%]."""

    given_pct: float
    computed_pct: float
