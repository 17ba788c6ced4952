"""The process is killed again and again, at any moment: nothing is lost, and a repeat says so.

What must hold after each kill and in the end is in `kills.py`; the slow set has two hundred.
"""

import random
from pathlib import Path

import pytest

from tests.support.kills import a_killer

LIVES = (("new", "well"), ("old", "down"), ("grown", "slow"))
KILLS = 4
"""At most, in each life."""


def test_whoever_is_killed_again_and_again_tells_everybody_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with a_killer(tmp_path, random.Random(random.random()), monkeypatch) as killer:
        for kind, mood in LIVES:
            assert killer.live(KILLS, kind=kind, mood=mood) >= 1
