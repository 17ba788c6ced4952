"""Damage and limits on the page of a plant: asked, answered, proposed, accepted, taken back."""

import re
from datetime import timedelta

import pytest

from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.page.keys import key_of
from sillward.service import answers
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.sun import night_of
from tests.support.desks import DAY, SITE, World, local
from tests.support.page_worlds import a_visitor
from tests.support.pages import Visitor

PLANT = "Left pot"
PAGE = f"/plants/{key_of(PLANT)}"
COLD = DAY - timedelta(days=4)


@pytest.fixture
def world() -> tuple[Visitor, World]:
    return a_visitor()


def cold(world: World, *, answered: bool = False, damaged: bool | None = None) -> None:
    at = local("12:00")
    night = HarmfulNight(
        PLANT, COLD, 5.0, 1.0, False, True, 8.0, at, None, at if answered else None, damaged
    )  # fmt: skip
    world.ledger.harmful_nights.keep(SITE.name, night)


def unharmed(world: World) -> None:
    """Three cold spells without damage: a lower limit is proposed."""
    for back in range(3):
        night = COLD - timedelta(days=7 * back)
        at = local("12:00")
        kept = HarmfulNight(PLANT, night, 1.0, 0.7, True, True, 8.0, at, None, at, False)
        world.ledger.harmful_nights.keep(SITE.name, kept)


def text_of(visitor: Visitor) -> str:
    return visitor.get(PAGE)


def test_of_a_plant_without_cold_nights_nothing_is_said(world: tuple[Visitor, World]) -> None:
    assert "Damage and limits" not in text_of(world[0])


def test_a_cold_night_is_asked_about_and_answered(world: tuple[Visitor, World]) -> None:
    visitor, made = world
    cold(made)
    shown = text_of(visitor)
    assert "Does any damage show by now?" in shown
    assert "Sun 10 May: about 5.0 °C" in shown
    assert "?note=damage#text" in shown

    visitor.post(f"{PAGE}/damage/none")
    (night,) = made.ledger.harmful_nights.of_plant(SITE.name, PLANT)
    assert (night.damaged, night.looked_at) == (None, made.clock())
    assert "Does any damage show" not in text_of(visitor)
    assert visitor.post(f"{PAGE}/damage/none").status_code == 303  # pressed twice


def test_the_link_opens_the_form_for_damage(world: tuple[Visitor, World]) -> None:
    shown = world[0].get(f"{PAGE}?note=damage")
    assert '<option value="damage" selected>' in shown
    assert re.search(r"<details[^>]* open>\s*<summary>Note what you see", shown)


def test_a_proposal_is_accepted_as_it_was_shown_and_taken_back(
    world: tuple[Visitor, World],
) -> None:
    visitor, made = world
    unharmed(made)
    shown = text_of(visitor)
    (offer,) = re.findall(r'name="offer" value="([^"]+)"', shown)
    assert re.search(r"night_low [\d.]+ °C instead of 8 °C", shown)

    refused = visitor.post(f"{PAGE}/limits/accept", offer="night_low=1")
    assert refused.status_code == 409
    assert made.ledger.accepted_limits.of_site(SITE.name) == []

    visitor.post(f"{PAGE}/limits/accept", offer=offer)
    (limit,) = made.ledger.accepted_limits.of_site(SITE.name)
    assert f"night_low={limit.value:g}" == offer
    shown = text_of(visitor)
    assert f"You have accepted night_low {limit.value:g} °C (was 8 °C)." in shown
    assert "accepted 2026-05-14 after 3 cold spells without damage (was 8 °C)" in shown
    assert 'name="offer"' not in shown

    visitor.post(f"{PAGE}/limits/take-back")
    assert made.ledger.accepted_limits.of_site(SITE.name) == []


def test_damage_that_is_noted_is_looked_into_at_once(world: tuple[Visitor, World]) -> None:
    visitor, made = world
    for back in range(25, 0, -1):
        night = DAY - timedelta(days=back)
        low_at = night_of(SITE, night).end - timedelta(minutes=18)
        low_c = 4.0 if night == COLD else 14.0
        told = NightForecast(night, 10.0, low_c, low_at, low_c - 4, 2.0, 0.5, low_c + 12)
        made.ledger.nights.keep(SITE.name, "Invented weather", low_at - timedelta(hours=10), [told])
    at = local("12:00", DAY - timedelta(days=25))
    answers.move(made.ledger, SITE.name, PLANT, "bench", at)

    text_of(visitor)
    visitor.post(f"{PAGE}/notes", kind="damage", what="soft tissue", amount="some", text="")
    shown = text_of(visitor)
    assert "Damage was seen Thu 14 May." in shown
    assert "In the night from Sun 10 May to Mon 11 May: leaf about 4.0 °C" in shown
    assert "Learned from 1 night with damage: it is harmed from about" in shown


def test_a_plant_that_is_not_there_has_no_limits(world: tuple[Visitor, World]) -> None:
    text_of(world[0])
    gone = f"/plants/{key_of('Gone')}"
    for path in ("damage/none", "limits/accept", "limits/take-back"):
        assert world[0].post(f"{gone}/{path}").status_code == 404
