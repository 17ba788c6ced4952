"""Replays in chunks: the same on one core and on two, and nothing is lost at an interruption."""

import multiprocessing
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from sillward.replay import run as running
from sillward.replay.run import LostProcessError, run
from sillward_rules.replay.engine import WARM_UP, Plan
from sillward_rules.replay.forecasts import ErringForecasts
from sillward_rules.replay.records import NightRecord
from tests.support.core import collection, plant
from tests.support.past_weather import past_weather, plan

FIRST = date(2024, 4, 15)


def two_plans(nights: int = 5) -> list[Plan]:
    truth = past_weather(date(2024, 4, 1), nights + 20)
    forecasts = ErringForecasts(truth, 1)
    return [
        plan(collection(plant(night_low=limit)), truth, FIRST, nights, forecasts)
        for limit in (8.0, 11.0)
    ]


@pytest.fixture
def short_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "CHUNK_NIGHTS", 3)


def after(count: int) -> Callable[[NightRecord], None]:
    """Interrupt once so many records have come."""
    seen: list[date] = []

    def on_night(record: NightRecord) -> None:
        seen.append(record.night)
        if len(seen) == count:
            raise KeyboardInterrupt

    return on_night


@pytest.mark.usefixtures("short_chunks")
def test_two_processes_find_what_one_finds() -> None:
    plans = two_plans()[1:]

    alone, together = run(plans, processes=1), run(plans, processes=2)

    assert alone == together
    assert len(alone[0].nights) == 5
    assert alone[0].complete
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("short_chunks")
@pytest.mark.parametrize("processes", [1, 2])
def test_an_interrupted_replay_keeps_every_night_that_came(processes: int) -> None:
    results = run(two_plans(), after(4), processes)

    assert sum(len(result.nights) for result in results) == 4
    assert not any(result.complete for result in results)
    for result in results:
        nights = [record.night for record in result.nights]
        assert nights == sorted(set(nights))
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("short_chunks")
def test_both_plans_come_on_side_by_side() -> None:
    before, after_ = run(two_plans(), after(4), 1)

    assert (len(before.nights), len(after_.nights)) == (3, 1)


def test_a_defect_in_a_process_is_raised_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "CHUNK_NIGHTS", 3)
    broken = [replace(one, truth=None) for one in two_plans()]  # type: ignore[arg-type]

    with pytest.raises(AttributeError):
        run(broken, processes=2)

    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("short_chunks")
def test_a_process_that_is_killed_is_told_and_what_came_is_kept() -> None:
    def kill_them(_: NightRecord) -> None:
        for process in multiprocessing.active_children():
            process.kill()

    with pytest.raises(LostProcessError, match="ended from outside") as caught:
        run(two_plans(40), kill_them, processes=2)

    assert any(result.nights for result in caught.value.results)
    assert not any(result.complete for result in caught.value.results)
    assert multiprocessing.active_children() == []


def test_chunks_cover_every_night_once_and_none_begins_soon_after_an_absence() -> None:
    away = frozenset(FIRST + timedelta(days=number) for number in range(80, 110))
    (whole, _) = two_plans()
    long = replace(whole, last=FIRST + timedelta(days=399), away=away)

    chunks = running._chunks(0, long)

    nights = [
        chunk.first + timedelta(days=number)
        for chunk in chunks
        for number in range((chunk.last - chunk.first).days + 1)
    ]
    assert nights == [FIRST + timedelta(days=number) for number in range(400)]
    for chunk in chunks[1:]:
        assert not any(chunk.first - WARM_UP <= day <= chunk.first for day in away)
    assert chunks[1].first > max(away) + WARM_UP
