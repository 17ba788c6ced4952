"""Which rooms do not keep the plants that go there, and which plants have no place at all."""

from dataclasses import replace

from sillward_rules.planners.cold_places import HARDY_C, cold_rooms, without_shelter
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.spot import Spot
from tests.support.core import plant
from tests.support.summer import garden

BENCH = Spot("bench")


def needs(name: str, low: float, shelter: str | None = "room", home: str = "bench") -> Plant:
    made = plant(name)
    limits = replace(
        made.limits, night_low=Limit(low, "said"), brief_low=Limit(low - 4, "said"), rest_low=None
    )
    return replace(made, limits=limits, shelter=shelter, home=home)


def of(*plants: Plant, rooms: tuple[Spot, ...]) -> Collection:
    return replace(garden(*plants), spots=(BENCH, *rooms), plants=plants)


def room(name: str, night_low_c: float | None) -> Spot:
    return Spot(name, indoors=True, night_low_c=night_low_c)


def test_a_room_is_cold_for_those_alone_whose_limit_it_does_not_hold() -> None:
    plants = [needs("Vanda", 16), needs("Moth", 15), needs("Cattleya", 13)]

    (cold,) = cold_rooms(of(*plants, rooms=(room("room", 13),)))

    assert (cold.room, cold.held_c, cold.plants) == ("room", 13, ("Vanda", "Moth"))
    assert (cold.limit_c, cold.of, cold.warmer) == (16, 3, None)


def test_the_coolest_other_room_that_holds_each_of_them_is_named() -> None:
    plants = [needs("Vanda", 16), needs("Moth", 15)]
    rooms = (room("room", 13), room("hot", 20), room("warm", 15))

    found = {cold.plants: cold.warmer for cold in cold_rooms(of(*plants, rooms=rooms))}

    assert found == {("Vanda",): ("hot", 20), ("Moth",): ("warm", 15)}


def test_a_room_of_which_nobody_knows_what_it_holds_keeps_no_plant() -> None:
    (cold,) = cold_rooms(of(needs("Vanda", 16), rooms=(room("room", None),)))

    assert (cold.held_c, cold.plants, cold.limit_c) == (None, ("Vanda",), 16)


def test_what_lives_in_a_cold_room_and_goes_nowhere_is_found_too() -> None:
    plants = [needs("In", 16, None, "room"), needs("Away", 16, "hot", "room")]

    found = cold_rooms(of(*plants, rooms=(room("room", 13), room("hot", 16))))

    assert [(cold.room, cold.plants) for cold in found] == [("room", ("In",))]


def test_what_follows_the_weather_is_judged_by_the_evening() -> None:
    porch = Spot("room", indoors=True, night_offset_k=2)

    assert list(cold_rooms(of(needs("Vanda", 16), rooms=(porch,)))) == []


def test_the_limit_of_winter_rest_counts() -> None:
    made = needs("Nobile", 10)
    resting = replace(made, limits=replace(made.limits, rest_low=Limit(7, "said")))

    assert list(cold_rooms(of(resting, rooms=(room("room", 7),)))) == []
    assert len(list(cold_rooms(of(made, rooms=(room("room", 7),))))) == 1


def test_plants_outdoors_without_a_shelter_are_found_unless_they_are_hardy() -> None:
    plants = [
        needs("Lemon", 7, None),
        needs("Fig", HARDY_C, None),
        needs("Moth", 16),
        needs("Lives there", 7, None, "room"),
    ]

    assert without_shelter(of(*plants, rooms=(room("room", 16),))) == ("Lemon",)
