"""One browser for all tests of this folder; each has windows of its own."""

from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from playwright.sync_api import Browser, sync_playwright

from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone
from tests.support.pages import an_evening


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if browsing.PROGRAM is None:
        pytest.skip(browsing.MISSING)
    with sync_playwright() as playwright:
        yield browsing.launched(playwright)


@pytest.fixture
def server() -> Iterator[PageServer]:
    """The page of the packaged example shortly after dusk, of which nothing is answered yet."""
    with browsing.serving(an_evening()) as server:
        yield server


@pytest.fixture
def phone(browser: Browser, server: PageServer) -> Iterator[Phone]:
    """A phone on that page."""
    with browsing.holding(browser, server.address) as phone:
        yield phone


@pytest.fixture
def phones(browser: Browser, server: PageServer) -> Iterator[tuple[Phone, Phone]]:
    """Two of them."""
    with ExitStack() as open_:
        one, other = (
            open_.enter_context(browsing.holding(browser, server.address)) for _ in range(2)
        )
        yield one, other
