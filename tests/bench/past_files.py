"""Ten years of past weather, read from a file of each kind, each in a process of its own.

    python -m tests.bench.past_files [--years 10]

The time is that of `read_archive` alone, without imports; the memory is the peak of the process,
imports included. Exit status 1 if a goal is missed.
"""

import argparse
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.table import Row, report
from tests.support.past_files import API_UNITS, Hours, body, dumped, hours, table, with_leads

SECONDS_MOST = 5.0
MEMORY_MOST_MB = 250.0

READ = r"""
import re, sys, time
from pathlib import Path
from sillward.archive import read_archive
from tests.support.past_files import SITE
started = time.perf_counter()
read_archive(Path(sys.argv[1]), SITE)
seconds = time.perf_counter() - started
# getrusage would count what the process that started this one had in memory
(peak_kb,) = re.findall(r"VmHWM:\s*([0-9]+)", Path("/proc/self/status").read_text())
print(seconds, int(peak_kb) / 1000)
"""


def contents(years: int) -> dict[str, bytes]:
    """A file of each kind with so many years."""
    of = hours(round(365.25 * years), datetime(2014, 1, 1, tzinfo=UTC))
    heads = {name: f"{name} ({API_UNITS[name]})" for name in of.series}
    no_light = {name: head for name, head in heads.items() if "radiation" not in name}
    leads = with_leads(of, range(1, 8), ["temperature_2m", "dew_point_2m", "wind_speed_10m"])
    return {
        "archive, JSON": dumped(body(of)),
        "previous runs, JSON": dumped(body(Hours(of.times, leads.series))),
        "CSV": table(of, heads).encode(),
        "CSV, light estimated": table(of, no_light).encode(),
    }


def measured(content: bytes) -> tuple[float, float]:
    """Seconds and megabytes of reading a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "past"
        path.write_bytes(content)
        ran = subprocess.run(
            [sys.executable, "-c", READ, str(path)], capture_output=True, text=True, check=True
        )
    seconds, megabytes = map(float, ran.stdout.split())
    return seconds, megabytes


def main() -> int:
    """Measure and print. Return the exit status."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=int, default=10)
    years = parser.parse_args().years
    rows = []
    for kind, content in contents(years).items():
        seconds, megabytes = measured(content)
        rows.append(Row(f"{kind}: reading", seconds, "s", at_most=SECONDS_MOST))
        rows.append(Row(f"{kind}: memory", megabytes, "MB", at_most=MEMORY_MOST_MB))
    return report(f"{years} years of past weather", rows)


if __name__ == "__main__":
    sys.exit(main())
