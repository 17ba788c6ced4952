"""A million lines of a logger, read and kept: `sillward read-file`, in a process of its own.

    python -m tests.bench.logger_file [--lines 1000000]

Time and memory are those of the whole process, imports and ledger included. Exit status 1 if a goal
is missed.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter

from tests.bench.table import Row, report
from tests.support.paths import EXAMPLES

SECONDS_MOST = 20.0
MEMORY_MOST_MB = 400.0
START = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)

CALL = r"""
import re, sys
from pathlib import Path
from sillward.cli import main
try:
    main(sys.argv[1:])
finally:
    (peak_kb,) = re.findall(r"VmHWM:\s*([0-9]+)", Path("/proc/self/status").read_text())
    print("peak", peak_kb, file=sys.stderr)
"""

Line = Callable[[int, datetime], str]
FORMS: dict[str, tuple[str, Line]] = {
    "heads, AM and PM, two columns": (
        '"Plot Title: pergola"\n"#","Date Time, GMT+00:00","Temp, °C (LGR S/N: 1)","RH, %"\n',
        lambda row, at: f"{row},{at:%Y-%m-%d %I:%M:%S %p},{10 + row % 97 / 10:.3f},{40 + row % 31}",
    ),
    "semicolons and decimal commas": (
        "Date;Time;Temperature (°C)\n",
        lambda row, at: f"{at:%d.%m.%Y;%H:%M:%S};{10 + row % 97 // 10},{row % 10}",
    ),
    "local time, a blank now and then": (
        "time (local),temperature (°C)\n",
        lambda row, at: f"{at:%Y-%m-%d %H:%M},{'' if row % 50 == 0 else 10 + row % 9}",
    ),
}


def content(form: str, lines: int) -> Iterator[str]:
    """A line a minute until now."""
    head, line = FORMS[form]
    yield head
    for row in range(lines):
        yield line(row, START - timedelta(minutes=lines - row)) + "\n"


def measured(form: str, lines: int) -> tuple[float, float]:
    """Seconds and megabytes of reading a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logger.csv"
        with path.open("w", encoding="utf-8") as file:
            file.writelines(content(form, lines))
        words = ["read-file", path, "--spot", "pergola", "--dates", "dmy"]
        if "local" not in form:
            words += ["--zone", "UTC"]
        started = perf_counter()
        ran = subprocess.run(
            [sys.executable, "-c", CALL, *map(str, words)],
            capture_output=True,
            text=True,
            check=True,
            env={
                **os.environ,
                "SILLWARD_COLLECTION": str(EXAMPLES / "courtyard.toml"),
                "SILLWARD_LEDGER": str(Path(folder) / "ledger"),
            },
        )
        seconds = perf_counter() - started
    assert f"{lines - (lines // 50 if 'blank' in form else 0):,} readings" in ran.stdout, ran.stdout
    (peak_kb,) = re.findall(r"peak ([0-9]+)", ran.stderr)
    return seconds, int(peak_kb) / 1000


def main() -> int:
    """Measure and print. Return the exit status."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--lines", type=int, default=1_000_000)
    lines = parser.parse_args().lines
    rows = []
    for form in FORMS:
        seconds, megabytes = measured(form, lines)
        rows.append(Row(f"{form}: time", seconds, "s", at_most=SECONDS_MOST))
        rows.append(Row(f"{form}: memory", megabytes, "MB", at_most=MEMORY_MOST_MB))
    return report(f"{lines:,} lines of a logger", rows)


if __name__ == "__main__":
    sys.exit(main())
