"""The balance of salts by hand-worked examples, the law of leaching fractions, and caution."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import KEPT, Care, Wetting
from sillward_rules.plants.care_merging import with_answers
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.pot import RUN_THROUGH, Pot
from sillward_rules.plants.salt_balance import (
    FRESH_EC,
    HEAVY_FEEDERS_HIGH,
    HOLDINGS,
    IN_POTS,
    LIGHT_FEEDERS_HIGH,
    SETTLED_AFTER,
    Given,
    Holding,
    Root,
    SaltBalance,
    after_watering,
    beginning,
    carried_on,
    days_within,
    leaching_requirement,
    medium_limit,
    root_of,
    salt_g_m2,
    settled,
    steady_ec,
)
from sillward_rules.plants.sightings import repotted
from sillward_rules.plants.state import PlantState
from tests.support.core import plant, utc

NOW = utc("2026-01-20T12:00")
HOUR = timedelta(hours=1)
AIR, BARK = HOLDINGS["air"], HOLDINGS["bark"]
START = SaltBalance(NOW, 1.0, 0.1)


def given(hours: float, kind: ChoreKind, ec: float = 0.2, *, confirmed: bool = False) -> Given:
    return Given(NOW + hours * HOUR, kind, ec, confirmed)


def after(*what: Given, holding: object = AIR, start: SaltBalance = START) -> tuple[float, float]:
    course = carried_on([start], [what], [holding], [NOW + timedelta(days=9)])  # type: ignore[list-item]
    return float(course.ec[0]), float(course.doubt[0])


# -- one watering


def test_a_hand_worked_watering() -> None:
    # Half of what is held has dried. Filled up with 0.4 mS/cm it holds 1.0 + 0.5 * 0.4 = 1.2; a
    # quarter of a volume runs off: 0.4 + (1.2 - 0.4) * exp(-0.25) = 0.4 + 0.8 * 0.7788 = 1.0230.
    assert after_watering(1.0, 0.4, 0.5, 0.25) == pytest.approx(1.0230, abs=5e-5)


def test_what_dries_leaves_its_salt_and_nothing_runs_off() -> None:
    assert after_watering(1.0, 0.4, 1.0, 0.0) == pytest.approx(1.4)
    assert after_watering(1.0, 0.0, 1.0, 0.0) == pytest.approx(1.0)  # rain water brings none


def test_much_water_brings_it_to_its_own_strength() -> None:
    assert after_watering(3.0, 0.4, 0.5, 20.0) == pytest.approx(0.4)


def test_many_waterings_come_to_the_steady_state() -> None:
    ec = 0.0
    for _ in range(200):
        ec = float(after_watering(ec, 0.4, 0.5, 0.25))

    assert ec == pytest.approx(float(steady_ec(0.4, 0.5, 0.25)))


def test_at_length_it_is_the_law_of_leaching_fractions() -> None:
    """Salt in is salt out: what drains at length is the water's EC over the share that drains."""
    dried, run_off = 0.5, 0.25
    steady = float(steady_ec(0.4, dried, run_off))
    full = steady + 0.4 * dried
    drained = 0.4 + (full - 0.4) * (1 - math.exp(-run_off)) / run_off  # mean of what runs off

    assert drained == pytest.approx(0.4 / (run_off / (run_off + dried)))


@pytest.mark.parametrize("root", ["moss", "bark", "peat", "mineral"])
def test_what_drains_from_a_pot_is_as_strong_as_the_law_of_leaching_fractions_has_it(
    root: Root,
) -> None:
    """The order to water says 15 % more than is missing: the leaching fraction is 0.15 / 1.15."""
    holding = IN_POTS[root]
    steady = float(steady_ec(0.5, holding.dried, holding.run_off))
    full = steady + 0.5 * holding.dried
    run_off = holding.run_off
    drained = 0.5 + (full - 0.5) * (1 - math.exp(-run_off)) / run_off

    assert drained == pytest.approx(0.5 / (RUN_THROUGH / (1 + RUN_THROUGH)))


def test_days_within_a_limit_are_those_of_waterings_one_by_one() -> None:
    roots: list[Root] = ["air", "bark", "peat"]
    limits, water = np.array([1.06, 2.0, 4.0]), 0.5
    found = days_within(limits, water, water, [HOLDINGS[root] for root in roots])

    for days, limit, root in zip(found.tolist(), limits.tolist(), roots, strict=True):
        holding = HOLDINGS[root]
        ec, waterings = water + (limit - water) * holding.flush_left, 0
        while (ec := float(after_watering(ec, water, holding.dried, holding.run_off))) <= limit:
            waterings += 1
            if waterings > 500:
                break
        if math.isinf(days):
            assert waterings > 500
        else:
            assert waterings == int(days * 24 / max(holding.dry_h, 24))


def test_water_that_is_too_strong_keeps_nothing_within_a_limit() -> None:
    assert days_within(1.0, 1.2, 1.2, [BARK]) == 0.0
    assert days_within(2.0, 1.2, 0.0, [AIR]) < 7
    assert np.isinf(days_within(2.0, 0.5, 0.5, [AIR]))


def test_the_leaching_requirement_has_an_end() -> None:
    assert leaching_requirement(1.0, 1.0) == pytest.approx(0.25)
    assert np.isinf(leaching_requirement(6.0, 1.0))


def test_salt_on_an_area_of_root() -> None:
    # 2 mS/cm are 1.28 g/L; a film of 0.4 mm is 0.4 L/m2.
    assert salt_g_m2(2.0, 0.4) == pytest.approx(0.512)


# -- many, as they are told


def day_by_day(given: list[Given], holding: Holding, start: SaltBalance, days: int) -> SaltBalance:
    """Return the balance settled in each morning, which knows the waterings of the last days."""
    balance = start
    for day in range(1, days + 1):
        now = NOW + timedelta(days=day, minutes=-15)
        known = [one for one in given if now - KEPT < one.at <= now]
        (balance,) = settled([balance], [known], [holding], now, np.zeros(1))
    return balance


@pytest.mark.parametrize("hours", [24, 60, 100])
@pytest.mark.parametrize("kind", [ChoreKind.WATER, ChoreKind.MIST])
@pytest.mark.parametrize("root", ["air", "bark", "peat"])
def test_settled_each_morning_it_comes_to_the_same_as_at_one_go(
    root: Root, kind: ChoreKind, hours: int
) -> None:
    holding, start = HOLDINGS[root], replace(START, ec=2.25)
    waterings = [given(at, kind, 0.9, confirmed=True) for at in range(hours, 42 * 24, hours)]
    settled_daily = day_by_day(waterings, holding, start, 43)
    (at_one_go,) = carried_on([start], [waterings], [holding], [settled_daily.at]).ec

    assert settled_daily.ec == pytest.approx(float(at_one_go), abs=0.03)


def test_many_daily_waterings_come_to_the_steady_state_of_a_day() -> None:
    peat = HOLDINGS["peat"]
    daily = [given(24 * day, ChoreKind.WATER, 0.9, confirmed=True) for day in range(1, 300)]
    at_length = day_by_day(daily, peat, START, 302)
    daily_share = 0.4 * 24 / 72

    assert at_length.ec == pytest.approx(
        float(steady_ec(0.9, daily_share, 0.15 * daily_share)), rel=0.01
    )


def test_a_misting_between_two_waterings_of_a_pot_hardly_fills_it() -> None:
    # Half dries from hour 1 to hour 73; three mistings bring 0.05 each, so that 0.35 is dry then.
    mistings = [given(hours, ChoreKind.MIST, 0.0) for hours in (24, 48, 71.99)]
    first, second = (given(hours, ChoreKind.WATER, 0.9, confirmed=True) for hours in (1, 73))
    before = after(first, holding=BARK)[0]

    assert after(first, *mistings, second, holding=BARK)[0] == pytest.approx(
        float(after_watering(before, 0.9, 0.35, 0.15 * 0.35))
    )


@pytest.mark.parametrize("kind", [ChoreKind.WATER, ChoreKind.LEACH, ChoreKind.FEED])
def test_what_was_told_and_not_confirmed_never_washes_salt_out(kind: ChoreKind) -> None:
    told = [given(24 * day, kind, 0.4) for day in range(1, 40)]
    done = [replace(one, confirmed=True) for one in told]
    salty = replace(START, ec=6.0)

    assert after(*told, holding=BARK, start=salty)[0] >= 6.0
    assert after(*told, holding=BARK, start=salty)[1] >= 0.1
    assert after(*done, holding=BARK, start=salty)[0] < 5.8
    # Where it brings more than it takes, it counts: it may have been done.
    poor = replace(START, ec=0.3)
    assert after(*told[:1], holding=BARK, start=poor)[0] > 0.3 or kind is ChoreKind.LEACH


# -- feeds and flushes


def test_a_feed_that_was_told_counts_and_a_flush_that_was_told_does_not() -> None:
    told = after(given(5, ChoreKind.FEED, 0.8))[0]
    flush = given(6, ChoreKind.LEACH)

    assert told == pytest.approx(0.8 + (1.0 + 0.8 - 0.8) * math.exp(-0.5))
    assert after(flush) == (1.0, 0.1)
    assert after(replace(flush, confirmed=True))[0] < 0.45


def test_a_confirmed_flush_leaves_its_share() -> None:
    # What lies above the water's own strength is left to a tenth; 0.2 went in where it had dried.
    flushed, doubt = after(given(6, ChoreKind.LEACH, confirmed=True))

    assert flushed == pytest.approx(0.2 + (1.0 + 0.2 - 0.2) * 0.1)
    assert doubt < 0.1


def test_a_rinse_that_is_not_confirmed_takes_less() -> None:
    feed = given(5, ChoreKind.FEED, 0.8)
    told = after(feed, given(5.3, ChoreKind.FLUSH))[0]
    done = after(feed, given(5.3, ChoreKind.FLUSH, confirmed=True))[0]

    assert done < told < after(feed)[0]


def test_a_misting_hardly_reaches_a_pot_and_a_feed_does() -> None:
    assert after(given(80, ChoreKind.MIST, 0.4), holding=BARK)[0] == pytest.approx(1.0 + 0.05 * 0.4)
    assert after(given(80, ChoreKind.FEED, 0.8), holding=BARK)[0] > 1.1


def test_what_has_not_dried_takes_nothing_up() -> None:
    soon = after(given(5, ChoreKind.MIST), given(5.01, ChoreKind.MIST))[0]
    later = after(given(5, ChoreKind.MIST), given(10, ChoreKind.MIST))[0]

    assert soon < later


def test_rain_takes_salt_away_and_brings_none() -> None:
    wet = replace(START, rains=((NOW + HOUR, 4.0),))

    # Half of 4 mm counts, which is one change of 2 mm.
    assert after(start=wet)[0] == pytest.approx(math.exp(-1.0))
    assert after(start=wet, holding=BARK)[0] == pytest.approx(math.exp(-2.0 / 40.0))


def test_a_feed_and_the_misting_that_it_goes_with_are_one_wetting() -> None:
    feed = given(5, ChoreKind.FEED, 0.8)
    alone = after(feed)[0]

    assert after(feed, given(5, ChoreKind.MIST))[0] == alone
    assert after(given(4.9, ChoreKind.MIST), feed)[0] == alone
    assert after(feed, given(6.5, ChoreKind.MIST))[0] == alone  # its trip ends later
    assert after(feed, given(6.5, ChoreKind.MIST), given(10, ChoreKind.MIST))[0] != alone
    assert after(feed, given(12, ChoreKind.MIST))[0] != alone


def test_doubt_grows_with_what_is_given_and_falls_with_what_runs_off() -> None:
    assert after(given(80, ChoreKind.FEED, 2.0), holding=BARK)[1] > 0.1
    assert after(given(80, ChoreKind.LEACH, 0.0, confirmed=True), holding=BARK)[1] < 0.03


def test_plants_are_worked_out_together_as_alone() -> None:
    feeds = [given(5, ChoreKind.FEED, 0.8), given(29, ChoreKind.MIST)]
    cases = [([], AIR), (feeds, AIR), (feeds[:1], BARK), ([feeds[1]], AIR)]
    until = [NOW + timedelta(days=9)] * len(cases)
    together = carried_on(
        [START] * len(cases), [what for what, _ in cases], [one for _, one in cases], until
    )

    alone = [after(*what, holding=holding) for what, holding in cases]
    assert together.ec.tolist() == [ec for ec, _ in alone]
    assert together.doubt.tolist() == [doubt for _, doubt in alone]


# -- from morning to morning


def test_a_morning_settles_what_is_old_and_keeps_what_may_still_be_confirmed() -> None:
    morning = NOW + timedelta(days=3)
    old, young = given(4, ChoreKind.FEED, 0.8), given(60, ChoreKind.FEED, 0.8)
    (now,) = settled([START], [[old, young]], [AIR], morning, np.array([np.nan]))

    assert now.at == morning - SETTLED_AFTER
    assert now.ec == pytest.approx(after(old)[0], abs=0.005)
    (whole,) = carried_on([now], [[old, young]], [AIR], [morning]).ec
    assert whole == pytest.approx(after(old, young)[0], abs=0.01)
    assert SETTLED_AFTER + timedelta(days=1) < KEPT


def test_a_flush_confirmed_a_day_late_still_counts() -> None:
    told = Wetting(ChoreKind.LEACH, NOW + 4 * HOUR, due=NOW + 4 * HOUR)
    care = Care((told,), salt=START)
    later = care.wetted(replace(told, at=NOW + 30 * HOUR, confirmed=True))
    (now,) = settled([START], [[]], [AIR], NOW + timedelta(days=1), np.array([0.0]))

    assert now.at <= NOW + 30 * HOUR
    assert [one.confirmed for one in later.wettings] == [True]


def test_rain_is_noted_and_forgotten_once_it_is_settled() -> None:
    (now,) = settled([START], [[]], [AIR], NOW + timedelta(days=1), np.array([4.2]))
    assert now.rains == ((NOW + timedelta(days=1), 4.0),)

    (then,) = settled([now], [[]], [AIR], NOW + timedelta(days=3), np.array([0.3]))
    assert (then.rains, then.ec) == ((), round(math.exp(-1.0), 3))


def test_an_assumption_stays_one_until_a_flush() -> None:
    unknown = beginning(2.0, NOW)
    later = NOW + timedelta(days=3)
    flush = given(5, ChoreKind.LEACH, 0.1, confirmed=True)

    assert (unknown.ec, unknown.doubt, unknown.assumed) == (1.0, 0.6, True)
    none = np.zeros(1)
    assert settled([unknown], [[]], [AIR], later, none)[0].assumed
    assert settled([unknown], [[replace(flush, confirmed=False)]], [AIR], later, none)[0].assumed
    assert not settled([unknown], [[flush]], [AIR], later, none)[0].assumed


def test_repotting_begins_anew_also_if_a_round_was_on_its_way() -> None:
    worked_out = Care(salt=START)
    known = repotted(PlantState("bench", care=Care(salt=START)), NOW, NOW + 5 * HOUR).care

    assert known.salt is not None
    assert known.salt.ec == FRESH_EC
    assert with_answers(worked_out, known).salt == known.salt
    assert with_answers(known, worked_out).salt == known.salt


# -- whose roots, whose limit


def test_what_the_roots_are_in() -> None:
    assert root_of(plant(holder="mount")) == "air"
    assert root_of(plant(holder="moss")) == "moss"
    assert root_of(plant(holder="pot")) == "bark"
    assert root_of(replace(plant(holder="basket"), pot=Pot(2.0, "peat"))) == "peat"


def test_the_limit_of_the_medium() -> None:
    feed = Limit(0.8, "a handbook")

    assert medium_limit(Limits()).value == LIGHT_FEEDERS_HIGH
    assert medium_limit(Limits(salt_high=feed)) == Limit(2.0, "a handbook, 2.5 times salt_high")
    assert medium_limit(Limits(salt_high=Limit(3.0, "yours"))).value == HEAVY_FEEDERS_HIGH
    own = Limit(1.2, "yours")
    assert medium_limit(Limits(salt_high=feed, medium_salt_high=own)) is own
