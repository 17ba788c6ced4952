"""`sillward sheet` as a whole process against the bare import of its direct dependencies.

    python -m tests.bench.whole_process [--plants 200] [--times 15]

A command line is felt from Enter to the last line. Most of that is imports, and those that the
dependencies cost are the floor. Both commands run in turns, in fresh processes of this checkout,
and their processor time is measured, which a busy machine sways less than a clock on the wall;
the sheet is that of dusk for 200 plants from a recorded forecast. The floor includes what such a
sheet need not import (Apprise, the scheduler, requests). Exit status 1 if a goal is missed.
"""

import argparse
import os
import random
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from sillward_rules import standard_groups
from tests.bench.table import Row, report

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "courtyard.toml"
RECORDED = ROOT / "examples" / "recorded" / "cold-snap.json"
AT = "2026-05-14T17:00-03:00"

RATIO_MOST = 1.45
"""Most times the bare imports that the sheet may take. Measured: 1.39 for 200 plants of a hundred
culture groups, each of which is read from its table; 1.25 for a dozen plants."""

MODULES: Mapping[str, Sequence[str]] = {
    "apprise": ["apprise"],
    "apscheduler": [
        "apscheduler.executors.pool",
        "apscheduler.schedulers.background",
        "apscheduler.triggers.interval",
    ],
    "astral": ["astral", "astral.sun"],
    "click": ["click"],
    "icalendar": [],  # a sheet does without, and so does its floor
    "jinja2": ["jinja2.sandbox"],
    "numpy": ["numpy"],
    "pydantic": ["pydantic"],
    "pydantic-settings": ["pydantic_settings"],
    "requests": ["requests"],
    "tzdata": ["tzdata"],
    "urllib3": ["urllib3"],
    "wcwidth": ["wcwidth"],
}
"""What the packages import of each direct dependency."""


def import_statement() -> str:
    """Import every direct dependency that pyproject.toml names. KeyError: name its modules here."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = [re.split(r"[^\w.-]", line, maxsplit=1)[0] for line in project["dependencies"]]
    return "import " + ", ".join(module for name in names for module in MODULES[name])


def collection_text(plants: int) -> str:
    """The example collection with more plants, of random groups, up to this many."""
    text = EXAMPLE.read_text(encoding="utf-8")
    example = tomllib.loads(text)
    spots = example["spots"]
    homes = [name for name, spot in spots.items() if not spot.get("indoors", False)]
    shelters = [name for name, spot in spots.items() if spot.get("indoors", False)]
    chance = random.Random(1)
    tables = [text]
    for number in range(len(example["plants"]), plants):
        group = chance.choice(list(standard_groups().values()))
        lines = {
            "name": f"Nr {number}",
            "group": group.name,
            "holder": chance.choice(group.holders),
            "home": chance.choice(homes),
            "shelter": chance.choice(shelters),
        }
        tables.append("\n[[plants]]\n")
        tables += [f'{key} = "{value}"\n' for key, value in lines.items()]
        if chance.random() < 0.1:
            tables.append(f"limits.night_low = {chance.randint(8, 32) / 2}\n")
    return "".join(tables)


def environment(home: Path) -> dict[str, str]:
    """This process's environment without the grower's settings; this checkout is what runs.

    Byte code is kept in `home`, whatever the environment says of it: what is installed has some.
    """
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SILLWARD_")}
    kept.pop("PYTHONDONTWRITEBYTECODE", None)
    roots = [str(ROOT / "daemon"), str(ROOT / "rules")]
    path = [folder for folder in kept.get("PYTHONPATH", "").split(os.pathsep) if folder]
    ledger = str(home / "ledger.sqlite3")
    return kept | {
        "HOME": str(home),
        "OPENBLAS_NUM_THREADS": "1",  # as sillward sets it itself
        "PYTHONPATH": os.pathsep.join([*roots, *path]),
        "PYTHONPYCACHEPREFIX": str(home / "bytecode"),
        "SILLWARD_LEDGER": ledger,
    }


def seconds(command: Sequence[str], home: Path) -> tuple[float, str]:
    """Processor time of a command, and what it prints. CalledProcessError if it fails."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        command, cwd=home, env=environment(home), capture_output=True, text=True, check=True
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    taken = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return taken, done.stdout


def main() -> int:
    """Run both in turns; print the table; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--plants", type=int, default=200)
    parser.add_argument("--times", type=int, default=15, help="runs of each")
    options = parser.parse_args()

    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        collection = home / "many.toml"
        collection.write_text(collection_text(options.plants), encoding="utf-8")
        of_sheet = ["--round", "dusk", "--recorded", str(RECORDED), "--at", AT]
        of_sheet += ["--collection", str(collection)]
        commands = {
            "sheet": [sys.executable, "-m", "sillward", "sheet", *of_sheet],
            "imports": [sys.executable, "-c", import_statement()],
            "interpreter": [sys.executable, "-c", "pass"],
        }
        for name, command in commands.items():  # once untimed: byte code, disk cache
            said = seconds(command, home)[1]
            if name == "sheet" and said.count("\n") < 20:
                msg = f"this is no sheet: {said!r}"
                raise ValueError(msg)
        taken: dict[str, list[float]] = {name: [] for name in commands}
        for turn in range(options.times):
            for name in sorted(commands, reverse=turn % 2 == 1):
                taken[name].append(seconds(commands[name], home)[0])

    rows = []
    best = {name: min(all_) for name, all_ in taken.items()}
    median = {name: statistics.median(all_) for name, all_ in taken.items()}
    for word, figures in (("best", best), ("median", median)):
        rows += [Row(f"{name}, {word}", figures[name] * 1e3, "ms") for name in commands]
    for word, figures in (("best", best), ("median", median)):
        ratio = figures["sheet"] / figures["imports"]
        rows.append(Row(f"sheet / imports, {word}", ratio, at_most=RATIO_MOST))
    title = f"dusk sheet of {options.plants} plants, from start to exit, {options.times} runs each"
    return report(title, rows)


if __name__ == "__main__":
    sys.exit(main())
