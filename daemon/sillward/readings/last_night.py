"""What the night was at the spots where plants stand, for the morning round."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

from sillward.readings.spot_lesson import Lesson
from sillward_rules.plants.collection import Collection
from sillward_rules.remark import NightRead
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather import sun


def with_last_night(sheet: Sheet, collection: Collection, lessons: Mapping[str, Lesson]) -> Sheet:
    """Return the sheet of a morning with the lows that were read, the least expected first.

    What was told of each is by the forecast that there was at dusk, with what was known of the spot
    then. lessons: what readings teach of each spot outdoors, by its name.
    """
    if sheet.round is not Round.MORNING:
        return sheet
    site = collection.site
    night = sun.night_of(site, sun.night_at_or_after(site, sheet.at).day - timedelta(days=1))
    homes = {plant.name: plant.home for plant in collection.plants}
    used = {sheet.states[name].spot if name in sheet.states else homes[name] for name in homes}
    found = [
        read
        for spot, lesson in lessons.items()
        if spot in {*used, *homes.values()}
        and (read := _read_in(lesson, spot, night.day.toordinal())) is not None
    ]
    found.sort(key=lambda read: read.low_c - read.told_c)
    zone = site.zone
    return replace(
        sheet,
        last_night=tuple(
            replace(read, at=None if read.at is None else read.at.astimezone(zone))
            for read in found
        ),
    )


def _read_in(lesson: Lesson, spot: str, night: int) -> NightRead | None:
    """Return the low of a night at a spot, if it was read and forecast. night: its ordinal."""
    lows = [low for low in lesson.lows if low.night.toordinal() == night]
    rows = [row for row, day in enumerate(lesson.course.nights.day.tolist()) if day == night]
    if not lows or not rows:
        return None
    told_c = lesson.course.nights.low_c[rows[0]] + lesson.course.expected_k[rows[0]]
    return NightRead(spot, lows[0].low_c, lows[0].at, float(told_c))
