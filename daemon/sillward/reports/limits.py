"""A plant's limits with their origins, as `check` and `why` report them."""

from dataclasses import fields
from typing import Any

from sillward_rules.plants.limits import UNITS, Limits


def limit_rows(limits: Limits) -> list[tuple[str, float | str, str, str]]:
    """Return name, value, unit and origin of each limit that is known."""
    return [
        (field.name, limit.value, UNITS.get(field.name, ""), limit.origin)
        for field in fields(Limits)
        if (limit := getattr(limits, field.name)) is not None
    ]


def limits_document(limits: Limits) -> dict[str, Any]:
    """Return the known limits by name, as plain types."""
    return {
        name: {"value": value, "unit": unit, "origin": origin}
        for name, value, unit, origin in limit_rows(limits)
    }
