"""What readings have taught about the nights of a spot outdoors, in words and numbers."""

from dataclasses import dataclass
from datetime import date

from sillward_rules.weather.night_error import Expected, NightError


@dataclass(frozen=True, slots=True)
class LearnedNights:
    """The correction of a spot's nights, in addition to what its grower has said.

    - error: what past nights have taught of the next; usual: what it expects of a usual night.
    - nights: from how many nights it was learned; last: the last of them.
    - total_k: how much warmer the last nights are expected to have been than forecast on average,
      all parts together [K].
    - since: the first night that counts, if the readings changed all at once on that night; step_k:
      by how much [K].
    - asks: whether that change has not been explained. Only the coldest of what was known before,
      of what is read since, and of no correction at all counts until it is.
    """

    error: NightError
    usual: Expected
    nights: int
    last: date
    total_k: float
    since: date | None = None
    step_k: float = 0.0
    asks: bool = False

    @property
    def sd_k(self) -> float:
        """Standard deviation of the correction on a usual night [K]."""
        return float(self.usual.unsure_k2**0.5)

    def __str__(self) -> str:
        """Return what was learned, in words."""
        count = "1 night" if self.nights == 1 else f"{self.nights} nights"
        way = "warmer" if self.total_k > 0 else "colder"
        if abs(self.total_k) < 0.05:
            return f"learned from {count}: as forecast, give or take {self.sd_k:.1f} K"
        return (
            f"learned from {count}: {abs(self.total_k):.1f} K {way} than the forecast, give or"
            f" take {self.sd_k:.1f} K"
        )

    @property
    def question(self) -> str | None:
        """What is asked about a change of the readings, in words; None if nothing is."""
        if not self.asks or self.since is None:
            return None
        way = "warmer" if self.step_k > 0 else "colder"
        return (
            f"what is read there is {abs(self.step_k):.1f} K {way} against the forecast since the"
            f" night of {self.since.day} {self.since:%B}: was the thermometer moved? If it hangs"
            " with the plants, say so: sillward readings SPOT --hangs-right. Until then the colder"
            " case counts"
        )
