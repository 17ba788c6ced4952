"""Many households in one daemon: what it asks grows with their number, and no faster."""

import zlib
from pathlib import Path

import pytest

from tests.support.houses import Street, collection


def a_street(folder: Path, households: int) -> Street:
    folder.mkdir()
    street = Street(folder)
    for number in range(households):
        street.add(f"h{number}", collection(latitude=-32.89 + 0.01 * number))
    street.open()
    street.run(1)
    return street


def test_forecasts_are_asked_for_once_for_all_neighbours(tmp_path: Path) -> None:
    requests = {}
    for number in (2, 6):
        street = a_street(tmp_path / str(number), number)
        street.run(10)
        requests[number] = len(street.source.asked)
        street.close()
    assert requests[2] == requests[6] == 1


def test_a_turn_in_which_nothing_is_due_unpacks_no_forecast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    street = a_street(tmp_path / "street", 3)
    street.run(1)
    unpacked: list[int] = []
    real = zlib.decompress

    def counted(body: bytes) -> bytes:
        unpacked.append(len(body))
        return real(body)

    monkeypatch.setattr(zlib, "decompress", counted)
    street.house.wake_all()
    street.run(0.5)
    assert unpacked == []
    street.close()
