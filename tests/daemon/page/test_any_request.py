"""Whatever a form or an address says, the page answers in words: no request is an error of ours.

Forms are filled with what looks right to a careless reader, and sent to any address.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import closing
from io import BytesIO
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.routing import Map, Rule

from sillward.assembly import demo_page
from sillward.assembly.examples import demo
from sillward.ledger import Ledger
from sillward.links.page_links import PageLinks
from sillward.page.keys import key_of
from sillward.page.route import Route
from sillward.page.routes import ROUTES
from tests.support.pages import KEY, REAL, Visitor, link_of_dusk
from tests.support.paths import ROOT

Draw = Callable[[st.SearchStrategy[Any]], Any]

_ASKED_FOR = re.compile(r'(?:field|fields|get|getlist)\(\s*"([a-z0-9_-]+)"')
VIEWS = "\n".join(
    path.read_text(encoding="utf-8") for path in (ROOT / "daemon/sillward/page/views").glob("*.py")
)
FIELDS = [
    *dict.fromkeys(_ASKED_FOR.findall(VIEWS)),
    "when", "at", "unit", "endpoint", "p256dh", "auth", "shown", "first", "last", "note",
]  # fmt: skip

NUMBERS = [
    "0", "-0", "1e308", "1e-400", "NaN", "-inf", "9" * 30, "٣", "1_0", "0x10", " 7 ", "7,5", "--1",
]  # fmt: skip

TIMES = [
    "now", "soon", "0001-01-01", "9999-12-31T23:59", "2026-05-14T25:00", "2026-02-30", "24:00",
    "2026-05-14T18:40+99:99", "2026-05-14T18:40:00.123456789Z", "-1 h", "99999999999 d",
    "2026-W20-4", "1969-12-31T23:59", "sunset-90min", "today", "tomorrow", "yesterday",
]  # fmt: skip

TEXTS = [
    "", " ", "\x00", "\u202e", "\r\n", "<script>", "{{7*7}}", "{%", "%s", "../../x",
    "'; DROP TABLE chore; --", "é" * 3_000, "a\u0301", "\U0001f335", "-1", "done", "later",
    "not-needed", "on", "true", "null", "[]",
]  # fmt: skip


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """The page of the example with its ledger in a file, where all can be kept."""
    path = tmp_path_factory.mktemp("ledger") / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        desk = demo_page.told_page_desk(demo("cold-snap"), ledger, now=REAL)
        desk.context.links = PageLinks(KEY, "")
        yield Visitor(desk)


@pytest.fixture(scope="module")
def likely(visitor: Visitor) -> list[str]:
    """What the example knows by name or key, and all the above."""
    with visitor.desk.open() as context:
        site, collection = context.site, context.household.collection
        day = site.local_date(context.clock())
        names = [chore.id for chore in context.ledger.chores.of_day(site.name, day)]
        names += [plant.name for plant in collection.plants[:4]]
        names += [spot.name for spot in collection.spots]
    link = link_of_dusk(visitor.desk).removeprefix("/t/")
    return [*names, *map(key_of, names), link, str(day), *"123", *NUMBERS, *TIMES, *TEXTS]


def a_path(route: Route, draw: Draw, some: st.SearchStrategy[str]) -> str:
    """An address of a route, with anything in the places of its rule."""
    values: dict[str, object] = {}
    for converter, name in re.findall(r"<(?:(\w+)[^:>]*:)?(\w+)>", route.rule):
        values[name] = draw(st.integers(0, 2**63)) if converter == "int" else draw(some) or "x"
    rules = Map([Rule(route.rule, endpoint=route.name)]).bind("localhost")
    return rules.build(route.name, values)


def a_form(draw: Draw, some: st.SearchStrategy[str]) -> dict[str, Any]:
    """Fields of any names that the page knows, some of them several times."""
    fields: dict[str, Any] = {}
    for name, value in draw(st.lists(st.tuples(st.sampled_from(FIELDS), some), max_size=8)):
        fields.setdefault(name, []).append(value)
    return fields


@pytest.mark.parametrize("examples", [40, pytest.param(5_000, marks=pytest.mark.slow)])
def test_no_request_is_an_error_of_ours(examples: int, visitor: Visitor, likely: list[str]) -> None:
    some = st.sampled_from(likely) | st.text(st.characters(exclude_categories=["Cs"]), max_size=9)

    @settings(max_examples=examples, deadline=None)
    @given(route=st.sampled_from(ROUTES), data=st.data())
    def answered(route: Route, data: st.DataObject) -> None:
        path, fields = a_path(route, data.draw, some), a_form(data.draw, some)
        if route.method == "POST":
            photo = data.draw(st.sampled_from([None, b"", b"\xff\xd8\xff\xe0 no photo"]))
            files = {} if photo is None else {"photo": (BytesIO(photo), "x.jpg")}
            data_ = {"form_token": visitor.form_token, **fields, **files}
            answer = visitor.client.post(path, data=data_)
        else:
            answer = visitor.client.get(path, query_string=fields)

        assert answer.status_code != 500
        assert "<script>" not in answer.text

    answered()
