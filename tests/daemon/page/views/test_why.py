"""Why: the same lines as the command has, on a page."""

import re
from html import escape

from sillward.page.keys import key_of
from sillward.reports import why as report
from sillward_rules.explanation import explain_plant
from sillward_rules.sheet import Round
from tests.support.desks import a_plant
from tests.support.page_worlds import SCRIPT, US, a_garden, a_visitor
from tests.support.pages import Visitor

BASKET = f"/why/{key_of('Blue basket')}"


def test_it_says_what_the_command_says() -> None:
    visitor = Visitor()
    words = visitor.says(BASKET)
    with visitor.desk.open() as context:
        weather, states = context.weather(), context.states()
        collection, now = context.collection, context.clock()
        plant = next(one for one in collection.plants if one.name == "Blue basket")
        explanation = explain_plant(plant, collection, weather, states, now)
        decided = [context.sheet(round_, weather) for round_ in (Round.MORNING, Round.DUSK)]
        told = report.parts(explanation, decided, context.voice)

    lines = [*told.decisions, *told.night, *told.weighing, *told.head, *told.rules]
    for line in lines:
        assert line[1:] in words, line
    assert len(told.hours) == 25
    for hour in told.hours:
        assert f"{hour.clock}{' <' if hour.deciding else ''} {' '.join(hour.cells)}" in words


def test_what_goes_out_by_the_air_of_its_spot_is_told_by_that_column() -> None:
    words = Visitor().says(f"/why/{key_of('Kitchen-door aloes')}")

    told = re.search(r"Put out: [^;]*; temperature up to ([\d.]+) °C at 16:00", words)
    assert told is not None
    row = re.search(r" 16:00 [\d.]+ (?P<spot>[\d.]+) (?P<leaf>[\d.]+) ", words)
    assert row is not None
    assert told[1] == row["spot"] < row["leaf"]


def test_a_rule_that_cannot_fire_names_no_bound_that_cannot_be() -> None:
    words = Visitor().says(f"/why/{key_of('Kitchen-door aloes')}")

    assert "parched air (never)" in words
    assert "below -" not in words


def test_units_are_the_growers_and_names_are_escaped() -> None:
    visitor, _ = a_visitor(a_garden(a_plant(SCRIPT), units=US))

    page = visitor.get(f"/why/{key_of(SCRIPT)}")

    assert "<script>alert" not in page
    assert escape(SCRIPT) in page
    assert "°C" not in page
    assert re.search(r"\d:00 [ap]m", page)


def test_without_a_forecast_it_says_that_nothing_is_known() -> None:
    visitor, _ = a_visitor(forecast=False)

    page = visitor.get(f"/why/{key_of('Left pot')}")

    assert '<td class="number">?</td>' in page


def test_a_key_of_no_plant_leads_nowhere() -> None:
    assert Visitor().client.get("/why/000000000000").status_code == 404
