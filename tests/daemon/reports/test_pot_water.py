"""The water of a pot in words and in JSON."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.reports import pot_water, why
from sillward.wording.voice import Voice
from sillward_rules.explanation import explain_plant, pot_of
from sillward_rules.plants.care import Care
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.state import PlantState
from tests.support.core import plant
from tests.support.summer import HOT, NOW, at_home, garden, limited, sky

LIME = replace(
    plant("Lime", holder="pot", velamen=False, rot="low"),
    groups=("citrus tender",),
    pot=Pot(12.0, "peat"),
    span_cm=70.0,
)
STATE = {"Lime": at_home(care=Care(water=PotWater(NOW - timedelta(days=1), 1.0, 0.06)))}
OF = garden(LIME)
VOICE = Voice(OF.site)


def told(of: Plant = LIME, **changes: PlantState) -> str:
    pot = pot_of(of, garden(of), sky(), {**STATE, **changes}, NOW)
    assert pot is not None
    return "\n".join(pot_water.lines(pot, VOICE))


def test_what_is_left_by_when_it_wants_more_and_what_that_rests_on() -> None:
    text = told()

    assert text.startswith("pot: 69 % of its water left (3.6 L when full), give or take 13 %")
    assert "wants water by about Tue 20 Jan 16:00 (kept above 50 %)" in text
    assert "the air asks for 3.7 mm, of which shrubs" in text
    assert "take 0.7; this plant as much, give or take 35 %" in text


def test_what_is_not_known_is_asked_for() -> None:
    assert "not known how wet it is: lift or feel it, and say so" in told(Lime=at_home())


def test_a_dry_rest_is_told() -> None:
    resting = limited(LIME, rest=True)
    pot = pot_of(resting, garden(resting), sky(HOT - 18.0), STATE, NOW)

    assert pot is not None
    assert pot_water.wanted(pot, VOICE) == "rests dry: no water until it grows"


@pytest.mark.parametrize("potted", [True, False])
def test_why_has_it_in_both_forms(potted: bool) -> None:
    of = LIME if potted else replace(LIME, pot=None)
    explanation = explain_plant(of, garden(of), sky(), STATE, NOW)

    document = json.loads(json.dumps(why.document(explanation, (), OF.site)))

    assert ("\npot: " in why.text(explanation, (), VOICE)) is potted
    assert ("pot" in document) is potted
    if potted:
        assert document["pot"]["share_left"] == 0.69
        assert document["pot"]["kept_above"] == 0.5
        assert document["pot"]["low_at"] == "2026-01-20T16:00:00-03:00"


def test_check_says_as_what_a_plant_counts() -> None:
    assert pot_water.classed(LIME).startswith("Its pot holds 3.6 L for the roots")
    assert pot_water.class_document(LIME)["water_use"]["class"] == "shrub"
    bare = replace(LIME, pot=None)
    assert (pot_water.classed(bare), pot_water.class_document(bare)) == ("", {})
