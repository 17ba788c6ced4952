"""What the chart of `sillward skill` shows: error and bias of each source by night ahead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sillward.text.units import SI, Units


@dataclass(frozen=True, slots=True)
class SourceLine:
    """One source: its mean size of error and its bias [K] on some nights ahead, 1 the first.

    in_use: whether it is the one in use. clear: for each night ahead, whether its error differs
    clearly from that of the source in use.
    """

    name: str
    in_use: bool
    days: tuple[int, ...]
    error_k: tuple[float, ...]
    bias_k: tuple[float, ...]
    clear: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class SkillChart:
    """How good the forecasts of all sources have been, for the drawing.

    usual_k: the mean size of error that is usual, for each night ahead from the first on [K].
    """

    title: str
    subtitle: str
    sources: tuple[SourceLine, ...]
    usual_k: tuple[float, ...]
    footer: tuple[str, ...]
    units: Units = SI
    kind: Literal["skill"] = "skill"


def from_plain(plain: Mapping[str, Any]) -> SkillChart:
    """Return the chart that `codec.to_plain` wrote. Raise KeyError, TypeError or ValueError."""
    return SkillChart(
        plain["title"],
        plain["subtitle"],
        tuple(_line(line) for line in plain["sources"]),
        tuple(plain["usual_k"]),
        tuple(plain["footer"]),
        Units(**plain["units"]),
    )


def _line(plain: Mapping[str, Any]) -> SourceLine:
    lists: Sequence[str] = ("days", "error_k", "bias_k", "clear")
    return SourceLine(plain["name"], plain["in_use"], *(tuple(plain[name]) for name in lists))
