"""The files of the page that are the same for everybody: its style, its script, its icon.

They are read once, by names that are listed here, so that no address reaches the file system.
"""

from dataclasses import dataclass, field
from hashlib import sha256
from importlib import resources
from typing import Final

TYPES: Final = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "phones.js": "text/javascript; charset=utf-8",
    "service-worker.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
    "icon-192.png": "image/png",
    "icon-512.png": "image/png",
    "icon-maskable-512.png": "image/png",
}
"""The files, with their content types."""


PREFIX: Final = "/assets/"
"""Where they are, above the households if there are several."""


@dataclass(frozen=True, slots=True)
class StaticFile:
    """A file as it is sent."""

    content: bytes
    content_type: str
    version: str


def _read(name: str, content_type: str) -> StaticFile:
    content = resources.files("sillward.page").joinpath("static", name).read_bytes()
    return StaticFile(content, content_type, sha256(content).hexdigest()[:12])


@dataclass(frozen=True, slots=True)
class StaticFiles:
    """All of them, by name."""

    files: dict[str, StaticFile] = field(
        default_factory=lambda: {name: _read(name, kind) for name, kind in TYPES.items()}
    )

    def address(self, name: str) -> str:
        """Return the address of a file, which is another one when its content has changed."""
        return f"{PREFIX}{name}?v={self.files[name].version}"
