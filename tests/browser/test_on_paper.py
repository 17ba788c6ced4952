"""What is printed: a list to tick with a pencil, and the list for whoever helps."""

import re

from playwright.sync_api import Browser, PdfMargins

from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone

MARGINS: PdfMargins = {"top": "1cm", "right": "1cm", "bottom": "1cm", "left": "1cm"}


def sheets(phone: Phone) -> int:
    """How many sheets of A4 the page needs, with the margins that browsers use."""
    return len(re.findall(rb"/Type\s*/Page\b", phone.page.pdf(format="A4", margin=MARGINS)))


def test_today_has_a_box_for_each_plant_and_nothing_to_press(
    browser: Browser, server: PageServer
) -> None:
    with browsing.holding(browser, server.address, color_scheme="dark") as phone:
        page = phone.open()
        to_do = page.locator("article:has(button.wide) .choice:visible").count()
        assert to_do == 15 + 2  # plants to carry in, and pots that want water since the morning
        page.emulate_media(media="print")

        assert page.locator("nav:visible, button:visible, summary:visible").count() == 0
        boxes = page.locator(".choice:visible").evaluate_all(_BOXES)
        assert boxes == ['"☐"'] * to_do
        assert page.locator("body").evaluate(_INK) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
        assert sheets(phone) <= 3


def test_the_list_for_whoever_helps_fits_on_two_sheets(phone: Phone) -> None:
    page = phone.open("/away")
    page.get_by_role("link", name="The list to print").click()
    page.get_by_role("heading", level=1, name="The plants of Courtyard").wait_for()

    assert sheets(phone) <= 2


_BOXES = "lines => lines.map(line => getComputedStyle(line, '::before').content)"
_INK = "page => [getComputedStyle(page).color, getComputedStyle(page).backgroundColor]"
