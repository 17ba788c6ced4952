"""The pictures of the manual, and whether they are current.

The push and the chart of nights show the packaged courtyard in its recorded cold snap, the charts
of readings its invented year of readings. The push is an SVG of plain text, the same on every
machine, so it is compared sign by sign. Charts are drawn by matplotlib, whose pixels change with
its version and with the fonts of the machine. What is kept beside each instead is what it was drawn
from: its numbers, which are compared with a tolerance (another NumPy may round the last digit the
other way), and a digest of the code that draws. The PNG's own digest is kept as well, so that no
other picture can take its place unseen.
"""

import ast
import hashlib
import json
import math
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import datetime, time, timedelta
from functools import cache
from html import escape
from pathlib import Path
from typing import Any, TypeGuard

from click.testing import CliRunner

from sillward.assembly import demo_readings, examples, read_only
from sillward.charts import draw
from sillward.charts.data import (
    Chart,
    chart_of,
    correction_chart,
    made_line,
    readings_chart,
    to_plain,
)
from sillward.cli import main
from sillward.forecast.store import ForecastStore
from sillward.readings.spot_lesson import lesson_of
from sillward.reports import skill
from sillward.wording.voice import Voice

PICTURES = Path(__file__).parents[1] / "pictures"
PUSH = PICTURES / "push.svg"

EXAMPLES = Path(__file__).parents[2] / "examples"
SPOT, MOVED_SPOT, READ_SPOT = "wall bench", "wall bench", "pergola"
"""The spot of the nights ahead, the one with a thermometer that was moved, and another one."""

TOLERANCE = 0.02
"""How far a number of a chart may be off its record: a fiftieth of a degree is not to be seen."""


def bring_up_to_date() -> Iterator[Path]:
    """Draw the pictures that are not current anew, and yield the paths of what was written."""
    push = drawn_push()
    if not PUSH.exists() or PUSH.read_text(encoding="utf-8") != push:
        PUSH.write_text(push, encoding="utf-8")
        yield PUSH
    for name, chart in charts().items():
        if chart_is_outdated(name) is not None:
            picture, record = _files_of(name)
            picture.write_bytes(draw.image(chart, "png"))
            text = json.dumps(_made_of(chart, picture))  # a year of nights is too many lines
            record.write_text(f"{text}\n", encoding="utf-8")
            yield picture
            yield record


@cache
def charts() -> dict[str, Chart]:
    """The charts of the manual, by the names of their files."""
    app = examples.demo("cold-snap")
    now, collection = app.clock(), app.household.collection
    weather = read_only.fetched_weather(app, now)
    year_app, ledger = demo_readings.year()
    year, site = year_app.household.collection, year_app.site
    day_after = examples.PAST_YEAR[1] + timedelta(days=1)
    noon = datetime.combine(day_after, time(12), site.zone)
    made = made_line(noon, str(site.zone), year_app.household.units)
    sources = list(demo_readings.KEYS)
    with closing(ledger):
        store = ForecastStore((), ledger, lambda: noon)
        report = skill.report_of(year, store, demo_readings.KEYS)
        read, moved = (
            lesson_of(ledger, site, year.spot(name), sources, store.here_since(site))
            for name in (READ_SPOT, MOVED_SPOT)
        )
    assert read is not None
    assert moved is not None
    plants = [plant for plant in year.plants if plant.home == READ_SPOT]
    return {
        "nights": chart_of("night", SPOT, collection, weather, {}, now),
        "readings": readings_chart(READ_SPOT, read.lows, read.course, plants, made),
        "correction": correction_chart(MOVED_SPOT, moved.spot.night_offset_k, moved.course, made),
        "skill": skill.chart(report, Voice(site)),
    }


def _files_of(name: str) -> tuple[Path, Path]:
    """Return the files of a picture and of what it was made of."""
    return PICTURES / f"{name}.png", PICTURES / f"{name}.json"


def _answer(command: str, *words: str) -> str:
    """What a command prints about the courtyard in its cold snap, whatever is set here."""
    result = CliRunner().invoke(
        main,
        [
            command,
            *words,
            *("--collection", str(EXAMPLES / "courtyard.toml")),
            *("--recorded", str(EXAMPLES / "recorded" / "cold-snap.json")),
        ],
        catch_exceptions=False,
    )
    if result.exit_code != 0:
        msg = f"sillward {command} failed: {result.stderr}"
        raise RuntimeError(msg)
    return result.stdout


# -- the push

WIDTH, MARGIN = 460, 20
"""Of the drawing, and of the text within it [px]."""

LINE_PX, TITLE_LINE_PX, GAP_PX = 20, 24, 7

LETTERS, TITLE_LETTERS = 52, 44
"""In a line. No font is asked for by name, so there is room for a wide one."""

_STYLE = """\
    text { font-family: system-ui, -apple-system, "Segoe UI", Roboto, sans-serif; fill: #1d1d1b }
    .small { font-size: 13px; fill: #5c5c57 }
    .title { font-size: 17px; font-weight: 600 }
    .line { font-size: 15px }"""


def drawn_push() -> str:
    """The dusk push as a card of text. Its own background makes it legible on a dark page too."""
    shown = _answer("sheet", "--round", "dusk", "--short")
    title, *lines = shown.replace("\n  ", " ").splitlines()  # a terminal is wider than a phone
    at = datetime.fromisoformat(json.loads(_answer("sheet", "--round", "dusk", "--json"))["at"])
    y, rows = 34, [_row("small", MARGIN, 34, "sillward")]
    rows.append(_row("small", WIDTH - MARGIN, y, f"{at:%a %H:%M}", anchor="end"))
    y += 8
    for part in textwrap.wrap(title, TITLE_LETTERS):
        y += TITLE_LINE_PX
        rows.append(_row("title", MARGIN, y, part))
    for line in lines:
        y += GAP_PX
        for part in textwrap.wrap(line.replace(" °", "\u00a0°"), LETTERS):
            y += LINE_PX
            rows.append(_row("line", MARGIN, y, part))
    height = y + MARGIN
    said = escape(". ".join((title, *lines)))
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}"'
            f' width="{WIDTH}" height="{height}" role="img" aria-labelledby="said">',
            f'  <title id="said">{said}</title>',
            f"  <style>\n{_STYLE}\n  </style>",
            f'  <rect x="0.5" y="0.5" width="{WIDTH - 1}" height="{height - 1}" rx="14"'
            ' fill="#fbfaf7" stroke="#b9b7af"/>',
            *rows,
            "</svg>\n",
        ]
    )


def _row(kind: str, x: int, y: int, text: str, *, anchor: str = "start") -> str:
    end = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'  <text class="{kind}" x="{x}" y="{y}"{end}>{escape(text)}</text>'


# -- the charts


def chart_is_outdated(name: str) -> str | None:
    """Why a chart does not show what it would show if it were drawn now; None if it does."""
    picture, record = _files_of(name)
    if not picture.exists() or not record.exists():
        return "it is not there"
    kept, now = json.loads(record.read_text(encoding="utf-8")), _made_of(charts()[name], picture)
    for part in ("drawing", "picture"):
        if kept[part] != now[part]:
            return f"another {part}"
    return difference(kept["chart"], now["chart"])


def _made_of(chart: Chart, picture: Path) -> dict[str, Any]:
    return {
        "drawing": digest_of_code(_drawing_code()),
        "picture": hashlib.sha256(picture.read_bytes()).hexdigest(),
        "chart": _rounded(to_plain(chart)),
    }


def _drawing_code() -> str:
    """Return the text of all modules that draw, one after the other."""
    modules = sorted(Path(draw.__file__).parent.glob("*.py"))
    return "\n".join(module.read_text(encoding="utf-8") for module in modules)


def digest_of_code(text: str) -> str:
    """A digest of the lines that do something: not of comments, descriptions and imports, since
    none of them changes a picture. Of text, as Python's own trees look different in each version.
    """
    left_out: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.Import, ast.ImportFrom)) or _is_description(node):
            left_out.update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    lines = [
        line
        for number, line in enumerate(text.splitlines(), start=1)
        if number not in left_out and line.strip() and not line.lstrip().startswith("#")
    ]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def _is_description(node: ast.AST) -> TypeGuard[ast.Expr]:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _rounded(value: Any) -> Any:
    """Numbers as far as anyone can see them in the chart."""
    if isinstance(value, float):
        return round(value, 2)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list) else value


def difference(kept: Any, now: Any, where: str = "chart") -> str | None:
    """The first place at which two documents differ by more than rounding; None if none does."""
    if isinstance(kept, float) and isinstance(now, (int, float)):
        close = math.isclose(kept, now, rel_tol=0, abs_tol=TOLERANCE)
        return None if close else f"{where}: {kept} is {now} now"
    if isinstance(kept, dict) and isinstance(now, dict) and kept.keys() == now.keys():
        pairs: Sequence[tuple[Any, Any, Any]] = [(key, kept[key], now[key]) for key in kept]
    elif isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        pairs = list(zip(range(len(kept)), kept, now, strict=True))
    else:
        return None if kept == now else f"{where}: {kept} is {now} now"
    found = (difference(left, other, f"{where}.{key}") for key, left, other in pairs)
    return next((text for text in found if text is not None), None)
