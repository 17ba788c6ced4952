"""What readings have taught about the nights of a spot outdoors, in words and numbers."""

from dataclasses import dataclass
from datetime import date

from sillward_rules.remark import ThermometerMoved, ThermometerTooWarm
from sillward_rules.weather.night_error import Expected, NightError

ENOUGH_NIGHTS = 7
"""With fewer nights a spot is never taken to be warmer than its grower said. Judgement: a week, in
which the weather has changed once; a house must be known to be warm before plants rely on it."""

MOST_WARMER_K = 5.0
"""A spot outdoors is never taken to be warmer than forecast by more than this [K] unless its grower
says so. Judgement: walls and paving keep a courtyard in a city 2 to 4 K warmer than open country on
clear nights; what shows more hangs in a house, or at its wall."""

SEASON_NIGHTS = 90
"""So many nights after the last reading a spot is not taken to be warmer any more than its grower
said. Judgement: what a wall or a tree does in one season need not hold in the next."""

OLD_NIGHTS = 14
"""From so many nights without a reading on, what is told of a spot names the last. Judgement."""


@dataclass(frozen=True, slots=True)
class LearnedNights:
    """The correction of a spot's nights, in addition to what its grower has said.

    - error: what past nights have taught of the next; usual: what it expects of a usual night.
    - nights: from how many nights it was learned; last: the last of them.
    - total_k: how much warmer the last nights are expected to have been than forecast on average,
      all parts together, as far as it counts [K]; read_k: the same, whether it counts or not.
    - most_k: the correction of a night is no warmer than this [K]: 0 with too few nights
      (`ENOUGH_NIGHTS`) or if the spot seems too warm to be true (`MOST_WARMER_K`).
    - since: the first night that counts, if the readings changed all at once on that night; step_k:
      by how much [K].
    - is_old: whether nothing was read for `OLD_NIGHTS`.
    - asks: whether that change has not been explained. Until it is, the correction is no warmer
      than what was known before, and than none at all.
    """

    error: NightError
    usual: Expected
    nights: int
    last: date
    total_k: float
    read_k: float
    most_k: float
    since: date | None = None
    step_k: float = 0.0
    asks: bool = False
    is_old: bool = False

    @property
    def sd_k(self) -> float:
        """Standard deviation of the correction on a usual night [K]."""
        return float(self.usual.unsure_k2**0.5)

    def bias_k(self, expected: Expected, days: int = 1) -> float:
        """Return what is added to a night of which `error` expects this [K].

        days : nights since the last one that was read.
        """
        most_k = self.most_k if days <= SEASON_NIGHTS else min(self.most_k, 0.0)
        return min(expected.bias_k, most_k)

    def __str__(self) -> str:
        """Return what was learned, in words."""
        count = "1 night" if self.nights == 1 else f"{self.nights} nights"
        way = "warmer" if self.read_k > 0 else "colder"
        off = f"{abs(self.read_k):.1f} K {way} than the forecast"
        if abs(self.read_k) < 0.05:
            off = "as forecast"
        waits = self.nights < ENOUGH_NIGHTS and self.read_k - self.total_k >= 0.05
        counts = f"; that it is warmer counts from {ENOUGH_NIGHTS} nights on" if waits else ""
        counts = "; the colder case counts until it is known why" if self.asks else counts
        last = f", the last on {self.last.day} {self.last:%B}" if self.is_old else ""
        return f"learned from {count}{last}: {off}, give or take {self.sd_k:.1f} K{counts}"

    def question_at(self, spot: str) -> ThermometerMoved | ThermometerTooWarm | None:
        """Return what is asked about the readings at the spot of this name; None for nothing."""
        if self.asks and self.since is not None:
            return ThermometerMoved(spot, self.step_k, self.since)
        if self.read_k > MOST_WARMER_K and self.most_k == 0.0:
            return ThermometerTooWarm(spot, self.read_k)
        return None
