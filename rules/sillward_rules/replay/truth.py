"""What the plants really went through: the climate at every spot by the weather that was.

It is worked out for some nights at a time, in blocks that depend on the date alone, so that every
part of a period finds the same, and ten years take no more memory than one block.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

BLOCK_NIGHTS = 16
"""Nights that are worked out at a time. Judgement: one after the other would take twice as long,
and many more would only take more memory."""

BEFORE = timedelta(days=5)
"""Weather before the first night of a block, for the water on crowns. Judgement: longer than crowns
stay wet after rain, but for the rarest weeks."""

AFTER = timedelta(hours=6)
"""Weather after the last noon of a block, so that its last hours have neighbours."""


@dataclass(slots=True)
class Truth:
    """The weather that was, and its climate at the spots.

    axil_factor: as in `climate_of`.
    """

    site: Site
    spots: Sequence[Spot]
    weather: Weather
    axil_factor: float
    _block: int | None = field(init=False, default=None)
    _climate: Climate | None = field(init=False, default=None)

    def climate_around(self, day: date) -> Climate:
        """Return the climate, by night in fine steps, of a block of nights that holds this one.

        It has no times where the weather does not reach.
        """
        block = day.toordinal() // BLOCK_NIGHTS
        if self._climate is None or block != self._block:
            self._block, self._climate = block, self._work_out(block)
        return self._climate

    def _work_out(self, block: int) -> Climate:
        first = date.fromordinal(block * BLOCK_NIGHTS)
        start = self.site.middle_of_day(first) - BEFORE
        end = self.site.middle_of_day(first + timedelta(days=BLOCK_NIGHTS)) + AFTER
        times = self.weather.times
        rows = slice(
            int(np.searchsorted(times, start.timestamp() // HOUR_S * HOUR_S)),
            int(np.searchsorted(times, end.timestamp(), side="right")),
        )
        part = replace(
            self.weather,
            times=times[rows],
            spread=None,
            # Nothing here was ever a forecast: all of its rain lies after this.
            fetched_at=start,
            issued_at=None,
            **{name: getattr(self.weather, name)[rows] for name in SERIES},
        )
        hourly = climate_of(self.site, self.spots, part, axil_factor=self.axil_factor)
        return climate_by_night(self.site, hourly, part)
