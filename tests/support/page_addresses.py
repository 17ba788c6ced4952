"""The addresses of the page, found as a person finds them: from link to link."""

import re
from collections.abc import Iterable
from html import unescape
from urllib.parse import urlsplit

from werkzeug.exceptions import HTTPException
from werkzeug.routing import Map, Rule

from sillward.page.route import Route
from sillward.page.routes import ROUTES
from tests.support.pages import Visitor

_LINK = re.compile(r'\b(?:href|src)="(/[^"#]*)')


def addresses(visitor: Visitor, beside: Iterable[str] = ()) -> dict[str, str]:
    """Return an address of each GET route that a page leads to, by the route's name.

    beside: addresses to begin with, such as those that no page leads to.
    """
    shown = [route for route in ROUTES if route.method == "GET"]
    rules = Map([Rule(route.rule, endpoint=route.name) for route in shown]).bind("127.0.0.1")
    found: dict[str, str] = {}
    waiting = [*beside, "/"]
    for address in waiting:
        split = urlsplit(address)
        try:
            name, _ = rules.match(split.path)
        except HTTPException:
            continue
        if name in found:
            continue
        found[name] = address
        answer = visitor.client.get(address, headers={"Accept": "text/html"})
        if answer.content_type.startswith("text/html"):
            waiting.extend(unescape(link) for link in _LINK.findall(answer.text))
    return found


def is_page(route: Route) -> bool:
    """Whether a route shows a page in HTML."""
    return route.method == "GET" and route.name not in NO_PAGES


NO_PAGES = {"asset", "health", "photo", "small_photo", "manifest", "service_worker"}
"""GET routes that give something else than a page."""
