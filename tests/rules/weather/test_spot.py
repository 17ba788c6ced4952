"""Spots: which are known to keep a plant that nobody has told to go there."""

import pytest

from sillward_rules.weather.spot import Spot


@pytest.mark.parametrize(
    ("spot", "limit_c", "keeps"),
    [
        (Spot("room", indoors=True, night_low_c=14.0), 14.0, True),
        (Spot("room", indoors=True, night_low_c=14.0), 14.1, False),
        (Spot("garage", indoors=True, night_low_c=3.0), 8.0, False),
        (Spot("hall", indoors=True), 8.0, False),  # nobody has said what it holds
        (Spot("hall", indoors=True), None, True),
        (Spot("porch", indoors=True, night_low_c=14.0, night_offset_k=4.0), 8.0, False),
        (Spot("bench", night_low_c=14.0), 8.0, False),
        (Spot("bench"), None, False),
    ],
)
def test_only_a_room_that_is_known_to_be_warm_enough_keeps_a_plant(
    spot: Spot, limit_c: float | None, keeps: bool
) -> None:
    assert spot.is_known_to_keep(limit_c) == keeps
