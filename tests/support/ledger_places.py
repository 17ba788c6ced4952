"""Where a ledger may be: what is tested of its contract holds in all of these."""

from pathlib import Path

import pytest

from sillward.ledger.address import PostgresAddress

PLACES = ["file", "memory", "server"]

TWO_PLACES = ["memory", "server"]


def place_of(request: pytest.FixtureRequest, folder: Path) -> Path | str | PostgresAddress:
    """Return the place that a parameter of a fixture names."""
    if request.param == "server":
        address: PostgresAddress = request.getfixturevalue("postgres")
        return address
    return folder / "kept.sqlite3" if request.param == "file" else ":memory:"
