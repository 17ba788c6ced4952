"""The page of the packaged example, asked without a socket: a client, and its forms."""

import re
from datetime import UTC, datetime
from functools import cache
from html import unescape

from werkzeug.test import Client, TestResponse

from sillward.assembly import demo_page
from sillward.assembly.examples import demo
from sillward.ledger import Ledger
from sillward.ledger.copies import load
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.links.page_links import PageLinks
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.service.answer_links import links_for

KEY = b"k" * 32
REAL = datetime(2026, 5, 14, 12, tzinfo=UTC)
"""The real time at which a demonstration starts: it stands still."""

_TOKEN = re.compile(r'name="form_token" value="([0-9a-f]+)"')


def link_of_dusk(desk: PageDesk) -> str:
    """Return where a link leads that the dusk notice of a desk would carry now."""
    with desk.open() as context:
        context.links = PageLinks(KEY, "")
        now = context.clock()
        day = context.site.local_date(now)
        notice, *_ = context.ledger.notices.of_round(context.site.name, "dusk", day)
        links = links_for(context, notice, None)
        assert links is not None
        return links.address


def an_evening(weather: str = "cold-snap") -> PageDesk:
    """A desk on which the rounds of the example were told: once for all tests, then copied."""
    ledger = Ledger(IN_MEMORY)
    load(ledger.database.connection, _told(weather))
    return demo_page.told_page_desk(demo(weather), ledger, now=REAL)


@cache
def _told(weather: str) -> bytes:
    ledger = Ledger(IN_MEMORY)
    demo_page.told_page_desk(demo(weather), ledger, now=REAL)
    content: bytes = ledger.database.connection.serialize()
    return content


class Visitor:
    """A browser with its cookies, on the page of a desk."""

    def __init__(self, desk: PageDesk | None = None) -> None:
        self.desk = desk or an_evening()
        self.client = Client(Application(self.desk, Guard(KEY)))
        self.seen: TestResponse | None = None

    def get(self, path: str = "/") -> str:
        """Ask for a page that must be there, and return it as text."""
        self.seen = self.client.get(path)
        assert self.seen.status_code == 200, self.seen.text
        return self.seen.text

    @property
    def form_token(self) -> str:
        """The token of the forms on the page that was seen last, or on the first page."""
        text = self.get() if self.seen is None or not _TOKEN.search(self.seen.text) else ""
        found = _TOKEN.search(text or (self.seen.text if self.seen else ""))
        assert found is not None
        return found[1]

    def post(self, path: str, **fields: object) -> TestResponse:
        """Send a form, with the token of the page that was seen last."""
        data = {"form_token": self.form_token} | fields
        return self.client.post(path, data=data)

    def says(self, path: str = "/") -> str:
        """Return the words of a page, without its tags."""
        return " ".join(unescape(re.sub(r"<[^>]*>", " ", self.get(path))).split())
