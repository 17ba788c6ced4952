"""The page of the nights ahead: what it says of each spot, and when it is worked out anew."""

import re
from html import escape
from typing import Any

import pytest

from sillward.charts.data import water_charts
from sillward_rules.weather.site import Site
from tests.support.desks import SITE, a_plant
from tests.support.page_worlds import SCRIPT, US, a_garden, a_visitor
from tests.support.pages import Visitor


def test_each_spot_where_plants_live_has_a_chart_with_its_lows_and_limits() -> None:
    visitor = Visitor()
    page = visitor.get("/ahead")

    assert page.count('<svg class="chart"') == 6
    words = visitor.says("/ahead")
    for text in ("pergola", "wall bench", "sunroom", "14 °C Blue basket", "The week"):
        assert text in words
    assert "Lowest leaf temperatures at pergola: Thu 14 May 4.0 °C" in page
    assert "Thu 14 May 4.0 ± 1.4 °C 08:00 7 of 7" in words


def test_nothing_in_a_name_becomes_markup() -> None:
    visitor, _ = a_visitor(a_garden(a_plant(SCRIPT), a_plant("Other")))

    page = visitor.get("/ahead")

    assert "<script>alert" not in page
    assert escape(SCRIPT) in page


def test_units_and_clock_are_the_growers() -> None:
    visitor, _ = a_visitor(a_garden(units=US), low_c=3.0)

    page = visitor.says("/ahead")

    assert "37.5 °F" in page
    assert "°C" not in page
    assert re.search(r"\d am\b", page)


def test_without_a_forecast_every_night_is_to_be_treated_as_cold() -> None:
    visitor, _ = a_visitor(forecast=False)

    page = visitor.says("/ahead")

    assert "no forecast: nothing is known" in page
    assert "treat as cold" in page
    assert "Too little is known to plan misting." in page


@pytest.mark.parametrize("latitude", [78.2, -78.2])
def test_where_the_sun_does_not_set_or_rise_there_is_a_page_all_the_same(latitude: float) -> None:
    site = Site("Far court", latitude, 15.6, 10.0, SITE.zone)
    visitor, _ = a_visitor(a_garden(site=site))

    assert "Far court" in visitor.says("/ahead")


def test_a_household_without_plants_has_no_charts() -> None:
    visitor, _ = a_visitor(a_garden(a_plant("Only pot")))
    assert visitor.get("/ahead").count('<svg class="chart"') == 2


def test_charts_are_worked_out_anew_only_when_something_has_changed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    visitor, world = a_visitor()
    made: list[object] = []

    def counted(*given: Any) -> object:
        made.append(given)
        return water_charts(*given)

    monkeypatch.setattr("sillward.page.views.ahead.water_charts", counted)
    visitor.get("/ahead")
    world.clock.move(minutes=10)
    visitor.get("/ahead")
    assert len(made) == 1

    world.clock.move(minutes=50)
    visitor.get("/ahead")
    assert len(made) == 2

    world.source.low_c = 9.0
    with visitor.desk.open() as context:
        context.updater.fetch_now()
    assert "9.0 °C" in visitor.says("/ahead")
    assert len(made) == 3
