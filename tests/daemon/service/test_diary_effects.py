"""What was noted changes the state of its plant, once, and of no plant that is gone."""

from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

import pytest

from sillward.ledger import Ledger
from sillward.ledger.care_codec import decode, encode
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.service import diary
from sillward.service.diary_effects import Seen, state_without, states_after
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.care_merging import with_answers
from sillward_rules.plants.limits import Rest, RestClass
from sillward_rules.plants.salt_balance import REPOTTING_KEPT, SETTLED_AFTER, SaltBalance, fresh
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


SALTY = SaltBalance(NOW - timedelta(hours=47), 4.4, 0.3)
WATERED = tuple(
    Wetting(ChoreKind.WATER, NOW - timedelta(hours=hours), confirmed=True) for hours in (50, 30, 6)
)


def salt_after(*noted: DiaryEntry, before: SaltBalance | None = SALTY) -> SaltBalance | None:
    known = PlantState("room", care=Care(WATERED, salt=before))
    return states_after(noted, {PLANT.name: known}, YARD).get(PLANT.name, known).care.salt


@pytest.mark.parametrize("hours", [0, 26, 54])
def test_repotting_begins_the_balance_of_salts_anew(hours: int) -> None:
    at = NOW - timedelta(hours=hours)

    assert salt_after(seen(EntryKind.REPOTTED, at)) == fresh(at)
    assert salt_after(seen(EntryKind.REPOTTED, at), before=None) == fresh(at)


@pytest.mark.parametrize("days", [3, 9, 700])
def test_a_repotting_that_is_entered_late_leaves_the_balance_of_salts(days: int) -> None:
    late = seen(EntryKind.REPOTTED, NOW - timedelta(days=days))

    assert salt_after(late) == SALTY
    now = seen(EntryKind.REPOTTED)
    assert salt_after(late, now) == fresh(NOW)
    assert salt_after(now, seen(EntryKind.REPOTTED, NOW - timedelta(hours=9))) == fresh(NOW)


@pytest.mark.parametrize("kind", [EntryKind.GROWTH, EntryKind.ROOT])
def test_a_rest_goes_on_if_the_growth_that_ended_it_is_deleted(kind: EntryKind) -> None:
    today = YARD.site.local_date(NOW)
    rest = SeasonMemory(Season.REST, today - timedelta(days=40), today)
    known = PlantState("room", care=Care(season=rest))
    entry, other = seen(kind), seen(kind, NOW - timedelta(days=9))
    (state,) = states_after([entry], {PLANT.name: known}, YARD).values()
    assert state.care.season != rest

    left = state_without(entry, state, YARD.site).care.season
    assert left is not None
    assert (left.season, left.seen_until) == (Season.REST, None)
    grown = state_without(entry, state, YARD.site, [other]).care.season
    assert grown is not None
    assert grown.season is not Season.REST
    assert grown.is_seen(today)
    assert state_without(other, state, YARD.site) == state


def test_a_repotting_that_is_deleted_restores_the_balance_of_salts() -> None:
    known = PlantState("room", care=Care(WATERED, salt=SALTY))
    entry = seen(EntryKind.REPOTTED, NOW - timedelta(hours=9))
    (repotted,) = states_after([entry], {PLANT.name: known}, YARD).values()

    restored = state_without(entry, repotted, YARD.site)
    assert restored.care.salt == SALTY
    assert state_without(entry, restored, YARD.site) == restored
    assert states_after([entry], {PLANT.name: restored}, YARD)[PLANT.name].care == repotted.care
    # A round that was on its way knows it only then.
    assert with_answers(repotted.care, restored.care).salt == SALTY
    assert with_answers(restored.care, repotted.care).salt == SALTY
    assert state_without(seen(EntryKind.REPOTTED), repotted, YARD.site) == repotted  # another one
    assert state_without(entry, known, YARD.site) == known


def test_mornings_between_a_repotting_and_its_deletion_leave_no_balance_too_low() -> None:
    known = PlantState("room", care=Care(WATERED, salt=SALTY))
    entry = seen(EntryKind.REPOTTED)
    (state,) = states_after([entry], {PLANT.name: known}, YARD).values()
    for hours, ec in ((14, 0.3), (38, 0.3), (62, 0.5), (240, 0.9)):
        at = max(NOW, NOW + timedelta(hours=hours) - SETTLED_AFTER)
        state = replace(state, care=state.care.with_salt(SaltBalance(at, ec, 0.2)))
        deleted = state_without(entry, state, YARD.site).care.salt
        assert deleted is not None
        assert deleted.ec == SALTY.ec
        assert deleted.at == (SALTY.at if hours < 47 else at)


def test_what_a_repotting_replaced_is_forgotten_in_time() -> None:
    known = PlantState("room", care=Care(WATERED, salt=SALTY))
    (state,) = states_after([seen(EntryKind.REPOTTED)], {PLANT.name: known}, YARD).values()
    later = SaltBalance(NOW + REPOTTING_KEPT, 1.0, 0.2)

    assert state.care.repotting is not None
    assert decode(encode(state.care)) == state.care
    assert state.care.with_salt(later).repotting is None
    # A round that was on its way keeps that, and what was said meanwhile.
    assert with_answers(state.care.with_salt(later), state.care).salt == later
    worked_out = known.care.with_salt(replace(SALTY, at=NOW - timedelta(hours=23)))
    assert with_answers(worked_out, state.care).salt == state.care.salt
    assert with_answers(state.care, worked_out).salt == state.care.salt
