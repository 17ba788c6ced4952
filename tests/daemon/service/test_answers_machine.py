"""Answers in any order: what nobody has answered for stays to do, and taking back leads back.

Hypothesis picks the answers, the forecasts and the minutes between them; the ledger is real SQLite.
What must hold is said here from the answers that are in force alone.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from sillward.config.household import Household, NoticePolicy
from sillward.ledger import Answer, CallSchedule, StoredChore
from sillward.service.answers import confirm, decline, move, put_off, take_back
from sillward.service.desk import Desk
from sillward_rules.chore import ChoreKind
from sillward_rules.planners.grower_decisions import WORSE_K
from sillward_rules.sheet import Round
from tests.support.desks import (
    BENCH,
    DAY,
    ROOM,
    SITE,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)

NAMES = ("Pot 0", "Pot 1", "Pot 2")
LIMIT_C = 8.0  # of every plant of `a_plant`
COLD, MILD = (1.0, 3.0, 5.0), 11.0  # a forecast that jumps by more is not believed at once
LAST = local("03:00", DAY + timedelta(days=1))
"""Later than that the coldest hour may be over for some forecasts."""

PLANTS = st.lists(st.sampled_from(NAMES), min_size=1, unique=True)


def household() -> Household:
    """Three pots on a bench that need shelter by day's end, a yard, and a room that holds."""
    told = a_household(
        a_channel("phone"),
        a_channel("partner", "alarm"),
        plants=tuple(map(a_plant, NAMES)),
        policy=NoticePolicy(),
    )
    spots = (BENCH, replace(BENCH, name="yard"), ROOM)
    return replace(told, collection=replace(told.collection, spots=spots))


def told_evening(low_c: float = 5.0) -> tuple[World, Desk]:
    world = a_world("17:00", low_c=low_c)
    world.household = household()
    desk = world.desk
    desk.tick()
    return world, desk


def orders(world: World) -> list[StoredChore]:
    """The open orders of the night to carry in."""
    chores = world.ledger.chores.of_day(SITE.name, DAY)
    return [chore for chore in chores if chore.open and chore.kind is ChoreKind.CARRY_IN]


def chosen(world: World, plants: Sequence[str]) -> list[tuple[StoredChore, list[str]]]:
    found = [(chore, [name for name in chore.plants if name in plants]) for chore in orders(world)]
    return [(chore, names) for chore, names in found if names]


@dataclass(frozen=True)
class Given:
    """An answer that is in force: which, for which plants, and the lows that these were told."""

    answer: Answer
    plants: Sequence[str]
    lows_c: Mapping[str, float] = field(default_factory=dict)
    spot: str = ""


class Machine(RuleBasedStateMachine):
    """An evening and a night of three pots, a grower who says this and that, and the forecast."""

    def __init__(self) -> None:
        super().__init__()
        self.world, self.desk = told_evening()
        self.answers: list[Given] = []
        self.unsure: set[str] = set()
        """Plants that moved again after an answer that was taken back: they stand where they are
        said to stand, whatever was said before."""

    def teardown(self) -> None:
        self.world.ledger.close()

    # -- what happens

    @rule(minutes=st.sampled_from((1, 7, 25, 70)))
    def time_passes(self, minutes: int) -> None:
        if self.world.clock.now < LAST:
            self.world.clock.move(minutes=minutes)
            self.desk.tick()

    @rule(low_c=st.sampled_from((*COLD, MILD)))
    def a_newer_forecast_comes(self, low_c: float) -> None:
        world = self.world
        world.source.low_c = low_c
        world.clock.move(minutes=1)
        world.ledger.call_schedules.keep(world.source.name, CallSchedule(next_at=world.clock.now))
        self.desk.tick()

    @rule()
    def the_daemon_starts_again(self) -> None:
        self.desk = self.world.desk
        self.desk.tick()

    # -- what the grower says

    @rule(plants=PLANTS)
    def they_are_in(self, plants: Sequence[str]) -> None:
        self._say(confirm, Answer.DONE, plants)

    @rule(plants=PLANTS)
    def not_needed(self, plants: Sequence[str]) -> None:
        self._say(decline, Answer.NOT_NEEDED, plants)

    def _say(self, say: Callable[..., object], answer: Answer, plants: Sequence[str]) -> None:
        about = chosen(self.world, plants)
        if about:
            say(self.world.ledger, SITE.name, about, self.world.clock.now)
            told = {
                reason.plant: reason.value
                for chore, _ in about
                for reason in chore.chore.single_reasons
                if reason.value is not None
            }
            names = [name for _, those in about for name in those]
            self.answers.append(Given(answer, names, told))

    @rule(minutes=st.sampled_from((5, 30, 300)))
    def later(self, minutes: int) -> None:
        now = self.world.clock.now
        until = now + timedelta(minutes=minutes)
        before = {(chore.id, chore.plants) for chore in orders(self.world)}
        results = put_off(self.world.ledger, SITE.name, orders(self.world), until, now)
        assert {(chore.id, chore.plants) for chore in orders(self.world)} == before
        for result in results:
            due = result.chore.before
            if result.until is not None:
                assert result.until <= (now + timedelta(minutes=30) if due <= now else due)
        if any(result.until is not None for result in results):
            self.answers.append(Given(Answer.LATER, ()))

    @rule(plant=st.sampled_from(NAMES), spot=st.sampled_from(("bench", "yard", "room")))
    def it_stands_elsewhere(self, plant: str, spot: str) -> None:
        now = self.world.clock.now
        move(self.world.ledger, SITE.name, plant, spot, now, is_safe=spot == "room")
        self.answers.append(Given(Answer.MOVED, (plant,), spot=spot))

    @rule()
    def taken_back(self) -> None:
        taken = take_back(self.world.ledger, SITE.name, None, self.world.clock.now)
        assert (taken is None) == (not self.answers)
        if taken is not None:
            given_last = self.answers.pop()
            assert taken.answer is given_last.answer
            self.unsure |= set(taken.moved)

    # -- what must hold

    @invariant()
    def what_is_cold_and_not_settled_is_to_do(self) -> None:
        low_c = self.world.source.low_c
        if low_c >= LIMIT_C or self.world.clock.now >= LAST:
            return
        sheet = self.desk.context.sheet(Round.DUSK, self.desk.context.weather())
        shown = {
            name
            for chore in sheet.chores
            if chore.kind is ChoreKind.CARRY_IN
            for name in chore.plants
        }
        listed = {name for chore in orders(self.world) for name in chore.plants}
        for name in NAMES:
            if not self._is_settled(name, low_c):
                assert name in shown, (name, self.answers)
            if name in listed:
                assert name in shown, (name, "is open and on no sheet")

    def _is_settled(self, name: str, low_c: float) -> bool:
        """Whether the grower has said something by which a plant may stay as it is."""
        if name in self.unsure:
            return True
        last = next(
            (one for one in reversed(self.answers) if name in one.plants), None
        )  # later ones hold over earlier ones
        if last is None:
            return False
        if last.answer is Answer.NOT_NEEDED:
            return low_c >= last.lows_c[name] - WORSE_K - 0.1
        if last.answer is Answer.MOVED and last.spot != "room":
            return any(
                one.answer is Answer.NOT_NEEDED and name in one.plants for one in self.answers
            )
        return True

    @invariant()
    def no_plant_is_open_twice(self) -> None:
        listed = [name for chore in orders(self.world) for name in chore.plants]
        assert len(listed) == len(set(listed))


def play(examples: int, steps: int) -> None:
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
        ),
    )


def test_answers_in_any_order_drop_no_plant_that_nobody_answered_for() -> None:
    play(10, 12)


@pytest.mark.slow
def test_the_same_for_long_nights() -> None:
    play(300, 40)


ANSWERS = st.lists(
    st.one_of(
        st.tuples(st.sampled_from((confirm, decline)), PLANTS),
        st.tuples(st.just(put_off), st.sampled_from((5, 30, 300))),
        st.tuples(st.just(move), st.sampled_from(NAMES), st.sampled_from(("yard", "room"))),
    ),
    max_size=8,
)


@settings(max_examples=20, deadline=None)
@given(answers=ANSWERS)
def test_taking_everything_back_leads_back(answers: list[tuple[Any, ...]]) -> None:
    world, _ = told_evening()
    ledger, now = world.ledger, world.clock.now

    def all_of_it() -> tuple[object, ...]:
        chores = ledger.chores.of_day(SITE.name, DAY)
        return (
            {chore.id: chore for chore in chores},
            ledger.plant_states.of_site(SITE.name),
            ledger.diary.of_plant(SITE.name, NAMES[0]),
        )

    before = all_of_it()
    for say, *about in answers:
        if say is put_off:
            put_off(ledger, SITE.name, orders(world), now + timedelta(minutes=about[0]), now)
        elif say is move:
            move(ledger, SITE.name, *about, now, is_safe=about[1] == "room")
        else:
            say(ledger, SITE.name, chosen(world, about[0]), now)

    while take_back(ledger, SITE.name, None, now) is not None:
        pass

    assert all_of_it() == before
    ledger.close()
