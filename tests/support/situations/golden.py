"""The golden files: what growers are told in a hundred situations.

After an intended change run `python -m tests.support.situations`, then read the difference as the
grower would.
"""

from pathlib import Path

from sillward.text.units import SI, Units
from tests.support.paths import GOLDEN
from tests.support.situations import alarms, away, dusk, follow_ups, morning, pots, tonight, week
from tests.support.situations.situation import ALL, US, Situation

PLAYED = (dusk, morning, week, follow_ups, alarms, away, tonight, pots)
"""The modules whose situations are in ALL; importing them registers these."""


def files() -> list[str]:
    """Return the names of the golden files."""
    sheets = [_sheets_of(situation) for situation in ALL if situation.full_in]
    return list(dict.fromkeys([*(situation.family for situation in ALL), *sheets]))


def golden(file: str) -> str:
    """Return the content of a golden file."""
    said = []
    for situation in ALL:
        for units in (SI, US):
            if file == situation.family and (units == SI or situation.imperial):
                said.append(f"{_heading(situation, units)}\n\n{situation.told(units).text}\n")
            if file == _sheets_of(situation) and units in situation.full_in:
                said.append(f"{_heading(situation, units)}\n\n{situation.told(units).full}")
    return "\n\n".join(said)


def path_of(file: str) -> Path:
    """Return where a golden file is kept."""
    return GOLDEN / f"{file}.txt"


def _sheets_of(situation: Situation) -> str:
    return situation.family.replace("push", "full")


def _heading(situation: Situation, units: Units) -> str:
    mark = "" if units == SI else f" [{units.temperature}, {units.clock}, {units.wind}]"
    return f"=== {situation.name}{mark}\n    {situation.about}"
