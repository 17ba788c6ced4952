"""What `status` says of the providers that are asked for many households."""

from dataclasses import replace
from datetime import timedelta

from sillward.forecast.quota import Quota
from sillward.ledger import CallSchedule, Ledger, SavedForecast
from sillward.reports import providers
from tests.support.desks import local
from tests.support.fakes import FakeSource

NOW = local("12:00")  # three in the afternoon in UTC
SOURCE = FakeSource(quota=Quota(a_minute=600, a_day=9_000, of_site=1.5))


def asked_of(cells: int, calls: int, source: FakeSource = SOURCE, failures: int = 0) -> list[str]:
    ledger = Ledger(":memory:")
    plan = CallSchedule(NOW, day=NOW.date(), calls=calls, failures=failures)
    ledger.call_schedules.keep(source.name, plan)
    ledger.provider_marks.set(f"fetch failed, {source.name}", NOW, f"{source.name}: answered 503")
    for number in range(cells):
        key = f"cell -32.8750 {number * 0.05 - 68.825:.4f} 700 m"
        ledger.forecasts.keep(key, SavedForecast(source.name, NOW, NOW, b"{}"))
    long_ago = NOW - timedelta(days=2)
    ledger.forecasts.keep("cell of old", SavedForecast(source.name, long_ago, long_ago, b"{}"))
    return providers.lines(providers.document(ledger, [source], NOW))


def test_a_line_says_what_was_asked_and_of_how_many_calls() -> None:
    assert asked_of(1, 30) == ["Invented weather: 1 cell, 30 of 9000 calls today, every 75 min"]


def test_where_the_quota_stretches_the_calls_it_says_so() -> None:
    (line,) = asked_of(300, 6_000)

    assert line == (
        "Invented weather: 300 cells, 6000 of 9000 calls today, every 127 min instead of 75, to "
        "stay within its quota"
    )


def test_without_a_quota_calls_are_only_counted() -> None:
    free = replace(SOURCE, quota=None)

    assert asked_of(2, 40, free) == ["Invented weather: 2 cells, 40 calls today, every 75 min"]


def test_a_provider_that_fails_is_named_with_the_reason() -> None:
    assert asked_of(2, 40, failures=3) == ["! Invented weather: answered 503"]


def test_one_that_was_never_asked_is_left_out() -> None:
    assert providers.document(Ledger(":memory:"), [SOURCE], NOW) == []
