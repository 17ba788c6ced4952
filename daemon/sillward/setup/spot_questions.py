"""The questions about spots: outdoors by what covers them, indoors by how cold they get."""

import csv
import io
from collections.abc import Iterable, Sequence

from sillward.config.models import Text
from sillward.setup.answers import BREEZES, COVERS, IndoorAnswer, OutdoorAnswer, SpotAnswer
from sillward.setup.dialogue import Dialogue, Question, ask
from sillward.setup.prompts import NONE, choose, temperature, valid
from sillward.text.units import Temperature

USUAL_SPOT, USUAL_ROOM = "bench", "house"
"""Names that are offered."""


def ask_spots(
    unit: Temperature,
    outdoors: Sequence[str] = (USUAL_SPOT,),
    indoors: Sequence[str] = (USUAL_ROOM,),
    needed: Sequence[str] = (),
) -> Dialogue[list[SpotAnswer]]:
    """Ask for spots outdoors and indoors until there is at least one.

    outdoors, indoors: names that are offered.
    needed: spots at which plants stand, so that they must be among them.
    """
    above = [""]
    while True:
        names = yield from _ask_names("Spots outdoors", outdoors, above)
        spots: list[SpotAnswer] = []
        for name in names:
            spots.append((yield from _ask_outdoors(name)))
        missing = _not_among(needed, names)
        rooms = _not_among(dict.fromkeys([*indoors, *missing]), names)
        inside = yield from _ask_names(
            "Rooms that plants are carried to on cold nights", rooms, [""], names, missing
        )
        for name in inside:
            spots.append((yield from _ask_indoors(name, unit)))
        if spots:
            return spots
        above = ["", "  there must be at least one spot"]


def _ask_names(
    what: str,
    usual: Sequence[str],
    above: Sequence[str],
    taken: Sequence[str] = (),
    needed: Sequence[str] = (),
) -> Dialogue[list[str]]:
    """Ask for the names of spots, with commas between.

    taken: names that other spots have.
    needed: names that must be among them.
    """

    def read(typed: str) -> list[str]:
        names = split_names(typed)
        for name in names:
            valid(Text, name)
            if name in taken or names.count(name) > 1:
                msg = f'there is a spot "{name}" already'
                raise ValueError(msg)
        missing = _not_among(needed, names)
        if missing:
            msg = f'your list has plants at {", ".join(missing)}: outdoors (write "back") or here?'
            raise ValueError(msg)
        return names

    text = f"{what} (with commas between; {NONE} for none)"
    question = Question(text, read, joined_names(usual), above=tuple(above))
    return (yield from ask(question))


def _not_among(names: Iterable[str], others: Sequence[str]) -> list[str]:
    """Return those of some names that are not among others, however these are capitalised."""
    folded = {other.casefold() for other in others}
    return [name for name in names if name.casefold() not in folded]


_MARKS = frozenset(",;")


def split_names(typed: str) -> list[str]:
    """Return names that were typed with commas between, or else with semicolons.

    One that has such a mark itself is quoted.
    """
    if typed in ("", NONE):
        return []
    delimiter = next((mark for mark in ",;" if mark in typed), None)
    parts = [typed]
    if delimiter is not None:
        parts = next(csv.reader([typed], delimiter=delimiter, skipinitialspace=True))
    return [part.strip() for part in parts if part.strip()]


def joined_names(names: Sequence[str]) -> str:
    """Return names as `split_names` reads them."""
    if len(names) == 1 and not _MARKS.intersection(names[0]):
        return names[0]
    if not any(_MARKS.intersection(name) or name.startswith('"') for name in names):
        return ", ".join(names) or NONE
    line = io.StringIO()
    csv.writer(line, lineterminator="", quoting=csv.QUOTE_ALL).writerow(names)
    return line.getvalue()


def _ask_outdoors(name: str) -> Dialogue[OutdoorAnswer]:
    rows = [cover.question for cover in COVERS]
    cover = yield from choose(f"What is above {name}?", rows, 2)
    rows = [breeze.question for breeze in BREEZES]
    breeze = yield from choose("And the wind?", rows, 2, about=name, subject=name)
    return OutdoorAnswer(name, COVERS[cover], BREEZES[breeze])


def _ask_indoors(name: str, unit: Temperature) -> Dialogue[IndoorAnswer]:
    def read(typed: str) -> float | None:
        return temperature(typed, unit) if typed else None

    question = Question(
        f"How cold does it get in {name}, {unit}?", read, enter="not known", about=name
    )
    return IndoorAnswer(name, (yield from ask(question)))
