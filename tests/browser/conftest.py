"""One browser for all tests of this folder; each has windows of its own."""

from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright

from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone
from tests.support.pages import an_evening


@pytest.fixture(scope="session")
def driver() -> Iterator[Playwright]:
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def browser(request: pytest.FixtureRequest) -> Browser:
    """The light one where it is installed."""
    return browser_of(request, browsing.LIGHT or browsing.PROGRAM)


@pytest.fixture(scope="session")
def whole_browser(request: pytest.FixtureRequest) -> Browser:
    """One that shows notifications."""
    return browser_of(request, browsing.PROGRAM)


def browser_of(request: pytest.FixtureRequest, program: str | None) -> Browser:
    if program is None:
        pytest.skip(browsing.MISSING)
    return browsing.launched(request.getfixturevalue("driver"), program)


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
