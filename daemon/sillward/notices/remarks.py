"""Remarks in words: degrees Celsius and the clock of 24 hours."""

import re
from collections.abc import Sequence
from dataclasses import fields
from datetime import date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from sillward.notices import phrases
from sillward_rules.remark import Plain, Remark
from sillward_rules.site import Site
from sillward_rules.spread import percent

if TYPE_CHECKING:
    from jinja2 import Environment


def text(remark: Remark, site: Site) -> str:
    """A remark as the grower reads it, times by the site's clock."""
    if isinstance(remark, Plain):
        return remark.text
    facts = {one.name: getattr(remark, one.name) for one in fields(remark)}
    return str(getattr(_say(site), macro(type(remark)))(**facts))


def texts(remarks: Sequence[Remark], site: Site) -> list[str]:
    """Remarks as the grower reads them."""
    return [text(remark, site) for remark in remarks]


def macro(kind: type[Remark]) -> str:
    """The name of the macro that words a kind: ShelterTooCold, shelter_too_cold."""
    return re.sub(r"(?<=.)(?=[A-Z])", "_", kind.__name__).lower()


class Say:
    """The macros by name, each giving one line, and the words of phrases that they share."""

    def __init__(self, environment: "Environment") -> None:
        environment.globals["say"] = self
        self._module = environment.get_template("remarks.jinja").module

    plants = staticmethod(phrases.plants)

    def __getattr__(self, name: str) -> Any:
        one = getattr(self._module, name)
        return lambda *given, **named: re.sub(r"\s*\n\s*", " ", str(one(*given, **named)).strip())


@lru_cache(maxsize=8)
def _say(site: Site) -> Say:
    # Not at the top: a process that sends no remark needs no templates in memory.
    from jinja2 import PackageLoader, StrictUndefined
    from jinja2.sandbox import SandboxedEnvironment

    environment = SandboxedEnvironment(
        loader=PackageLoader("sillward.notices"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )

    def hour(at: datetime) -> str:
        return phrases.hour(at, site)

    def day(at: date) -> str:
        local = at.astimezone(site.zone) if isinstance(at, datetime) else at
        return f"{local:%a %d %b}"

    environment.filters |= {
        "bound": lambda value, unit="°C": f"{value + 0.0:g} {unit}",
        "capital": phrases.capital,
        "day": day,
        "degrees": _degrees,
        "hour": hour,
        "kelvins": lambda value_k: f"{phrases.fixed(value_k, 1)} K",
        "measure": lambda value, unit, digits=1: f"{phrases.fixed(value, digits)} {unit}",
        "number": phrases.fixed,
        "percent": percent,
        "weekday": lambda at: f"{at.astimezone(site.zone):%a}",
    }
    environment.globals["names"] = _names
    return Say(environment)


def _degrees(value_c: float | None, digits: int = 1) -> str:
    return "?" if value_c is None else f"{phrases.fixed(value_c, digits)} °C"


def _names(listed: Sequence[str], most: int) -> str:
    return phrases.names(listed, most)
