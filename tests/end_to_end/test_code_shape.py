"""Every function of the program fits on a screen, or a comment above it says why it does not.

How many branches a function may have is checked by ruff (C901, see pyproject.toml).
"""

import ast
from collections.abc import Iterator

from tests.support.paths import ROOT

MAX_LINES = 45
"""Of the body of a function, without its docstring. Judgement: what one sees at once."""

REASON = "# Long because "
"""How a comment directly above a function begins that may be longer."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


def body_lines(function: Function) -> int:
    """The number of lines from the first statement of a function to its last."""
    body = function.body
    has_docstring = ast.get_docstring(function, clean=False) is not None
    statements = body[1:] if has_docstring else body
    if not statements:
        return 0
    end = statements[-1].end_lineno
    assert end is not None
    return end - statements[0].lineno + 1


def comment_above(function: Function, lines: list[str]) -> str:
    """The comment lines that stand directly above a function and its decorators."""
    first = min([function.lineno, *(each.lineno for each in function.decorator_list)])
    comment: list[str] = []
    for line in reversed(lines[: first - 1]):
        if not line.lstrip().startswith("#"):
            break
        comment.insert(0, line.strip())
    return "\n".join(comment)


def long_functions(source: str) -> Iterator[str]:
    """The functions that are too long and do not say why."""
    lines = source.splitlines()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, Function) or body_lines(node) <= MAX_LINES:
            continue
        if not comment_above(node, lines).startswith(REASON):
            yield f"{node.name} (line {node.lineno}): {body_lines(node)} lines"


def test_functions_are_short_or_say_why_not() -> None:
    found = [
        f"{path.relative_to(ROOT)}: {function}"
        for root in ("daemon", "rules")
        for path in sorted((ROOT / root).rglob("*.py"))
        for function in long_functions(path.read_text(encoding="utf-8"))
    ]

    assert found == []


def test_a_long_function_is_found_and_a_reason_is_taken() -> None:
    statements = "    pass\n" * (MAX_LINES + 1)
    long = f'def far():\n    """A docstring\n    does not count."""\n{statements}'

    assert list(long_functions(long)) == [f"far (line 1): {MAX_LINES + 1} lines"]
    assert list(long_functions(f"{REASON}it is one table.\n{long}")) == []
    assert list(long_functions(f"# Whatever.\n{long}")) != []
    assert list(long_functions(long.removesuffix("    pass\n"))) == []
