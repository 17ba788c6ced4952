"""What the benchmarks print: rows of measured against goal, and the exit status."""

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One figure. at_most, at_least: its goal; neither: it is there to be known."""

    what: str
    figure: float
    unit: str = ""
    at_most: float | None = None
    at_least: float | None = None

    @property
    def missed(self) -> bool:
        """Whether there is a goal and the figure misses it. NaN, never measured, misses."""
        if self.at_most is not None:
            return not self.figure <= self.at_most
        return self.at_least is not None and not self.figure >= self.at_least


def say(text: str) -> None:
    """Write a line to standard output, at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def report(title: str, rows: Sequence[Row]) -> int:
    """Print the table. Return the exit status: 1 if a goal is missed."""
    say(f"\n{title}\n")
    say(f"{'':44}{'measured':>14}{'goal':>14}  verdict")
    for row in rows:
        goal, verdict = "", ""
        if row.at_most is not None:
            goal = f"<= {row.at_most:g}"
        elif row.at_least is not None:
            goal = f">= {row.at_least:g}"
        if goal:
            verdict = "MISSED" if row.missed else "met"
        say(f"{row.what:44}{_number(row.figure) + ' ' + row.unit:>14}{goal:>14}  {verdict}")
    return int(any(row.missed for row in rows))


def _number(value: float) -> str:
    if math.isnan(value):
        return "unknown"
    return f"{value:,.0f}" if value >= 1000 else f"{value:.3g}"
