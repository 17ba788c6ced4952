"""Sphinx's configuration: `sphinx-build -W -n docs docs/_build` makes the site.

It is read without a network: no page may load anything from elsewhere (fonts, scripts, styles).
"""

import re
from importlib.metadata import version as version_of
from pathlib import Path

from sphinx.application import Sphinx
from sphinx.errors import ExtensionError

project = "sillward"
version = release = version_of("sillward")
copyright = "the sillward developers"

extensions = ["myst_parser"]
exclude_patterns = ["_build", "make"]
myst_heading_anchors = 4
myst_enable_extensions = ["html_image"]  # pictures with a width, as other readers know them too
nitpicky = True

html_theme = "furo"
html_title = "sillward"
html_copy_source = False
html_show_copyright = False

_LOADED = re.compile(
    r"""<(?:script|img|iframe|source|video|audio)\b[^>]*\bsrc=["'](?:https?:)?//[^"']+"""
    r"""|<link\b(?=[^>]*rel=["'](?:stylesheet|preload|preconnect|icon))[^>]*(?:https?:)?//[^"']+""",
    re.IGNORECASE,
)
_LOADED_BY_STYLE = re.compile(
    r"""@import\s+(?:url\()?["']?(?:https?:)?//|url\(\s*["']?(?:https?:)?//"""
)


def loads(text: str, suffix: str) -> list[str]:
    """What a page or a style sheet loads from the network."""
    pattern = _LOADED if suffix == ".html" else _LOADED_BY_STYLE
    return [found[0] for found in pattern.finditer(text)]


def _refuse_network(app: Sphinx, error: Exception | None) -> None:
    if error is not None or app.builder.format != "html":
        return
    for path in sorted(Path(app.outdir).rglob("*")):
        if path.suffix in (".html", ".css"):
            found = loads(path.read_text(encoding="utf-8"), path.suffix)
            if found:
                msg = f"{path.relative_to(app.outdir)} loads from the network: {found[0]}"
                raise ExtensionError(msg)


def _with_contents(app: Sphinx, docname: str, source: list[str]) -> None:
    """Give the first page a table of contents for the side of the site: the pages it links to.

    In the file itself it would be a block of code to whoever reads it elsewhere.
    """
    if docname == app.config.root_doc:
        linked = "\n".join(re.findall(r"^- \[[^\]]+\]\((\S+)\.md\)", source[0], re.MULTILINE))
        source[0] += f"\n```{{toctree}}\n:hidden:\n\n{linked}\n```\n"


def setup(app: Sphinx) -> None:
    """Add the contents, and see that the site that was built stands by itself."""
    app.connect("source-read", _with_contents)
    app.connect("build-finished", _refuse_network)
