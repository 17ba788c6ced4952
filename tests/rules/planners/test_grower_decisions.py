"""What the grower has declined is not planned again that day, unless it gets markedly worse."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.chore import ChoreKind, Reason
from sillward_rules.planners import grower_decisions
from sillward_rules.planners.grower_decisions import WORSE_K, WORSE_READ_K, WORSE_SHARE
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.state import Declined, Ground, OpenOrder, PlantState
from sillward_rules.remark import LeftOutByChoice, NotConfirmed, NotNeeded
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.night_course import NightCourse
from tests.support.core import (
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
    warned,
    weather,
)
from tests.support.summer import NOW, garden, limited, sky

DAY = date(2026, 5, 14)
START = utc("2026-05-14T00:00")
DUSK = utc("2026-05-14T20:15")  # 17:15 there; sunset is at 21:45 UTC
MORNING = utc("2026-05-15T11:30")  # sunrise is at 11:18
DUE = utc("2026-05-14T21:40")
HOURS = np.arange(96)
AT_THEIR_WORD = Habits(caution=0.0)
LEAF = Reason("a", "leaf temperature", 4.0, "°C", 6.0, DUE)


def curve(low_c: float, high_c: float = 24.0) -> np.ndarray:
    """Coldest at 10 UTC, 07:00 there, warmest half a day later."""
    return (low_c + high_c) / 2 - (high_c - low_c) / 2 * np.cos(2 * np.pi * (HOURS - 10) / 24)


def said(
    kind: ChoreKind = ChoreKind.CARRY_IN,
    value: float | None = 5.0,
    *,
    day: date = DAY,
    before: datetime = DUE,
    way: tuple[str, str] = ("bench", "room"),
    unit: str = "°C",
    limit: float = 13.0,
    above: bool = False,
) -> Declined:
    """A chore that was declined, told for this value."""
    ground = Ground(value, unit, limit, above)
    return Declined(kind, day, *way, before, DUSK - timedelta(minutes=5), (ground,))


def out(*declined: Declined) -> PlantState:
    return PlantState("bench", DUSK - timedelta(days=2), assumed=False, declined=declined)


def inside(*declined: Declined) -> PlantState:
    return replace(out(*declined), spot="room")


def drawn(
    state: dict[str, PlantState],
    low_c: float = 5.0,
    *,
    round_: Round = Round.DUSK,
    at: datetime = DUSK,
    course: NightCourse | None = None,
    forecast_from: datetime | None = None,
    brief_low: float | None = None,
) -> Sheet:
    bench = replace(OPEN_BENCH, tonight=course)
    pots = (limited(plant(name), brief_low=brief_low) for name in "ab")
    household = collection(*pots, spots=(bench, WARM_ROOM), habits=AT_THEIR_WORD)
    air = fetched(weather(START, curve(low_c)), forecast_from or at)
    return draw_up(round_, household, air, state, at)


def plants_of(sheet: Sheet, kind: ChoreKind = ChoreKind.CARRY_IN) -> set[str]:
    return {name for chore in sheet.chores if chore.kind is kind for name in chore.plants}


# -- a night in the cold


def test_what_was_declined_is_left_out_and_told_as_the_growers_decision() -> None:
    sheet = drawn({"a": out(said()), "b": out()})

    assert plants_of(sheet) == {"b"}
    (remark,) = warned(sheet, NotNeeded)
    assert (remark.plants, remark.kind, remark.limit) == (("a",), "carry-in", 13.0)
    assert remark.value == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize(
    ("colder_k", "told"), [(0.0, False), (WORSE_K - 0.2, False), (WORSE_K + 0.2, True)]
)
def test_a_forecast_that_is_markedly_colder_is_told(colder_k: float, told: bool) -> None:
    sheet = drawn({"a": out(said()), "b": inside()}, 5.0 - colder_k)

    assert plants_of(sheet) == ({"a"} if told else set())
    assert bool(warned(sheet, NotNeeded)) is not told


@pytest.mark.parametrize("colder_k", [WORSE_READ_K - 0.2, WORSE_READ_K + 0.3])
def test_what_a_thermometer_shows_is_told_sooner(colder_k: float) -> None:
    at = (DUSK.timestamp(), utc("2026-05-15T12:00").timestamp())
    shown = NightCourse(DUSK, 9.0 - colder_k, 9.0, True, at, (-colder_k, -colder_k), (0.0, 0.0))

    sheet = drawn({"a": out(said()), "b": inside()}, 5.0, course=shown)

    assert plants_of(sheet) == ({"a"} if colder_k > WORSE_READ_K else set())


def test_a_value_that_was_not_known_then_and_is_now_is_told() -> None:
    assert plants_of(drawn({"a": out(said(value=None)), "b": inside()}, 9.0)) == {"a"}


def test_without_a_forecast_the_decision_stands() -> None:
    old = DUSK - timedelta(hours=30)
    sheet = drawn({"a": out(said()), "b": out()}, forecast_from=old)

    assert plants_of(sheet) == {"b"}
    (remark,) = warned(sheet, NotNeeded)
    assert (remark.plants, remark.value) == (("a",), None)


def test_another_night_is_decided_as_ever() -> None:
    before = said(day=DAY - timedelta(days=1), before=DUE - timedelta(days=1))
    assert plants_of(drawn({"a": out(before), "b": inside()})) == {"a"}


def test_what_was_declined_long_ago_does_not_part_plants_that_are_alike() -> None:
    ago = (
        said(day=DAY - timedelta(days=days), before=DUE - timedelta(days=days)) for days in (2, 9)
    )
    sheet = drawn({name: out(one) for name, one in zip("ab", ago, strict=True)})

    (order,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert len(order.grounds.groups) == 1


def test_an_order_that_was_told_since_is_open_however_mild_it_gets() -> None:
    told_anew = replace(
        out(said()),
        spot="room",
        since=DUE,
        assumed=True,
        came_from="bench",
        asked=OpenOrder("bench", "room", DUE),
    )
    assert plants_of(drawn({"a": told_anew, "b": inside()})) == {"a"}


def test_what_stays_out_is_not_told_to_come_out_in_the_morning() -> None:
    assert plants_of(drawn({"a": out(said()), "b": inside()}), ChoreKind.CARRY_OUT) <= {"b"}


# -- the morning after


def mornings(state: PlantState, low_c: float = 5.0, at: datetime = MORNING) -> Sheet:
    return drawn({"a": state, "b": inside()}, low_c, round_=Round.MORNING, at=at)


def test_the_morning_tells_how_cold_it_got_and_does_not_ask() -> None:
    sheet = mornings(out(said()))

    (remark,) = warned(sheet, LeftOutByChoice)
    assert (remark.plants, remark.limit_c) == (("a",), 13.0)
    assert remark.low_c == pytest.approx(5.0, abs=0.1)
    assert remark.until is not None
    assert remark.until > MORNING
    assert not warned(sheet, NotConfirmed)


def test_it_says_nothing_of_a_night_that_turned_out_mild_or_of_plants_that_went_in() -> None:
    assert not warned(mornings(out(said()), 14.0), LeftOutByChoice)
    assert not warned(mornings(inside(said())), LeftOutByChoice)
    assert not warned(mornings(out()), LeftOutByChoice)


def test_what_is_left_of_that_cold_in_the_morning_belongs_to_the_decision() -> None:
    def told(state: PlantState) -> bool:
        states = {"a": state, "b": inside()}
        sheet = drawn(states, 2.0, round_=Round.MORNING, at=MORNING, brief_low=7.0)
        return "a" in plants_of(sheet)

    assert told(out()), "cold enough to be told at once"
    assert not told(out(said(value=2.0)))
    assert told(out(said(value=5.0))), "worse than was told"
    assert told(out(said(value=2.0, day=DAY - timedelta(days=1)))), "of another night"
    order = OpenOrder("bench", "room", utc("2026-05-15T12:00"))
    assert told(replace(out(said(value=2.0)), asked=order)), "told anew since"


def test_by_noon_the_cold_is_over() -> None:
    (remark,) = warned(mornings(out(said()), at=utc("2026-05-15T17:00")), LeftOutByChoice)
    assert remark.until is None


# -- all other chores


def test_what_is_not_to_go_out_is_not_told_to_come_in_again_either() -> None:
    stays = said(
        ChoreKind.CARRY_OUT,
        day=DAY + timedelta(days=1),
        before=utc("2026-05-15T17:00"),
        way=("room", "bench"),
    )
    sheet = drawn({"a": inside(stays), "b": inside()}, round_=Round.MORNING, at=MORNING)

    assert plants_of(sheet, ChoreKind.CARRY_OUT) == {"b"}
    assert "a" not in plants_of(sheet)


def storm(gust_m_s: float, *declined: Declined) -> Sheet:
    mild = daily_curve(17.0, 27.0, HOURS.size)
    gusts = np.full(HOURS.size, 3.0)
    gusts[42] = gust_m_s  # 18:00 UTC of the second day
    baskets = [replace(limited(plant(name), gust_high=12.0), holder="basket") for name in "ab"]
    bench = replace(OPEN_BENCH, wind=1.0)
    state = {"a": PlantState("bench", declined=declined)} if declined else {}
    air = sky(mild, gust_m_s=gusts)
    return draw_up(Round.MORNING, garden(*baskets, bench=bench), air, state, NOW)


@pytest.mark.parametrize("more", [0.9 * WORSE_SHARE, 1.1 * WORSE_SHARE])
def test_gusts_that_are_a_quarter_stronger_are_told(more: float) -> None:
    (order,) = [chore for chore in storm(20.0).chores if chore.kind is ChoreKind.SECURE]
    assert set(order.plants) == {"a", "b"}
    refused = said(
        ChoreKind.SECURE,
        20.0,
        day=date.fromisoformat(order.day),
        before=order.before,
        way=("bench", "bench"),
        unit="m/s",
        limit=12.0,
        above=True,
    )

    sheet = storm(20.0 * (1 + more), refused)

    is_worse = more > WORSE_SHARE
    assert plants_of(sheet, ChoreKind.SECURE) == ({"a", "b"} if is_worse else {"b"})
    remarks: Sequence[NotNeeded] = warned(sheet, NotNeeded)
    assert [(remark.plants, remark.kind) for remark in remarks] == (
        [] if is_worse else [(("a",), "secure")]
    )


def test_of_several_mistings_only_the_one_that_was_declined_is_left_out() -> None:
    dry = sky()
    first, *rest = [
        chore
        for chore in draw_up(Round.MORNING, garden(plant("a")), dry, {}, NOW).chores
        if chore.kind is ChoreKind.MIST
    ]
    assert rest
    (reason,) = first.because
    refused = Declined(
        ChoreKind.MIST,
        date.fromisoformat(first.day),
        first.from_spot,
        first.to_spot,
        first.before,
        NOW,
        (Ground(reason.value, reason.unit, reason.limit, reason.above),),
    )
    state = {"a": PlantState("bench", declined=(refused,))}

    sheet = draw_up(Round.MORNING, garden(plant("a")), dry, state, NOW)

    left = [chore.before for chore in sheet.chores if chore.kind is ChoreKind.MIST]
    assert left == [chore.before for chore in rest]


@pytest.mark.parametrize(
    ("now", "is_told"),
    [
        (LEAF, False),
        (replace(LEAF, value=4.1), False),
        (replace(LEAF, quantity="temperature"), True),  # another one, though of the same unit
        (replace(LEAF, limit=9.0), True),  # the limit was raised since
        (replace(LEAF, limit=6.5), False),
    ],
    ids=["the same", "a little milder", "another quantity", "another limit", "about the limit"],
)
def test_what_is_worse_is_told_by_its_quantity_and_its_limit(now: Reason, is_told: bool) -> None:
    ground = Ground(LEAF.value, LEAF.unit, LEAF.limit, LEAF.above, LEAF.quantity)
    told = Declined(ChoreKind.CARRY_IN, DAY, "bench", "room", DUE, DUSK, (ground,))
    older = replace(told, grounds=(replace(ground, quantity=""),))

    assert grower_decisions._is_worse(now, told, watched=False) == is_told
    if now.quantity == LEAF.quantity:
        assert grower_decisions._is_worse(now, older, watched=False) == is_told
