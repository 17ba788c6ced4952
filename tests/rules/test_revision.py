"""What a newer forecast changes about what was told: added, moved, called off, and no flapping."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.state import PlantState
from sillward_rules.revision import (
    CORRECTED,
    MIN_NIGHT_GAIN,
    Order,
    Revision,
    hour_of,
    revise,
    safe_outside,
)
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import after_revision, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import from_sd
from tests.support.core import (
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
    weather,
)

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")
LATER = DUSK + timedelta(minutes=10)
LIMIT_C = 13.0
HALF_AN_HOUR = timedelta(minutes=30)
HOUR = timedelta(hours=1)


def nights_of(low_c: float, *, sd_k: float | None = 0.5) -> Weather:
    """Every night this cold; so sure of it (None: by the usual errors)."""
    made = fetched(weather(START, daily_curve(low_c, low_c + 11.0, 9 * 24)), DUSK)
    if sd_k is None:
        return made
    return replace(made, spread=from_sd(made.times, np.full(made.times.shape, sd_k), "test"))


def sheet_of(
    low_c: float,
    at: datetime,
    whose: Collection,
    state: dict[str, PlantState] | None = None,
    round_: Round = Round.DUSK,
) -> Sheet:
    return draw_up(round_, whose, nights_of(low_c), state or {}, at)


def orders(sheet: Sheet) -> list[Order]:
    return [
        Order(chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore))
        for chore in sheet.chores
        if chore.kind in CORRECTED and chore.id.startswith("2026-05-14")
    ]


def revision(
    before_c: float,
    after_c: float,
    whose: Collection | None = None,
    *,
    at: datetime = LATER,
    done: Sequence[tuple[ChoreKind, str]] = (),
    sd_k: float | None = 0.5,
    moved_by: timedelta = HALF_AN_HOUR,
) -> Revision:
    """What changes from one forecast to the next, the second seen a little later."""
    whose = whose or collection()
    told = sheet_of(before_c, DUSK, whose)
    state = next_state({}, told)
    newer = nights_of(after_c, sd_k=sd_k)
    sheet = draw_up(Round.DUSK, whose, newer, state, at)
    return revise(
        orders(told), sheet, lambda: safe_outside(whose, newer, state, at), done, moved_by, HOUR
    )


def test_the_same_forecast_changes_nothing() -> None:
    assert not revision(8.0, 8.0)


def test_a_colder_night_adds_the_plants_it_is_too_cold_for() -> None:
    changed = revision(14.5, 11.0)

    (chore,) = changed.added
    assert (chore.kind, chore.plants) == (ChoreKind.CARRY_IN, ("Test strap",))
    assert not changed.moved
    assert not changed.called_off


def test_only_plants_that_were_not_told_are_added() -> None:
    whose = collection(plant("Hardy", night_low=9.0), plant("Tender", night_low=13.0))

    changed = revision(11.0, 7.0, whose)

    assert [chore.plants for chore in changed.added] == [("Hardy",)]
    assert [reason.plant for chore in changed.added for reason in chore.because] == ["Hardy"]


def test_what_is_done_is_not_added_again() -> None:
    assert not revision(14.5, 11.0, done=[(ChoreKind.CARRY_IN, "Test strap")]).added


def far_apart(caution: float, worth: float) -> Collection:
    """One for whom little is worth a walk, or everything."""
    return collection(replace(plant(), worth=worth), habits=Habits(caution=caution))


@pytest.mark.parametrize("caution", [0.0, 3.0, 60.0, 1000.0])
@pytest.mark.parametrize("worth", [0.01, 1.0, 50.0])
def test_a_night_that_has_turned_cold_is_told_whatever_a_plant_is_worth(
    caution: float, worth: float
) -> None:
    """Before the usual hour and after it."""
    whose = far_apart(caution, worth)
    for at in (LATER, utc("2026-05-15T00:30")):
        mild = draw_up(Round.DUSK, whose, nights_of(19.0), {}, DUSK)
        assert not orders(mild)
        state, newer = next_state({}, mild), fetched(nights_of(8.0, sd_k=None), at)
        sheet = draw_up(Round.DUSK, whose, newer, state, at)

        changed = revise([], sheet, frozenset, [], HALF_AN_HOUR, HOUR)

        assert [chore.plants for chore in changed.added] == [("Test strap",)], at


@pytest.mark.parametrize("caution", [0.0, 3.0, 60.0])
def test_a_forecast_that_hovers_says_one_thing_to_who_is_relaxed(caution: float) -> None:
    """At the limit, then 0.3 K above it: nothing is called off, and nothing ordered twice."""
    whose = far_apart(caution, 1.0)
    told = draw_up(Round.DUSK, whose, nights_of(12.7, sd_k=1.0), {}, DUSK)
    assert orders(told)
    state, newer = next_state({}, told), nights_of(13.3, sd_k=1.0)
    sheet = draw_up(Round.DUSK, whose, newer, state, LATER)

    changed = revise(
        orders(told),
        sheet,
        partial(safe_outside, whose, newer, state, LATER),
        [],
        HALF_AN_HOUR,
        HOUR,
    )

    assert not changed.called_off
    assert not changed.added


def test_a_night_milder_by_more_than_the_margin_is_called_off() -> None:
    changed = revision(12.0, 15.5)

    (order,) = changed.called_off
    assert (order.kind, order.plants) == (ChoreKind.CARRY_IN, ("Test strap",))


@pytest.mark.parametrize("low_c", [13.1, 13.5, 13.9])
def test_a_night_at_the_limit_calls_nothing_off(low_c: float) -> None:
    """Enter at the limit, leave at the limit plus 1 K; a choice of ours, no outside source."""
    assert not revision(12.0, low_c, sd_k=1.0)


def test_a_night_at_the_limit_is_called_off_if_it_is_sure() -> None:
    """0.5 K above with 0.2 K of error: a chance of about 1 % (normal distribution, z = 2.5)."""
    assert revision(12.0, 13.5, sd_k=0.2).called_off


def test_a_night_milder_by_the_margin_that_may_still_be_cold_is_not_called_off() -> None:
    """1.5 K above with 6 K of error: a chance of about 40 % (normal distribution, z = 0.25)."""
    assert not revision(12.0, 14.5, sd_k=6.0)


@settings(deadline=None, max_examples=15)
@given(st.lists(st.floats(12.05, 13.95), min_size=2, max_size=12))
def test_a_forecast_that_hovers_at_the_limit_says_one_thing_a_night(lows: list[float]) -> None:
    """Whatever it does within 1 K of the limit: at most one order, and none is taken back."""
    whose = collection()
    told = orders(sheet_of(lows[0], DUSK, whose))
    state = next_state({}, sheet_of(lows[0], DUSK, whose))
    ordered = bool(told)
    for number, low_c in enumerate(lows[1:], start=1):
        at = DUSK + timedelta(minutes=number)
        newer = nights_of(low_c, sd_k=1.0)
        sheet = draw_up(Round.DUSK, whose, newer, state, at)
        changed = revise(
            told,
            sheet,
            partial(safe_outside, whose, newer, state, at),
            [],
            timedelta(hours=24),
            HOUR,
        )
        assert not changed.called_off
        assert not (ordered and changed.added)
        for chore in changed.added:
            ordered = True
            told.append(
                Order(
                    chore.id,
                    chore.kind,
                    chore.plants,
                    chore.from_spot,
                    chore.to_spot,
                    hour_of(chore),
                )
            )
        state = after_revision(state, sheet, changed)


def test_a_deadline_that_moves_by_more_than_the_set_time_is_told_with_the_old_one() -> None:
    told = sheet_of(12.0, DUSK, collection())
    (before,) = orders(told)

    late_and_early = revision(12.0, 3.0, moved_by=timedelta(minutes=5), at=DUSK)

    for moved in late_and_early.moved:
        assert moved.was == before.at
        assert abs(moved.chore.before - before.at) > timedelta(minutes=5)
    assert not revision(12.0, 3.0, moved_by=timedelta(hours=24)).moved
    assert late_and_early.moved


def test_an_order_whose_hour_is_over_stands() -> None:
    told = orders(sheet_of(12.0, DUSK, collection()))

    assert not revision(12.0, 18.0, at=told[0].at + timedelta(minutes=1))


def test_what_nobody_knows_sends_no_one_out() -> None:
    whose = collection()
    sheet = draw_up(Round.DUSK, whose, fetched(nights_of(14.5), DUSK - timedelta(days=2)), {}, DUSK)
    assert sheet.chores  # a blind night is treated as cold ...

    changed = revise([], sheet, frozenset, [], HALF_AN_HOUR, HOUR)

    assert not changed  # ... but whoever was told that it is mild is not woken for it


def test_a_day_that_turns_cold_calls_going_out_off_and_never_orders_it() -> None:
    whose, at = collection(), utc("2026-05-14T11:30")
    inside = {"Test strap": PlantState("room", at - timedelta(hours=14), assumed=False)}
    mild = sheet_of(12.0, at, whose, inside, Round.MORNING)
    cold = sheet_of(0.0, at, whose, inside, Round.MORNING)
    assert [chore.kind for chore in orders(mild)] == [ChoreKind.CARRY_OUT]

    changed = revise(orders(mild), cold, frozenset, [], HALF_AN_HOUR, HOUR)
    back = revise(orders(cold), mild, frozenset, [], HALF_AN_HOUR, HOUR)

    assert [order.kind for order in changed.called_off] == [ChoreKind.CARRY_OUT]
    assert not back


def test_going_out_is_put_off_only_when_the_hour_that_was_told_has_no_margin_left() -> None:
    whose, at = collection(), utc("2026-05-14T11:30")
    inside = {"Test strap": PlantState("room", at - timedelta(hours=14), assumed=False)}
    told = orders(sheet_of(10.0, at, whose, inside, Round.MORNING))

    colder = sheet_of(8.0, at, whose, inside, Round.MORNING)
    (out,) = [chore for chore in colder.chores if chore.kind is ChoreKind.CARRY_OUT]
    above_from = out.because[0].crosses_at
    assert above_from is not None
    assert hour_of(out) - told[0].at > HOUR
    assert above_from < told[0].at, "the leaf is above its limit when the plant goes out"

    def moved(told_at: datetime) -> list[datetime]:
        orders_told = [replace(told[0], at=told_at)]
        return [
            move.was
            for move in revise(orders_told, colder, frozenset, [], HALF_AN_HOUR, HOUR).moved
        ]

    too_early = above_from - timedelta(minutes=10)
    assert moved(told[0].at) == []
    assert moved(too_early) == [too_early]


def test_the_state_follows_what_was_called_off() -> None:
    whose = collection()
    told = sheet_of(12.0, DUSK, whose)
    state = next_state({}, told)
    newer = nights_of(16.0)
    sheet = draw_up(Round.DUSK, whose, newer, state, LATER)
    changed = revise(
        orders(told),
        sheet,
        lambda: safe_outside(whose, newer, state, LATER),
        [],
        HALF_AN_HOUR,
        HOUR,
    )

    after = after_revision(state, sheet, changed)

    assert state["Test strap"].spot == "room"
    assert after["Test strap"].spot == "bench"
    assert after["Test strap"].at(LATER + timedelta(hours=9)).spot == "bench"


def test_the_state_follows_what_was_added() -> None:
    whose = collection()
    sheet = sheet_of(11.0, LATER, whose)
    changed = revise([], sheet, frozenset, [], HALF_AN_HOUR, HOUR)

    after = after_revision({}, sheet, changed)

    assert after["Test strap"].at(LATER).spot == "bench"
    assert after["Test strap"].at(LATER + timedelta(hours=9)).spot == "room"


def test_a_reason_tells_until_when_it_is_too_cold() -> None:
    """The curve, solved by hand: low + 5.5 (1 + cos) = 13 on its way up from the low at 07 UTC."""
    (chore,) = [
        listed for listed in sheet_of(11.0, DUSK, collection()).chores if listed.id.endswith("room")
    ]
    (reason,) = chore.because

    share = np.arccos((LIMIT_C - 11.0) / 5.5 - 1.0) / (2 * np.pi) * 24  # h before the warmest hour
    warm_again = utc("2026-05-15T19:00") - timedelta(hours=float(share))
    assert reason.until is not None
    assert abs(reason.until - warm_again) < timedelta(minutes=5)


# -- where to


@pytest.mark.parametrize(
    ("porch_c", "to"),
    [(13.4, []), (12.9, []), (12.6, []), (12.4, ["room"]), (10.0, ["room"])],
)
def test_another_shelter_is_told_only_if_the_one_that_was_told_fails_by_more_than_a_hair(
    porch_c: float, to: list[str]
) -> None:
    """Told to a porch 6 K warmer than outside, for a limit of 13 °C; then the forecast falls."""
    porch = Spot("porch", indoors=True, night_offset_k=6.0, day_offset_k=6.0)
    whose = collection(plant(shelter="porch"), spots=(OPEN_BENCH, porch, WARM_ROOM))

    change = revision(8.5, porch_c - 6.0, whose, moved_by=timedelta(hours=6))

    assert [move.chore.to_spot for move in change.moved] == to
    assert (change.added, change.called_off) == ((), ())


def test_nobody_is_sent_back_to_a_shelter_that_has_come_to_hold() -> None:
    porch = Spot("porch", indoors=True, night_offset_k=6.0)
    whose = collection(plant(shelter="porch"), spots=(OPEN_BENCH, porch, WARM_ROOM))

    assert not revision(6.0, 8.0, whose, moved_by=timedelta(hours=6))


# -- without a comfort limit, and well under it


def injured_below(limit_c: float) -> Plant:
    """A plant that has a limit of injury and no comfort limit."""
    one = plant("Hardy", night_low=None)
    return replace(one, limits=replace(one.limits, brief_low=Limit(limit_c, "test")))


def under_own_rule(limit_c: float, *, night_low: float | None) -> Collection:
    """A plant that is to go in by a rule of the grower's own, and hardly by its own limit."""
    own, _ = read_rule(
        {
            "name": "own rule",
            "watch": "leaf temperature",
            "below": f"{limit_c:g} °C",
            "asks": "carry in",
        }
    )
    assert own is not None
    return collection(plant("Own", night_low=night_low), rules=(*standard_rules(), own))


AT_NIGHT = DUSK + timedelta(hours=2)
"""19:00 at the site: after the usual hour for carrying in, and before any cold."""


@pytest.mark.parametrize("at", [LATER, AT_NIGHT])
def test_a_plant_with_a_limit_of_injury_alone_is_ordered_in_by_a_newer_forecast(
    at: datetime,
) -> None:
    change = revision(16.0, -4.0, collection(injured_below(4.0)), at=at, sd_k=None)

    assert [chore.plants for chore in change.added] == [("Hardy",)]


@pytest.mark.parametrize("night_low", [None, -3.0])
def test_a_rule_of_the_growers_own_is_told_whenever_a_forecast_brings_it(
    night_low: float | None,
) -> None:
    """Also to a plant whose own comfort limit is far away: its harm is none of the rule's."""
    own = under_own_rule(8.0, night_low=night_low)

    for at in (LATER, AT_NIGHT):
        change = revision(16.0, 3.0, own, at=at, sd_k=None)
        assert [chore.plants for chore in change.added] == [("Own",)]


@pytest.mark.parametrize(("low_c", "off"), [(4.05, False), (5.5, False), (6.5, True)])
def test_an_order_for_injury_is_called_off_only_where_the_limit_is_clear(
    low_c: float, off: bool
) -> None:
    change = revision(-4.0, low_c, collection(injured_below(4.0)), sd_k=None)

    assert [order.plants for order in change.called_off] == ([("Hardy",)] if off else [])


@pytest.mark.parametrize("night_low", [None, -3.0])
@pytest.mark.parametrize(("low_c", "off"), [(8.05, False), (9.5, False), (10.5, True)])
def test_an_order_by_a_growers_own_rule_is_called_off_only_where_its_limit_is_clear(
    night_low: float | None, low_c: float, off: bool
) -> None:
    own = under_own_rule(8.0, night_low=night_low)

    change = revision(-1.0, low_c, own, sd_k=None)

    assert [order.plants for order in change.called_off] == ([("Own",)] if off else [])


@pytest.mark.parametrize(("low_c", "told"), [(9.3, False), (8.9, True)])
def test_a_plant_a_degree_under_its_limit_is_told_even_after_the_usual_hour(
    low_c: float, told: bool
) -> None:
    """It bears much: what it gains is less than `MIN_NIGHT_GAIN` in both cases."""
    tough = plant("Tough", night_low=10.0)
    tough = replace(tough, limits=replace(tough.limits, brief_low=Limit(2.0, "test")))

    change = revision(16.0, low_c, collection(tough), at=AT_NIGHT, sd_k=None)

    assert [chore.plants for chore in change.added] == ([("Tough",)] if told else [])
    newer = draw_up(Round.DUSK, collection(tough), nights_of(low_c, sd_k=None), {}, AT_NIGHT)
    (order,) = (chore for chore in newer.chores if chore.kind is ChoreKind.CARRY_IN)
    (reason,) = order.because
    assert reason.weighing is not None
    assert reason.weighing.gain < MIN_NIGHT_GAIN
