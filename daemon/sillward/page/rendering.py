"""The templates of the page, with everything escaped that is not ours."""

import re
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from sillward.page.static_files import StaticFiles

PLACES = (
    ("today", "Today"),
    ("ahead", "Ahead"),
    ("plants", "Plants"),
    ("spots", "Spots"),
    ("more", "More"),
)
"""The pages that every page leads to: the names of their routes, and how they are called."""


_BEFORE_UNIT = re.compile(r"(?<=\d) (?=[°%]|(?:h|min|mm|kPa|km/h|m/s)\b)")


def keep_units(text: str) -> str:
    """Return a text in which each number stays on one line with its unit."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


class Templates:
    """Renders the packaged templates."""

    places = PLACES

    def __init__(self, static: StaticFiles) -> None:
        self._environment = Environment(
            loader=PackageLoader("sillward.page"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._environment.globals["asset"] = static.address
        self._environment.filters["keep_units"] = keep_units

    def render(self, name: str, /, **facts: Any) -> str:
        """Return a page. What is put into it is escaped."""
        return self._environment.get_template(name).render(facts)


@cache
def packaged() -> Templates:
    """Return the ones that all pages of a process share: compiled they take some megabytes."""
    return Templates(StaticFiles())
