"""A night limit of its own while growth rests: less warmth is wanted then, never more."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.limits import Limit, Limits, overridden, tenderest
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from tests.support.cases import for_each
from tests.support.core import MENDOZA, collection, fetched, plant, utc, weather

SUMMER, WINTER = date(2026, 1, 15), date(2026, 7, 15)


def two_weeks(day: date, low: float) -> tuple[Weather, datetime]:
    """Mild days about a date, each night down to this [°C], and the dusk of the date."""
    now = datetime.combine(day, time(17), tzinfo=MENDOZA.zone)
    start = utc((day - timedelta(days=8)).isoformat())
    hours = np.arange(17 * 24)
    temp: Array = low + 2.5 * (1 - np.cos((hours - 10) * np.pi / 12))  # coldest at 10 UTC
    return fetched(weather(start, temp, cloud=1.0, dew_point_c=low - 2, wind_m_s=3.0), now), now


def of_group(name: str) -> Plant:
    """A plant of a group on the bench that changes nothing."""
    return replace(plant(name), limits=standard_groups()[name].limits, groups=(name,))


def carried(one: Plant, day: date, low: float) -> bool:
    """Whether it must come in on a night down to this."""
    air, now = two_weeks(day, low)
    sheet = draw_up(Round.DUSK, collection(one), air, {}, now)
    return any(chore.kind is ChoreKind.CARRY_IN for chore in sheet.chores)


@pytest.mark.parametrize(
    ("group", "day", "low", "is_carried"),
    [
        ("catasetum", SUMMER, 14.0, True),
        ("catasetum", WINTER, 14.0, False),
        ("catasetum", WINTER, 12.0, True),
        ("vanda strap-leaf", SUMMER, 14.0, True),
        ("vanda strap-leaf", WINTER, 14.0, True),
        ("clivia", WINTER, 6.0, False),
        ("clivia", WINTER, 4.0, True),
    ],
)
def test_what_rests_stays_out_down_to_the_limit_of_its_rest(
    group: str, day: date, low: float, *, is_carried: bool
) -> None:
    assert carried(of_group(group), day, low) is is_carried


@pytest.mark.parametrize(
    ("day", "season", "limit"), [(SUMMER, Season.SLOWING, 16.0), (WINTER, Season.REST, 13.0)]
)
def test_the_account_tells_the_limit_that_holds_now(
    day: date, season: Season, limit: float
) -> None:
    air, now = two_weeks(day, 14.0)
    one = of_group("catasetum")

    explanation = explain_plant(one, collection(one), air, {}, now)

    assert explanation.season is season
    assert explanation.plant.name == one.name
    held = explanation.plant.limits.night_low
    assert held is not None
    assert held.value == limit
    assert held.origin.startswith('group "catasetum": ')


def test_a_rest_never_asks_for_more_warmth() -> None:
    odd = Limits(night_low=Limit(9.0, "own"), rest_low=Limit(12.0, "own"))
    of_two = Traits.of([replace(plant("odd"), limits=odd), of_group("catasetum")])

    told = of_two.resting(np.array([True, True]))

    assert told.limits["night_low"].tolist() == [9.0, 13.0]
    assert of_two.resting(np.array([False, False])).limits["night_low"].tolist() == [9.0, 16.0]


def test_the_growers_own_night_limit_holds_in_rest_too() -> None:
    group = standard_groups()["catasetum"].limits

    assert overridden(group, Limits(night_low=Limit(15.0, "own"))).rest_low is None
    both = Limits(night_low=Limit(15.0, "own"), rest_low=Limit(12.0, "own"))
    assert overridden(group, both).rest_low == Limit(12.0, "own")
    assert overridden(group, Limits()).rest_low == group.rest_low


@pytest.mark.parametrize(
    ("other", "at_rest"), [("vanda strap-leaf", 16.0), ("cymbidium", 13.0), ("clivia", 13.0)]
)
def test_a_hybrid_rests_at_what_its_tenderest_parent_stands_then(
    other: str, at_rest: float
) -> None:
    groups = standard_groups()

    both = tenderest([groups["catasetum"].limits, groups[other].limits])

    assert both.rest_low is not None
    assert both.rest_low.value == at_rest


@for_each(standard_groups())
def test_the_limit_of_rest_lies_between_injury_and_comfort(name: str) -> None:
    limits = standard_groups()[name].limits
    if limits.rest_low is not None:
        assert limits.brief_low is not None
        assert limits.night_low is not None
        assert limits.brief_low.value < limits.rest_low.value < limits.night_low.value
