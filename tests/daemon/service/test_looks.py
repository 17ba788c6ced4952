"""Looks at pots: kept in the diary and in the plant's state, and taken back from both."""

from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import EntryKind
from sillward.service import looks
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotLook, PotWater
from sillward_rules.plants.sightings import course_ended
from sillward_rules.plants.state import PlantState
from tests.support.core import collection, plant, utc

NOW = utc("2026-01-20T10:00")
HOUR = timedelta(hours=1)
LIME = replace(plant("Lime", holder="pot", velamen=False), pot=Pot(12.0, "peat"))
OF = collection(LIME)
SITE = OF.site.name


@pytest.mark.parametrize("word", ["dry", "moist", "wet"])
def test_a_look_is_kept_and_taken_back(tmp_path: Path, word: str) -> None:
    seen_at = NOW - timedelta(hours=3)
    with closing(Ledger(tmp_path / "ledger.db")) as ledger:
        looks.look(ledger, OF, "Lime", word, seen_at, NOW, "Ana")

        (entry,) = ledger.diary.of_plant(SITE, "Lime", -1)
        assert (entry.kind, entry.what, entry.amount) == (EntryKind.LOOK, "pot", word)
        care = ledger.plant_states.of_site(SITE)["Lime"].care
        assert care.looks == (PotLook(word, seen_at, NOW),)  # type: ignore[arg-type]

        assert looks.take_back_each(ledger, OF.site, ["Lime"], NOW, "Ana") == [entry]
        assert not ledger.diary.of_plant(SITE, "Lime", -1)
        assert ledger.plant_states.of_site(SITE)["Lime"].care.looks == ()
        with pytest.raises(UsageError, match="Lime"):
            looks.take_back_each(ledger, OF.site, ["Lime"], NOW)
        with pytest.raises(UsageError, match="no look is left"):
            looks.take_last_back(ledger, OF.site, NOW)
        assert len(ledger.deeds.latest(SITE, 10)) == 2


def test_the_last_look_is_taken_back_and_no_other(tmp_path: Path) -> None:
    with closing(Ledger(tmp_path / "ledger.db")) as ledger:
        looks.look(ledger, OF, "Lime", "wet", NOW, NOW)
        later = NOW + timedelta(hours=1)
        looks.look(ledger, OF, "Lime", "dry", NOW - timedelta(hours=2), later)

        (taken,) = looks.take_last_back(ledger, OF.site, later)

        assert taken.amount == "dry"
        care = ledger.plant_states.of_site(SITE)["Lime"].care
        assert [look.word for look in care.looks] == ["wet"]


def test_a_look_at_a_plant_without_a_pot_is_for_the_diary_alone() -> None:
    of, ledger = collection(replace(LIME, pot=None)), Ledger(":memory:")

    entry = looks.look(ledger, of, "Lime", "dry", NOW, NOW)

    assert ledger.diary.of_plant(SITE, "Lime") == [entry]
    assert ledger.plant_states.of_site(SITE) == {}


@pytest.mark.parametrize(
    ("care", "kept"),
    [
        (Care(), False),
        (Care((Wetting(ChoreKind.WATER, NOW + HOUR, confirmed=True),)), True),
        (Care((Wetting(ChoreKind.WATER, NOW + HOUR, due=NOW + HOUR),)), False),
    ],
    ids=["not filled", "filled since", "only told"],
)
def test_a_pot_is_not_known_by_a_look_that_is_taken_back_once_it_is_counted(
    care: Care, kept: bool
) -> None:
    ledger = Ledger(":memory:")
    looks.look(ledger, OF, "Lime", "wet", NOW, NOW)
    water = PotWater(NOW + 20 * HOUR, 0.9, 0.1)
    ledger.plant_states.keep(SITE, {"Lime": PlantState(LIME.home, care=care.counted(water))})

    looks.take_last_back(ledger, OF.site, NOW + 21 * HOUR)

    left = ledger.plant_states.of_site(SITE)["Lime"].care.water
    assert left == (water if kept else None)


def test_a_counted_look_that_another_one_corrects_leaves_the_pot_known() -> None:
    ledger = Ledger(":memory:")
    looks.look(ledger, OF, "Lime", "wet", NOW, NOW)
    looks.look(ledger, OF, "Lime", "wet", NOW, NOW + HOUR)
    water = PotWater(NOW + 20 * HOUR, 0.9, 0.1)
    ledger.plant_states.keep(SITE, {"Lime": PlantState(LIME.home, care=Care(water=water))})

    looks.take_last_back(ledger, OF.site, NOW + 21 * HOUR)

    assert ledger.plant_states.of_site(SITE)["Lime"].care.water == water


def test_leaves_were_last_looked_at_when_that_was_last_said_and_not_taken_back() -> None:
    ledger = Ledger(":memory:")
    begun = course_ended(PlantState(LIME.home), "magnesium", None)
    ledger.plant_states.keep(SITE, {"Lime": begun})

    def looked_at() -> datetime | None:
        course = ledger.plant_states.of_site(SITE)["Lime"].care.course("magnesium")
        assert course is not None
        return course.looked_at

    first, second = NOW - timedelta(days=15), NOW - timedelta(days=1)
    for at in (first, second, first - timedelta(days=9)):
        looks.look(ledger, OF, "Lime", "same", at, NOW)
    assert looked_at() == second

    looks.take_back_each(ledger, OF.site, ["Lime"], NOW)
    assert looked_at() == second
    looks.take_back_each(ledger, OF.site, ["Lime"], NOW)
    assert looked_at() == first
    looks.take_back_each(ledger, OF.site, ["Lime"], NOW)
    assert looked_at() is None


def test_looks_of_one_answer_are_one_deed_and_taken_back_as_one(tmp_path: Path) -> None:
    of = collection(LIME, replace(LIME, name="Kumquat"), replace(LIME, name="Fig"))
    with closing(Ledger(tmp_path / "ledger.db")) as ledger:
        looks.look(ledger, of, "Fig", "wet", NOW, NOW)
        later = NOW + timedelta(hours=1)
        looks.look_at_each(ledger, of, ["Lime", "Kumquat"], "dry", later, later)
        assert [deed.about["plants"] for deed in ledger.deeds.latest(SITE, 9)] == [
            ["Lime", "Kumquat"],
            ["Fig"],
        ]

        taken = looks.take_last_back(ledger, OF.site, later)

        assert {entry.plant for entry in taken} == {"Lime", "Kumquat"}
        states = ledger.plant_states.of_site(SITE)
        assert [len(states[name].care.looks) for name in ("Lime", "Kumquat", "Fig")] == [0, 0, 1]
        with pytest.raises(UsageError, match="Kumquat"):  # then that at the fig stays too
            looks.take_back_each(ledger, OF.site, ["Fig", "Kumquat"], later)
        assert len(ledger.plant_states.of_site(SITE)["Fig"].care.looks) == 1


def test_any_other_word_is_an_error_that_names_the_words() -> None:
    assert looks.word_named(" Moist ") == "moist"
    with pytest.raises(UsageError, match="say one of dry, moist, wet, better, same, worse"):
        looks.word_named("soggy")
