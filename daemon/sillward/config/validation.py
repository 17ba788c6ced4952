"""Reading the tables of a file as pydantic models, with errors in a grower's words."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import islice
from typing import Any, NamedTuple, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from sillward.config.models import ChannelTable, SunTable, Table
from sillward.config.place import FILE, Place, shown, toml_key
from sillward.config.plant_models import LimitsTable, OneOfThemTable, PotTable
from sillward.config.toml_lines import LineFinder, Path
from sillward.errors import MAX_LINE_LENGTH, MAX_LINES
from sillward.text import printable

Model = TypeVar("Model", bound=Table)

MAX_NAME_LENGTH = 80
"""Characters of a name (of a plant, a spot or a key) that is compared with others."""

MAX_COMPARED = 1000
"""Names that it is compared with. Judgement: this takes a tenth of a second."""

_ADDRESS = re.compile(r"""[^\s"]*://[^\s"]*""")


class _Error(NamedTuple):
    """An error, and the line on which it is; 0 if that is not known."""

    line: int
    text: str


@dataclass(slots=True)
class _Repeated:
    """An error that was made more than once: its place among the errors, and what it is made of."""

    index: int
    where: Place
    more: str
    keys: tuple[str | int, ...]
    others: int = 0


@dataclass(slots=True)
class TableReader:
    """Reads the tables of a file and collects what is wrong with them, one line for each error.

    lines: finds the lines of the file.
    """

    file: str
    lines: LineFinder = field(default_factory=LineFinder)
    errors: list[_Error] = field(default_factory=list)
    _repeated: dict[str, "_Repeated"] = field(default_factory=dict)

    def told(self) -> list[str]:
        """Return the errors in the order of their lines."""
        return [error.text for error in sorted(self.errors, key=lambda error: error.line)]

    def report(self, where: Place, text: str, *keys: str | int) -> None:
        """Add an error.

        What looks like an address is not shown: it may be a channel's URL in the wrong place.

        keys: those that lead on to the value that is wrong, for its line.
        """
        self.errors.append(self._error(where, text, *keys))

    def report_once(self, wrong: str, where: Place, more: str, *keys: str | int) -> None:
        """Add an error that many tables may have: one line for all of them, which counts them.

        wrong: what is the same for all. more: what may help, at the end of the line.
        """
        first = self._repeated.get(wrong)
        if first is None:
            self._repeated[wrong] = _Repeated(len(self.errors), where, more, keys)
            self.report(where, wrong + more, *keys)
            return
        first.others += 1
        others = "1 more table" if first.others == 1 else f"{first.others} more tables"
        text = f"{wrong}, also in {others}{first.more}"
        self.errors[first.index] = self._error(first.where, text, *first.keys)

    def _error(self, where: Place, text: str, *keys: str | int) -> _Error:
        line = f"{where.label}: {text}"[: MAX_LINE_LENGTH + 1]
        told = printable.cut(printable.escaped(line), MAX_LINE_LENGTH)
        number = self.lines.line_of((*where.path, *keys))
        file = self.file if number is None else f"{self.file}:{number}"
        text = f"{file}: {_ADDRESS.sub('(an address)', told)}"
        return _Error(number or 0, text)

    def hint(self, name: str, known: Iterable[str]) -> str:
        """Return `did_you_mean`, or nothing if the file has too many errors for it to be read."""
        return did_you_mean(name, known) if len(self.errors) < MAX_LINES else ""

    def with_plain_text(self, raw: Any, path: Path = ()) -> Any:
        """Return a part of the file with every text on one line, without control characters.

        Whatever else is in a text is reported and escaped, so that later steps never show it.
        Nesting is bounded (`bounded_toml`).
        """
        if isinstance(raw, str):
            return self._plain_text(raw, path)
        if isinstance(raw, list):
            return [self.with_plain_text(value, (*path, index)) for index, value in enumerate(raw)]
        if isinstance(raw, dict):
            return {
                self._plain_key(key, path): self.with_plain_text(value, (*path, key))
                for key, value in raw.items()
            }
        return raw

    def _plain_text(self, text: str, path: Path) -> str:
        strange = printable.unprintable(text)
        if not strange:
            return text
        # A URL or a password is a secret, and may stand in the place of any key of its table.
        told = "" if str(path[0]).startswith(("channels", "mqtt")) else f"{shown(text)}: "
        without = printable.escaped_char(strange[0])
        self.report(Place.of(path), f"{told}must be plain text on one line, without {without}")
        return printable.escaped(text)

    def _plain_key(self, key: str, path: Path) -> str:
        strange = printable.unprintable(key)
        if not strange:
            return key
        without = printable.escaped_char(strange[0])
        text = f"a key must be plain text on one line, without {without}"
        self.report(Place.of((*path, key)), text)
        return printable.escaped(key)

    def read(
        self, model: type[Model], raw: object, where: Place, *, secret: bool = False
    ) -> Model | None:
        """Read a table as its model; None, with its errors reported, if it is wrong.

        secret: errors show no values.
        """
        if not isinstance(raw, Mapping):
            told = "" if secret or isinstance(raw, list) else f", not {shown(raw)}"
            self.report(where, f"must be a table{told}")
            return None
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                hint = len(self.errors) < MAX_LINES
                words = _in_words(detail, model, secret=secret, hint=hint)
                self.report(where, words, *detail["loc"])
            return None

    def list_of_tables(self, document: Mapping[str, Any], key: str) -> list[object] | None:
        """Return the tables under [[key]], or None, which is reported, if it is something else."""
        raw = document.get(key, [])
        if isinstance(raw, list):
            return raw
        self.report(FILE.at(key), f"must be a list of tables, each under [[{key}]]")
        return None


def problem_with(kind: Any, value: object) -> str | None:
    """Return in words what is wrong with a value for a type of `models`; None if it is valid."""
    try:
        TypeAdapter(kind, config=Table.model_config).validate_python(value)
    except ValidationError as error:
        return _in_words(error.errors(include_url=False)[0], Table, secret=True).lstrip(": ")
    return None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return "; did you mean "night_offset"?", or nothing if no known name is similar."""
    if len(name) > MAX_NAME_LENGTH:  # comparing takes time by the square of the length
        return ""
    candidates = [
        candidate for candidate in islice(known, MAX_COMPARED) if len(candidate) <= MAX_NAME_LENGTH
    ]
    similar = get_close_matches(name, candidates, n=1, cutoff=0.7)
    return f'; did you mean "{similar[0]}"?' if similar else ""


def _in_words(error: Any, model: type[BaseModel], *, secret: bool, hint: bool = True) -> str:
    """Return one of pydantic's errors as `key "value": what would be right`."""
    path = _key_path(error["loc"])
    kind, value = error["type"], error["input"]
    if kind == "missing":
        return f"{path} is missing"
    if kind == "extra_forbidden":
        known = _known_keys(model, error["loc"])
        meant = did_you_mean(str(error["loc"][-1]), known) if hint else ""
        return f'unknown key "{path}"{meant} (known: {", ".join(known)})'
    context = error.get("ctx", {})
    if kind == "value_error":
        return f"{path}: {context['error']}"
    given = "" if secret or isinstance(value, dict | list) else f" {shown(value)}"
    if kind in _BOUND_ERRORS:
        words, key = _BOUND_ERRORS[kind]
        return f"{path}{given}: must be {words} {context[key]:g}"
    if kind == "literal_error":
        return f"{path}{given}: must be {context['expected']}"
    if kind == "string_pattern_mismatch" and model is ChannelTable:
        return f"{path}{given}: must be lower-case letters, digits and _"
    return f"{path}{given}: {_ERRORS.get(kind, error['msg'].lower())}"


_BOUND_ERRORS = {
    "greater_than_equal": ("at least", "ge"),
    "less_than_equal": ("at most", "le"),
    "greater_than": ("more than", "gt"),
}

_ERRORS = {
    "list_type": "must be a list",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "dict_type": "must be a table",
    "too_short": "must not be empty",
    "string_too_short": "must not be empty",
    "string_too_long": "is too long",
    "string_pattern_mismatch": "must be plain text on one line",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "string_type": "must be text in quotes",
    "finite_number": "must be a finite number",
}


def _key_path(loc: Sequence[int | str]) -> str:
    path = ""
    for part in loc:
        if part == "[key]":  # pydantic's word for "the key itself"
            continue
        key = part if isinstance(part, int) else toml_key(part)
        path += f"[{key}]" if isinstance(part, int) else f".{key}" if path else str(key)
    return path


def _known_keys(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    chosen: type[BaseModel] = model
    for depth, part in enumerate(loc[:-1]):
        of_one = depth == 1 and loc[0] == "but"
        chosen = OneOfThemTable if of_one else _NESTED.get(str(part), chosen)
    return [info.alias or name for name, info in chosen.model_fields.items()]


_NESTED: Mapping[str, type[BaseModel]] = {"limits": LimitsTable, "pot": PotTable, "sun": SunTable}
"""The tables below a key."""
