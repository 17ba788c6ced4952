"""What a run has done so far, counted: what the operator of many households watches.

Nothing here says which household it was: names are nobody's business but the household's, and a
time series for each of thousands would burden whoever keeps them.
"""

from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field

LATE_S = 600.0
"""A round told this long after it was due counts as late [s]. Judgement: a dusk round is due an
hour and more before plants must be in."""

LATENESS_BOUNDS_S = (30.0, 60.0, 120.0, 300.0, LATE_S, 1800.0, 3600.0)
WORK_BOUNDS_S = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 60.0)


@dataclass(slots=True)
class Distribution:
    """How many values lie up to each bound, and their sum.

    bounds: ascending.
    """

    bounds: tuple[float, ...]
    sum: float = 0.0
    counts: list[int] = field(default_factory=list)
    """For each bound the values up to it and above the one before; at the end those above all."""

    def __post_init__(self) -> None:
        self.counts = [0] * (len(self.bounds) + 1)

    def add(self, value: float) -> None:
        """Count a value."""
        self.counts[bisect_left(self.bounds, value)] += 1
        self.sum += value


@dataclass(slots=True)
class Tally:
    """The counts of a run. One thread counts, another may read."""

    rounds_due: Counter[str] = field(default_factory=Counter)
    """By kind of round, like all that concerns rounds: those that came due and were not told."""
    rounds_told: Counter[str] = field(default_factory=Counter)
    rounds_late: Counter[str] = field(default_factory=Counter)
    rounds_failed: Counter[str] = field(default_factory=Counter)
    """Rounds of which only that they could not be worked out was told."""
    notices: Counter[str] = field(default_factory=Counter)
    """By what became of an attempt: sent, failed, doubtful, or gone, its device being no more; and
    those given up as too late: expired."""
    provider_calls: Counter[tuple[str, str]] = field(default_factory=Counter)
    """By provider, and by what came of the request: good or failed."""
    lateness_s: Distribution = field(default_factory=lambda: Distribution(LATENESS_BOUNDS_S))
    """From the time a round was due to that at which its notices were written down."""
    work_s: Distribution = field(default_factory=lambda: Distribution(WORK_BOUNDS_S))
    """What one look at one household took."""
    households: int = 0
    in_trouble: int = 0
    """Households with which something is wrong at present."""

    def round_told(self, kind: str, late_s: float) -> None:
        """Count a round that was told, so long after it was due [s]."""
        self.rounds_told[kind] += 1
        self.lateness_s.add(max(late_s, 0.0))
        if late_s > LATE_S:
            self.rounds_late[kind] += 1
