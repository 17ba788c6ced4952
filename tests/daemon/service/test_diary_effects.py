"""What was noted changes the state of its plant, once, and of no plant that is gone."""

from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.service import diary
from sillward.service.diary_effects import Seen, states_after
from sillward_rules.plants.care import Care
from sillward_rules.plants.limits import Rest, RestClass
from sillward_rules.plants.salt_balance import FRESH_EC, SETTLED_AFTER, SaltBalance
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.season import Season
from tests.support.core import collection
from tests.support.desks import local

NOW = local("17:00")
YARD = collection()
(PLANT, *_) = YARD.plants


def seen(kind: EntryKind, at: datetime = NOW, plant: str = PLANT.name) -> DiaryEntry:
    return DiaryEntry(plant, at, NOW, kind, "")


def rinsed(state: PlantState, seen: Seen) -> PlantState:
    return replace(state, rinsed_at=seen.at)


EFFECTS = {EntryKind.REPOTTED: rinsed}


def test_the_last_that_was_seen_holds_whatever_the_order_of_the_notes() -> None:
    before = NOW - timedelta(days=3)
    noted = [seen(EntryKind.REPOTTED), seen(EntryKind.REPOTTED, before), seen(EntryKind.SPIKE)]

    after = states_after(noted, {PLANT.name: PlantState("room")}, YARD, EFFECTS)

    assert after == {PLANT.name: PlantState("room", rinsed_at=NOW)}


def test_a_plant_of_which_nothing_is_known_is_at_its_home() -> None:
    after = states_after([seen(EntryKind.REPOTTED)], {}, YARD, EFFECTS)
    assert after == {PLANT.name: PlantState(PLANT.home, rinsed_at=NOW)}


def test_a_plant_that_is_gone_has_no_state() -> None:
    assert states_after([seen(EntryKind.REPOTTED, plant="Gone")], {}, YARD, EFFECTS) == {}


@pytest.mark.parametrize(
    ("kind", "rest", "season"),
    [
        (EntryKind.GROWTH, "none", Season.GROWING),
        (EntryKind.GROWTH, "dry", Season.SLOWING),
        (EntryKind.ROOT, "dry", Season.GROWING),
    ],
)
def test_growth_that_is_seen_ends_a_rest(kind: EntryKind, rest: Rest, season: Season) -> None:
    today = YARD.site.local_date(NOW)
    memory = SeasonMemory(Season.REST, today - timedelta(days=30), today)
    plant = replace(PLANT, limits=replace(PLANT.limits, rest=RestClass(rest, "test")))
    known = {plant.name: PlantState("room", care=Care(season=memory))}

    after = states_after([seen(kind)], known, collection(plant))

    now = after[plant.name].care.season
    assert now is not None
    assert (now.season, now.came_from, now.since) == (season, Season.REST, today)
    long_ago = seen(kind, NOW - timedelta(days=90))
    assert states_after([long_ago], known, collection(plant)) == {}


def test_a_correction_takes_effect_if_kind_or_time_are_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(diary, "states_after", partial(states_after, effects=EFFECTS))
    ledger, site = Ledger(":memory:"), YARD.site.name
    (entry,) = diary.note(ledger, YARD, [seen(EntryKind.SPIKE)], NOW)
    assert ledger.plant_states.of_site(site) == {}

    diary.correct(ledger, YARD, replace(entry, kind=EntryKind.REPOTTED), NOW)
    assert ledger.plant_states.of_site(site)[PLANT.name].rinsed_at == NOW
    ledger.plant_states.forget(site, PLANT.name)
    diary.correct(ledger, YARD, replace(entry, kind=EntryKind.REPOTTED, text="bark"), NOW)
    assert ledger.plant_states.of_site(site) == {}
    assert not diary.correct(ledger, YARD, replace(entry, id=99), NOW)


@pytest.mark.parametrize(("days", "counted_from"), [(1, timedelta(days=1)), (9, SETTLED_AFTER)])
def test_repotting_begins_the_balance_of_salts_anew(days: int, counted_from: timedelta) -> None:
    before = Care(salt=SaltBalance(NOW - timedelta(days=3), 2.2, 0.4))
    noted = seen(EntryKind.REPOTTED, NOW - timedelta(days=days))

    after = states_after([noted], {PLANT.name: PlantState("room", care=before)}, YARD)

    salt = after[PLANT.name].care.salt
    assert salt is not None
    assert (salt.ec, salt.at) == (FRESH_EC, NOW - counted_from)


def test_a_repotting_of_long_ago_leaves_the_balance_of_salts() -> None:
    before = Care(salt=SaltBalance(NOW - timedelta(days=3), 2.2, 0.4))
    noted = seen(EntryKind.REPOTTED, NOW - timedelta(days=400))

    assert states_after([noted], {PLANT.name: PlantState("room", care=before)}, YARD) == {}
