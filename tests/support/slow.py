"""Cases of a test that only the slow set runs."""

from collections.abc import Collection, Iterable

import pytest


def some_slow(cases: Iterable[str], slow: Collection[str]) -> list[object]:
    """Return the cases of a test, with those that seldom find more in the slow set."""
    return [pytest.param(case, marks=pytest.mark.slow) if case in slow else case for case in cases]
