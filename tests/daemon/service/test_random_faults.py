"""Some weeks in which channels, source, clock, disk and process fail at random: what holds always.

The slow set has ten years of it: `tests/slow/test_ten_years.py`.
"""

import logging
from pathlib import Path

import pytest

from tests.support.random_faults import RandomFaults, check


def test_weeks_of_faults_lose_and_repeat_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.CRITICAL)
    times = RandomFaults(seed=2, folder=tmp_path, quiet="22:30-06:30")

    times.run(days=24)

    check(times)
    # Without these it could pass by testing nothing.
    assert len(times.heard) > 10
    assert times.ends["killed"] > 1
    assert times.ends["restart"] > 1
    assert times.post.cut.total() > 8
    assert times.looks_in_memory > 3
