"""What holds for every page. A new page is found by the links that lead to it."""

from collections.abc import Iterator
from itertools import pairwise

import pytest
from playwright.sync_api import Browser, expect

from sillward.page.keys import key_of
from sillward.page.routes import ROUTES
from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone, axe_violations
from tests.support.page_addresses import addresses, is_page
from tests.support.page_people import Guest, Yard, passphrase_of
from tests.support.pages import Visitor, an_evening, link_of_dusk

WIDTHS_PX = (1280, 768, 320, 360)
"""320 is 1280 at 400 % (WCAG 2.2, 1.4.10); what fits there fits at 200 % too. The last stays."""

SMALLEST_PX, SMALLEST_IN_CHARTS_PX = 16, 12
"""Letters."""

LOWEST_PX = 44
"""The lowest thing to press."""

A_PLANT = f"/plants/{key_of('Blue basket')}"
A_SPOT = f"/spots/{key_of('pergola')}"

STOPS = 3
"""Of the keyboard for each thing to press, at most: a date and time has six in one field."""

KINDS = ("root", "spike", "flower", "repotted", "damage")
"""What the diary of a plant has, for its years to be drawn."""

PAGES = [route.name for route in ROUTES if is_page(route)]


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return Yard(tmp_path_factory.mktemp("passphrases"))


@pytest.fixture(scope="module")
def visitor(yard: Yard) -> Visitor:
    """Inés, who has signed in to the packaged example, with something to see on every page."""
    visitor = Guest(yard, an_evening())
    visitor.sign_in("Inés", passphrase_of("Inés"))
    for path, fields in (
        (f"{A_PLANT}/notes", {"text": "a new root, <b>green</b> at its tip"}),
        *((f"{A_PLANT}/notes", {"text": "", "kind": kind}) for kind in KINDS),
        (f"{A_SPOT}/readings", {"value": "7.5", "when": "now"}),
    ):
        assert visitor.post(path, **fields).status_code == 303
    return visitor


@pytest.fixture(scope="module")
def places(visitor: Visitor) -> dict[str, str]:
    with visitor.desk.open() as context:
        day = context.site.local_date(context.clock())
        notice, *_ = context.ledger.notices.of_round(context.site.name, "dusk", day)
    words = f"/told/{day}/{key_of(notice.key)}"  # linked where there are too many for one page
    beside = [A_PLANT, A_SPOT, link_of_dusk(visitor.desk), words, "/sign-in"]
    return addresses(visitor, beside)


@pytest.fixture(scope="module")
def lived_in(visitor: Visitor, yard: Yard) -> Iterator[PageServer]:
    with browsing.serving(visitor.desk, guard=yard.guard()) as server:
        yield server


@pytest.fixture(scope="module")
def one_window(browser: Browser, lived_in: PageServer) -> Iterator[Phone]:
    with browsing.holding(browser, lived_in.address) as window:
        page = window.open("/sign-in")
        page.get_by_label("Your name").fill("Inés")
        page.get_by_label("Passphrase").fill(passphrase_of("Inés"))
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_text("Signed in as Inés.")).to_be_visible()
        yield window


@pytest.fixture
def window(one_window: Phone) -> Iterator[Phone]:
    """A window as wide as a phone, in which nothing goes wrong."""
    one_window.page.set_viewport_size({"width": 360, "height": 740})
    yield one_window
    complaints, one_window.complaints[:] = list(one_window.complaints), []
    assert not complaints, complaints


@pytest.fixture(params=PAGES)
def place(request: pytest.FixtureRequest, places: dict[str, str]) -> str:
    name = str(request.param)
    assert name in places, "no page leads there"
    return places[name]


def test_is_whole_at_every_width_and_can_be_read_and_pressed(window: Phone, place: str) -> None:
    page = window.open(place)
    assert page.title().endswith(" · sillward")
    levels = page.evaluate(_LEVELS)
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for width in WIDTHS_PX:
        page.set_viewport_size({"width": width, "height": 740})
        sideways = page.evaluate(_SIDEWAYS)
        assert not sideways, f"{width} px: {sideways}"
    page.evaluate(_UNFOLD)
    assert not (small := page.evaluate(_SMALL, [SMALLEST_PX, SMALLEST_IN_CHARTS_PX])), small
    assert not (low := page.evaluate(_LOW, LOWEST_PX)), low
    assert not page.evaluate(_SIDEWAYS)
    page.emulate_media(color_scheme="light")
    assert not (found := axe_violations(page)), found
    page.emulate_media(color_scheme="dark")
    assert not (found := axe_violations(page, only=["color-contrast"])), found


def test_can_be_walked_through_with_the_keyboard(window: Phone, place: str) -> None:
    page = window.open(place)
    page.evaluate(_UNFOLD)
    reachable = page.evaluate(_REACHABLE)
    seen: set[str] = set()
    for _ in range(STOPS * reachable):
        page.keyboard.press("Tab")
        state = page.evaluate(_FOCUS)
        assert state["outline"] >= 2, state
        assert state["in_sight"], state
        seen.add(state["number"])
        if len(seen) == reachable:
            return
    pytest.fail("the keyboard does not reach everything")


_UNFOLD = "document.querySelectorAll('details').forEach(fold => fold.open = true)"

_LEVELS = "[...document.querySelectorAll('h1,h2,h3,h4')].map(heading => +heading.tagName[1])"

_SIDEWAYS = """() => {
  const page = document.documentElement;
  if (page.scrollWidth <= page.clientWidth) return [];
  return [...document.querySelectorAll('body *')]
    .filter(part => part.getBoundingClientRect().right > page.clientWidth + 1)
    .slice(0, 5).map(part => part.outerHTML.slice(0, 160));
}"""
"""What makes a page scroll sideways."""

_SMALL = """([smallest, inCharts]) => {
  const small = [];
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text = texts.nextNode(); text; text = texts.nextNode()) {
    const part = text.parentElement;
    if (!text.data.trim() || !part.checkVisibility()) continue;
    const chart = part.closest('svg');
    const scale = part.getScreenCTM ? part.getScreenCTM().d : 1;
    const size = parseFloat(getComputedStyle(part).fontSize) * scale;
    if (size < (chart ? inCharts : smallest) - 0.01) small.push(`${size} px: ${text.data.trim()}`);
  }
  return small;
}"""
"""Letters that are too small, as they are shown."""

_LOW = """lowest => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter(part => part.checkVisibility() && part.type !== 'hidden' && !part.matches('.skip'))
  .filter(part => !(part.matches('a') && getComputedStyle(part).display === 'inline'
    && [...part.parentElement.childNodes].some(n => n !== part && n.textContent.trim())))
  .map(part => [part.closest('label') ?? part, part])
  .filter(([area]) => area.getBoundingClientRect().height < lowest - 0.01)
  .map(([area, part]) => `${area.getBoundingClientRect().height} px: ${part.outerHTML}`)"""
"""What is too low to press with a thumb; links within a sentence are as high as its line (WCAG 2.2,
2.5.8)."""

_REACHABLE = """() => {
  const parts = [...document.querySelectorAll(
    'a[href], button, input, select, textarea, summary, [tabindex="0"]')]
    .filter(part => part.checkVisibility() && part.type !== 'hidden' && !part.disabled);
  const radios = new Set(parts.filter(part => part.type === 'radio').map(part => part.name));
  parts.forEach((part, number) => part.dataset.number = number);
  return parts.filter(part => part.type !== 'radio').length + radios.size;
}"""
"""How much the keyboard must reach; of radio buttons of one name it reaches one."""

_FOCUS = """() => {
  const part = document.activeElement, box = part.getBoundingClientRect();
  const style = getComputedStyle(part);
  const points = [[box.left + box.width / 2, box.top + box.height / 2],
    [box.left + 3, box.top + 3], [box.right - 3, box.bottom - 3]];
  return {
    number: part.dataset.number, html: part.outerHTML.slice(0, 200),
    outline: style.outlineStyle === 'none' ? 0 : parseFloat(style.outlineWidth),
    in_sight: points.some(([x, y]) => {
      const top = document.elementFromPoint(x, y);
      return top && (part.contains(top) || top.contains(part) && !top.matches('body, html, main'));
    }),
  };
}"""
"""Where the keyboard is, and whether that shows (WCAG 2.2, 2.4.7 and 2.4.11)."""
