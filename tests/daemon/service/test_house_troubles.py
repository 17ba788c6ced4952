"""What is wrong with a house, as another process reads it."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from sillward.ledger import Ledger
from sillward.reports import households
from sillward.service.house_troubles import KEPT_EVERY, HouseTroubles, kept_troubles

NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)
HALF_AN_HOUR = timedelta(minutes=30)


@pytest.fixture
def shared() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as ledger:
        yield ledger


def test_troubles_are_read_while_they_last_and_from_each_machine(shared: Ledger) -> None:
    here, there = HouseTroubles(shared, "here"), HouseTroubles(shared, "there")
    here.keep(["9 minutes behind", "clock"], NOW)
    there.keep([], NOW)
    for minutes in range(60):
        here.keep(["9 minutes behind", "clock"], NOW + timedelta(minutes=minutes))

    now = NOW + timedelta(hours=1)
    assert kept_troubles(shared, now, HALF_AN_HOUR) == ["9 minutes behind; clock"]
    assert "9 minutes behind; clock" in households.document(shared, [], now, [])["troubles"]
    assert kept_troubles(shared, now + KEPT_EVERY + HALF_AN_HOUR, HALF_AN_HOUR) == []
    here.keep([], now)
    assert kept_troubles(shared, now, HALF_AN_HOUR) == []


def test_what_the_process_before_has_kept_is_removed(shared: Ledger) -> None:
    HouseTroubles(shared, "here").keep(["the folder is away"], NOW)

    HouseTroubles(shared, "here").keep([], NOW)

    assert kept_troubles(shared, NOW, HALF_AN_HOUR) == []


def test_a_ledger_that_cannot_be_written_is_tried_again(shared: Ledger) -> None:
    kept = HouseTroubles(shared, "here")
    shared.close()
    kept.keep(["the folder is away"], NOW)
    assert kept._text is None
