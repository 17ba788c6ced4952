"""Ten thousand rounds on four workers that are killed at random, on a server as it is in use."""

import random
from pathlib import Path

import pytest

from tests.support import postgres_server
from tests.support.worker_trial import Trial

pytestmark = pytest.mark.slow

KILLS = 100

SEEDS = random.SystemRandom().randrange(10**6)


def test_each_round_is_decided_once_none_is_lost_and_repeats_say_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with postgres_server.running(**postgres_server.DURABLE) as server:
        trial = Trial(server.address, tmp_path, random.Random(SEEDS), workers=4, killed_after_s=2.0)
        outcome = trial.run(households=10_000, kills=KILLS, seconds=1200)

    with capsys.disabled():
        print(f"\nseed {SEEDS}: {outcome}")  # noqa: T201
    assert (outcome.decided, outcome.told) == (10_000, 10_000)
    assert outcome.mixed == outcome.unmarked == []
    assert outcome.repeats <= outcome.kills
