"""A year of mornings in three climates: what grows where is misted and fed, what rests is not."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.limits import GrowsClass, Limits, RestClass, tenderest
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import GROWS, WARMTH, Grows, Season, day_length_h, season_of
from sillward_rules.weather.site import Site
from tests.support.core import OPEN_BENCH, WARM_ROOM, collection, fetched, plant, weather

QUITO_LIKE = Site("High valley", -0.2, -78.5, 2850, ZoneInfo("America/Guayaquil"))
COOL_COAST = Site("Cool coast", 38.0, -123.0, 30, ZoneInfo("America/Los_Angeles"))
COURT = Site("Test court", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))

MONTHS = range(1, 13)

YEARS = {
    QUITO_LIKE: [(8.0, 20.0)] * 12,
    COOL_COAST: [
        (7.0, 14.0), (8.0, 15.0), (8.0, 15.5), (9.0, 16.0), (9.5, 16.0), (10.5, 17.0),
        (11.0, 17.0), (11.5, 17.5), (11.5, 18.0), (10.5, 17.5), (9.0, 16.0), (7.0, 14.0),
    ],
    COURT: [
        (19.0, 33.0), (18.0, 31.0), (15.0, 28.0), (11.0, 23.0), (6.0, 19.0), (3.0, 15.0),
        (2.0, 14.0), (5.0, 18.0), (8.0, 21.0), (12.0, 26.0), (15.0, 29.0), (18.0, 32.0),
    ],
}  # fmt: skip
"""Lows and highs of each month [°C]: invented, in the likeness of their names."""


def of_group(name: str) -> Plant:
    """A plant on a mount, its roots in the air."""
    limits = standard_groups()[name].limits
    return replace(plant(name, holder="mount", shelter=None), limits=limits, groups=(name,))


PLANTS = tuple(of_group(name) for name in ("masdevallia", "odontoglossum", "vanda strap-leaf"))


def two_weeks(site: Site, month: int) -> tuple[Weather, datetime]:
    """Fair weather around the 15th of a month, and eight on the clock of that day."""
    low, high = YEARS[site][month - 1]
    day = date(2025, month, 15)
    now = datetime.combine(day, time(8), tzinfo=site.zone)
    start = datetime.combine(day - timedelta(days=8), time(0), tzinfo=UTC)
    unix = start.timestamp() + 3600.0 * np.arange(17 * 24)
    hour: Array = (unix / 3600 + site.longitude / 15) % 24  # coldest at six by the sun
    temp = (low + high) / 2 - (high - low) / 2 * np.cos((hour - 6) * np.pi / 12)
    made = weather(start, temp, dew_point_c=low - 3.0, wind_m_s=3.0, cloud=0.6)
    return fetched(made, now), now


@cache
def morning(site: Site, month: int, habits: Habits | None = None) -> Sheet:
    air, now = two_weeks(site, month)
    made = collection(*PLANTS, spots=(OPEN_BENCH, WARM_ROOM), site=site, habits=habits)
    return draw_up(Round.MORNING, made, air, {}, now)


def gets(site: Site, kind: ChoreKind, name: str, habits: Habits | None = None) -> list[int]:
    """The months in which a plant of this group gets it."""
    return [
        month
        for month in MONTHS
        if any(
            chore.kind is kind and name in chore.plants
            for chore in morning(site, month, habits).chores
        )
    ]


def season_in(site: Site, month: int, name: str) -> Season:
    air, now = two_weeks(site, month)
    scene = Scene(collection(*PLANTS, site=site), air, {}, now)
    cohort = next(candidate for candidate in scene.cohorts if name in candidate.names)
    found: Season = scene.seasons[cohort.index]
    return found


@pytest.mark.parametrize("kind", [ChoreKind.MIST, ChoreKind.FEED])
@pytest.mark.parametrize("name", ["masdevallia", "odontoglossum"])
def test_on_a_cool_mountain_at_the_equator_cool_growers_are_misted_and_fed_all_year(
    name: str, kind: ChoreKind
) -> None:
    assert gets(QUITO_LIKE, kind, name) == list(MONTHS)


@pytest.mark.parametrize("kind", [ChoreKind.MIST, ChoreKind.FEED])
def test_on_a_cool_coast_masdevallias_are_misted_and_fed_but_where_crowns_would_stay_wet(
    kind: ChoreKind,
) -> None:
    """In December and January it gets 10 °C only at noon: too late for a crown to dry by dark."""
    assert gets(COOL_COAST, kind, "masdevallia") == list(range(2, 12))
    for month in (1, 12):
        dry = [
            chore
            for chore in morning(COOL_COAST, month).chores
            if chore.kind is ChoreKind.STOP_WETTING and "masdevallia" in chore.plants
        ]
        assert [chore.before.hour < 12 for chore in dry] == [True]


@pytest.mark.parametrize("site", [QUITO_LIKE, COOL_COAST])
def test_warm_growers_are_not_fed_where_it_is_never_warm(site: Site) -> None:
    assert gets(site, ChoreKind.FEED, "vanda strap-leaf") == []


def test_warm_growers_rest_through_a_cool_coasts_winter_and_cool_ones_never_do() -> None:
    warm = [season_in(COOL_COAST, month, "vanda strap-leaf") for month in MONTHS]
    cool = [season_in(COOL_COAST, month, "masdevallia") for month in MONTHS]

    assert warm[0] is warm[11] is Season.REST
    assert Season.GROWING not in warm
    assert Season.REST not in cool
    assert cool[6] is Season.GROWING  # the warmest days of the year have a mean of 14 °C


def test_in_the_courtyard_warm_growers_have_the_seasons_that_they_had() -> None:
    """Summer, autumn, winter and spring of Mendoza, by 18 and 13 °C and days of 11 and 10.5 h."""
    seasons = [season_in(COURT, month, "vanda strap-leaf") for month in (1, 4, 7, 10)]

    assert seasons == [Season.GROWING, Season.SLOWING, Season.REST, Season.GROWING]
    assert 1 in gets(COURT, ChoreKind.FEED, "vanda strap-leaf")
    assert not {5, 6, 7, 8} & set(gets(COURT, ChoreKind.FEED, "vanda strap-leaf"))


@pytest.mark.parametrize("grows", GROWS)
@pytest.mark.parametrize("latitude", [0.0, 10.0, -17.0, 23.0, -25.0])
def test_where_day_length_hardly_varies_it_sends_nothing_to_rest(
    grows: Grows, latitude: float
) -> None:
    site = Site("anywhere", latitude, -68.85, 0, ZoneInfo("UTC"))
    lengths = [day_length_h(site, date(2025, month, 21)) for month in MONTHS]
    bearable = WARMTH[grows].rest_below_c

    assert Season.REST not in set(season_of(lengths, bearable, grows))


def test_the_growers_own_habit_beats_what_plants_want() -> None:
    late = Habits(feed_from_c=18.0, mist_from_c=17.4)

    assert gets(COOL_COAST, ChoreKind.MIST, "masdevallia", late) == [8, 9]
    assert gets(COOL_COAST, ChoreKind.FEED, "masdevallia", late) == []


def test_each_class_grows_at_less_warmth_than_the_one_before() -> None:
    for name in ("growing_from_c", "rest_below_c", "feed_from_c", "mist_from_c", "root_from_c"):
        bounds = [getattr(WARMTH[grows], name) for grows in GROWS]
        assert bounds == sorted(bounds, reverse=True), name


def test_a_hybrid_grows_as_the_parent_that_wants_most_warmth() -> None:
    groups = standard_groups()

    both = tenderest([groups[name].limits for name in ("masdevallia", "vanda strap-leaf")])

    assert both.grows == groups["vanda strap-leaf"].limits.grows


def test_a_rule_for_the_rest_speaks_of_each_plant_in_its_own_season() -> None:
    """14 °C on days of twelve hours: neither rests; at 9 °C the warm one does."""

    def rested(mean_c: float) -> set[str]:
        rain = np.zeros(17 * 24)
        rain[8 * 24 :] = 3.0
        air, now = two_weeks(QUITO_LIKE, 3)
        air = replace(air, temp_c=np.full(air.temp_c.shape, mean_c), rain_mm=rain)
        dry = [
            replace(plant, limits=replace(plant.limits, rest=RestClass("dry", "test")))
            for plant in PLANTS
        ]
        bench = replace(OPEN_BENCH, rain=1.0)
        made = collection(*dry, spots=(bench, WARM_ROOM), site=QUITO_LIKE, rules=standard_rules())
        sheet = draw_up(Round.MORNING, made, air, {}, now)
        covers = [chore for chore in sheet.chores if chore.kind is ChoreKind.COVER]
        return {name for chore in covers for name in chore.plants}

    assert rested(14.0) == set()
    assert rested(9.0) == {"vanda strap-leaf"}


def test_without_a_word_on_it_a_plant_grows_as_warm_growers_do() -> None:
    assert plant().grows == "warm"
    assert replace(plant(), limits=Limits(grows=GrowsClass("cool", "your own"))).grows == "cool"
