"""The style, the script and the icons of the page, and what a phone needs to keep it as an app."""

import json

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
    return file_named(name)


def file_named(name: str) -> Response:
    """Return one of the listed files. Raise NotFound for anything else."""
    file = _FILES.files.get(name)
    if file is None:
        raise NotFound
    headers = {"Cache-Control": f"max-age={CACHED_S}, immutable"}
    return Response(file.content, 200, headers, content_type=file.content_type)


def manifest(visit: Visit) -> Response:
    """Return what a phone asks for that puts the page on its home screen.

    A phone may ask for it without any cookie, so there is nothing of the household in it. Addresses
    are relative to its own, so that each of several households has an app of its own.
    """
    described = {
        "name": "sillward",
        "short_name": "sillward",
        "start_url": "./",
        "scope": "./",
        "display": "standalone",
        "background_color": "#fbfaf5",
        "theme_color": "#1d5a49",
        "icons": [
            {"src": _FILES.address(name), "sizes": f"{size}x{size}", "type": "image/png"}
            | {"purpose": purpose}
            for name, size, purpose in _ICONS
        ],
    }
    headers = {"Cache-Control": "max-age=3600"}
    return Response(json.dumps(described), 200, headers, content_type="application/manifest+json")


_ICONS = (
    ("icon-192.png", 192, "any"),
    ("icon-512.png", 512, "any"),
    ("icon-maskable-512.png", 512, "maskable"),
)
"""The icons that a home screen takes: icon.svg, drawn in these sizes [px]. Phones cut the maskable
one to a shape of their own."""

ROUTES = (
    Route("/assets/<name>", "asset", asset, access=Access.ANYBODY),
    Route("/manifest.webmanifest", "manifest", manifest, access=Access.ANYBODY),
)
