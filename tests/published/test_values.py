"""The values themselves: every one is checked by exactly one test, and says where it comes from."""

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent

PROVENANCES = {
    "published value, read",
    "published value, read in a copy",
    "published value, from memory, reproduced from the formula",
    "computed from the published formula",
    "computed from a formula written down from memory",
    "computed by quadrature",
    "computed with statsmodels from the published data",
    "computed; a regression value, no independent proof",
}


def test_every_family_is_checked_by_exactly_one_test(
    families: dict[str, list[dict[str, Any]]],
) -> None:
    asked_for = Counter(family for family, _ in _marked_tests())

    assert asked_for == Counter(dict.fromkeys(families, 1))


def test_every_marked_test_asks_for_the_inputs_and_the_comparison() -> None:
    forgetful = [
        test.name
        for _, test in _marked_tests()
        if not {"inputs", "agrees"} <= {argument.arg for argument in test.args.args}
    ]

    assert forgetful == []


def test_names_are_unique(families: dict[str, list[dict[str, Any]]]) -> None:
    names = Counter(value["name"] for values in families.values() for value in values)

    assert [name for name, times in names.items() if times > 1] == []


def test_every_value_is_complete_and_says_what_it_is_worth(
    families: dict[str, list[dict[str, Any]]],
) -> None:
    keys = {"name", "inputs", "expected", "unit", "tolerance", "source", "provenance"}

    for family, values in families.items():
        for value in values:
            assert set(value) == keys, (family, value)
            assert value["provenance"] in PROVENANCES, value["name"]
            assert value["tolerance"] > 0, value["name"]
            assert value["source"], value["name"]


def _marked_tests() -> Iterator[tuple[str, ast.FunctionDef]]:
    """All tests of this folder that are marked `published`, with the family they name."""
    for path in sorted(HERE.glob("test_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef):
                continue
            for decorator in node.decorator_list:
                if (
                    isinstance(decorator, ast.Call)
                    and ast.unparse(decorator.func) == "pytest.mark.published"
                ):
                    yield ast.literal_eval(decorator.args[0]), node
