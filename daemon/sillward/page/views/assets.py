"""The style and the script of the page."""

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.page.route import Access, Route
from sillward.page.static_files import StaticFiles
from sillward.page.visit import Visit

_FILES = StaticFiles()

CACHED_S = 7 * 24 * 3600
"""How long a browser may keep a file [s]: its address changes with its content."""


def asset(visit: Visit, name: str) -> Response:
    """Return one of the listed files."""
    file = _FILES.files.get(name)
    if file is None:
        raise NotFound
    headers = {"Cache-Control": f"max-age={CACHED_S}, immutable"}
    return Response(file.content, 200, headers, content_type=file.content_type)


ROUTES = (Route("/assets/<name>", "asset", asset, access=Access.ANYBODY),)
