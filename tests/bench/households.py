"""Many households in one daemon: a tick in which nothing is due, by their number.

Each has a site of its own, two outdoor spots, a room and a dozen plants; dusk has been told, orders
are open, nothing is acknowledged, and the ledger has what was told in the days before, as many as
it keeps. `--profile` shows where the largest tick goes.
"""

import argparse
import cProfile
import gc
import pstats
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from sillward.config.household import Household
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import CallSchedule, Ledger, SavedForecast
from sillward.ledger.ledger import KEPT_DAYS
from sillward.net.http import Answer
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward_rules.weather.site import Site
from tests.bench.table import Row, report
from tests.support.bodies import dumped
from tests.support.desks import SITE, Post, a_household, a_plant
from tests.support.fakes import FakeClock
from tests.support.invented_weather import Sky

NUMBERS = (25, 100, 400)
DAY = date(2026, 5, 14)
DUSK = datetime(2026, 5, 14, 17, 2, tzinfo=SITE.zone)
GOAL_S = 0.5
"""Of a tick in which nothing is due, for the most households."""

TICKS = 7


def household(number: int) -> Household:
    """One of the neighbours: its own place, a few hundred metres from the last."""
    made = a_household(
        plants=tuple(a_plant(f"Pot {number}", home="bench") for number in range(12)),
        name=f"Court {number}",
    )
    site = replace(made.collection.site, latitude=SITE.latitude + 0.003 * number)
    return replace(made, collection=replace(made.collection, site=site))


def build_desks(number: int, folder: Path, clock: FakeClock) -> list[Desk]:
    """So many desks that share a ledger on the disk, each with a fresh forecast."""
    ledger = Ledger(folder / f"ledger-{number}.sqlite3", clock=clock)
    source = open_meteo.build(SourceOptions())
    households = [household(index) for index in range(number)]
    sites = [household.collection.site for household in households]
    for site in sites:
        ledger.forecasts.keep(site.name, stored(source.name, site, clock()))
    updater = ForecastUpdater(
        ForecastStore([source], ledger, clock), sites, ask=no_network, rng=random.Random(3)
    )
    return [
        Desk.of(ServiceContext(household, updater, ledger, Post(), clock))
        for household in households
    ]


def stored(source: str, site: Site, now: datetime) -> SavedForecast:
    """A cold night, as the provider gives it."""
    return SavedForecast(source, now, now, dumped(Sky([(3.0, 17.0)]).body(site, DAY, now, 0)))


def no_network(*_: object, **__: object) -> Answer:
    msg = "nobody is asked while nothing is due"
    raise AssertionError(msg)


def keep_history(ledger: Ledger) -> None:
    """Put down what was told today for every day before that a ledger remembers, as done."""
    with closing(sqlite3.connect(ledger.file.path)) as database, database:
        for table in ("round", "notice", "chore"):
            columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
            earlier = ", ".join(_EARLIER.get((table, column), column) for column in columns)
            database.execute(
                "WITH RECURSIVE back (days) AS (SELECT 1 UNION ALL SELECT days + 1 FROM back"
                f" WHERE days < {KEPT_DAYS - 1})"
                f" INSERT INTO {table} SELECT {earlier} FROM {table}, back"
            )


def _moved(column: str) -> str:
    """A moment so many days ago, as it is stored."""
    return f"strftime('%Y-%m-%dT%H:%M:%S+00:00', {column}, -days || ' days')"


_EARLIER = {
    ("round", "day"): "date(day, -days || ' days')",
    ("round", "at"): _moved("at"),
    ("round", "after"): "'{}'",
    ("notice", "day"): "date(day, -days || ' days')",
    ("notice", "key"): "key || ' ' || days",
    ("notice", "next_at"): _moved("next_at"),
    ("notice", "expires_at"): _moved("expires_at"),
    ("notice", "sent_at"): _moved("sent_at"),
    ("chore", "id"): "date(substr(id, 1, 10), -days || ' days') || substr(id, 11)",
    ("chore", "before"): _moved("before"),
    ("chore", "done_at"): _moved("before"),
}
"""What is another value in the row of an earlier day, by table and column."""


def tick(desks: Sequence[Desk], clock: FakeClock) -> float:
    """One tick of all [s], half a minute after the last."""
    clock.move(minutes=0.5)
    start = time.perf_counter()
    for desk in desks:
        desk.tick()
    return time.perf_counter() - start


def told(number: int, folder: Path, clock: FakeClock) -> tuple[list[Desk], float]:
    """So many desks whose dusk has just been told, and how long that took [s]."""
    desks = build_desks(number, folder, clock)
    name = desks[0].context.updater.store.sources[0].name
    desks[0].context.ledger.call_schedules.keep(name, CallSchedule(clock() + timedelta(hours=1)))
    took = tick(desks, clock)
    if not all(isinstance(post := desk.context.sender, Post) and post.titles for desk in desks):
        msg = "dusk was not told to all"
        raise RuntimeError(msg)
    tick(desks, clock)
    return desks, took


def main() -> int:
    """Measure each number of households; print the table; return the exit status."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--profile", action="store_true")
    profile = options.parse_args().profile
    rows, medians = list[Row](), list[float]()
    with tempfile.TemporaryDirectory() as folder:
        for number in NUMBERS:
            clock = FakeClock(DUSK)
            desks, took = told(number, Path(folder), clock)
            keep_history(desks[0].context.ledger)
            gc.collect()
            medians.append(statistics.median(tick(desks, clock) for _ in range(TICKS)))
            goal = GOAL_S if number == NUMBERS[-1] else None
            rows.append(Row(f"{number} households: dusk told to all", took, "s"))
            rows.append(Row(f"{number} households: idle tick", medians[-1], "s", at_most=goal))
        if profile:
            profiler = cProfile.Profile()
            profiler.runcall(tick, desks, clock)
            pstats.Stats(profiler).sort_stats("cumulative").print_stats(40)
    growth = medians[-1] / medians[0] / (NUMBERS[-1] / NUMBERS[0])
    rows.append(Row("growth against linear", growth, "x", at_most=1.5))
    return report("Many households in one daemon", rows)


if __name__ == "__main__":
    sys.exit(main())
