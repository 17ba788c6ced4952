"""The process is killed two hundred times, at any moment: nothing is lost, and a repeat says so."""

import random
from pathlib import Path

import pytest

from tests.support.kills import a_killer

pytestmark = pytest.mark.slow

KILLS = 200
MOST_IN_ONE_LIFE = (1, 3, 6, 12)
LEAST_OF_EACH = KILLS // 100
"""A run in which fewer come at one stage of the work looks at the others only."""


def test_two_hundred_kills_lose_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng, kills = random.Random(random.random()), 0
    with a_killer(tmp_path, rng, monkeypatch) as killer:
        while kills < KILLS:
            kills += killer.live(
                rng.choice(MOST_IN_ONE_LIFE),
                kind=rng.choice(("new", "old", "grown")),
                mood=rng.choice(("well", "well", "slow", "down")),
                whole=rng.random() < 0.1,
            )
    assert killer.repeats <= kills
    for stage in ("nothing", "no round", "unsent", "half sent", "all sent"):
        assert killer.left[stage] >= LEAST_OF_EACH, killer.left
