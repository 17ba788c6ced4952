"""100,000 plants over 8 spots and 192 hours: how long does a sheet take, and how much room?

    python -m tests.bench.many [--plants 100000] [--times 5] [--patience 600]
    python -m tests.bench.many --profile week [--plants 100000]

A sheet is timed against the bare pass: plain NumPy that only compares leaf temperature and VPD at
each plant's spot with the plant's limits, hours x plants. The figure that counts is that of the
first sheet on a fresh collection and fresh weather, of other plants every time, so that nothing
can have been kept from an earlier one. Exit status 1 if a goal is missed.

Every measurement runs in a process of its own: the peak memory of a process is also that of its
parent at the moment of the fork, and this parent stays small.
"""

import argparse
import cProfile
import gc
import json
import math
import pstats
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sillward_rules import Collection, Round, Sheet, Weather, climate_of, draw_up, next_state
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.state import State
from tests.bench import invented
from tests.bench.table import Row, report, say

RATIO_MOST = 4.0
"""Most times the bare pass that all three sheets together may take, and so each of them."""

MEMORY_MOST_MB = 500.0

GROWTH = 10
GROWTH_MOST = GROWTH * 1.15
"""Ten times the plants in at most so many times the time."""

ALL = "all three"

Figures = dict[str, float]
"""Seconds, or MB, by name."""


def bare_pass(
    leaf_c: np.ndarray,
    vpd_kpa: np.ndarray,
    home: np.ndarray,
    night_low_c: np.ndarray,
    vpd_high_kpa: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Whether each plant (plant,) is ever too cold or too dry, from (hour, spot) series."""
    cold = np.any(leaf_c[:, home] < night_low_c, axis=0)
    dry = np.any(vpd_kpa[:, home] > vpd_high_kpa, axis=0)
    return np.asarray(cold), np.asarray(dry)


def bare_of(collection: Collection, weather: Weather) -> Callable[[], object]:
    """The bare pass over a collection, all that it looks at laid ready."""
    climate = climate_of(collection.site, collection.spots, weather)
    columns = {spot.name: column for column, spot in enumerate(climate.spots)}
    plants = collection.plants

    def values(limits: list[Limit | None]) -> np.ndarray:
        return np.array([np.nan if limit is None else limit.value for limit in limits])

    home = np.array([columns[plant.home] for plant in plants])
    night_low = values([plant.limits.night_low for plant in plants])
    vpd_high = values([plant.limits.vpd_high for plant in plants])
    return lambda: bare_pass(climate.leaf_c, climate.vpd_kpa, home, night_low, vpd_high)


def sheet_of(round_: Round, collection: Collection, state: State) -> tuple[Sheet, float]:
    """The sheet of a round at its moment, and the processor time it took [s]."""
    now = invented.MOMENTS[round_]
    weather = invented.weather(now)
    gc.collect()  # once before; while the sheet is drawn the collector works as in ordinary life
    start = time.process_time()
    sheet = draw_up(round_, collection, weather, state, now)
    return sheet, time.process_time() - start


def bare_seconds(collection: Collection, round_: Round) -> float:
    """Processor time of the bare pass, best of three [s]."""
    work = bare_of(collection, invented.weather(invented.MOMENTS[round_]))
    gc.collect()
    taken = []
    for _ in range(3):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def measure_time(plants: int, times: int, patience_s: float) -> None:
    """Write the least seconds of the bare pass and of every sheet: first, again, with a history.

    Taken in turns, up to `times` times; no turn begins that would probably exceed the patience.
    All that is known so far is written as one line after each figure.
    """
    best: Figures = {}

    def note(name: str, taken_s: float) -> None:
        best[name] = min(best.get(name, math.inf), taken_s)
        say(json.dumps(best))

    began = time.monotonic()
    # A garden outlives its sheets: the one before is not to be freed while a sheet is timed.
    alive: list[Collection] = []
    for turn in range(1, times + 1):
        dusk_state: State = {}
        for number, round_ in enumerate(Round):
            collection = invented.collection(plants, seed=len(Round) * turn + number)
            alive = [*alive[-1:], collection]
            sheet, first_s = sheet_of(round_, collection, {})
            invented.require_work(sheet, plants)
            note(f"{round_.value}, first", first_s)
            note(f"{round_.value}, again", sheet_of(round_, collection, {})[1])
            note("bare", bare_seconds(collection, round_))
            if round_ is Round.DUSK:
                dusk_state = next_state({}, sheet)
                note("morning, after dusk", sheet_of(Round.MORNING, collection, dusk_state)[1])
        spent_s = time.monotonic() - began
        if spent_s * (turn + 1) / turn > patience_s:
            break


def measure_memory(plants: int) -> None:
    """Write the peak memory [MB] once the collection stands and after a sheet of every round."""
    collection = invented.collection(plants, seed=1)
    figures = {"collection": _peak_mb()}
    for round_ in Round:
        sheet_of(round_, collection, {})
    say(json.dumps(figures | {"sheets": _peak_mb()}))


def _peak_mb() -> float:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6


def profile(round_: Round, plants: int) -> None:
    """Print where the first sheet of a round spends its time."""
    collection = invented.collection(plants, seed=1)
    with cProfile.Profile() as profiler:
        sheet_of(round_, collection, {})
    pstats.Stats(profiler).sort_stats("tottime").print_stats(25)


def apart(what: str, plants: int, options: argparse.Namespace) -> Figures:
    """Measure in a process of its own. What it knew by then, if it takes twice the patience."""
    say(f"measuring {what}, {plants:,} plants ...")
    command = [sys.executable, "-m", "tests.bench.many", "--measure", what]
    command += ["--plants", str(plants), "--times", str(options.times)]
    command += ["--patience", str(options.patience)]
    try:
        written = subprocess.run(
            command,
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[2],
            timeout=2 * options.patience,
            check=True,
        ).stdout
    except subprocess.TimeoutExpired as error:
        say(f"  given up after {error.timeout:g} s")
        written = error.stdout or b""
    # Cut off in mid-line, the last one is no JSON: take the last that is whole.
    whole = written[: written.rfind(b"\n") + 1].splitlines()
    figures: Figures = json.loads(whole[-1]) if whole else {}
    for which in ("first", "again"):
        parts = [figures.get(f"{round_.value}, {which}", math.nan) for round_ in Round]
        figures[f"{ALL}, {which}"] = sum(parts)
    return figures


def compare(options: argparse.Namespace) -> int:
    """Measure everything, print the table, return the exit status."""
    few = options.plants // GROWTH
    large, small = (apart("time", count, options) for count in (options.plants, few))
    memory = apart("memory", options.plants, options)

    def of(figures: Figures, name: str) -> float:
        return figures.get(name, math.nan)

    names = [*(round_.value for round_ in Round), ALL]
    bare = of(large, "bare")
    rows = [Row("bare pass", bare * 1e3, "ms")]
    rows += [Row(f"{name}, first sheet", of(large, f"{name}, first") * 1e3, "ms") for name in names]
    rows += [Row(f"{name}, drawn again", of(large, f"{name}, again") * 1e3, "ms") for name in names]
    rows.append(Row("morning, after that dusk", of(large, "morning, after dusk") * 1e3, "ms"))
    rows += [
        Row(
            f"{name}: first sheet / bare",
            of(large, f"{name}, first") / bare,
            at_most=RATIO_MOST,
        )
        for name in names
    ]
    rows += [
        Row(
            f"{name}: growth from {few:,} plants",
            of(large, f"{name}, first") / of(small, f"{name}, first"),
            at_most=GROWTH_MOST,
        )
        for name in names
    ]
    rows.append(Row("peak memory before the first sheet", of(memory, "collection"), "MB"))
    rows.append(Row("peak memory", of(memory, "sheets"), "MB", at_most=MEMORY_MOST_MB))
    spots = len(invented.OUTDOORS) + len(invented.INDOORS)
    hours = invented.PAST_H + invented.AHEAD_H
    return report(f"{options.plants:,} plants, {spots} spots, {hours} hours", rows)


def main() -> int:
    """Read the command line; measure, profile, or be the process that measures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--plants", type=int, default=100_000)
    parser.add_argument("--times", type=int, default=5, help="best of so many")
    parser.add_argument("--patience", type=float, default=600.0, help="seconds per measurement")
    parser.add_argument("--profile", choices=[round_.value for round_ in Round])
    parser.add_argument("--measure", choices=["time", "memory"], help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.profile:
        profile(Round(options.profile), options.plants)
        return 0
    if options.measure == "time":
        measure_time(options.plants, options.times, options.patience)
        return 0
    if options.measure == "memory":
        measure_memory(options.plants)
        return 0
    return compare(options)


if __name__ == "__main__":
    sys.exit(main())
