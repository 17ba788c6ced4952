"""Guesses are braked, by name, by address and in all, and what is remembered stays small."""

import pytest

from sillward.page.people import throttle
from sillward.page.people.throttle import Throttle, of_address, of_name


class Clock:
    """Stands still until it is moved."""

    def __init__(self) -> None:
        self.now = 500.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def tries(clock: Clock) -> Throttle:
    return Throttle(clock)


def test_some_tries_are_free_and_then_the_wait_doubles_up_to_a_bound(
    tries: Throttle, clock: Clock
) -> None:
    key = of_address("192.0.2.7")
    waits = []
    for _ in range(throttle.FREE_TRIES + 9):
        wait = tries.wait_s([key])
        waits.append(wait)
        clock.now += wait + 60
        if wait:
            assert tries.wait_s([key]) == 0  # whoever has waited may try
            clock.now += 0.001

    assert waits[: throttle.FREE_TRIES] == [0] * throttle.FREE_TRIES
    assert max(waits) <= key.max_wait_s


def test_a_try_while_one_has_to_wait_does_not_make_the_wait_longer(
    tries: Throttle, clock: Clock
) -> None:
    key = of_address("192.0.2.7")
    for _ in range(throttle.FREE_TRIES):
        tries.wait_s([key])

    first = tries.wait_s([key])
    clock.now += 5

    assert first == throttle.FIRST_WAIT_S
    assert tries.wait_s([key]) == first - 5


def test_a_stranger_cannot_lock_a_person_out_for_more_than_a_minute(
    tries: Throttle, clock: Clock
) -> None:
    for number in range(200):
        clock.now += 61
        assert tries.wait_s([of_name("inés"), of_address(f"192.0.2.{number}")]) == 0

    assert 0 < tries.wait_s([of_name("inés"), of_address("198.51.100.1")]) <= 60


def test_guesses_at_one_name_from_many_addresses_are_braked(tries: Throttle) -> None:
    free = [
        tries.wait_s([of_name("inés"), of_address(f"192.0.2.{number}")]) == 0 for number in range(9)
    ]

    assert free == [True] * throttle.FREE_TRIES + [False] * (9 - throttle.FREE_TRIES)


def test_a_network_of_ipv6_counts_as_one_address() -> None:
    assert of_address("2001:db8:1:2::1") == of_address("2001:db8:1:2:ffff::9")
    assert of_address("2001:db8:1:2::1") != of_address("2001:db8:1:3::1")
    assert of_address("not an address") == of_address("")


def test_a_flood_from_many_addresses_is_braked_in_all(tries: Throttle, clock: Clock) -> None:
    free = sum(
        tries.wait_s([of_address(f"10.0.{number // 250}.{number % 250}")]) == 0
        for number in range(500)
    )

    assert free == throttle.MAX_TRIES
    clock.now += throttle.PER_S
    assert tries.wait_s([of_address("10.9.9.9")]) == 0


def test_whoever_was_right_is_forgiven(tries: Throttle) -> None:
    keys = [of_name("inés"), of_address("192.0.2.7")]
    for _ in range(throttle.FREE_TRIES):
        tries.wait_s(keys)

    tries.forgive(keys)

    assert tries.wait_s(keys) == 0


def test_after_an_hour_all_is_forgiven(tries: Throttle, clock: Clock) -> None:
    key = of_address("192.0.2.7")
    for _ in range(throttle.FREE_TRIES):
        tries.wait_s([key])
    clock.now += throttle.FORGET_S + 1

    assert [tries.wait_s([key]) for _ in range(throttle.FREE_TRIES)] == [0] * throttle.FREE_TRIES


def test_what_is_remembered_is_bounded(tries: Throttle, clock: Clock) -> None:
    for number in range(3 * throttle.MAX_KEYS):
        clock.now += 10
        tries.wait_s([of_name(f"{number} " + "x" * 5000)])

    assert len(tries._tries) == throttle.MAX_KEYS
    assert max(map(len, tries._tries)) < 100
