"""The pages of a household with many plants: how long each takes, and how large it is.

The packaged example with its plants many times over, two rounds told, a ledger in a file, and a
diary that is ten years long. What is measured is a second look, without the network: from the
request to the last byte of the answer. `--profile /plants` shows where one goes.
"""

import argparse
import cProfile
import pstats
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import cycle, islice
from pathlib import Path

from werkzeug.test import Client

from sillward.assembly import demo_page
from sillward.assembly.examples import demo
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.page.application import Application
from sillward.page.guard import Guard
from sillward.page.keys import key_of
from sillward.page.rendering import PLACES
from sillward.page.routes import ROUTES
from tests.bench.table import Row, report, say

PLANTS = 300
ENTRIES = 30_000
LOOKS = 15
GOAL_MS, GOAL_KB = 150.0, 150.0


def asked(folder: Path, entries: int = ENTRIES) -> tuple[Client, str]:
    """A client of the page, and the name of the plant with the longest diary."""
    app = demo("cold-snap")
    plants = [
        replace(plant, name=f"{plant.name} {number}")
        for number, plant in enumerate(islice(cycle(app.household.collection.plants), PLANTS))
    ]
    collection = replace(app.household.collection, plants=tuple(plants))
    app = replace(app, household=replace(app.household, collection=collection))
    ledger = Ledger(folder / "ledger.sqlite3")
    desk = demo_page.told_page_desk(app, ledger, now=datetime(2026, 5, 14, tzinfo=UTC))
    with desk.open() as context:
        now, site = context.clock(), context.site.name
        diary = [
            DiaryEntry(
                plants[number % 2 * (number % PLANTS)].name,
                now - timedelta(hours=3 * number),
                now,
                EntryKind.OBSERVATION,
                "Roots green, one new leaf; wiped the scale off the oldest.",
                "Ana",
            )
            for number in range(entries)
        ]
        context.ledger.diary.add(site, diary)
    return Client(Application(desk, Guard(b"k" * 32))), plants[0].name


def measured(client: Client, path: str) -> tuple[float, float]:
    """The median time of a second look [ms], and the size of the answer [kB]."""
    took, size = [], 0
    for look in range(LOOKS + 1):
        start = time.perf_counter()
        answer = client.get(path)
        size = len(answer.data)
        if look:
            took.append(1000 * (time.perf_counter() - start))
        if answer.status_code != 200:
            msg = f"{path} answered {answer.status}"
            raise RuntimeError(msg)
    return statistics.median(took), size / 1000


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure each page of the navigation and one plant; print the table; return the status."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--profile", metavar="ADDRESS")
    profile = options.parse_args(arguments).profile
    rows = list[Row]()
    with tempfile.TemporaryDirectory() as folder:
        client, longest = asked(Path(folder))
        addresses = {route.name: route.rule for route in ROUTES}
        paths = [addresses[name] for name, _ in PLACES]
        for path in (*paths, f"/plants/{key_of(longest)}"):
            took_ms, size_kb = measured(client, path)
            rows.append(Row(f"{path}: time", took_ms, "ms", at_most=GOAL_MS))
            rows.append(Row(f"{path}: size", size_kb, "kB", at_most=GOAL_KB))
        if profile:
            profiler = cProfile.Profile()
            say(f"\n{profile}\n")
            profiler.runcall(client.get, profile)
            pstats.Stats(profiler).sort_stats("cumulative").print_stats(40)
    return report(f"The page of {PLANTS} plants and {ENTRIES:,} entries in their diaries", rows)


if __name__ == "__main__":
    sys.exit(main())
