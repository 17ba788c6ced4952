"""The manual in docs/: what is generated is current, links lead somewhere, code runs."""

import ast
import json
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

from docs.make import pages, pictures, screens
from tests.support.documents import blocks, text_of
from tests.support.pages import Visitor
from tests.support.paths import ROOT

PAGES = [path.name for path in pages.pages()]
DOCUMENTS = ["README.md", "DEVELOPERS.md", "CHANGELOG.md", *(f"docs/{name}" for name in PAGES)]

REMEDY = "run `python -m docs.make`"


@pytest.mark.parametrize("name", PAGES)
def test_the_generated_parts_of_a_page_are_current(name: str) -> None:
    text = text_of(f"docs/{name}")

    assert text == pages.filled(text), REMEDY


def test_every_generated_part_stands_on_one_page() -> None:
    asked_for = Counter(part for name in PAGES for part in pages.parts_in(text_of(f"docs/{name}")))

    assert asked_for == dict.fromkeys(pages.parts(), 1)


def test_every_page_is_in_the_contents() -> None:
    linked = re.findall(r"^- \[[^\]]+\]\((\S+\.md)\)", text_of("docs/index.md"), re.MULTILINE)

    assert sorted([*linked, "index.md"]) == PAGES


# -- commands


PROGRAMS = {
    *("cd", "cp", "createdb", "docker", "export", "launchctl", "loginctl", "mkdir", "pip", "pipx"),
    *("python", "python3", "scp", "sillward", "ssh", "sudo", "systemctl", "uv"),
    *(".ci/check", "packaging/build-deb", "sillward/packaging/build-deb"),
}


def reflowed(text: str) -> list[str]:
    """The lines of commands that begin with no command, or have another one in their comment: of a
    block whose lines were filled as if it were prose, each line would run as something else."""
    lines = [
        line
        for block in blocks(text, "sh")
        for line in block.replace("\\\n", " ").splitlines()
        if line.strip()
    ]
    return [
        line
        for line in lines
        if not (line.split()[0] in PROGRAMS or re.match("SILLWARD_[A-Z_]+=", line))
        or re.search(r" #.* (sudo|sillward +\w+ +--?\w+)( |$)", line)
    ]


def test_each_command_of_a_page_is_on_a_line_of_its_own() -> None:
    assert [line for name in DOCUMENTS for line in reflowed(text_of(name))] == []


def test_commands_that_were_filled_like_prose_are_found() -> None:
    filled = (
        "```sh\nsudo apt update   # what is new sudo apt install -y\n# python3-venv sudo a\n```"
    )
    assert len(reflowed(filled)) == 2


# -- pictures


def test_the_picture_of_a_push_is_current() -> None:
    assert pictures.PUSH.read_text(encoding="utf-8") == pictures.drawn_push(), REMEDY


@pytest.mark.parametrize("name", ["nights", "readings", "correction", "skill"])
def test_the_charts_are_current(name: str) -> None:
    assert pictures.chart_is_outdated(name) is None, REMEDY


def test_every_chart_of_the_manual_is_drawn_from_numbers() -> None:
    drawn = {path.stem for path in pictures.PICTURES.glob("*.png")}

    assert drawn == {*pictures.charts(), *(screen.name for screen in screens.SCREENS)}


@pytest.mark.parametrize("screen", screens.SCREENS, ids=lambda screen: screen.name)
def test_a_picture_of_the_page_shows_what_the_page_says(screen: screens.Screen) -> None:
    record = json.loads(screen.record.read_text(encoding="utf-8"))
    remedy = "run `python -m docs.make.screens`"
    assert screens.digest(screen.picture) == record["picture"], remedy
    assert screen.picture.stat().st_size <= 60_000

    said = iter(Visitor().says(f"/{screen.path}").split())
    assert len(record["words"]) > 30
    assert all(word in said for word in record["words"]), remedy  # in this order


def test_a_chart_with_other_numbers_or_other_code_is_outdated() -> None:
    kept = {"series": {"leaf_c": [4.0, None, 3.5]}, "title": "bench"}

    assert pictures.difference(kept, kept) is None
    assert pictures.difference([4.0], [4.01]) is None
    assert pictures.difference([4.0], [4.1]) == "chart.0: 4.0 is 4.1 now"
    assert pictures.difference({"a": 1.0}, {"b": 1.0}) is not None
    assert pictures.difference([1.0, None], [1.0, 2.0]) is not None
    code = "import one\n\ndef f():\n    'What it does.'\n    return 1  # one\n"
    moved = "from two import one\n# a remark\ndef f():\n    return 1  # one\n"
    assert pictures.digest_of_code(code) == pictures.digest_of_code(moved)
    assert pictures.digest_of_code(code) != pictures.digest_of_code(moved.replace("1 ", "2 "))


# -- links


def links(text: str) -> Iterator[str]:
    """Where a document links to within the repository; not in its blocks of code."""
    prose = re.sub(r"^( *)```.*?^\1```$", "", text, flags=re.MULTILINE | re.DOTALL)
    prose = re.sub(r"`[^`\n]*`", "", prose)
    for target in re.findall(r"\]\(([^)\s]+)\)|\bsrc=\"([^\"]+)\"", prose):
        link = "".join(target)
        if not re.match(r"[a-z]+:", link):
            yield link


def anchors(text: str) -> set[str]:
    """The anchors of a document's headings, as GitHub and MyST make them."""
    prose = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    headings = re.findall(r"^#+ +(.+?) *$", prose, re.MULTILINE)
    plain = [re.sub(r"[^\w\- ]", "", heading.lower()) for heading in headings]
    return {heading.replace(" ", "-") for heading in plain}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_within_the_repository_lead_somewhere(name: str) -> None:
    place = (ROOT / name).parent

    for link in links(text_of(name)):
        path, _, anchor = link.partition("#")
        target = (place / path).resolve() if path else ROOT / name
        assert target.exists(), link
        assert target.is_relative_to(ROOT), link
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), link


def test_a_link_that_leads_nowhere_is_found() -> None:
    found = [*links('a [b](c.md#d) `[x](y)` <img src="e.png"> [w](https://w.org/)\n')]

    assert found == ["c.md#d", "e.png"]
    assert anchors("# Out again\n\n### sillward try-channel\n") == {
        "out-again",
        "sillward-try-channel",
    }


# -- the site


@pytest.fixture(scope="module")
def configuration() -> ModuleType:
    """The configuration of Sphinx."""
    spec = spec_from_file_location("conf_of_docs", ROOT / "docs" / "conf.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("text", "suffix"),
    [
        ('<script async="async" src="https://cdn.example/a.js"></script>', ".html"),
        ('<img alt="" src="//host.example/a.png">', ".html"),
        ('<link rel="stylesheet" href="https://fonts.example/css">', ".html"),
        ('<link href="https://fonts.example" rel="preconnect">', ".html"),
        ('@import url("https://fonts.example/css");', ".css"),
        ("src: url(https://fonts.example/a.woff2)", ".css"),
    ],
)
def test_what_a_page_loads_from_the_network_is_found(
    configuration: ModuleType, text: str, suffix: str
) -> None:
    assert configuration.loads(text, suffix)


@pytest.mark.parametrize(
    ("text", "suffix"),
    [
        ('<a href="https://open-meteo.com/">Open-Meteo</a>', ".html"),
        (
            '<link rel="stylesheet" href="_static/a.css"><script src="_static/a.js"></script>',
            ".html",
        ),
        ("background: url(data:image/svg+xml;charset=utf-8,%3Csvg)", ".css"),
    ],
)
def test_links_and_files_of_its_own_are_no_load(
    configuration: ModuleType, text: str, suffix: str
) -> None:
    assert not configuration.loads(text, suffix)


# -- code


def test_the_example_of_the_library_prints_what_the_page_says(tmp_path: Path) -> None:
    page = text_of("docs/library.md")
    (code,), (said,) = blocks(page, "python"), blocks(page, "text")
    script = tmp_path / "example.py"
    script.write_text(code, encoding="utf-8")

    ran = subprocess.run([sys.executable, script], capture_output=True, text=True, check=True)

    assert ran.stdout == said


# -- what the program says


def said_by_the_program() -> str:
    """Every text in the code and in the macros, one a line."""
    texts = []
    for root in ("daemon", "rules"):
        for path in (ROOT / root).rglob("*.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            texts += [
                node.value
                for node in ast.walk(tree)
                if isinstance(node, ast.Constant) and isinstance(node.value, str)
            ]
        texts += [path.read_text(encoding="utf-8") for path in (ROOT / root).rglob("*.jinja")]
    return "\n".join(texts)


VALUES = re.compile(
    r"\.\.\.|[0-9]+|PHONE|phone|page(?= is not served)|Open-Meteo|dusk|ahead|behind|old"
    r"|expired|patio|cattleya tall|; did you mean cattleya|an hour|must be at most"
)
"""What stands in the messages of the page for what the program fills in."""


def test_every_message_in_troubleshooting_is_one_that_the_program_has() -> None:
    page, said = text_of("docs/troubleshooting.md"), said_by_the_program()
    cells = re.findall(r"^\| ([\"`].*?) \|", page, re.MULTILINE)
    quoted = [
        text for cell in cells for pair in re.findall(r'"([^"]+)"|^`(.+)`$', cell) for text in pair
    ]

    missing = [
        part.strip()
        for text in quoted
        for part in VALUES.split(text)
        if len(part.strip()) > 6 and part.strip(" \":;()'`?") not in said
    ]
    assert len([text for text in quoted if text]) > 35
    assert missing == []
