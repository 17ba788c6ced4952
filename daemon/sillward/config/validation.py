"""Reading a file of tables: what is wrong is kept, in words, and told all at once."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import islice
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from sillward.config.models import ChannelTable, LimitsTable, SunTable, Table
from sillward.errors import LONGEST_LINE, MOST_LINES
from sillward.text import printable

Model = TypeVar("Model", bound=Table)

LONGEST_NAME = 80
"""Characters of a name that is compared with others: of a plant, a spot or a key."""

MOST_COMPARED = 1000
"""Names that it is compared with. Judgement: a tenth of a second."""

_ADDRESS = re.compile(r"""[^\s"]*://[^\s"]*""")


@dataclass(slots=True)
class Reader:
    """Reads parts of a file and keeps what is wrong with them."""

    file: str
    errors: list[str] = field(default_factory=list)

    def wrong(self, where: str, text: str) -> None:
        """Keep one error; `where` is the key path. What looks like an address is not shown: it may
        be a channel's that was put in the wrong place."""
        told = printable.cut(
            printable.escaped(f"{where}: {text}"[: LONGEST_LINE + 1]), LONGEST_LINE
        )
        self.errors.append(f"{self.file}: {_ADDRESS.sub('(an address)', told)}")

    def hint(self, name: str, known: Iterable[str]) -> str:
        """What a name may have meant, in a file that does not have too many that are wrong."""
        return did_you_mean(name, known) if len(self.errors) < MOST_LINES else ""

    def made_plain(self, raw: Any, where: str = "") -> Any:
        """A part of the file with all its texts plain; what was strange in them is wrong.

        Whatever looks at it later has no such sign to show. Nesting is bounded (`toml_text`).
        """
        if isinstance(raw, str):
            strange = printable.strange(raw)
            if not strange:
                return raw
            # A url may hold a secret, and may stand in the place of any key of a channel.
            shown = "" if where.startswith("channels") else f"{_shown(raw)}: "
            without = printable.spelt(strange[0])
            self.wrong(where, f"{shown}must be plain text on one line, without {without}")
            return printable.escaped(raw)
        if isinstance(raw, list):
            return [self.made_plain(one, f"{where}[{index}]") for index, one in enumerate(raw)]
        if isinstance(raw, dict):
            return {
                self._plain_key(key, where): self.made_plain(one, _below(where, key))
                for key, one in raw.items()
            }
        return raw

    def _plain_key(self, key: str, where: str) -> str:
        strange = printable.strange(key)
        if not strange:
            return key
        without = printable.spelt(strange[0])
        self.wrong(_below(where, key), f"a key must be plain text on one line, without {without}")
        return printable.escaped(key)

    def table(
        self, model: type[Model], raw: object, where: str, *, secret: bool = False
    ) -> Model | None:
        """Read a table as its model; None, and its errors kept, if it is wrong.

        secret: show no values.
        """
        if not isinstance(raw, Mapping):
            shown = "" if secret or isinstance(raw, list) else f", not {_shown(raw)}"
            self.wrong(where, f"must be a table{shown}")
            return None
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            for one in error.errors(include_url=False):
                hint = len(self.errors) < MOST_LINES
                self.wrong(where, _in_words(one, model, secret=secret, hint=hint))
            return None

    def rows(self, document: Mapping[str, Any], key: str) -> list[object] | None:
        """The tables of a list, or None if it is something else."""
        raw = document.get(key, [])
        if isinstance(raw, list):
            return raw
        self.wrong(key, f"must be a list of tables, each under [[{key}]]")
        return None


def _below(where: str, key: str) -> str:
    return f"{where}.{key_of(key)}" if where else key_of(key)


def wrong_with(kind: Any, value: object) -> str | None:
    """What is wrong with one value for a type of `tables`, in words; None if nothing is."""
    try:
        TypeAdapter(kind, config=Table.model_config).validate_python(value)
    except ValidationError as error:
        return _in_words(error.errors(include_url=False)[0], Table, secret=True).lstrip(": ")
    return None


def key_of(name: str) -> str:
    """A key as it must be written in TOML: in quotes unless it is plain."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f'"{name}"'


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """ "; did you mean "night_offset"?", or nothing if nothing is near."""
    if len(name) > LONGEST_NAME:  # to compare takes the square of it
        return ""
    among = [one for one in islice(known, MOST_COMPARED) if len(one) <= LONGEST_NAME]
    near = get_close_matches(name, among, n=1, cutoff=0.7)
    return f'; did you mean "{near[0]}"?' if near else ""


def entry(key: str, index: int, raw: object) -> str:
    """How an entry of a list is named in errors: its place, and its own name if it has one."""
    name = raw.get("name") if isinstance(raw, Mapping) else None
    return f"{key}[{index}] {_shown(name)}" if isinstance(name, str) else f"{key}[{index}]"


def _in_words(error: Any, model: type[BaseModel], *, secret: bool, hint: bool = True) -> str:
    """One of pydantic's errors as `key "value": what would be right`."""
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
    shown = "" if secret or isinstance(value, dict | list) else f" {_shown(value)}"
    if kind in _BOUNDS:
        words, key = _BOUNDS[kind]
        return f"{path}{shown}: must be {words} {context[key]:g}"
    if kind == "literal_error":
        return f"{path}{shown}: must be {context['expected']}"
    if kind == "string_pattern_mismatch" and model is ChannelTable:
        return f"{path}{shown}: must be lower-case letters, digits and _"
    return f"{path}{shown}: {_WORDING.get(kind, error['msg'].lower())}"


_BOUNDS = {
    "greater_than_equal": ("at least", "ge"),
    "less_than_equal": ("at most", "le"),
    "greater_than": ("more than", "gt"),
}

_WORDING = {
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
        path += f"[{part}]" if isinstance(part, int) else f".{part}" if path else str(part)
    return path


def _known_keys(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    nested: Any = {"limits": LimitsTable, "sun": SunTable}.get(str(loc[0]), model)
    chosen: type[BaseModel] = nested if len(loc) > 1 else model
    return [info.alias or name for name, info in chosen.model_fields.items()]


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{printable.escaped(value[:60])}{"..." if len(value) > 60 else ""}"'
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a huge number"
    return f"{value!s:.60}"
