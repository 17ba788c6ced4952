"""The log of deeds."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.deeds import Deed
from tests.support.ledger_places import TWO_PLACES, place_of

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)


@pytest.fixture(params=TWO_PLACES)
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    with closing(Ledger(place_of(request, tmp_path))) as opened:
        yield opened


def test_the_last_deeds_come_back_the_last_one_first(ledger: Ledger) -> None:
    deeds = [
        Deed(NOW + timedelta(minutes=minute), person, "done", {"plants": ["Strap-leaf"]})
        for minute, person in enumerate(["Ana", None, "Luz"])
    ]
    for deed in deeds:
        ledger.deeds.insert("Court", deed)
    ledger.deeds.insert("Hill", deeds[0])

    assert ledger.deeds.latest("Court", 2) == [deeds[2], deeds[1]]
    assert ledger.deeds.latest("Hill", 9) == [deeds[0]]


def test_a_deed_that_cannot_be_read_costs_no_other_its_place(
    ledger: Ledger, caplog: pytest.LogCaptureFixture
) -> None:
    deed = Deed(NOW, "Ana", "moved", {"to": "sunroom"})
    for _ in range(2):
        ledger.deeds.insert("Court", deed)
    ledger.database.execute("UPDATE deed SET about = 'no json' WHERE id = 2")

    assert ledger.deeds.latest("Court", 9) == [deed]
    assert "ledger.unreadable_deed" in caplog.text


def test_old_deeds_are_forgotten(ledger: Ledger) -> None:
    for days in (61, 59):
        ledger.deeds.insert("Court", Deed(NOW - timedelta(days=days), None, "done", {}))
    ledger.prune(NOW)

    (kept,) = ledger.deeds.latest("Court", 9)
    assert kept.at == NOW - timedelta(days=59)
