"""Which plants are worth a walk: the best of all ways to choose them, and what each is set against.

The best is found by trying every set of plants, each carried or not by itself.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sillward_rules.planners.nights import NightNeeds, find_night_needs
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.walks import PLANT_PRICE, WALK_PRICE, choose
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import OpenOrder, PlantState
from sillward_rules.remark import NoShelter
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.spot import Spot
from tests.support.core import (
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    warned,
    weather,
)

NOWHERE = -1


@dataclass(frozen=True)
class Group:
    """Plants that are alike: what one gains, how many there are, and where."""

    gain: float
    size: int
    spot: int
    must: bool


groups = st.builds(
    Group,
    st.one_of(st.floats(0, 3), st.sampled_from([0.0, 0.25, 0.5, 1.0, float("nan")])),
    st.integers(1, 3),
    st.sampled_from([NOWHERE, 0, 1, 2]),
    st.booleans(),
)
households = st.lists(groups, min_size=1, max_size=6).filter(
    lambda house: sum(group.size for group in house if not group.must) <= 10
)


def value_of(house: list[Group], carried: list[int]) -> float:
    """What carrying so many plants of each group brings, less the plants and the walks."""
    gain = sum(
        count * (0.0 if np.isnan(group.gain) else group.gain) - count * PLANT_PRICE
        for group, count in zip(house, carried, strict=True)
        if not group.must
    )
    visited = {
        group.spot
        for group, count in zip(house, carried, strict=True)
        if group.spot != NOWHERE and (group.must or count)
    }
    return gain - WALK_PRICE * len(visited)


def best_of_all(house: list[Group]) -> float:
    counts = [[group.size] if group.must else list(range(group.size + 1)) for group in house]
    return max(value_of(house, list(carried)) for carried in product(*counts))


def chosen_of(house: list[Group]) -> tuple[np.ndarray, np.ndarray]:
    walks = choose(
        np.array([group.gain for group in house]),
        np.array([group.size for group in house]),
        np.array([group.spot for group in house]),
        np.array([group.must for group in house]),
    )
    return walks.chosen, walks.price


@settings(deadline=None, derandomize=True)
@example([Group(0.62, 1, 0, False), Group(0.62, 2, 0, False)])  # together, not each alone
@example([Group(0.5, 3, 0, False), Group(0.0, 1, 0, True)])  # one more on a walk made anyway
@example([Group(0.3, 1, NOWHERE, False), Group(0.9, 1, 0, False)])
@given(households)
def test_no_other_choice_brings_more(house: list[Group]) -> None:
    chosen, _ = chosen_of(house)

    carried = [
        group.size if group.must or taken else 0
        for group, taken in zip(house, chosen.tolist(), strict=True)
    ]
    assert value_of(house, carried) == pytest.approx(best_of_all(house), abs=1e-9)
    assert not any(
        taken and (group.must or np.isnan(group.gain))
        for group, taken in zip(house, chosen.tolist(), strict=True)
    )


@settings(deadline=None, derandomize=True)
@given(households)
def test_what_is_chosen_costs_less_than_it_gains_walk_by_walk(house: list[Group]) -> None:
    chosen, price = chosen_of(house)

    assert np.all(price >= PLANT_PRICE)
    assert np.all(price <= PLANT_PRICE + WALK_PRICE)
    for spot in (NOWHERE, 0, 1, 2):
        there = [number for number, group in enumerate(house) if group.spot == spot]
        carried = [number for number in there if chosen[number]]
        gains = sum(house[number].size * house[number].gain for number in carried)
        costs = sum(house[number].size * price[number] for number in carried)
        assert gains > costs or not carried
        if spot == NOWHERE or any(house[number].must for number in there):
            assert all(price[number] == PLANT_PRICE for number in there)
        elif carried:
            count = sum(house[number].size for number in carried)
            assert costs == pytest.approx(WALK_PRICE + count * PLANT_PRICE)


@settings(deadline=None, derandomize=True)
@given(households, st.floats(1, 5))
def test_who_is_more_careful_carries_no_less(house: list[Group], times: float) -> None:
    more = [Group(times * group.gain, group.size, group.spot, group.must) for group in house]

    assert np.all(chosen_of(house)[0] <= chosen_of(more)[0])


def test_by_hand() -> None:
    """A walk costs 3/4 of a trip, a plant on it 1/4."""
    alone, three = Group(0.9, 1, 0, False), Group(0.55, 3, 1, False)
    along, under_cover = Group(0.3, 1, 2, False), Group(0.3, 1, NOWHERE, False)
    told = Group(0.0, 2, 2, True)

    chosen, price = chosen_of([alone, three, along, under_cover, told])

    assert chosen.tolist() == [False, True, True, True, False]
    assert price.tolist() == [1.0, 0.5, 0.25, 0.25, 0.25]


# -- in a night


SECOND, THIRD = (
    Spot(name, sky_view=0.0, wind=1.0, height_m=10.0, night_offset_k=0.0, day_offset_k=0.0)
    for name in ("second", "third")
)
SPOTS = (OPEN_BENCH, SECOND, THIRD, WARM_ROOM)
DUSK = utc("2026-05-14T20:00")


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.integers(0, 2**32 - 1))
def test_the_plants_of_a_night_are_chosen_as_well_as_can_be(seed: int) -> None:
    random = np.random.default_rng(seed)
    low = random.uniform(6, 12)
    air = uncertain(fetched(weather(utc("2026-05-13T00:00"), daily_curve(low, low + 9, 96)), DUSK))
    plants, state = [], {}
    for number in range(int(random.integers(1, 6))):
        margin = random.uniform(-4, 0.3)
        for twin in range(int(random.integers(1, 3))):
            name, home = f"Pot {number}{'ab'[twin]}", ("bench", "second", "third")[number % 3]
            plants.append(plant(name, night_low=low + margin, home=home))
            state[name] = PlantState("room" if number == 4 else home)
    made = collection(*plants, spots=SPOTS, habits=Habits(caution=float(random.choice([20, 200]))))
    scene = Scene(made, air, state, DUSK)
    night = sun.night_at_or_after(MENDOZA, DUSK)

    needs = find_night_needs(scene, night)

    plain = Scene(collection(*plants, spots=SPOTS, habits=Habits(caution=0.0)), air, state, DUSK)
    must = find_night_needs(plain, night).must_be_in
    house = [
        Group(float(gain), int(size), NOWHERE if inside else int(home), bool(asked))
        for gain, size, inside, home, asked in zip(
            needs.gain, scene.sizes, scene.is_under_cover(scene.standing), scene.home, must,
            strict=True,
        )
    ]  # fmt: skip
    carried = np.where(needs.must_be_in, scene.sizes, 0).tolist()
    assert np.all(must <= needs.must_be_in)
    assert value_of(house, carried) == pytest.approx(best_of_all(house), abs=1e-9)


def test_a_plant_without_a_shelter_makes_no_walk_for_others() -> None:
    """It should be in, and cannot, as there is no room anywhere: nobody goes for it."""
    low, wall = 9.0, replace(SECOND, name="wall", night_offset_k=3.0)
    air = uncertain(fetched(weather(utc("2026-05-13T00:00"), daily_curve(low, 18.0, 96)), DUSK))
    doubtful = plant("Doubtful", night_low=low - 1.7, shelter="wall")
    stays = plant("Stays", night_low=low + 2.0, shelter=None)
    goes = plant("Goes", night_low=low + 2.0, shelter="wall")
    night = sun.night_at_or_after(MENDOZA, DUSK)

    def goes_in(*others: Plant) -> bool:
        made = collection(doubtful, *others, spots=(OPEN_BENCH, wall))
        return bool(find_night_needs(Scene(made, air, {}, DUSK), night).must_be_in[0])

    assert not goes_in()
    assert not goes_in(stays)
    assert goes_in(goes)


def test_a_walk_for_an_open_order_is_one_that_is_made_anyway() -> None:
    """The other plant need not go in by the newest forecast, but it has been told to."""
    low = 9.0
    air = uncertain(fetched(weather(utc("2026-05-13T00:00"), daily_curve(low, 18.0, 96)), DUSK))
    doubtful, told = plant("Doubtful", night_low=low - 1.7), plant("Told", night_low=low - 6.0)
    night = sun.night_at_or_after(MENDOZA, DUSK)
    order = OpenOrder("bench", "room", night.start)
    elsewhere = OpenOrder("second", "room", night.start)

    def doubt(home: str, order: OpenOrder | None) -> tuple[float, bool]:
        state = {"Told": PlantState(home, asked=order)}
        made = collection(doubtful, replace(told, home=home), spots=SPOTS)
        needs = find_night_needs(Scene(made, air, state, DUSK), night)
        assert PLANT_PRICE < needs.gain[0] < PLANT_PRICE + WALK_PRICE
        return float(needs.price[0]), bool(needs.must_be_in[0])

    assert doubt("bench", None) == (1.0, False)
    assert doubt("bench", order) == (0.25, True)
    assert doubt("second", elsewhere) == (1.0, False)


def test_a_home_indoors_is_no_shelter_for_what_lives_there() -> None:
    """There is nowhere to carry it, so nobody is told to on a night that the home may well keep."""
    porch = Spot("porch", indoors=True, night_offset_k=1.0, day_offset_k=0.0)
    night = sun.night_at_or_after(MENDOZA, DUSK)
    air = uncertain(fetched(weather(utc("2026-05-13T00:00"), daily_curve(9.1, 22.0, 96)), DUSK))
    one = plant("Pot", night_low=10.0, home="porch", shelter=None)

    def needs_of(*spots: Spot) -> NightNeeds:
        return find_night_needs(Scene(collection(one, spots=spots), air, {}, DUSK), night)

    alone = needs_of(OPEN_BENCH, porch)

    assert alone.gain[0] > 1.0, "it would be worth a walk"
    assert not alone.must_be_in[0]
    sheet = draw_up(Round.DUSK, collection(one, spots=(OPEN_BENCH, porch)), air, {}, DUSK)
    assert not warned(sheet, NoShelter)
    assert needs_of(OPEN_BENCH, porch, WARM_ROOM).must_be_in[0]
