"""What is to be watered once the grower has said how wet pots are, and that it can be confirmed."""

from contextlib import closing
from dataclasses import replace
from datetime import timedelta

from sillward.ledger import Ledger
from sillward.service.answers import confirm
from sillward.service.chore_selection import select_chores
from sillward.service.looks import look_at_each
from sillward.service.water_after_look import told_after_look
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Pot
from tests.support.core import plant
from tests.support.summer import DAY, HOT, NOW, garden, sky


def potted(name: str) -> Plant:
    bare = plant(name, holder="pot", velamen=False, rot="low", night_low=5.0)
    return replace(bare, groups=("hibiscus",), pot=Pot(5.0, "peat"), span_cm=50.0)


YARD = garden(potted("Lime"), potted("Fuchsia"), potted("Sage"))
LATER = NOW + timedelta(minutes=5)


def looked(ledger: Ledger, yard: Collection, word: str, *plants: str) -> dict[str, float | None]:
    """Return what is told after a look: the litres of each plant."""
    look_at_each(ledger, yard, plants, word, NOW, NOW)
    told = told_after_look(ledger, yard, sky(), plants, LATER)
    return {reason.plant: reason.litres for chore in told for reason in chore.because}


def open_plants(ledger: Ledger) -> list[str]:
    stored = ledger.chores.of_day(YARD.site.name, DAY)
    return sorted(name for chore in stored if chore.open for name in chore.plants)


def test_dry_pots_are_watered_at_once_and_that_can_be_confirmed() -> None:
    with closing(Ledger(":memory:")) as ledger:
        told = looked(ledger, YARD, "dry", "Lime", "Fuchsia")
        assert set(told) == {"Lime", "Fuchsia"}
        assert all(told.values())
        assert open_plants(ledger) == ["Fuchsia", "Lime"]

        stored = ledger.chores.of_day(YARD.site.name, DAY)
        names = [one.name for one in YARD.plants]
        chosen = select_chores("water", stored, names, LATER, Voice(YARD.site))
        by_id = {chore.id: chore for chore in stored}
        confirm(ledger, YARD.site.name, [(by_id[key], who) for key, who in chosen.items()], LATER)
        assert open_plants(ledger) == []
        assert told_after_look(ledger, YARD, sky(), ("Lime",), LATER) == []


def test_a_second_look_adds_its_plants_and_repeats_none() -> None:
    with closing(Ledger(":memory:")) as ledger:
        looked(ledger, YARD, "dry", "Lime")
        assert set(looked(ledger, YARD, "dry", "Lime", "Sage")) == {"Lime", "Sage"}
        assert open_plants(ledger) == ["Lime", "Sage"]


def test_wet_pots_want_nothing() -> None:
    with closing(Ledger(":memory:")) as ledger:
        look_at_each(ledger, YARD, ["Lime"], "wet", NOW, NOW)
        assert told_after_look(ledger, YARD, sky(HOT - 15.0), ["Lime"], LATER) == []
        assert open_plants(ledger) == []
