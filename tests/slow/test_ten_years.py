"""Ten simulated years of the whole desk under random faults, which differ in every run."""

import logging
import os
from pathlib import Path

import pytest

from tests.support.random_faults import RandomFaults, check

pytestmark = pytest.mark.slow

YEARS = 10


@pytest.mark.parametrize("year", range(YEARS))
def test_a_hard_year_loses_and_doubles_nothing(
    year: int, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.CRITICAL)
    seed = int.from_bytes(os.urandom(4), "big")
    print(f"seed {seed}")  # noqa: T201 (pytest shows it if it fails)
    times = RandomFaults(seed, tmp_path, quiet="22:30-06:30" if year % 2 else None)

    times.run(days=365)

    check(times)
    assert len(times.heard) > 200
    assert len(times.doubtful) < 10
    assert min(times.ends["killed"], times.ends["restart"], times.looks_in_memory) > 30
