"""Where the words of messages come from: one Jinja2 macro for each line, ours or the grower's.

Ours are in `templates/*.jinja`. A grower may have a folder with files that define macros of the
same names: theirs take the place of ours, one by one. Theirs run in a sandbox, get the same facts,
and never cost a notice: where one fails, says nothing, or rambles, ours is used.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sillward import files
from sillward.errors import ConfigError
from sillward.wording.sandbox import Budget, environment

if TYPE_CHECKING:
    from types import CodeType

    from jinja2 import Template
    from jinja2.runtime import Macro

SUFFIX = ".jinja"

PAGE = "digest.html.jinja"
"""The week as HTML: one template, not macros."""

MOST_BYTES = 100_000
"""Of a file of the grower's. Ours are a tenth of it."""

MOST_FILES = 50
"""Files of a folder. Ours are eight."""

OURS = (
    "beside", "bound", "capital", "day", "degree_sign", "degrees", "hour", "kelvins", "measure",
    "names", "number", "percent", "retold", "weekday",
)  # fmt: skip
"""Filters of a voice."""

_MACRO = re.compile(r"^\{%-? macro (\w+)\(([^)]*)\)", re.MULTILINE)


_Macro = tuple[str, tuple[str, ...], int]
"""Name, facts, line."""


@dataclass(frozen=True, slots=True)
class Source:
    """A macro: the file that it is in, the text of that file, the facts that it is given."""

    file: str
    text: str
    facts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wording:
    """Macros by name. own: the grower's, of which there may be none."""

    ours: Mapping[str, Source]
    own: Mapping[str, Source] = field(default_factory=dict)
    page: str | None = None
    """The grower's own week as HTML."""
    folder: Path | None = None
    """Where the grower's are."""


@cache
def packaged() -> Wording:
    """The wording that comes with the program."""
    return Wording(
        {
            name: Source(file, text, tuple(re.findall(r"\w+", facts)))
            for file, text in packaged_texts().items()
            for name, facts in _MACRO.findall(text)
        }
    )


def packaged_texts() -> dict[str, str]:
    """Our files of macros by name, without the page."""
    folder = resources.files("sillward.wording") / "templates"
    ours = sorted(folder.iterdir(), key=lambda one: one.name)
    return {
        file.name: file.read_text(encoding="utf-8")
        for file in ours
        if file.name.endswith(SUFFIX) and file.name != PAGE
    }


def with_own(folder: Path) -> Wording:
    """Our wording with the grower's in its place, from all the files of a folder.

    Raise ConfigError with a line for each thing that is wrong with them, by file and line.
    """
    ours, errors = packaged().ours, list[str]()
    own: dict[str, Source] = {}
    page = None
    for file in _files_of(folder):
        try:
            text = _read(file)
            body = _parsed(text, file.name)
        except ConfigError as error:
            errors += error.lines
            continue
        if file.name == PAGE:
            page = text
            continue
        macros = _macros_in(body)
        errors += _wrong(file.name, body, macros, own)
        own |= {name: Source(file.name, text, facts) for name, facts, _ in macros}
    if errors:
        raise ConfigError(errors)
    return Wording(ours, own, page, folder)


def _wrong(
    file: str, body: Sequence[Any], macros: Sequence[_Macro], elsewhere: Mapping[str, Source]
) -> Iterator[str]:
    """What is wrong with a file of macros, in lines. elsewhere: those of other files."""
    ours = packaged().ours
    for line in _strangers(body):
        yield f"{file}: line {line}: only macros and comments may stand here"
    if not macros:
        yield f"{file}: there is no macro in it"
    for line, name in _calls_itself(body, {name for name, _, _ in macros}):
        yield f"{file}: line {line}: write say.{name} for another macro"
    seen = {name: source.file for name, source in elsewhere.items()}
    for name, facts, line in macros:
        where = f"{file}: line {line}: macro {name}"
        if name in seen:
            yield f"{where}: {seen[name]} has it already"
        seen[name] = file
        if name not in ours:
            yield f"{where}: there is no such line to word{_like(name, ours)}"
        elif unknown := [one for one in facts if one not in ours[name].facts]:
            known = ", ".join(ours[name].facts) or "nothing is"
            yield f"{where}: {unknown[0]}: is not told here (known: {known})"


def _files_of(folder: Path) -> list[Path]:
    try:
        there = sorted(folder.iterdir())
    except OSError as error:
        msg = f"{folder}: cannot be read: {error.strerror or error}"
        raise ConfigError([msg]) from None
    # What begins with a dot is an editor's or a copier's own.
    named = [one for one in there if one.name.endswith(SUFFIX) and not one.name.startswith(".")]
    if not named:
        msg = f"{folder}: there is no file there whose name ends in {SUFFIX}"
        raise ConfigError([msg])
    if len(named) > MOST_FILES:
        msg = f"{folder}: there are more than {MOST_FILES} files there"
        raise ConfigError([msg])
    return named


def _read(file: Path) -> str:
    try:
        return files.read(file, MOST_BYTES).decode("utf-8-sig")
    except OSError as error:
        msg = f"{file.name}: cannot be read: {error.strerror or error}"
    except UnicodeDecodeError as error:
        msg = f"{file.name}: is not UTF-8 text (byte {error.start})"
    raise ConfigError([msg])


def _macros_in(body: Sequence[Any]) -> list[_Macro]:
    from jinja2 import nodes

    return [
        (node.name, tuple(argument.name for argument in node.args), node.lineno)
        for node in body
        if isinstance(node, nodes.Macro)
    ]


def _strangers(body: Sequence[Any]) -> Iterator[int]:
    """Lines of what is neither a macro nor blank."""
    from jinja2 import nodes

    for node in body:
        blank = isinstance(node, nodes.Output) and not any(
            text.value.strip() if isinstance(text, nodes.Const) else True
            for text in (getattr(one, "node", one) for one in node.nodes)
        )
        if not isinstance(node, nodes.Macro) and not blank:
            yield node.lineno


def _parsed(text: str, file: str) -> list[Any]:
    """The nodes of a template. Raise ConfigError if it is none."""
    from jinja2 import TemplateSyntaxError

    try:
        made = environment(OURS)
        made.compile(text)  # finds more than parsing does, such as filters that there are not
        return list(made.parse(text).body)
    except TemplateSyntaxError as error:
        msg = f"{file}: line {error.lineno}: {error.message}"
    except (RecursionError, IndentationError):
        msg = f"{file}: is nested too deeply"
    except (SyntaxError, ValueError, OverflowError, MemoryError) as error:
        msg = f"{file}: cannot be read as a template: {str(error)[:100]}"
    raise ConfigError([msg])


def _calls_itself(body: Sequence[Any], names: AbstractSet[str]) -> Iterator[tuple[int, str]]:
    """Where a macro of the file is spoken of other than by `say`, with its name.

    Only what goes by `say` is kept from going on for ever.
    """
    from jinja2 import nodes

    for node in body:
        if isinstance(node, nodes.Macro):
            spoken = list(node.find_all(nodes.Name))
            others = names - {one.name for one in spoken if one.ctx != "load"}
            yield from ((one.lineno, one.name) for one in spoken if one.name in others)


def _like(name: str, known: Mapping[str, Source]) -> str:
    from difflib import get_close_matches

    close = get_close_matches(name, known, n=1)
    return f" (did you mean {close[0]}?)" if close else ""


class Macros:
    """The macros of a wording, ready to be called: each file is read when first needed."""

    def __init__(
        self, wording: Wording, filters: Mapping[str, Any], say: Any, budget: Budget
    ) -> None:
        self._wording = wording
        self._environment = environment(OURS, budget)
        self._environment.filters.update(filters)
        self._environment.globals = {"say": say, "names": filters["names"]}
        self._modules: dict[str, Any] = {}

    def ours(self, name: str) -> "Macro":
        """The packaged macro. Raise KeyError if there is none."""
        return self._macro(self._wording.ours[name], name)

    def own(self, name: str) -> "Macro":
        """The grower's. Raise KeyError if there is none."""
        return self._macro(self._wording.own[name], name)

    def _macro(self, source: Source, name: str) -> "Macro":
        if source.text not in self._modules:
            made, code = self._environment, _compiled(source.text)
            template = made.template_class.from_code(made, code, made.make_globals(None))
            self._modules[source.text] = template.module
        macro: Macro = getattr(self._modules[source.text], name)
        return macro

    def page(self, *, own: bool) -> "Template":
        """The week as HTML: ours, or the grower's own."""
        text = self._wording.page if own else _page()
        assert text is not None
        return self._environment.overlay(autoescape=True).from_string(text)


@cache
def _compiled(text: str) -> "CodeType":
    """The code of a template; the same for all voices."""
    return environment(OURS).compile(text)


def _page() -> str:
    file = resources.files("sillward.wording") / "templates" / PAGE
    return file.read_text(encoding="utf-8")


def called(macro: "Macro", facts: Mapping[str, Any]) -> str:
    """The line that a macro makes of as many of the facts as it takes: stripped, on one line."""
    text = str(macro(**{name: facts[name] for name in macro.arguments if name in facts}))
    return re.sub(r"\s*\n\s*", " ", text).strip()
