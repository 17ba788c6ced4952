"""The invented garden that the benchmarks share: spots, an autumn's weather, plants by the number.

Temperate autumn: days of 20 to 26 °C in dry air, clear nights of 1 to 9 °C, two cloudy days. So
every planner has work: most plants go in at night, out by day, and are misted.
"""

import math
import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sillward_rules import (
    Collection,
    Limit,
    Limits,
    Plant,
    Round,
    Sheet,
    Site,
    Spot,
    SunWindow,
    Weather,
    standard_groups,
    standard_rules,
)
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.limits import overridden, tenderest

SITE = Site("Invented yard", 41.0, -4.0, 700.0, ZoneInfo("Europe/Madrid"))

MOMENTS = {
    Round.DUSK: datetime(2026, 10, 6, 18, 15, tzinfo=SITE.zone),
    Round.MORNING: datetime(2026, 10, 7, 8, 30, tzinfo=SITE.zone),
    Round.WEEK: datetime(2026, 10, 11, 18, 0, tzinfo=SITE.zone),
}
"""A Tuesday's dusk, the morning after it, a Sunday evening."""

PAST_H, AHEAD_H = 24, 168
FIRST_DAY = datetime(2026, 10, 4, tzinfo=UTC)

OUTDOORS = (
    Spot("pergola", sky_view=0.5, wind=0.35, shade=0.4, night_offset_k=0.8, day_offset_k=0.0),
    Spot(
        "south wall",
        sky_view=0.3,
        wind=0.25,
        sun_windows=(SunWindow(110.0, 250.0, 15.0),),
        night_offset_k=1.5,
        day_offset_k=0.5,
    ),
    Spot("open lawn", sky_view=0.9, wind=0.7, night_offset_k=-0.5, day_offset_k=0.0),
    Spot(
        "east bench",
        sky_view=0.6,
        wind=0.4,
        shade=0.2,
        sun_windows=(SunWindow(70.0, 170.0, 10.0),),
        night_offset_k=0.0,
        day_offset_k=-0.5,
    ),
    Spot(
        "balcony",
        sky_view=0.4,
        wind=0.5,
        sun_windows=(SunWindow(180.0, 260.0), SunWindow(120.0, 140.0, 20.0)),
        night_offset_k=2.0,
        day_offset_k=1.0,
    ),
    Spot("under the fig", sky_view=0.15, wind=0.2, shade=0.6, night_offset_k=0.4),
)
INDOORS = (
    Spot("sunroom", indoors=True, night_low_c=15.0, day_low_c=19.0, humidity_pct=55.0),
    Spot("back hall", indoors=True, night_low_c=9.0, day_low_c=13.0, humidity_pct=60.0),
)


def weather(now: datetime) -> Weather:
    """The forecast as it stands at this moment: 24 hours past, 168 ahead. Fetched a moment ago."""
    first = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    first -= timedelta(hours=PAST_H)
    times = int(first.timestamp()) + 3600 * np.arange(PAST_H + AHEAD_H, dtype=np.int64)
    days = (times - FIRST_DAY.timestamp()) / 86400.0
    clock = (days + SITE.longitude / 360.0) % 1.0  # 0.5 is the sun's noon
    slow = np.sin(2 * math.pi * days / 5.3)  # warmer and colder days come and go
    warmth = np.cos(2 * math.pi * (clock - 15 / 24))
    temp = 14.0 + 2.5 * slow + 8.5 * warmth
    dew_point = np.minimum(2.0 + 2.0 * slow, temp - 0.5)
    cloudy = (np.floor(days) % 7 == 2) | (np.floor(days) % 7 == 6)
    cloud = np.where(cloudy, 0.8, 0.1)
    wind = np.where(cloudy, 3.0, 1.2) + 1.5 * np.maximum(warmth, 0.0)
    height = np.maximum(np.cos(2 * math.pi * (clock - 0.5)), 0.0)
    beam = np.where(cloudy, 60.0, 600.0) * height
    return Weather(
        times=times,
        temp_c=temp,
        dew_point_c=dew_point,
        wind_m_s=wind,
        gust_m_s=2.0 * wind,
        cloud=cloud,
        rain_mm=np.zeros(times.shape),
        direct_w_m2=beam,
        diffuse_w_m2=np.where(cloudy, 220.0, 90.0) * height,
        hail_pct=np.zeros(times.shape),
        source="invented",
        fetched_at=now,
    )


def plants(count: int, seed: int) -> tuple[Plant, ...]:
    """Plants of random groups, as the collection file would give them; a tenth with a limit of
    their own in half degrees. Another seed: other plants with other names."""
    chance = random.Random(seed)
    groups = list(standard_groups().values())
    homes = [spot.name for spot in OUTDOORS]
    shelters = [spot.name for spot in INDOORS]
    made = []
    for number in range(count):
        group = chance.choice(groups)
        holder = chance.choice(group.holders)
        own = Limits()
        if chance.random() < 0.1:
            own = Limits(night_low=Limit(chance.randint(8, 32) / 2, "your own limit"))
        made.append(
            Plant(
                name=f"{group.name} {seed}-{number}",
                home=chance.choice(homes),
                shelter=chance.choice(shelters),
                holder=holder,
                limits=overridden(tenderest([group.limits]), own),
                groups=(group.name,),
                velamen=group.velamen and holder in ("basket", "mount"),
            )
        )
    return tuple(made)


def collection(count: int, seed: int) -> Collection:
    """A fresh collection of this many plants under the standard rules."""
    return Collection(SITE, (*OUTDOORS, *INDOORS), plants(count, seed), standard_rules())


def require_work(sheet: Sheet, plants: int) -> None:
    """Raise ValueError unless the sheet asks for about what this weather asks for.

    A benchmark of sheets with nothing on them would flatter.
    """
    asked = dict.fromkeys(ChoreKind, 0)
    for chore in sheet.chores:
        asked[chore.kind] += len(chore.plants)
    expected = {
        Round.DUSK: (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT),
        Round.MORNING: (ChoreKind.CARRY_OUT, ChoreKind.MIST, ChoreKind.STOP_WETTING),
        Round.WEEK: (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT),
    }
    for kind in expected[sheet.round]:
        if asked[kind] < plants / 10:
            msg = f"{sheet.round.value}: {kind.value} for only {asked[kind]} of {plants} plants"
            raise ValueError(msg)
