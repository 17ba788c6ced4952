"""Chores as text in the ledger: `decode(encode(chore)) == chore`.

Nothing is rounded or left out: times are UTC to the microsecond, numbers have all their digits. A
number may be infinite; NaN, which equals nothing, comes back as NaN. The sheet that other programs
read is written elsewhere, in `reports.sheet_json`.

The text is JSON. As most of that is said once for each kind of plant, it is packed where that makes
it shorter: a chore of forty plants has a fifth of its length. Earlier versions did not pack.
"""

import json
import zlib
from base64 import b64decode, b64encode
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

from sillward_rules.chore import Chore, ChoreKind, Grounds, Heavy, Load, Reason, Spray, Weighing

_PACKED = "z:"
"""How a text begins that is packed: JSON never does."""


def encode(chore: Chore) -> str:
    """Return a chore as text."""
    text = json.dumps(
        {
            "id": chore.id,
            "kind": chore.kind.value,
            "plants": list(chore.plants),
            "from": chore.from_spot,
            "to": chore.to_spot,
            "not_before": _text(chore.not_before),
            "before": _text(chore.before),
            "grounds": [
                {"plants": list(plants), "reason": _from_reason(reason)}
                for plants, reason in chore.grounds
            ],
            "unconfirmed": list(chore.unconfirmed),
            "overdue_since": _text(chore.overdue_since),
            **({"what": chore.what} if chore.what else {}),
            **({} if chore.load is None else {"load": _from_load(chore.load)}),
            **({} if chore.spray is None else {"spray": [chore.spray.litres, chore.spray.filling]}),
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )
    packed = _PACKED + b64encode(zlib.compress(text.encode())).decode("ascii")
    return min(text, packed, key=len)


def unpacked(text: str) -> str:
    """Return the JSON of a stored chore. Raise ValueError for a text that is damaged."""
    if not text.startswith(_PACKED):
        return text
    try:
        return zlib.decompress(b64decode(text.removeprefix(_PACKED), validate=True)).decode()
    except zlib.error as error:
        raise ValueError(str(error)) from None


# A tick reads the chores of a household several times: room for those of some days.
@lru_cache(maxsize=2**8)
def decode(text: str) -> Chore:
    """Return the chore of a text. Raise ValueError, KeyError or TypeError for any other text."""
    stored = json.loads(unpacked(text))
    return Chore(
        id=stored["id"],
        kind=ChoreKind(stored["kind"]),
        plants=tuple(stored["plants"]),
        from_spot=stored["from"],
        to_spot=stored["to"],
        not_before=_time(stored["not_before"]),
        before=datetime.fromisoformat(stored["before"]),
        grounds=Grounds.of(
            *((tuple(part["plants"]), _to_reason(part["reason"])) for part in stored["grounds"])
        ),
        unconfirmed=tuple(stored["unconfirmed"]),
        overdue_since=_time(stored["overdue_since"]),
        what=stored.get("what", ""),
        load=_to_load(stored["load"]) if "load" in stored else None,
        spray=Spray(*stored["spray"]) if "spray" in stored else None,
    )


def _from_load(load: Load) -> dict[str, Any]:
    return {
        "takes_s": load.takes.total_seconds(),
        "begin_by": _text(load.begin_by),
        "heavy": [[one.plant, one.kg] for one in load.heavy],
    }


def _to_load(stored: dict[str, Any]) -> Load:
    return Load(
        takes=timedelta(seconds=stored["takes_s"]),
        begin_by=_time(stored["begin_by"]),
        heavy=tuple(Heavy(plant, kg) for plant, kg in stored["heavy"]),
    )


def _from_reason(reason: Reason) -> dict[str, Any]:
    """Return a reason as plain types, without the fields that it does not have."""
    stored = {
        "plant": reason.plant,
        "quantity": reason.quantity,
        "value": _number(reason.value),
        "unit": reason.unit,
        "limit": _number(reason.limit),
        "at": _text(reason.at),
        "origin": reason.origin or None,
        "hours": _number(reason.hours),
        "degree_hours": _number(reason.degree_hours),
        "rule": reason.rule or None,
        "above": True if reason.above else None,
        "chance": _number(reason.chance),
        "until": _text(reason.until),
        "there": _number(reason.there),
        "litres": _number(reason.litres),
        "crosses_at": _text(reason.crosses_at),
        "weighing": _from_weighing(reason.weighing),
        "also": [_from_reason(other) for other in reason.also] or None,
    }
    return {name: value for name, value in stored.items() if value is not None}


def _from_weighing(weighing: Weighing | None) -> list[float] | None:
    if weighing is None:
        return None
    return [float(weighing.harm), float(weighing.gain), float(weighing.price)]


def _to_reason(stored: dict[str, Any]) -> Reason:
    also: Sequence[dict[str, Any]] = stored.get("also", ())
    return Reason(
        plant=stored["plant"],
        quantity=stored["quantity"],
        value=stored.get("value"),
        unit=stored["unit"],
        limit=stored.get("limit"),
        at=datetime.fromisoformat(stored["at"]),
        origin=stored.get("origin", ""),
        hours=stored.get("hours"),
        degree_hours=stored.get("degree_hours"),
        rule=stored.get("rule", ""),
        above=stored.get("above", False),
        chance=stored.get("chance"),
        until=_time(stored.get("until")),
        there=stored.get("there"),
        litres=stored.get("litres"),
        crosses_at=_time(stored.get("crosses_at")),
        weighing=None if stored.get("weighing") is None else Weighing(*stored["weighing"]),
        also=tuple(_to_reason(other) for other in also),
    )


def _number(value: float | None) -> float | None:
    """Return a number for JSON, which does not take the number types of NumPy."""
    return None if value is None else float(value)


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat()


def _time(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
