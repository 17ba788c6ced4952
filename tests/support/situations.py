"""What growers are told in every situation that we could think of, as it is kept in `golden/`.

After a change that is meant: `python -m tests.support.situations`, then read the difference as the
grower would.
"""

import logging
from pathlib import Path

from sillward.text.units import SI, Units
from tests.support.paths import GOLDEN
from tests.support.situations_told import afterwards, alarms, dusk, morning, week
from tests.support.situations_told.told import ALL, US, Situation

PLAYED = (dusk, morning, week, afterwards, alarms)
"""Whose situations are in ALL."""


def files() -> list[str]:
    """The names of the golden files."""
    sheets = [_sheets_of(one) for one in ALL if one.full_in]
    return list(dict.fromkeys([*(one.family for one in ALL), *sheets]))


def golden(file: str) -> str:
    """What belongs into a golden file."""
    said = []
    for one in ALL:
        for units in (SI, US):
            if file == one.family and (units == SI or one.imperial):
                said.append(f"{_heading(one, units)}\n\n{one.told(units).text}\n")
            if file == _sheets_of(one) and units in one.full_in:
                said.append(f"{_heading(one, units)}\n\n{one.told(units).full}")
    return "\n\n".join(said)


def path_of(file: str) -> Path:
    """Where it is kept."""
    return GOLDEN / f"{file}.txt"


def _sheets_of(one: Situation) -> str:
    return one.family.replace("push", "full")


def _heading(one: Situation, units: Units) -> str:
    mark = "" if units == SI else f" [{units.temperature}, {units.clock}, {units.wind}]"
    return f"=== {one.name}{mark}\n    {one.about}"


if __name__ == "__main__":
    logging.disable()  # what goes wrong in them is meant to
    GOLDEN.mkdir(exist_ok=True)
    for name in files():
        path_of(name).write_text(golden(name), encoding="utf-8")
