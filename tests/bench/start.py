"""How much processor time it takes to start: commands, and the process that sends.

    python -m tests.bench.start [--times 9]

Each runs in a fresh process of this checkout with its bytecode at hand, in turns; the least of its
runs counts, since others only add to it. Threads that wait in a loop are in it, which a clock on
the wall does not see. Exit status 1 if a goal is missed.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.bench.table import Row, report
from tests.bench.whole_process import environment, import_statement
from tests.support.paths import EXAMPLES

COLD_SNAP = (
    *("--collection", str(EXAMPLES / "courtyard.toml")),
    *("--recorded", str(EXAMPLES / "recorded" / "cold-snap.json")),
)

OF_AN_ANSWER = (
    "astral.sun, click, logging, numpy, pydantic, pydantic_settings, sqlite3, tomllib, wcwidth"
)
"""What an answer cannot do without: it reads settings and collection, and knows sun and limits."""

COMMANDS: Mapping[str, tuple[Sequence[str], float | None]] = {
    "the interpreter": (("-c", "pass"), None),
    "NumPy": (("-c", "import numpy"), None),
    "pydantic": (("-c", "from pydantic import BaseModel"), None),
    "pydantic and its settings": (("-c", "from pydantic_settings import BaseSettings"), None),
    "all direct dependencies": (("-c", import_statement()), None),
    "the libraries of an answer": (("-c", f"import {OF_AN_ANSWER}"), None),
    "--help": (("-m", "sillward", "--help"), 0.15),
    "done --help": (("-m", "sillward", "done", "--help"), 0.45),
    "status --help": (("-m", "sillward", "status", "--help"), 0.6),
    "sheet --help": (("-m", "sillward", "sheet", "--help"), 0.6),
    "sheet of a dozen plants": (("-m", "sillward", "sheet", *COLD_SNAP), 0.7),
    "run --help": (("-m", "sillward", "run", "--help"), None),
    "the process that sends": (("-c", "import sillward.channels.sender_process"), 0.3),
}
"""What is run, and at most how much processor time it may take [s]; None: it is there to be known.
The goals leave room for a slower machine: they find what is imported by mistake. Measured with
Python 3.11 on x86-64, busy with other work: 60 ms, an answer 426 ms, a sheet 610 ms, the process
that sends 234 ms; 90 and 160 ms of the second and third are the making of dataclasses."""

RATIOS: Mapping[tuple[str, str], float] = {
    ("done --help", "the libraries of an answer"): 1.45,
    ("sheet of a dozen plants", "all direct dependencies"): 1.3,
}
"""At most how many times the second the first may take. Of the libraries of an answer NumPy takes a
quarter, pydantic a quarter and its settings a quarter, 280 ms together: a start within a quarter of
a second is out of reach with them."""


def processor_s(command: Sequence[str], home: Path) -> float:
    """Processor time of a process and of those that it waited for [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *command],
        cwd=home,
        env=environment(home),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> int:
    """Run all in turns; print the table; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--times", type=int, default=9, help="runs of each")
    times = parser.parse_args().times

    least = dict.fromkeys(COMMANDS, float("inf"))
    with tempfile.TemporaryDirectory() as folder:
        for turn in range(times + 1):
            for name, (command, _) in COMMANDS.items():
                taken = processor_s(command, Path(folder))
                if turn:  # the first is for bytecode and the disk's cache
                    least[name] = min(least[name], taken)
    rows = [
        Row(name, least[name] * 1e3, "ms", None if most is None else most * 1e3)
        for name, (_, most) in COMMANDS.items()
    ]
    rows += [
        Row(f"{one} / {other}", least[one] / least[other], at_most=most)
        for (one, other), most in RATIOS.items()
    ]
    return report(f"processor time from start to exit, least of {times}", rows)


if __name__ == "__main__":
    sys.exit(main())
