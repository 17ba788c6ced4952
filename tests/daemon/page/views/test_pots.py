"""The pot of a plant on its page: how wet it is, and three buttons that say so."""

from dataclasses import replace
from html import unescape

import pytest

from sillward.page.desk import PageDesk
from sillward.page.keys import key_of
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.pot import Pot
from tests.support.pages import Visitor, an_evening

LIME = "Clay-pot lime"
PAGE = f"/plants/{key_of(LIME)}"


@pytest.fixture
def desk() -> PageDesk:
    """The example, with another pot for one plant, of which nothing is known."""
    desk = an_evening()
    desk.context.ledger.plant_states.forget(desk.context.site.name, LIME)
    of = desk.context.household.collection
    plants = tuple(
        replace(one, pot=Pot(12.0, "peat")) if one.name == LIME else one for one in of.plants
    )
    potted = Collection(of.site, of.spots, plants, of.rules, of.habits, of.feed)
    household = replace(desk.context.household, collection=potted)
    desk.current = lambda: household
    return desk


def test_a_look_is_taken_by_a_button_and_told_at_once(desk: PageDesk) -> None:
    visitor = Visitor(desk)
    before = unescape(visitor.get(PAGE))
    assert "Not known how wet it is" in before

    answer = visitor.post(f"{PAGE}/look", word="wet")

    assert answer.status_code == 303
    after = unescape(visitor.get(PAGE)).replace("\N{NO-BREAK SPACE}", " ")
    assert "92 % of its water left (3.6 L when full), give or take 8 %" in after
    assert "wants water by about" in after.lower() or "Wants none in the days ahead" in after


def test_no_other_word_is_taken_and_no_other_plant_has_buttons(desk: PageDesk) -> None:
    visitor = Visitor(desk)
    visitor.get(PAGE)

    assert visitor.post(f"{PAGE}/look", word="soggy").status_code == 404
    assert 'value="moist"' not in visitor.get(f"/plants/{key_of('Old cattleya')}")


def test_the_days_on_which_pots_want_water_are_a_table(desk: PageDesk) -> None:
    visitor = Visitor(desk)
    visitor.get(PAGE)
    visitor.post(f"{PAGE}/look", word="dry")

    ahead = unescape(visitor.get("/ahead"))

    table = ahead[ahead.index("Water for pots") :].split("</table>")[0]
    row = next(row for row in table.split("<tr>") if LIME in row)
    assert row.count("<td>water</td>") >= 1
