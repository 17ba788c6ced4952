"""A list of plants from a spreadsheet: a CSV file with a plant in each line under its heads.

Whatever spreadsheets write is read: commas, semicolons or tabs, UTF-8 with or without a mark,
UTF-16, Windows-1252, and the line `sep=;`. This module is pure.
"""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from sillward.archive import csv_layout
from sillward.config.models import Text
from sillward.config.validation import problem_with
from sillward.errors import ConfigError, SourceError, one_line
from sillward.forecast.parsing import Reading
from sillward.setup.prompts import NONE
from sillward_rules.plants.group_names import singulars
from sillward_rules.plants.plant import HOLDERS, Holder

COLUMNS = ("name", "group", "holder", "home", "shelter")
"""The heads that are known."""

OTHER_HOLDERS: Mapping[str, Holder] = {
    "hanging": "basket",
    "slatted": "basket",
    "mounted": "mount",
    "slab": "mount",
    "plaque": "mount",
    "sphagnum": "moss",
}
"""Other words for holders, where none of `HOLDERS` is said. Judgement: what hangs, and is no pot,
is open. It dries fast, so that it is watered too soon rather than too late."""

MAX_PLAIN = 80
"""Characters of a text that need no further look if all are plain: to look takes a while each time,
and a list has thousands of cells."""

_ZIP = b"PK\x03\x04"
"""How the files of spreadsheet programs begin."""


@dataclass(frozen=True, slots=True)
class ListedPlant:
    """A line of the list, as it is written; None where its cell is empty.

    line: the number of the line in the file.
    """

    line: int
    name: str
    group: str | None = None
    holder: Holder | None = None
    home: str | None = None
    shelter: str | None = None


@dataclass(frozen=True, slots=True)
class PlantList:
    """A list of plants.

    file: the name of the file.
    columns: which of `COLUMNS` it has.
    unused: the heads of columns that are left out.
    """

    file: str
    plants: Sequence[ListedPlant]
    columns: Sequence[str]
    unused: Sequence[str] = ()

    @property
    def spots(self) -> dict[str, str]:
        """The spots that it names, in the spelling that comes first, by their folded names."""
        found: dict[str, str] = {}
        for plant in self.plants:
            for name in filter(None, (plant.home, plant.shelter)):
                found.setdefault(name.casefold(), name)
        return found


def read(body: bytes, file: str) -> PlantList:
    """Return the plants of a file. Raise ConfigError with all that is wrong, line by line.

    file: its name.
    """
    text = _decoded(body, file)
    delimiter, heads, rows = _under_heads(text, file)
    columns = {
        head.casefold(): index for index, head in enumerate(heads) if head.casefold() in COLUMNS
    }
    reader = _RowReader(columns, len(heads))
    plants = [reader.read(*row) for row in _rows(rows, delimiter, reader.problems)]
    if not plants and not reader.problems:
        reader.problems.append("has no plants below its headings")
    if reader.problems:
        raise ConfigError([f"{file}: {problem}" for problem in reader.problems])
    unused = [one_line(head, 40) for head in heads if head and head.casefold() not in COLUMNS]
    return PlantList(file, plants, tuple(columns), tuple(unused))


def _decoded(body: bytes, file: str) -> str:
    if body.startswith(_ZIP):
        raise ConfigError([f"{file}: is a workbook; save the sheet as CSV and use that"])
    try:
        encoding = csv_layout.encoding_of(body, Reading(file, "it"), "list of plants")
    except SourceError as error:
        raise ConfigError([str(error)]) from None
    text = body.decode(encoding)
    return text if "\n" in text else text.replace("\r", "\n")  # as old programs end lines


def _under_heads(text: str, file: str) -> tuple[str, list[str], tuple[int, str]]:
    """Return the delimiter, the heads, and what follows with the number of lines before it."""
    before, rest = 0, text
    while rest:
        line, _, after = rest.partition("\n")
        if line.strip() and not line.casefold().startswith("sep="):
            break
        before, rest = before + 1, after
    else:
        raise ConfigError([f"{file}: is empty"])
    found = [(delimiter, csv_layout.cells(line, delimiter)) for delimiter in csv_layout.DELIMITERS]
    delimiter, heads = max(found, key=lambda each: len({*map(str.casefold, each[1])} & {*COLUMNS}))
    known = [head.casefold() for head in heads if head.casefold() in COLUMNS]
    where = f"{file}: line {before + 1}"
    if "name" not in known:
        begins = one_line(line, 60)
        msg = f'{where}: must be the heads, of which one is "name", but is "{begins}"'
        raise ConfigError([f"{msg} {_advice_on_heads(after, before + 1)}"])
    twice = sorted({head for head in known if known.count(head) > 1})
    if twice:
        raise ConfigError([f"{where}: has two columns {', '.join(twice)}"])
    return delimiter, heads, (before + 1, after)


MAX_TITLE_LINES = 10
"""Lines among which heads are looked for that do not come first. Judgement: titles are short."""


def _advice_on_heads(after: str, before: int) -> str:
    """Return what to do about a first line that is not the heads.

    after: what follows it.
    before: the number of lines up to it.
    """
    for number, line in enumerate(after.splitlines()[:MAX_TITLE_LINES], before + 1):
        heads = [
            {cell.casefold() for cell in csv_layout.cells(line, delimiter)}
            for delimiter in csv_layout.DELIMITERS
        ]
        if any("name" in found for found in heads):
            return f"(line {number} has them: delete what is above it)"
    return f"(known headings: {', '.join(COLUMNS)})"


def _rows(
    rest: tuple[int, str], delimiter: str, problems: list[str]
) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that are not empty, each with its number and its cells."""
    before, text = rest
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    number = before + 1
    try:
        for cells in rows:
            if any(map(str.strip, cells)):
                yield number, cells
            number = before + rows.line_num + 1
    except csv.Error as error:
        problems.append(f"line {number}: cannot be read: {error}")


@dataclass(slots=True)
class _RowReader:
    """Reads lines; what is wrong with them is in `problems`."""

    columns: Mapping[str, int]
    heads: int
    problems: list[str] = field(default_factory=list)
    _line_of_name: dict[str, int] = field(default_factory=dict)

    def read(self, line: int, cells: Sequence[str]) -> ListedPlant:
        """Return the plant of a line."""
        if any(cell.strip() for cell in cells[self.heads :]):
            self._report(line, "has more cells than headings; a cell with a comma needs quotes")
        found = {key: self._text(line, key, cells) for key in self.columns}
        name = found["name"] or ""
        if not name:
            self._report(line, "has no name")
        elif name in self._line_of_name:
            taken = self._line_of_name[name]
            self._report(line, f'"{name}" is in line {taken} already; make them different')
        self._line_of_name.setdefault(name, line)
        home, shelter = found.get("home"), found.get("shelter")
        if home and shelter and home.casefold() == shelter.casefold():
            shelter = None  # it stays there
        holder = self._holder(line, found.get("holder"))
        return ListedPlant(line, name, found.get("group"), holder, home, shelter)

    def _text(self, line: int, key: str, cells: Sequence[str]) -> str | None:
        """Return the text of a cell with single blanks; None for none."""
        index = self.columns[key]
        text = " ".join(cells[index].split()) if index < len(cells) else ""
        if text in ("", NONE):
            return None
        is_plain = text.isascii() and text.isprintable() and len(text) <= MAX_PLAIN
        wrong = None if is_plain else problem_with(Text, text)
        if wrong is not None:
            self._report(line, f"{key} {wrong}")
            return one_line(text, 80) or None
        return text

    def _holder(self, line: int, text: str | None) -> Holder | None:
        """Return what "hanging basket" or "Pots" means."""
        if text is None:
            return None
        words = {form for word in text.casefold().split() for form in singulars(word)}
        holders = [holder for holder in HOLDERS if holder in words]
        if not holders:
            holders = [*{OTHER_HOLDERS[word] for word in words if word in OTHER_HOLDERS}]
        if len(holders) == 1:
            return holders[0]
        self._report(line, f'holder "{text}": must be one of {", ".join(HOLDERS)}')
        return None

    def _report(self, line: int, text: str) -> None:
        self.problems.append(f"line {line}: {text}")
