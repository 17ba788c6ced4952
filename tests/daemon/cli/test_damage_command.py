"""`sillward damage`, as a grower calls it."""

import functools
import json
from contextlib import closing
from datetime import timedelta
from functools import partial

import pytest

from sillward.assembly import app, examples
from sillward.cli import shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from sillward.ledger.tables.harmful_nights import HarmfulNight
from tests.support import commands
from tests.support.paths import EXAMPLES

DUSK = examples.demo("cold-snap").clock()
BLUE = "Blue basket"


@pytest.fixture(autouse=True)
def _dusk(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is Thursday 14 May, dusk."""
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: DUSK))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(EXAMPLES / "courtyard.toml"))


call = partial(commands.call, "damage")
said = partial(commands.said, "damage")
refused = partial(commands.refused, "damage")


def outcome(*, damaged: bool) -> None:
    """A cold night of the blue basket, and what came of it."""
    with closing(Ledger(load_settings().ledger)) as ledger:
        for back in range(3):
            night = (DUSK - timedelta(days=30 + 7 * back)).date()
            kept = HarmfulNight(
                BLUE, night, 2.0, 0.7, True, True, 14.0, DUSK, None, DUSK, damaged, None
            )  # fmt: skip
            ledger.harmful_nights.keep("Courtyard", kept)


def test_damage_is_noted_and_what_is_not_known_is_said() -> None:
    text = said("blue", "basket", "--what", "soft spots", "--amount", "some", "--on", "yesterday")

    assert "Blue basket: damage seen Wed 13 May (soft spots, some)" in text
    assert "Nothing is kept of 21 of these 21 nights." in text
    assert json.loads(call("blue", "--json").stdout)["what"] == "soft spots"


def test_without_damage_the_nights_are_told_and_nothing_is_written() -> None:
    assert "no damage noted recently" in said("blue basket")


def test_a_proposal_is_accepted_and_taken_back() -> None:
    outcome(damaged=False)

    assert "nothing can be learned" in refused("blue", "--none")
    assert "accepted: Blue basket, night_low is" in said("blue", "--accept", "--by", "Ana")
    assert "taken back: Blue basket" in said("blue", "--take-back")
    assert "no limit was accepted" in refused("blue", "--take-back")


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("blue", "--accept"), "nothing is proposed"),
        (("blue", "--accept", "--none"), "choose one of"),
        (("blue", "--on", "yesterday"), "--on goes with"),
        (("blue", "--undo"), "--undo goes with --none"),
        ((), "say which plant"),
        (("blue", "nobody", "--none"), '"nobody" is not a plant'),
        (("nobody",), "not a plant"),
        (("blue", "--amount", "lots"), "amount"),
    ],
)
def test_wrong_usage_is_told_in_a_line(words: tuple[str, ...], why: str) -> None:
    assert why in refused(*words)


def test_on_a_terminal_damage_is_asked_for_until_it_can_be_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sillward.cli.damage._is_asked", lambda: True)
    with closing(Ledger(load_settings().ledger)):
        pass  # somebody has used it before

    typed = "soft tissue\nlots\nsome\nnoday\nyesterday\n"
    result = call("blue", typed=typed)

    assert result.exit_code == 0, result.output
    assert '"lots" is not an amount' in result.output
    assert '"noday" is not a day' in result.output
    assert "damage seen Wed 13 May (soft tissue, some)" in result.output


def test_on_a_terminal_nothing_seen_is_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sillward.cli.damage._is_asked", lambda: True)
    with closing(Ledger(load_settings().ledger)):
        pass

    result = call("blue", typed="\n")
    assert "no damage noted recently" in result.output


def asked_about(back: int, *plants: str) -> None:
    """Plants that had a cold night so many days ago, which nobody has answered."""
    with closing(Ledger(load_settings().ledger)) as ledger:
        night = (DUSK - timedelta(days=back)).date()
        for plant in plants:
            noted = DUSK - timedelta(days=back - 1)
            kept = HarmfulNight(plant, night, 4.0, 0.7, True, True, 10.0, noted, noted)
            ledger.harmful_nights.note("Courtyard", [kept])


def open_plants() -> set[str]:
    with closing(Ledger(load_settings().ledger)) as ledger:
        nights = ledger.harmful_nights.unanswered("Courtyard", (DUSK - timedelta(days=60)).date())
    return {night.plant for night in nights if night.looked_at is None}


def test_no_damage_is_one_answer_for_all_that_are_asked_about_and_taken_back_as_one() -> None:
    assert "no plant is asked about" in refused("--none")
    asked_about(16, BLUE, "Old cattleya")
    asked_about(5, "Grey curls")

    told = said("--none", "--by", "Ana")
    assert "Blue basket took no harm" in told
    assert "Old cattleya took no harm" in told
    assert "It can show up to two weeks later" in told
    assert open_plants() == set()
    assert "no plant is asked about" in refused("--none")
    with closing(Ledger(load_settings().ledger)) as ledger:
        (deed,) = ledger.deeds.latest("Courtyard", 9)
    assert deed.about["plants"] == [BLUE, "Old cattleya", "Grey curls"]

    document = json.loads(call("--none", "--undo", "--json").stdout)
    assert {night["plant"] for night in document["nights"]} == open_plants()
    assert (document["taken_back"], len(open_plants())) == (True, 3)
    assert "nobody has said lately" in refused("--none", "--undo")


def test_no_damage_of_plants_that_are_named_is_taken_back_of_one() -> None:
    asked_about(16, BLUE, "Old cattleya", "Grey curls")

    told = said("blue", "old cattleya,", "moth", "--none")
    assert "Moth orchid: no cold night" in told
    assert open_plants() == {"Grey curls"}

    assert "open again" in said("blue", "--none", "--undo")
    assert open_plants() == {"Grey curls", BLUE}
    (night,) = json.loads(call("blue", "--none", "--json").stdout)["nights"]
    assert (night["plant"], night["low_c"], night["open"]) == (BLUE, 4.0, False)
