"""Reading a file of tables: what is wrong is kept, in words, and told all at once."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from sillward.tables import ChannelTable, LimitsTable, SunTable, Table

Model = TypeVar("Model", bound=Table)

_ADDRESS = re.compile(r"""[^\s"]*://[^\s"]*""")


@dataclass(slots=True)
class Reader:
    """Reads parts of a file and keeps what is wrong with them."""

    file: str
    errors: list[str] = field(default_factory=list)

    def wrong(self, where: str, text: str) -> None:
        """Keep one error; `where` is the key path. What looks like an address is not shown: it may
        be a channel's that was put in the wrong place."""
        self.errors.append(f"{self.file}: {_ADDRESS.sub('(an address)', f'{where}: {text}')}")

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
                self.wrong(where, _in_words(one, model, secret=secret))
            return None

    def rows(self, document: Mapping[str, Any], key: str) -> list[object] | None:
        """The tables of a list, or None if it is something else."""
        raw = document.get(key, [])
        if isinstance(raw, list):
            return raw
        self.wrong(key, f"must be a list of tables, each under [[{key}]]")
        return None


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
    near = get_close_matches(name, list(known), n=1, cutoff=0.7)
    return f'; did you mean "{near[0]}"?' if near else ""


def entry(key: str, index: int, raw: object) -> str:
    """How an entry of a list is named in errors: its place, and its own name if it has one."""
    name = raw.get("name") if isinstance(raw, Mapping) else None
    return f"{key}[{index}] {_shown(name)}" if isinstance(name, str) else f"{key}[{index}]"


def _in_words(error: Any, model: type[BaseModel], *, secret: bool) -> str:
    """One of pydantic's errors as `key "value": what would be right`."""
    path = _key_path(error["loc"])
    kind, value = error["type"], error["input"]
    if kind == "missing":
        return f"{path} is missing"
    if kind == "extra_forbidden":
        known = _known_keys(model, error["loc"])
        hint = did_you_mean(str(error["loc"][-1]), known)
        return f'unknown key "{path}"{hint} (known: {", ".join(known)})'
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
        plain = "".join(one if one.isprintable() else "?" for one in value[:60])
        return f'"{plain}{"..." if len(value) > 60 else ""}"'
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a huge number"
    return f"{value!s:.60}"
