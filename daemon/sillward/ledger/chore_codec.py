"""Chores as plain types, as the ledger stores them and the machine-readable sheet shows them."""

import math
from datetime import datetime
from typing import Any

from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.weather.site import Site


def of_chore(chore: Chore, site: Site) -> dict[str, Any]:
    """One chore as a document of plain types."""
    return {
        "id": chore.id,
        "chore": chore.kind.value,
        "plants": list(chore.plants),
        "from": chore.from_spot,
        "to": chore.to_spot,
        "not_before": None if chore.not_before is None else iso(chore.not_before, site),
        "before": iso(chore.before, site),
        "because": [
            _of_reason(one, site) for reason in chore.because for one in (reason, *reason.also)
        ],
        "chance": chore.chance,
        **_open(chore, site),
    }


def _open(chore: Chore, site: Site) -> dict[str, Any]:
    """What was told before, and nobody has confirmed; nothing for chores that nobody is asked of.

    confirmed: false, or null where it has not been told before. if_taken_in: who goes out only if
    somebody took them in.
    """
    if chore.kind is ChoreKind.CARRY_IN:
        overdue = chore.overdue_since
        return {
            "confirmed": False if chore.unconfirmed else None,
            "overdue_since": None if overdue is None else iso(overdue, site),
        }
    if chore.kind is ChoreKind.STAY_IN:
        return {"confirmed": False if chore.unconfirmed else None}
    if chore.kind is ChoreKind.CARRY_OUT:
        return {"if_taken_in": list(chore.unconfirmed)}
    return {}


def chore_of(document: dict[str, Any]) -> Chore:
    """The chore of a document, as far as the document tells it."""
    pairs = [((one["plant"],), _reason_of(one)) for one in document["because"]]
    start = document["not_before"]
    return Chore(
        id=document["id"],
        kind=ChoreKind(document["chore"]),
        plants=tuple(document["plants"]),
        from_spot=document["from"],
        to_spot=document["to"],
        not_before=None if start is None else datetime.fromisoformat(start),
        before=datetime.fromisoformat(document["before"]),
        grounds=Grounds.of(*pairs),
    )


def _reason_of(document: dict[str, Any]) -> Reason:
    until = document.get("until")
    return Reason(
        plant=document["plant"],
        quantity=document["quantity"],
        value=document["value"],
        unit=document["unit"],
        limit=document["limit"],
        at=datetime.fromisoformat(document["at"]),
        origin=document["origin"],
        hours=document.get("hours"),
        degree_hours=document.get("degree_hours"),
        above=document.get("above", False),
        chance=document.get("chance"),
        until=None if until is None else datetime.fromisoformat(until),
        there=document.get("there"),
    )


def _of_reason(reason: Reason, site: Site) -> dict[str, Any]:
    return {
        "plant": reason.plant,
        "quantity": reason.quantity,
        "value": plain(reason.value),
        "unit": reason.unit,
        "limit": plain(reason.limit),
        "at": iso(reason.at, site),
        "origin": reason.origin,
        **({"above": True} if reason.above else {}),
        **_exposure(reason),
        **({} if reason.chance is None else {"chance": reason.chance}),
        **({} if reason.until is None else {"until": iso(reason.until, site)}),
        **({} if reason.there is None else {"there": reason.there}),
    }


def _exposure(reason: Reason) -> dict[str, Any]:
    """How long and how deep under the limit, where that is counted."""
    if reason.hours is None or reason.degree_hours is None:
        return {}
    return {"hours": reason.hours, "degree_hours": reason.degree_hours}


def plain(value: float | None) -> float | None:
    """A number that JSON can say: rounded, and null where it is not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), 2)


def iso(at: datetime, site: Site) -> str:
    """A moment as text, in the site's zone."""
    return at.astimezone(site.zone).isoformat(timespec="seconds")
