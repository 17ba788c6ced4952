"""Hands the values of `values*.toml` to the tests, one family to one test.

A test marked `published("family")` runs once for each value of that family, named after it. It
asks for `inputs` and must call `agrees` with what the core says.
"""

import tomllib
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

VALUES = sorted(Path(__file__).parent.glob("values*.toml"))


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "published(family): checks a family of values*.toml")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    marker = metafunc.definition.get_closest_marker("published")
    if marker is None:
        return
    values = _families()[marker.args[0]]
    metafunc.parametrize("value", values, ids=[value["name"] for value in values])


@pytest.fixture
def families() -> dict[str, list[dict[str, Any]]]:
    """All values by family."""
    return _families()


@pytest.fixture
def inputs(value: dict[str, Any]) -> dict[str, Any]:
    """What goes into the value under test."""
    return dict(value["inputs"])


@pytest.fixture
def agrees(value: dict[str, Any]) -> Iterator[Callable[[object], None]]:
    """Compare with the published value; a test that forgets to call it fails."""
    called = []

    def compare(actual: object) -> None:
        called.append(actual)
        off = np.abs(_numbers(actual) - _numbers(value["expected"]))
        assert np.all(off <= value["tolerance"]), (
            f"{value['name']}: got {actual}, expected {value['expected']} {value['unit']} within "
            f"{value['tolerance']} ({value['source']}; {value['provenance']})"
        )

    yield compare
    assert called, f"{value['name']} was never compared"


@cache
def _families() -> dict[str, list[dict[str, Any]]]:
    families: dict[str, list[dict[str, Any]]] = {}
    for path in VALUES:
        of_file = tomllib.loads(path.read_text(encoding="utf-8"))
        assert not of_file.keys() & families.keys(), f"{path.name}: a family of another file"
        families |= of_file
    return families


def _numbers(quantity: object) -> np.ndarray:
    """Moments as unix seconds, all else as it is."""
    if isinstance(quantity, list | tuple):
        return np.array([_numbers(part) for part in quantity])
    if isinstance(quantity, datetime):
        return np.asarray(quantity.timestamp())
    return np.asarray(quantity, dtype=np.float64)
