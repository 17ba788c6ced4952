"""An order that was told and not confirmed: open on every sheet while following it helps."""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.rule_reading import read_rule
from sillward_rules.plants.state import GRACE, OpenOrder, PlantState
from sillward_rules.remark import NotConfirmed
from sillward_rules.revision import CORRECTED, Order, Revision, hour_of, revise, safe_outside
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import acknowledged, after_revision, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.core import collection, fetched, plant, uncertain, utc, weather

START = utc("2026-05-14T00:00")
TOLD = utc("2026-05-14T20:15")  # 17:15 there; sunset is at 21:45 UTC
DAWN = utc("2026-05-15T11:30")  # sunrise is at 11:18
HOURS = np.arange(72)


def curve(low_c: float, high_c: float) -> np.ndarray:
    """Coldest at 10 UTC, 07:00 there, warmest half a day later."""
    return (low_c + high_c) / 2 - (high_c - low_c) / 2 * np.cos(2 * np.pi * (HOURS - 10) / 24)


def sheet(
    round_: Round,
    at: datetime,
    state: dict[str, PlantState],
    temp: np.ndarray | None = None,
    *names: str,
) -> Sheet:
    household = collection(*(plant(name) for name in names or ("a", "b")))
    sky = fetched(weather(START, curve(3.0, 24.0) if temp is None else temp), at)
    return draw_up(round_, household, sky, state, at)


def told(at: datetime = TOLD) -> tuple[Sheet, dict[str, PlantState]]:
    """A dusk round told at this hour, and the state after it."""
    dusk = sheet(Round.DUSK, at, {})
    return dusk, next_state({}, dusk)


def orders(one: Sheet) -> list[Chore]:
    return [chore for chore in one.chores if chore.kind is ChoreKind.CARRY_IN]


LATE = utc("2026-05-14T22:30")
"""After the last hour for carrying in: what is told now is due now."""


def test_an_order_due_now_is_open_seconds_later_and_overdue() -> None:
    before, state = told(LATE)
    (order,) = orders(before)
    assert (order.before, order.overdue_since, order.unconfirmed) == (LATE, None, ())

    (still,) = orders(sheet(Round.DUSK, LATE + timedelta(seconds=5), state))

    assert (still.id, still.plants, still.before) == (order.id, order.plants, LATE)
    assert still.overdue_since == LATE
    assert still.unconfirmed == ("a", "b")


@pytest.mark.parametrize("round_", list(Round))
def test_it_is_on_every_sheet_of_the_night_with_its_deadline(round_: Round) -> None:
    before, state = told()
    (order,) = orders(before)
    for minutes in range(23, 15 * 60, 23):  # until sunrise
        at = TOLD + timedelta(minutes=minutes)
        found = [chore for chore in orders(sheet(round_, at, state)) if chore.id == order.id]
        assert [set(chore.plants) for chore in found] == [{"a", "b"}], at
        assert set(found[0].unconfirmed) == {"a", "b"}
        if at > order.before:
            assert found[0].before == found[0].overdue_since == order.before


def test_it_stays_when_a_newer_forecast_hovers_above_the_limit() -> None:
    _, state = told()
    hovering = sheet(Round.DUSK, LATE, state, curve(13.5, 24.0))

    (order,) = orders(hovering)
    assert [reason.rule for reason in order.because] == ["", ""]  # no rule asks for it


def test_it_goes_once_following_it_would_help_nobody() -> None:
    _, state = told()

    assert orders(sheet(Round.DUSK, LATE, state, curve(20.0, 26.0))) == []


def test_what_is_confirmed_leaves_the_list_alone() -> None:
    _, state = told()
    done = state | {"a": acknowledged(state["a"], ChoreKind.CARRY_IN, "room", LATE)}

    later = sheet(Round.DUSK, LATE + timedelta(minutes=5), done)

    assert [chore.plants for chore in orders(later)] == [("b",)]
    stays = [chore.plants for chore in later.chores if chore.kind is ChoreKind.STAY_IN]
    assert ("a",) in stays


def test_for_planning_it_counts_as_followed_after_the_grace_only() -> None:
    _, state = told()
    before = state["a"].since
    assert before is not None
    assert timedelta(minutes=30) <= GRACE

    assert state["a"].at(before + GRACE - timedelta(seconds=1)).spot == "bench"
    assert state["a"].at(before + GRACE).spot == "room"
    assert state["a"].at(before + GRACE).as_if_ignored().spot == "bench"


def test_the_morning_asks_and_says_of_going_out_that_it_depends() -> None:
    _, state = told()

    morning = sheet(Round.MORNING, DAWN, state)

    (question,) = [remark for remark in morning.warnings if isinstance(remark, NotConfirmed)]
    assert set(question.plants) == {"a", "b"}
    assert question.low_c is not None
    assert question.low_c < 13.0
    out = [chore for chore in morning.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert [set(chore.unconfirmed) for chore in out] == [{"a", "b"}]


def test_the_morning_lists_it_until_the_leaf_is_back_above_its_limit() -> None:
    _, state = told()
    question = next(
        warning
        for warning in sheet(Round.MORNING, DAWN, state).warnings
        if isinstance(warning, NotConfirmed)
    )
    assert question.until is not None

    assert orders(sheet(Round.MORNING, question.until - timedelta(minutes=10), state))
    assert orders(sheet(Round.MORNING, question.until, state)) == []


def test_after_a_night_that_stayed_above_the_limit_nothing_is_asked() -> None:
    _, state = told()

    morning = sheet(Round.MORNING, DAWN, state, curve(20.0, 26.0))

    assert [remark for remark in morning.warnings if isinstance(remark, NotConfirmed)] == []
    assert all(not chore.unconfirmed for chore in morning.chores)


def test_a_confirmed_night_is_not_asked_about() -> None:
    _, state = told()
    done = {
        name: acknowledged(plant_state, ChoreKind.CARRY_IN, "room", LATE)
        for name, plant_state in state.items()
    }

    morning = sheet(Round.MORNING, DAWN, done)

    assert [remark for remark in morning.warnings if isinstance(remark, NotConfirmed)] == []
    assert all(not chore.unconfirmed for chore in morning.chores)


def test_the_morning_round_keeps_the_question_until_the_next_order() -> None:
    _, state = told()
    morning = sheet(Round.MORNING, DAWN, state)

    after = next_state(state, morning)

    assert after["a"].spot == "bench"
    assert after["a"].asked == state["a"].asked
    again = sheet(Round.MORNING, utc("2026-05-15T17:30"), after)
    assert any(isinstance(remark, NotConfirmed) for remark in again.warnings)
    next_dusk = sheet(Round.DUSK, utc("2026-05-15T20:15"), after)
    assert all(not chore.unconfirmed for chore in next_dusk.chores)


@pytest.mark.parametrize(("start", "to"), [("shed", "room"), ("bench", "shed")])
def test_an_order_from_or_to_a_spot_that_is_gone_is_told_anew(start: str, to: str) -> None:
    gone = PlantState(to, TOLD, came_from=start, asked=OpenOrder(start, to, TOLD))

    later = sheet(Round.DUSK, LATE, {"a": gone}, None, "a")

    (order,) = orders(later)
    assert (order.from_spot, order.to_spot, order.overdue_since) == ("bench", "room", None)


@pytest.mark.parametrize("hours", [24, 28, 33])
@pytest.mark.parametrize("round_", [Round.DUSK, Round.WEEK])
def test_a_forecast_that_ends_before_the_night_does_drops_no_order(
    round_: Round, hours: int
) -> None:
    _, state = told()
    at = TOLD + timedelta(hours=1, minutes=30)
    ends = fetched(weather(START, curve(3.0, 24.0)[:hours]), at)

    drawn = draw_up(round_, collection(plant("a"), plant("b")), ends, state, at)

    (order,) = orders(drawn)
    assert set(order.plants) == set(order.unconfirmed) == {"a", "b"}
    fresh = draw_up(round_, collection(), ends, {}, at)
    assert [set(chore.plants) for chore in orders(fresh)] == [{"Test strap"}]  # unjudged is cold


def test_the_morning_lists_it_until_noon_while_nobody_knows_how_cold_it_still_is() -> None:
    _, state = told()
    unknown = curve(3.0, 24.0)
    unknown[33:41] = np.nan  # an hour and more before sunrise, until the afternoon

    assert orders(sheet(Round.MORNING, DAWN + timedelta(hours=2), state, unknown))
    assert orders(sheet(Round.MORNING, utc("2026-05-15T17:00"), state, unknown)) == []


OUT_AND_IN = collection(plant("a"), habits=Habits(worth_going_out=timedelta(hours=2)))


def out_and_in() -> tuple[Weather, Sheet, dict[str, PlantState]]:
    """A morning that tells a plant to go out, and in again before the dusk round."""
    temp = curve(12.0, 30.0)
    temp[44:] = 5.0
    sky = fetched(weather(START, temp), DAWN)
    inside = {"a": PlantState("room", TOLD, assumed=False)}
    morning = draw_up(Round.MORNING, OUT_AND_IN, sky, inside, DAWN)
    return sky, morning, next_state(inside, morning)


def kinds(one: Sheet) -> list[tuple[ChoreKind, datetime | None, datetime]]:
    return [(chore.kind, chore.not_before, chore.before) for chore in one.chores]


def test_what_goes_out_and_in_again_is_told_so_on_every_morning_sheet_until_it_is_out() -> None:
    sky, morning, state = out_and_in()
    out = next(chore for chore in morning.chores if chore.kind is ChoreKind.CARRY_OUT)
    assert out.not_before is not None
    assert orders(morning)

    for at in (DAWN + timedelta(minutes=5), out.not_before - timedelta(minutes=1)):
        again = draw_up(Round.MORNING, OUT_AND_IN, sky, state, at)
        carried = [kind for kind in kinds(again) if kind[0] in CORRECTED]
        assert carried == [kind for kind in kinds(morning) if kind[0] in CORRECTED]
        told_before = [
            Order(
                chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore)
            )
            for chore in morning.chores
            if chore.kind in CORRECTED
        ]
        change = revise(told_before, again, set, set(), timedelta(0), timedelta(0))
        assert not change
    once_out = draw_up(Round.MORNING, OUT_AND_IN, sky, state, out.not_before)
    assert [chore for chore in once_out.chores if chore.kind is ChoreKind.CARRY_OUT] == []
    assert orders(once_out)
    for round_ in (Round.DUSK, Round.WEEK):  # told to be out, it may be
        assert orders(draw_up(round_, OUT_AND_IN, sky, state, DAWN + timedelta(minutes=5)))


def test_its_coming_in_called_off_it_still_goes_out_and_its_going_out_called_off_it_stays() -> None:
    _, morning, state = out_and_in()
    out, back = (chore for chore in morning.chores if chore.kind in CORRECTED)
    off = {
        chore.kind: Order(
            chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore)
        )
        for chore in (out, back)
    }

    def after(*which: ChoreKind) -> PlantState:
        change = Revision(called_off=tuple(off[direction] for direction in which))
        return after_revision(state, replace(morning, at=DAWN + timedelta(minutes=5)), change)["a"]

    goes = after(ChoreKind.CARRY_IN)
    assert (goes.spot, goes.since, goes.came_from, goes.asked) == (
        "bench", out.not_before, "room", None,
    )  # fmt: skip
    assert after(ChoreKind.CARRY_OUT) == state["a"]
    for both in ((ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT), tuple(off)):
        assert after(*both).asked is None
    assert after(ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT).spot == "room"


# -- the evenings after


COLD_DAYS = curve(3.0, 9.0)
"""Nothing goes out by day, and every night is too cold: what is in stays in."""

NEXT_DUSK = TOLD + timedelta(days=1)


def staying(one: Sheet) -> list[Chore]:
    return [
        chore
        for chore in one.chores
        if chore.kind is ChoreKind.STAY_IN and chore.not_before is None
    ]


def test_what_nobody_confirmed_last_night_is_asked_for_again_on_the_next_cold_evening() -> None:
    dusk = sheet(Round.DUSK, TOLD, {}, COLD_DAYS)
    state = next_state({}, dusk)
    state = next_state(state, sheet(Round.MORNING, DAWN, state, COLD_DAYS))

    again = sheet(Round.DUSK, NEXT_DUSK, state, COLD_DAYS)

    assert [set(chore.unconfirmed) for chore in staying(again)] == [{"a", "b"}]
    confirmed = {
        name: acknowledged(plant_state, ChoreKind.CARRY_IN, "room", DAWN)
        for name, plant_state in state.items()
    }
    (sure,) = staying(sheet(Round.DUSK, NEXT_DUSK, confirmed, COLD_DAYS))
    assert sure.unconfirmed == ()
    half = state | {"a": confirmed["a"]}
    (unsure,) = staying(sheet(Round.DUSK, NEXT_DUSK, half, COLD_DAYS))
    assert unsure.unconfirmed == ("b",)
    assert set(unsure.plants) == {"a", "b"}


def test_what_is_presumed_of_plants_without_history_is_not_remembered() -> None:
    """On the first morning after a cold night they are taken to be in; nobody ever said so."""
    morning = sheet(Round.MORNING, DAWN, {}, COLD_DAYS)
    assert morning.presumed_in == {"a", "b"}
    assert {plant_state.spot for plant_state in morning.states.values()} == {"room"}

    state = next_state({}, morning)

    assert state == {}
    (order,) = orders(sheet(Round.DUSK, NEXT_DUSK, state, COLD_DAYS))
    assert set(order.plants) == {"a", "b"}


@pytest.mark.parametrize("round_", list(Round))
def test_where_the_sun_sets_after_midnight_an_order_stays_from_one_date_to_the_next(
    round_: Round,
) -> None:
    north = Site("North court", 64.1, -21.9, 10, ZoneInfo("Atlantic/Reykjavik"))
    late = Habits(in_by=parse_moment("sunset+1h"))
    household = collection(plant("a"), site=north, habits=late)
    start, at = utc("2026-06-20T00:00"), utc("2026-06-20T22:00")
    temp = np.full(72, 20.0)
    temp[26:29] = 5.0  # from 2 o'clock on; the sun sets at 00:04 and rises at 02:55
    sky = fetched(weather(start, temp), at)
    dusk = draw_up(Round.DUSK, household, sky, {}, at)
    (order,) = orders(dusk)
    assert order.before > utc("2026-06-21T00:00")

    for now in ("2026-06-20T23:50", "2026-06-21T00:05", "2026-06-21T00:20", "2026-06-21T02:30"):
        (same,) = orders(draw_up(round_, household, sky, next_state({}, dusk), utc(now)))
        assert (same.before, same.unconfirmed) == (order.before, ("a",))
        assert (same.overdue_since is not None) == (utc(now) >= order.before)


# -- for a risk alone


def doubtful(low_c: float, at: datetime, state: dict[str, PlantState]) -> Sheet:
    """Plants that need 13 °C, by a forecast of the usual errors for this night."""
    sky = uncertain(fetched(weather(START, curve(low_c, low_c + 12.0)), at))
    return draw_up(Round.DUSK, collection(plant("a"), plant("b")), sky, state, at)


def test_an_order_for_a_risk_stays_open_until_next_to_nothing_is_at_stake() -> None:
    """Overdue, and 2 K above the limit all along: open while harm may come, and not for ever."""
    before = doubtful(14.0, TOLD, {})
    state = next_state({}, before)
    assert [order.plants for order in orders(before)] == [("a", "b")]
    told = [reason.value for order in orders(before) for reason in order.because]
    assert all(value is not None and value > 13.0 for value in told)

    late = utc("2026-05-15T05:00")
    doubt, surely_mild = (doubtful(low, late, state) for low in (15.0, 19.0))

    (still,) = orders(doubt)
    assert still.unconfirmed == ("a", "b")
    assert still.overdue_since == orders(before)[0].before
    assert not orders(surely_mild)


@pytest.mark.parametrize("caution", [0.0, 20.0, 60.0])
@pytest.mark.parametrize("low_c", [13.5, 14.5, 15.5, 17.0, 19.0, 21.0])
def test_an_overdue_order_leaves_the_sheet_only_where_it_could_be_called_off(
    caution: float, low_c: float
) -> None:
    """However relaxed the grower is: an order is never dropped without a word."""
    household = collection(plant("a"), habits=Habits(caution=caution))

    def sky(low: float, at: datetime) -> Weather:
        return uncertain(fetched(weather(START, curve(low, low + 10.0)), at))

    state = next_state({}, draw_up(Round.DUSK, household, sky(5.0, TOLD), {}, TOLD))
    now = TOLD + timedelta(hours=3)
    newer = sky(low_c, now)

    listed = bool(orders(draw_up(Round.DUSK, household, newer, state, now)))

    assert listed or "a" in safe_outside(household, newer, state, now)
    assert listed == (low_c < 17.0)


@pytest.mark.parametrize(("low_c", "listed"), [(8.1, True), (8.9, True), (9.2, False)])
def test_an_overdue_order_by_a_growers_own_rule_leaves_the_sheet_only_clear_of_its_bound(
    low_c: float, listed: bool
) -> None:
    own, _ = read_rule(
        {"name": "own", "watch": "leaf temperature", "below": "8 °C", "asks": "carry in"}
    )
    assert own is not None
    household = collection(plant("a", night_low=None), rules=(own,))

    def drawn(low: float, state: dict[str, PlantState], at: datetime) -> Sheet:
        air = uncertain(fetched(weather(START, curve(low, low + 12.0)), at))
        return draw_up(Round.DUSK, household, air, state, at)

    state = next_state({}, drawn(3.0, {}, TOLD))
    assert state["a"].asked is not None

    assert bool(orders(drawn(low_c, state, TOLD + timedelta(hours=3)))) == listed
