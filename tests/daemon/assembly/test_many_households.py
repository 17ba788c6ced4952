"""Many households in one daemon: what a tick asks grows with their number, and no faster."""

import zlib
from collections.abc import Sequence
from pathlib import Path

import pytest

from sillward.errors import SourceError
from sillward.net.http import Answer, Query
from sillward.service.desk import Desk
from tests.bench.households import DUSK, build_desks, tick, told
from tests.support.fakes import FakeClock


def statements(desks: Sequence[Desk], clock: FakeClock) -> int:
    """Return how many statements an idle tick of all desks runs."""
    seen: list[str] = []
    database = desks[0].context.ledger.database.connection
    database.set_trace_callback(seen.append)
    tick(desks, clock)
    database.set_trace_callback(None)
    return len(seen)


def test_an_idle_tick_asks_the_ledger_as_much_for_each_household(tmp_path: Path) -> None:
    counts = {}
    for number in (3, 12):
        clock = FakeClock(DUSK)
        desks, _ = told(number, tmp_path, clock)
        counts[number] = statements(desks, clock)

    assert counts[3] > 0
    assert counts[12] <= 4 * counts[3] * 1.05


def test_an_idle_tick_unpacks_no_forecast(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = FakeClock(DUSK)
    desks, _ = told(5, tmp_path, clock)
    unpacked: list[int] = []
    real = zlib.decompress

    def counted(body: bytes) -> bytes:
        unpacked.append(len(body))
        return real(body)

    monkeypatch.setattr(zlib, "decompress", counted)

    tick(desks, clock)

    assert unpacked == []
    desks[0].context.updater.store.forget(desks[2].context.site)
    tick(desks, clock)
    assert len(unpacked) == 1


def test_each_desk_looks_at_its_own_site_and_whoever_is_asked_is_asked_for_all(
    tmp_path: Path,
) -> None:
    clock, asked = FakeClock(DUSK), list[Query]()
    desks = build_desks(3, tmp_path, clock)

    def ask(query: Query, **_: object) -> Answer:
        asked.append(query)
        msg = "Open-Meteo: cannot be reached"
        raise SourceError(msg)

    desks[0].context.updater.ask = ask

    tick(desks, clock)

    assert len(asked) == 1
    (query,) = asked
    latitudes = str(query.params["latitude"]).split(",")
    assert [float(latitude) for latitude in latitudes] == [
        desk.context.site.latitude for desk in desks
    ]
