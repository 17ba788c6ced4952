"""One request as a view sees it: who asks, what is known, and how to answer."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from werkzeug.exceptions import BadRequest
from werkzeug.routing import MapAdapter
from werkzeug.wrappers import Request, Response

from sillward.page.desk import PageDesk
from sillward.page.people.door import Door
from sillward.page.people.entry import Entry
from sillward.page.plans import ToldRound, told_last
from sillward.page.rendering import Templates
from sillward.service.context import ServiceContext
from sillward.wording.voice import Voice
from sillward_rules.sheet import Round

MAX_DIGITS = 18
"""Of a number of the ledger: what surely fits into it."""

MAX_TEXT = 2_000
"""Characters of a field of a form. Judgement: a long note of a plant."""


@dataclass(slots=True)
class Visit:
    """A request, the household that it is about, and who makes it.

    door: lets people in; None for a page that is open to whoever reaches it.
    form_token: what each form of the answer carries.
    """

    request: Request
    desk: PageDesk
    templates: Templates
    addresses: MapAdapter
    door: Door | None
    entry: Entry
    form_token: str
    _open: ExitStack = field(default_factory=ExitStack, init=False)
    _context: ServiceContext | None = field(default=None, init=False)

    @property
    def context(self) -> ServiceContext:
        """The household with its ledger, which is opened at first need. Raise LedgerError."""
        if self._context is None:
            self._context = self._open.enter_context(self.desk.open())
        return self._context

    def close(self) -> None:
        """Let the ledger rest."""
        self._context = None
        self._open.close()

    @property
    def now(self) -> datetime:
        """The present time at the site."""
        return self.context.clock().astimezone(self.context.site.zone)

    @property
    def voice(self) -> Voice:
        """The words and units of the household."""
        return self.context.voice

    @property
    def person(self) -> str | None:
        """The name of who has signed in, if people sign in by name."""
        return self.entry.person

    @property
    def told_last(self) -> ToldRound | None:
        """The daily round that was told last, of today or of the evening before."""
        context, rounds = self.context, self.context.ledger.rounds

        def is_told(round_: Round, day: date) -> bool:
            return rounds.enqueued_at(context.site.name, round_.value, day) is not None

        return told_last(context.site.local_date(self.now), is_told)

    # -- what came

    def field(self, name: str) -> str:
        """Return a field of the form, without blanks around it. Raise BadRequest if too long."""
        text = self.request.form.get(name, "").strip()
        if len(text) > MAX_TEXT:
            msg = f"{name} is longer than {MAX_TEXT} characters"
            raise BadRequest(msg)
        return text

    def fields(self, name: str) -> list[str]:
        """Return all values of a field that may be there more than once."""
        return self.request.form.getlist(name)

    # -- what goes

    def url(self, name: str, **values: Any) -> str:
        """Return the address of a page."""
        return self.addresses.build(name, values)

    def page(self, template: str, /, *, status: int = 200, **facts: Any) -> Response:
        """Return a page made from a template."""
        text = self.templates.render(template, visit=self, **facts)
        return Response(text, status, content_type="text/html; charset=utf-8")

    def redirect(self, name: str, **values: Any) -> Response:
        """Return the answer to a form: look there now (303)."""
        return Response(status=303, headers={"Location": self.url(name, **values)})


View = Callable[..., Response]
"""Answers a visit; takes it, and the values that the address holds by their names."""


def whole_number(text: str) -> int | None:
    """Return a number that stands in an address or a form; None for anything else."""
    is_one = text.isascii() and text.isdecimal() and len(text) <= MAX_DIGITS
    return int(text) if is_one else None
