"""The schedule of calls: how often, how much later after a failure, never in a crowd."""

import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.forecast import schedule
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.sources.open_meteo import OpenMeteo
from sillward.forecast.updater import SECOND_OPINION_INTERVAL
from sillward.ledger import CallSchedule

NOW = datetime(2026, 5, 14, 12, 20, tzinfo=UTC)
EVERY = timedelta(minutes=75)
MOMENTS = st.floats(0, 365 * 24).map(lambda hours: NOW + timedelta(hours=hours))


def dice(seed: int = 1) -> random.Random:
    return random.Random(seed)


def success(now: datetime = NOW, good_for: timedelta | None = None, seed: int = 1) -> CallSchedule:
    return schedule.after_success(CallSchedule(now), now, EVERY, good_for, dice(seed))


def failures(count: int, wait: timedelta | None = None) -> list[CallSchedule]:
    made: list[CallSchedule] = []
    plan = CallSchedule(NOW)
    for _ in range(count):
        plan = schedule.after_failure(plan, NOW, "broken", wait, dice(len(made)))
        made.append(plan)
    return made


@given(MOMENTS, st.integers(0, 10_000))
def test_no_call_is_planned_close_to_a_full_hour(now: datetime, seed: int) -> None:
    for plan in (
        schedule.after_success(CallSchedule(now), now, EVERY, None, dice(seed)),
        schedule.after_failure(CallSchedule(now), now, "broken", None, dice(seed)),
    ):
        assert schedule.CROWDED_MIN <= plan.next_at.minute < 60 - schedule.CROWDED_MIN + 1
        assert plan.next_at > now


@given(MOMENTS, st.integers(0, 10_000))
def test_off_the_hour_moves_a_call_later_and_by_minutes_only(at: datetime, seed: int) -> None:
    moved = schedule.off_the_hour(at, dice(seed))

    assert timedelta(0) <= moved - at <= timedelta(minutes=3 * schedule.CROWDED_MIN)


def test_those_who_start_together_do_not_ask_together() -> None:
    assert len({success(seed=seed).next_at for seed in range(20)}) == 20


def test_a_day_in_normal_running_has_at_most_thirty_calls() -> None:
    """One site: the forecast, the members, and a second opinion."""
    total = 0
    for every in (OpenMeteo().interval, Ensemble().interval, SECOND_OPINION_INTERVAL):
        rng, now, calls = dice(), NOW, 0
        while now < NOW + timedelta(days=100):
            now = schedule.after_success(CallSchedule(now), now, every, None, rng).next_at
            calls += 1
        total += calls

    assert total <= 30 * 100


def test_an_answer_is_not_asked_for_again_before_it_expires() -> None:
    later = success(good_for=timedelta(hours=2))

    assert later.next_at >= NOW + timedelta(hours=2)
    assert schedule.is_forbidden(later, NOW + timedelta(minutes=119))
    assert not schedule.is_forbidden(later, NOW + timedelta(minutes=121))


@pytest.mark.parametrize("years", [-1, 50])
def test_an_absurd_expiry_neither_silences_nor_hurries(years: int) -> None:
    plan = success(good_for=timedelta(days=365 * years))

    assert NOW + EVERY <= plan.next_at <= NOW + schedule.MAX_EXPIRY + timedelta(minutes=15)


def test_pauses_grow_and_then_stay() -> None:
    pauses = [plan.next_at - NOW for plan in failures(7)]

    assert pauses[0] < pauses[1] < pauses[2] < pauses[3] < pauses[4]
    for pause, least in zip(
        pauses, [*schedule.PAUSES, schedule.PAUSES[-1], schedule.PAUSES[-1]], strict=True
    ):
        assert least <= pause <= least * (1 + schedule.JITTER) + timedelta(minutes=12)


def test_a_provider_that_asks_for_an_hour_gets_it() -> None:
    (plan,) = failures(1, wait=timedelta(hours=1))

    assert plan.next_at >= NOW + timedelta(hours=1)
    assert schedule.is_forbidden(plan, NOW + timedelta(minutes=59))
    assert not schedule.is_due(plan, NOW + timedelta(minutes=59), EVERY)
    assert schedule.is_due(plan, plan.next_at, EVERY)


def test_a_success_forgets_the_failures() -> None:
    plan = schedule.after_success(failures(4)[-1], NOW, EVERY, None, dice())

    assert (plan.failures, plan.reason, plan.not_before) == (0, None, None)


def test_calls_are_counted_by_the_utc_day() -> None:
    plan = schedule.counted(schedule.counted(CallSchedule(NOW), NOW, 2), NOW, 3)
    tomorrow = schedule.counted(plan, NOW + timedelta(days=1), 1)

    assert (plan.day, plan.calls) == (NOW.date(), 5)
    assert tomorrow.calls == 1


def test_a_plan_of_a_clock_that_was_wrong_is_no_plan() -> None:
    """Planned in 2036, and the clock has been set right since."""
    plan = CallSchedule(NOW + timedelta(days=3650), not_before=NOW + timedelta(days=3650))

    assert schedule.is_due(plan, NOW, EVERY)
    assert not schedule.is_forbidden(plan, NOW)
    assert schedule.is_due(None, NOW, EVERY)


@pytest.mark.parametrize("hours", [2, 5, 24, 365 * 24])
def test_a_clock_set_back_does_not_stop_the_asking(hours: int) -> None:
    for plan in (success(), *failures(5)):
        assert schedule.is_due(plan, NOW - timedelta(hours=hours), EVERY)
        assert not schedule.is_due(plan, NOW, EVERY)


def test_the_pause_before_another_try_doubles_and_is_never_long() -> None:
    pauses = [schedule.backoff_s(tries, dice(tries)) for tries in (1, 2)]

    assert 1.0 <= pauses[0] <= 2.0
    assert 2.0 <= pauses[1] <= 4.0
