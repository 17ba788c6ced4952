"""How long a replay takes: a year and ten years, 200 plants that all differ, on two cores.

The weather is invented, with warm and cold spells; forecasts come every six hours and err as usual.
`--profile` shows where a season goes, in this process.
"""

import argparse
import cProfile
import pstats
import resource
import sys
import time
from datetime import date, timedelta

from sillward.replay.run import run
from sillward_rules.replay.engine import Plan, replay
from sillward_rules.replay.forecasts import ErringForecasts
from sillward_rules.replay.records import ReplayResult
from sillward_rules.replay.summary import totals
from tests.bench import invented
from tests.bench.table import Row, report, say
from tests.support.past_weather import past_weather

PLANTS, PROCESSES = 200, 2
FIRST = date(2026, 1, 1)
BEFORE, AFTER = timedelta(days=30), timedelta(days=5)
YEAR, TEN_YEARS = 365, 3652
YEAR_S, TEN_YEARS_S = 5.0, 30.0
"""Goals: what one waits for at a prompt, and for a walk to the kitchen."""

MORE_MB = 40.0
"""Goal: how much more a process may have in memory for ten years than for one. Ten years of hourly
weather are 11 MB."""


def plan(nights: int, plants: int) -> Plan:
    """The replay of so many nights."""
    days = (BEFORE + AFTER).days + nights
    truth = past_weather(FIRST - BEFORE, days, site=invented.SITE)
    last = FIRST + timedelta(days=nights - 1)
    garden = invented.collection(plants, seed=1)
    return Plan(garden, truth, ErringForecasts(truth, seed=1), FIRST, last)


def require_work(result: ReplayResult) -> None:
    """Raise ValueError unless plants were carried on most nights: else figures would flatter."""
    carried = sum(night.carried_in > 0 for night in result.nights)
    if not result.complete or carried < len(result.nights) / 2:
        msg = f"plants were carried in on only {carried} of {len(result.nights)} nights"
        raise ValueError(msg)


def timed(nights: int, plants: int, processes: int) -> tuple[float, ReplayResult]:
    """Seconds that so many nights take, and what they come to."""
    asked = plan(nights, plants)
    start = time.perf_counter()
    (result,) = run([asked], processes=processes)
    seconds = time.perf_counter() - start
    require_work(result)
    return seconds, result


def child_mb() -> float:
    """The most that any child has had in memory so far [MB]."""
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def main() -> int:
    """Measure, print, and return the exit status."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plants", type=int, default=PLANTS)
    options.add_argument("--processes", type=int, default=PROCESSES)
    options.add_argument("--year", action="store_true", help="measure a year alone")
    options.add_argument("--profile", action="store_true")
    asked = options.parse_args()
    if asked.profile:
        profiler = cProfile.Profile()
        profiler.runcall(replay, plan(90, asked.plants))
        pstats.Stats(profiler).sort_stats("cumtime").print_stats(60)
        return 0
    seconds, result = timed(YEAR, asked.plants, asked.processes)
    say(f"{totals(result.nights)}")
    rows = [
        Row("a year", seconds, "s", at_most=YEAR_S),
        Row("a night", 1000 * seconds / YEAR, "ms"),
        Row("memory of a process, a year", child_mb(), "MB"),
    ]
    if not asked.year:
        before = child_mb()
        seconds, _ = timed(TEN_YEARS, asked.plants, asked.processes)
        rows += [
            Row("ten years", seconds, "s", at_most=TEN_YEARS_S),
            Row("memory, more than for a year", child_mb() - before, "MB", at_most=MORE_MB),
        ]
    title = f"Replay of {asked.plants} plants by {asked.processes} processes"
    return report(title, rows)


if __name__ == "__main__":
    sys.exit(main())
