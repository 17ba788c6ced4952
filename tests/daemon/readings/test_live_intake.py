"""A reading that came, however it came, is sifted and kept; seldom written, and never lost."""

from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta

import pytest

from sillward.errors import LedgerError
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import ReadingTable
from sillward.readings.live_intake import (
    MAX_WAITING,
    WRITE_EVERY,
    LiveIntake,
    Origin,
    Reading,
    Refusal,
)
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.quality import Reason
from tests.support.sensors import CAME, later

SITE = "Test court"
BENCH = Origin("bench", Quantity.TEMPERATURE, "garden/bench")
MOIST = Origin("bench", Quantity.HUMIDITY, "garden/bench")


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as ledger:
        yield ledger


def a_reading(value: float, minute: float = 0, origin: Origin = BENCH) -> Reading:
    return Reading(origin, later(minutes=minute), value)


def kept(ledger: Ledger, origin: Origin = BENCH) -> list[tuple[float, float, int]]:
    """The low, the last and the number of readings in each hour."""
    hours = ledger.readings.of_spot(SITE, origin.spot, origin.quantity).get(origin.sensor)
    if hours is None:
        return []
    return list(zip(hours.low.tolist(), hours.last.tolist(), hours.count.tolist(), strict=True))


def set_aside(ledger: Ledger) -> list[tuple[str, int, str]]:
    found = ledger.readings.set_aside_since(SITE, later(days=-40))
    return [(one.reason, one.count, one.example) for one in found]


def test_what_came_is_kept_by_the_hour(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    intake.take([a_reading(11.4), a_reading(11.2, 1), a_reading(55, 1, MOIST)])
    intake.take([a_reading(10.0, 40)])

    intake.write(ledger.readings, later(minutes=41))

    assert kept(ledger) == [(11.2, 11.2, 2), (10.0, 10.0, 1)]
    assert kept(ledger, MOIST) == [(55.0, 55.0, 1)]
    assert set_aside(ledger) == []


def test_each_sensor_is_written_once_a_minute(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    writes = []
    keep = ReadingTable.keep

    def counted(self: ReadingTable, *args: object) -> int:
        writes.append(args)
        return keep(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(ReadingTable, "keep", counted)
    intake = LiveIntake(SITE)

    for second in range(0, 600, 10):
        intake.take([Reading(BENCH, later(seconds=second), 11.4 + second / 1000)])
        intake.write(ledger.readings, later(seconds=second))

    assert len(writes) == 600 / WRITE_EVERY.total_seconds()
    intake.write(ledger.readings, later(seconds=660))
    assert kept(ledger) == [(11.4, 11.99, 60)]


def test_a_clock_that_was_set_back_holds_up_nothing(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    intake.take([a_reading(11.4)])
    intake.write(ledger.readings, later(minutes=1))

    intake.take([a_reading(11.3, -59)])
    intake.write(ledger.readings, later(minutes=-59))

    assert sum(count for _, _, count in kept(ledger)) == 2


def test_what_cannot_be_is_set_aside_with_its_reason(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    refusal = Refusal(BENCH, later(seconds=3), "the value is not a number", "unavailable")
    intake.take([a_reading(85.0), a_reading(11.4, 1), a_reading(11.4, 30), refusal])
    intake.write(ledger.readings, later(minutes=2))

    assert kept(ledger) == [(11.4, 11.4, 1)]
    assert sorted(set_aside(ledger)) == [
        (Reason.CLOCK_AHEAD, 1, "11.4 °C"),
        (Reason.IMPOSSIBLE, 1, "85 °C"),
        ("the value is not a number", 1, "unavailable"),
    ]


def test_a_jump_waits_for_what_follows(ledger: Ledger) -> None:
    """A reading that jumps away and back again is none, also over several writes."""
    intake = LiveIntake(SITE)
    for minute, value in enumerate((11.4, 11.3, 40.0, 11.2, 11.1)):
        intake.take([a_reading(value, minute)])
        intake.write(ledger.readings, later(minutes=minute))

    assert kept(ledger) == [(11.1, 11.1, 4)]
    assert set_aside(ledger) == [(Reason.JUMP, 1, "40 °C")]


def test_a_jump_that_lasts_is_believed(ledger: Ledger) -> None:
    """The thermometer was carried indoors."""
    intake = LiveIntake(SITE)
    for minute in range(15):
        intake.take([a_reading(5.0 if minute < 2 else 20.0, minute)])
        intake.write(ledger.readings, later(minutes=minute))

    assert kept(ledger) == [(5.0, 20.0, 15)]
    assert set_aside(ledger) == []


def test_a_jump_at_the_end_is_set_aside(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    intake.take([a_reading(11.4), a_reading(40.0, 1)])
    intake.write(ledger.readings, later(minutes=1))
    assert set_aside(ledger) == []

    intake.write(ledger.readings, later(minutes=1), last=True)

    assert set_aside(ledger) == [(Reason.JUMP, 1, "40 °C")]


def test_a_jump_from_what_was_kept_before_a_restart_waits_too(ledger: Ledger) -> None:
    before = LiveIntake(SITE)
    before.take([a_reading(11.4)])
    before.write(ledger.readings, CAME)

    intake = LiveIntake(SITE)
    for minute, value in enumerate((40.0, 11.2), 1):
        intake.take([a_reading(value, minute)])
        intake.write(ledger.readings, later(minutes=minute))

    assert kept(ledger) == [(11.2, 11.2, 2)]
    assert set_aside(ledger) == [(Reason.JUMP, 1, "40 °C")]


def test_what_comes_twice_is_kept_once(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    for _ in range(2):
        intake.take([a_reading(11.4), a_reading(11.2, 1)])
        intake.write(ledger.readings, later(minutes=2), last=True)

    assert kept(ledger) == [(11.2, 11.2, 2)]


def test_what_the_ledger_does_not_take_is_written_later(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    intake = LiveIntake(SITE)
    intake.take([a_reading(11.4), Refusal(BENCH, CAME, "why", "x"), a_reading(50, 0, MOIST)])

    def full(*_: object) -> None:
        msg = "the disk is full"
        raise LedgerError(msg)

    with monkeypatch.context() as patch:
        patch.setattr(ReadingTable, "set_aside", full)
        with pytest.raises(LedgerError):
            intake.write(ledger.readings, CAME)
    intake.take([a_reading(11.3, 1)])
    intake.write(ledger.readings, later(minutes=1))

    assert kept(ledger) == [(11.3, 11.3, 2)]
    assert kept(ledger, MOIST) == [(50, 50, 1)]
    assert set_aside(ledger) == [("why", 1, "x")]


def test_what_waits_is_bounded(ledger: Ledger, caplog: pytest.LogCaptureFixture) -> None:
    intake = LiveIntake(SITE)
    intake.take(
        Reading(BENCH, CAME - timedelta(seconds=second), 11.4) for second in range(MAX_WAITING + 5)
    )
    intake.write(ledger.readings, CAME)

    assert sum(count for _, _, count in kept(ledger)) == MAX_WAITING
    assert "reading.lost sensor=garden/bench count=5" in caplog.text


def test_a_device_may_send_its_last_readings_with_each_message(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    for minute in range(59):
        intake.take([a_reading(15 - 0.2 * at, at) for at in range(max(0, minute - 9), minute + 1)])
        intake.write(ledger.readings, later(minutes=minute))
    intake.write(ledger.readings, later(minutes=59), last=True)

    hours = kept(ledger)
    assert hours[-1][:2] == (3.4, 3.4)
    assert sum(count for _, _, count in hours) == 59
    assert set_aside(ledger) == []


def test_the_low_of_a_gap_that_comes_later_counts(ledger: Ledger) -> None:
    intake = LiveIntake(SITE)
    gap = range(20, 30)
    for minute in range(50):
        if minute not in gap:
            intake.take([a_reading(11.0, minute)])
            intake.write(ledger.readings, later(minutes=minute))
    edition = ledger.readings.edition(SITE)
    intake.take([a_reading(3.2 if minute == 25 else 8.0, minute) for minute in gap])
    intake.write(ledger.readings, later(minutes=51))

    assert min(low for low, _, _ in kept(ledger)) == 3.2
    assert ledger.readings.edition(SITE) > edition
