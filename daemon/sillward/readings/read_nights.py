"""What was read at the spots outdoors, as it judges forecasts for the site.

Readings differ from a forecast for the site by what each spot is off, and by what the forecast is.
`ReadNights` takes the former away as it was known before each night, for the error that forecasts
are told with. `thermometers` gives the lows as they were read, for the skill of all sources.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from sillward.ledger import Ledger
from sillward.readings.spot_lesson import LEARNED_FROM, Lesson, lesson_of
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.night_correction import STEP_NIGHTS
from sillward_rules.readings.skill import ReadLows
from sillward_rules.weather.learned_error import ReadNight
from sillward_rules.weather.night_error import BIAS_K
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class ReadNights:
    """Tells the forecast store what thermometers have shown of each night.

    Args:
        collections: returns the collections in force; their spots are those that count.
    """

    ledger: Ledger
    collections: Callable[[], Iterable[Collection]]

    def __call__(
        self, site: Site, source: str, since: datetime, now: datetime
    ) -> dict[int, ReadNight]:
        """Return what was read of nights that a source had forecast, by the night's ordinal.

        It is the low at the site as each spot shows it: what was read, less what the spot was
        expected to be off from that source's forecast before the night. Nights just after a sudden
        change of the readings are left out.
        """
        since = max(since, now - LEARNED_FROM)
        shown: dict[int, list[tuple[float, float]]] = {}
        for collection in self.collections():
            if collection.site != site:
                continue
            for lesson in _lessons(self.ledger, collection, [source], since):
                for day, low_c, variance_k2 in _at_site(lesson):
                    shown.setdefault(day, []).append((low_c, variance_k2))
        found = {}
        for day, spots in shown.items():
            low_c, variance_k2 = np.array(spots).T
            found[day] = ReadNight(float(low_c.mean()), float(low_c.var() - variance_k2.mean()))
        return found


def _lessons(
    ledger: Ledger, collection: Collection, sources: Sequence[str], since: datetime
) -> list[Lesson]:
    """Return what the readings of each spot outdoors teach that has any."""
    found = (
        lesson_of(ledger, collection.site, spot, sources, since)
        for spot in collection.spots
        if not spot.indoors
    )
    return [lesson for lesson in found if lesson is not None]


def _at_site(lesson: Lesson) -> Iterable[tuple[int, float, float]]:
    """Yield the ordinal of each night, its low at the site as the spot shows it [°C], and the
    variance of what the spot was expected to be off [K²]."""
    course = lesson.course
    unsure_k2 = np.append(BIAS_K[0], course.level_sd_k[:-1]) ** 2
    for row, day in enumerate(course.nights.day.tolist()):
        if any(0 <= day - step.day < max(STEP_NIGHTS) for step in course.steps):
            continue
        _, forecast = lesson.told[date.fromordinal(day)]
        left_k = float(course.nights.error_k[row] - course.expected_k[row])
        yield day, forecast.low_c + left_k, float(unsure_k2[row])


def thermometers(
    ledger: Ledger, collection: Collection, sources: Sequence[str], since: datetime
) -> tuple[list[str], ReadLows]:
    """Return the names of the spots outdoors that were read, and the lows of their thermometers.

    A thermometer whose readings changed all at once against the forecast was hung somewhere else:
    it counts as another one from then on. sources: as in `lesson_of`.
    """
    lessons = _lessons(ledger, collection, sources, since)
    columns = [column for lesson in lessons for column in _thermometers_of(lesson)]
    nights = np.array(sorted({night for column in columns for night in column}), dtype=np.int64)
    low_c = np.array(
        [[column.get(night, np.nan) for column in columns] for night in nights.tolist()]
    )
    names = [lesson.spot.name for lesson in lessons]
    return names, ReadLows(nights, low_c.reshape(nights.size, len(columns)))


def _thermometers_of(lesson: Lesson) -> list[Mapping[int, float]]:
    """Return the lows of a spot [°C] by the night's ordinal, for each place of its thermometer."""
    lows = {low.night.toordinal(): low.low_c for low in lesson.lows}
    ends = [*(step.day for step in lesson.course.steps), max(lows) + 1]
    parts, start = list[Mapping[int, float]](), min(lows)
    for end in ends:
        parts.append({night: low_c for night, low_c in lows.items() if start <= night < end})
        start = end
    return parts
