"""A real browser, an installed Chromium, on a real server of the page on loopback.

The variable CHROMIUM may name the program. The browser resolves no name and loads nothing from
beyond this machine; what it asked for is recorded.
"""

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import axe_playwright_python
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Playwright, expect

from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.server import PageServer
from tests.support.pages import KEY

_NAMES = ("chromium", "chromium-browser", "google-chrome")
PROGRAM = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, _NAMES)), None)
LIGHT = shutil.which("chromium-headless-shell")
"""The same without what needs a window, such as notifications: it takes half the time."""

MISSING = "there is no Chromium: install it (Debian's package chromium), or set CHROMIUM"

AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")
AXE_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
"""What WCAG 2.2 asks for at levels A and AA, as far as a program can check it."""

PATIENCE_MS = 20_000
"""How long a page may take to become what a test waits for, on a machine that is busy."""

PHONE = (360, 740)


def launched(playwright: Playwright, program: str) -> Browser:
    """A browser without a window."""
    expect.set_options(timeout=PATIENCE_MS)
    return playwright.chromium.launch(
        executable_path=program,
        chromium_sandbox=os.getuid() != 0,  # which Chromium refuses to root
        args=[
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
            "--disable-gpu",
        ],
    )


@contextmanager
def serving(desk: PageDesk, port: int = 0, guard: Guard | None = None) -> Iterator[PageServer]:
    """Serve the page of a desk on loopback. guard: instead of one that lets everybody in."""
    server = PageServer(Application(desk, guard or Guard(KEY)), "127.0.0.1", port)
    server.start()
    with closing(server):
        yield server


@dataclass
class Phone:
    """A browser of its own, with its cookies, and what went wrong in it.

    address: of the page, with a slash at its end.
    """

    address: str
    context: BrowserContext
    page: Page
    complaints: list[str] = field(default_factory=list)

    def open(self, path: str = "/") -> Page:
        """Go to a page that must be there, and return it."""
        answer = self.page.goto(self.address + path.lstrip("/"))
        assert answer is not None
        assert answer.ok, f"{path}: {answer.status}"
        return self.page

    def card(self, words: str) -> Locator:
        """The card on which these words stand."""
        return self.page.locator("article[data-card]").filter(has_text=words)

    def forgive_failed_requests(self) -> None:
        """Let pass what the browser says of requests that were made to fail."""
        said = "console: Failed to load resource"
        self.complaints[:] = [line for line in self.complaints if not line.startswith(said)]


@contextmanager
def holding(
    browser: Browser, address: str, *, size: tuple[int, int] = PHONE, **options: Any
) -> Iterator[Phone]:
    """Open a browser window of its own; afterwards nothing must have gone wrong in it."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        reduced_motion="reduce",  # nothing glides, so nothing has to be waited for
        **({"service_workers": "block"} | options),
    )
    context.set_default_timeout(PATIENCE_MS)
    try:
        page = context.new_page()
        phone = Phone(address, context, page)
        page.on("console", lambda line: phone.complaints.append(f"console: {line.text}"))
        page.on("pageerror", lambda error: phone.complaints.append(f"script: {error}"))
        context.on(
            "request",
            lambda request: (
                None
                if request.url.startswith(address)
                else phone.complaints.append(f"asked for {request.url}")
            ),
        )
        yield phone
        assert not phone.complaints, phone.complaints
    finally:
        context.close()


def axe_violations(page: Page, only: Sequence[str] = ()) -> list[str]:
    """What axe-core finds on the page as it is shown now, each with where it is.

    only: the rules to check, by their names; otherwise all of `AXE_TAGS`.
    """
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    which = {"type": "rule", "values": only} if only else {"type": "tag", "values": AXE_TAGS}
    wanted = {"runOnly": which, "resultTypes": ["violations"]}
    found = page.evaluate("wanted => axe.run(wanted)", wanted)
    return [
        f"{violation['id']}: {node['html'][:200]} ({node['failureSummary']})"
        for violation in found["violations"]
        for node in violation["nodes"]
    ]
