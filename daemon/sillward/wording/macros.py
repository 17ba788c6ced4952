"""The wording of messages: one Jinja2 macro for each line, packaged or the grower's own.

The packaged macros are in `templates/*.jinja`. A grower may keep a folder of files that define
macros of the same names, which replace the packaged ones one by one. These run in a sandbox and get
the same facts. A notice never depends on them: where one fails, says nothing or says too much, the
packaged macro is used.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sillward import files
from sillward.errors import ConfigError
from sillward.wording.budget import Budget

if TYPE_CHECKING:
    from types import CodeType

    from jinja2 import Template
    from jinja2.runtime import Macro

    from sillward.wording.sandbox import Sandbox

SUFFIX = ".jinja"

PAGE = "digest.html.jinja"
"""The HTML page of the weekly mail: one template, without macros. Growers override it by this name,
which is that of the command `sillward digest`."""

MAX_MACRO_FILE_BYTES = 100_000
"""The largest file in a grower's folder [bytes]. The packaged ones have a tenth of it."""

MAX_FILES = 50
"""The most files in a grower's folder. Nine are packaged."""

OUTSIDE = "lies outside the household's folder"
"""What is said of a folder or file that must not be read."""

MayRead = Callable[[Path], bool]
"""Whether something may be read."""

VOICE_FILTERS = (
    "beside", "bound", "capital", "day", "degree_sign", "degrees", "hour", "kelvins", "measure",
    "names", "number", "percent", "retold", "weekday",
)  # fmt: skip
"""Filters that a `Voice` provides to the macros."""

_MACRO = re.compile(r"^\{%-? macro (\w+)\(([^)]*)\)", re.MULTILINE)


_MacroHead = tuple[str, tuple[str, ...], int]
"""Name, facts and line of a macro."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a macro comes from: its file, the text of that file, and the facts that it takes."""

    file: str
    text: str
    facts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wording:
    """Macros by name, packaged and of the grower's own.

    ours: the packaged macros.
    own: the grower's macros, often none.
    page: the grower's template of the weekly mail's page, if there is one.
    folder: the folder of the grower's files, if there is one.
    """

    ours: Mapping[str, Source]
    own: Mapping[str, Source] = field(default_factory=dict)
    page: str | None = None
    folder: Path | None = None


@cache
def packaged() -> Wording:
    """Return the wording that comes with the program."""
    return Wording(
        {
            name: Source(file, text, tuple(re.findall(r"\w+", facts)))
            for file, text in packaged_texts().items()
            for name, facts in _MACRO.findall(text)
        }
    )


def packaged_texts() -> dict[str, str]:
    """Return the texts of the packaged macro files by file name, without the page."""
    folder = resources.files("sillward.wording") / "templates"
    return {
        file.name: file.read_text(encoding="utf-8")
        for file in sorted(folder.iterdir(), key=lambda file: file.name)
        if file.name.endswith(SUFFIX) and file.name != PAGE
    }


def with_own(folder: Path, may_read: MayRead = lambda _: True) -> Wording:
    """Return the packaged wording with the macros of a grower's folder in their places.

    may_read: asked of the folder and of each file before it is read, for both may be links.
    Raise ConfigError with a line for each fault, by file and line.
    """
    ours, errors = packaged().ours, list[str]()
    own: dict[str, Source] = {}
    page = None
    if not may_read(folder):
        raise ConfigError([OUTSIDE])
    for file in _wording_files(folder):
        try:
            if not may_read(file):
                raise ConfigError([f"{file.name}: {OUTSIDE}"])
            text = _read(file)
            body = _parsed(text, file.name)
        except ConfigError as error:
            errors += error.lines
            continue
        if file.name == PAGE:
            page = text
            continue
        macros = _macros_in(body)
        errors += _faults(file.name, body, macros, own)
        own |= {name: Source(file.name, text, facts) for name, facts, _ in macros}
    if errors:
        raise ConfigError(errors)
    return Wording(ours, own, page, folder)


def _faults(
    file: str, body: Sequence[Any], macros: Sequence[_MacroHead], elsewhere: Mapping[str, Source]
) -> Iterator[str]:
    """Yield what is wrong with a file of macros, in lines.

    elsewhere: macros of earlier files.
    """
    ours = packaged().ours
    for line in _foreign_lines(body):
        yield f"{file}: line {line}: only macros and comments may stand here"
    if not macros:
        yield f"{file}: there is no macro in it"
    for line, name in _direct_calls(body, {name for name, _, _ in macros}):
        yield f"{file}: line {line}: write say.{name} for another macro"
    seen = {name: source.file for name, source in elsewhere.items()}
    for name, facts, line in macros:
        where = f"{file}: line {line}: macro {name}"
        if name in seen:
            yield f"{where}: {seen[name]} has it already"
        seen[name] = file
        if name not in ours:
            yield f"{where}: there is no such line to word{_suggestion(name, ours)}"
        elif unknown := [fact for fact in facts if fact not in ours[name].facts]:
            known = ", ".join(ours[name].facts) or "none"
            yield f"{where}: {unknown[0]}: is not told here (known: {known})"


def _wording_files(folder: Path) -> list[Path]:
    """Return the macro files of a folder. Raise ConfigError if there are none, or too many."""
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        msg = f"{folder}: cannot be read: {error.strerror or error}"
        raise ConfigError([msg]) from None
    # Names with a leading dot are leftovers of editors and copying programs.
    named = [
        entry for entry in entries if entry.name.endswith(SUFFIX) and not entry.name.startswith(".")
    ]
    if not named:
        msg = f"{folder}: there is no file there whose name ends in {SUFFIX}"
        raise ConfigError([msg])
    if len(named) > MAX_FILES:
        msg = f"{folder}: there are more than {MAX_FILES} files there"
        raise ConfigError([msg])
    return named


def _read(file: Path) -> str:
    try:
        return files.read(file, MAX_MACRO_FILE_BYTES).decode("utf-8-sig")
    except OSError as error:
        msg = f"{file.name}: cannot be read: {error.strerror or error}"
    except UnicodeDecodeError as error:
        msg = f"{file.name}: is not UTF-8 text (byte {error.start})"
    raise ConfigError([msg])


def _macros_in(body: Sequence[Any]) -> list[_MacroHead]:
    from jinja2 import nodes

    return [
        (node.name, tuple(argument.name for argument in node.args), node.lineno)
        for node in body
        if isinstance(node, nodes.Macro)
    ]


def _foreign_lines(body: Sequence[Any]) -> Iterator[int]:
    """Yield the lines of whatever is neither a macro nor blank."""
    from jinja2 import nodes

    for node in body:
        blank = isinstance(node, nodes.Output) and not any(
            text.value.strip() if isinstance(text, nodes.Const) else True
            for text in (getattr(piece, "node", piece) for piece in node.nodes)
        )
        if not isinstance(node, nodes.Macro) and not blank:
            yield node.lineno


def _parsed(text: str, file: str) -> list[Any]:
    """Return the nodes of a template. Raise ConfigError if it is not a valid one."""
    from jinja2 import TemplateSyntaxError

    try:
        sandbox = _sandbox_to_compile()
        sandbox.compile(text)  # finds more than parsing does, such as unknown filters
        return list(sandbox.parse(text).body)
    except TemplateSyntaxError as error:
        msg = f"{file}: line {error.lineno}: {error.message}"
    except (RecursionError, IndentationError):
        msg = f"{file}: is nested too deeply"
    except (SyntaxError, ValueError, OverflowError, MemoryError) as error:
        msg = f"{file}: cannot be read as a template: {str(error)[:100]}"
    raise ConfigError([msg])


def _direct_calls(body: Sequence[Any], names: AbstractSet[str]) -> Iterator[tuple[int, str]]:
    """Yield line and name where a macro of the file is used without `say`.

    Only calls through `say` are kept from endless recursion.
    """
    from jinja2 import nodes

    for node in body:
        if isinstance(node, nodes.Macro):
            used = list(node.find_all(nodes.Name))
            macros = names - {name.name for name in used if name.ctx != "load"}
            yield from ((name.lineno, name.name) for name in used if name.name in macros)


def _suggestion(name: str, known: Mapping[str, Source]) -> str:
    from difflib import get_close_matches

    close = get_close_matches(name, known, n=1)
    return f" (did you mean {close[0]}?)" if close else ""


class Macros:
    """The macros of a wording, ready to be called; each file is loaded when first needed."""

    def __init__(
        self, wording: Wording, filters: Mapping[str, Any], say: Any, budget: Budget
    ) -> None:
        from sillward.wording.sandbox import Sandbox

        self._wording = wording
        self._budget = budget
        self._sandbox = Sandbox(filters, budget)
        self._sandbox.globals = {"say": say, "names": filters["names"]}
        self._modules: dict[str, Any] = {}

    def ours(self, name: str) -> "Macro":
        """Return the packaged macro. Raise KeyError if there is none."""
        return self._macro(self._wording.ours[name], name, _packaged_code)

    def own(self, name: str) -> "Macro":
        """Return the grower's macro. Raise KeyError if there is none."""
        return self._macro(self._wording.own[name], name, _code_of)

    def _macro(self, source: Source, name: str, code_of: Callable[[Source], "CodeType"]) -> "Macro":
        if source.text not in self._modules:
            with self._budget.uncounted():  # it happens once, in the line that comes first
                code = code_of(source)
            sandbox = self._sandbox
            template = sandbox.template_class.from_code(sandbox, code, sandbox.make_globals(None))
            self._modules[source.text] = template.module
        macro: Macro = getattr(self._modules[source.text], name)
        return macro

    def page(self, *, own: bool) -> "Template":
        """Return the template of the weekly mail's page: the packaged one, or the grower's own."""
        text = self._wording.page if own else _packaged_page()
        assert text is not None
        return self._sandbox.overlay(autoescape=True).from_string(text)


def _code_of(source: Source) -> "CodeType":
    """Return the code of a template, which all voices share."""
    return _compiled(source.text)


@cache
def _compiled(text: str) -> "CodeType":
    return _sandbox_to_compile().compile(text)


def _packaged_code(source: Source) -> "CodeType":
    """Return the code of a packaged template, which later processes share as well."""
    return _kept(source.file, source.text)


@cache
def _kept(file: str, text: str) -> "CodeType":
    from jinja2 import compiler

    from sillward.wording import kept_code, sandbox

    template = Path(str(resources.files("sillward.wording") / "templates" / file))
    makers = (compiler.__file__, sandbox.__file__, __file__)
    return kept_code.code_of(template, makers, lambda: _compiled(text))


def _sandbox_to_compile() -> "Sandbox":
    """Return a sandbox that knows the names of all filters, for parsing and compiling alone."""
    from sillward.wording.sandbox import Sandbox

    return Sandbox(dict.fromkeys(VOICE_FILTERS, str), Budget())


def _packaged_page() -> str:
    file = resources.files("sillward.wording") / "templates" / PAGE
    return file.read_text(encoding="utf-8")


def render(macro: "Macro", facts: Mapping[str, Any]) -> str:
    """Return what a macro says for those facts that it takes, stripped and on one line."""
    text = str(macro(**{name: facts[name] for name in macro.arguments if name in facts}))
    return re.sub(r"\s*\n\s*", " ", text).strip()
