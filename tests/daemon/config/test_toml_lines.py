"""The lines of values: all that the parser finds is found, on the line where it stands."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.config.toml_lines import LineFinder, Path
from tests.support.paths import COLLECTIONS, EXAMPLES

TEXT = '''\
site = { name = "a", latitude = 1, sun = [ { from = 2 }, { from = 3, to = 4 } ] }  # a = 5
top."two words".'x.y' = 6

[spots."wall \\u0062ench"]   # [not.a.table]
shade = 7
text = """
not = 8
[plants]
"quoted" ""\\""""
when = 2026-05-01 07:30:00
[[plants]]
limits.night_low = 9
limits.brief_low = 10
names = [   # "x", ]
  "first", 'sec#ond',

  """third""",
]
[plants.but."A 1"]
home = 11
[[plants]]
home = 12
[plants.limits]
rot = 13
[[plants.parts]]
x = 14
[[plants.parts]]
x = 15
'''

EXPECTED: dict[Path, int] = {
    ("site", "latitude"): 1,
    ("site", "sun", 1, "to"): 1,
    ("top", "two words", "x.y"): 2,
    ("top",): 2,
    ("spots", "wall bench"): 4,
    ("spots", "wall bench", "shade"): 5,
    ("spots", "wall bench", "when"): 10,
    ("plants", 0): 11,
    ("plants", 0, "limits"): 12,
    ("plants", 0, "limits", "brief_low"): 13,
    ("plants", 0, "names"): 14,
    ("plants", 0, "names", 1): 15,
    ("plants", 0, "names", 2): 17,
    ("plants", 0, "but"): 19,
    ("plants", 0, "but", "A 1", "home"): 20,
    ("plants", 1): 21,
    ("plants", 1, "limits", "rot"): 24,
    ("plants", 1, "parts", 0): 25,
    ("plants", 1, "parts", 1, "x"): 28,
}


def ways(value: Any, at: Path = ()) -> Iterator[Path]:
    """The way to every value that the parser finds."""
    items: Any = ()
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = enumerate(value)
    for key, inner in items:
        yield (*at, key)
        yield from ways(inner, (*at, key))


@pytest.mark.parametrize("path", EXPECTED)
def test_a_value_is_on_its_line(path: Path) -> None:
    assert LineFinder(TEXT).line_of(path) == EXPECTED[path]


def test_what_is_missing_is_in_the_table_around_it() -> None:
    lines = LineFinder(TEXT)

    assert lines.line_of(("plants", 1, "holder")) == 21
    assert lines.line_of(("plants", 1, "limits", "night_low")) == 23
    assert lines.line_of(("habits", "lead")) is None
    assert lines.line_of(()) is None


@pytest.mark.parametrize(
    "path",
    [*sorted(COLLECTIONS.glob("*.toml")), *sorted(EXAMPLES.glob("*.toml"))],
    ids=lambda path: path.stem,
)
def test_all_of_a_collection_is_found(path: Any) -> None:
    text = path.read_text(encoding="utf-8")

    assert set(LineFinder(text).lines) == set(ways(tomllib.loads(text)))


# -- any document

names = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=4) | st.sampled_from(
    ["a", "b", "a.b", 'q"', "it's", "#", "=", "[x]"]
)
breaks = st.sampled_from(["", " ", "\t", "  "])
gaps = st.sampled_from(["", " ", "\n", " # [c] = 'x' \"\n", "\n\n\t"])
SCALARS = (
    "'x'", '"y\\""', '"""\n[z]\n= \\"""#"""', "'''\nk = ''1'\n'''", '""', "''", "1_000", "-1.5e3",
    "0xff", "inf", "true", "1979-05-27", "1979-05-27 07:32:00", "1979-05-27T07:32:00Z", "07:32:00",
    '"""a"""""', "''''b''''",
)  # fmt: skip


@st.composite
def keys(draw: st.DrawFn) -> str:
    name = draw(names)
    plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return name if plain and draw(st.booleans()) else f'"{escaped}"'


@st.composite
def dotted(draw: st.DrawFn) -> str:
    blank = draw(breaks)
    return f"{blank}.{blank}".join(draw(st.lists(keys(), min_size=1, max_size=3)))


@st.composite
def values(draw: st.DrawFn, depth: int = 2) -> str:
    kinds = ["scalar", "list", "table"] if depth else ["scalar"]
    kind = draw(st.sampled_from(kinds))
    if kind == "scalar":
        return draw(st.sampled_from(SCALARS))
    inner = values(depth=depth - 1)
    if kind == "list":
        items = [f"{draw(gaps)}{draw(inner)}{draw(gaps)}" for _ in range(draw(st.integers(0, 3)))]
        end = draw(st.sampled_from(["", ","])) if items else ""
        return f"[{','.join(items)}{end}{draw(gaps)}]"
    pairs = [f"{draw(dotted())} = {draw(inner)}" for _ in range(draw(st.integers(0, 2)))]
    return f"{{{draw(breaks)}{', '.join(pairs)}{draw(breaks)}}}"


@st.composite
def documents(draw: st.DrawFn) -> str:
    lines = []
    for _ in range(draw(st.integers(1, 6))):
        shape = draw(st.sampled_from(["{0} = {1}", "[{0}]", "[[{0}]]", "[ {0} ]", "# {1:.0}x"]))
        line = shape.format(draw(dotted()), draw(values()))
        lines.append(f"{draw(breaks)}{line}{draw(st.sampled_from(['', ' # e', chr(13)]))}")
    return "\n".join(lines)


@given(documents())
def test_everything_that_the_parser_finds_is_found(text: str) -> None:
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        LineFinder(text).line_of(("a",))  # does not fail either
        return
    lines = LineFinder(text).lines

    assert set(lines) == set(ways(found))
    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from(["{} = 1", "[{}]", "{}.x = 1"]))))
def test_each_on_its_line(made: list[tuple[int, str]]) -> None:
    text, expected = "", {}
    for number, (blank, shape) in enumerate(made):
        text += "\n" * blank + shape.format(f"k{number}") + "\n"
        expected[f"k{number}"] = text.count("\n")
    lines = LineFinder(text).lines

    assert {path[-1]: line for path, line in lines.items() if path[-1] != "x"} == expected


@given(st.text(max_size=60))
def test_no_text_at_all_makes_it_fail(text: str) -> None:
    LineFinder(text).line_of(("a",))
