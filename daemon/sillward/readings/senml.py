"""Sensor Measurement Lists in JSON: the numbers in a pack, with its base values applied.

Reference: RFC 8428, "Sensor Measurement Lists (SenML)", sections 4.1 to 4.6.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

VERSION = 10
"""The version of RFC 8428. What is newer may have to be understood in another way (section 4.4)."""

RELATIVE_BELOW = 2.0**28
"""Times below this are seconds from now, those from it on are Unix time (section 4.5.3)."""


@dataclass(frozen=True, slots=True)
class Record:
    """A number in a pack.

    Args:
        name: as it is written in the record itself; full_name: with the base name before it.
        unit: None if neither the record nor a base has one.
        time: Unix time, or seconds from now [s]; 0 is now.
    """

    name: str
    full_name: str
    unit: str | None
    value: float
    time: float


def records(pack: object) -> Iterator[Record]:
    """Yield the numbers of a pack, as JSON has read it. Records of other kinds are passed over.

    Raise ValueError for what is no pack, or one that must not be used.
    """
    if not isinstance(pack, Sequence) or isinstance(pack, str):
        msg = "a pack is a list of records"
        raise ValueError(msg)
    base: dict[str, Any] = {}
    for raw in pack:
        if not isinstance(raw, Mapping):
            msg = "a record is a table of labels"
            raise ValueError(msg)
        for label in raw:
            if label.endswith("_"):
                msg = f"{label} must be understood, and is not known"
                raise ValueError(msg)
        base |= {label: raw[label] for label in ("bn", "bt", "bu", "bv", "bver") if label in raw}
        if _number(base, "bver", VERSION) > VERSION:
            msg = "it is of a newer version"
            raise ValueError(msg)
        if "v" in raw:
            name = _text(raw, "n") or ""
            yield Record(
                name,
                (_text(base, "bn") or "") + name,
                _text(raw, "u") or _text(base, "bu"),
                _number(base, "bv") + _number(raw, "v"),
                _number(base, "bt") + _number(raw, "t"),
            )


def _text(record: Mapping[str, Any], label: str) -> str | None:
    value = record.get(label)
    if value is None or isinstance(value, str):
        return value
    msg = f"{label} must be text"
    raise ValueError(msg)


def _number(record: Mapping[str, Any], label: str, default: float = 0.0) -> float:
    value = record.get(label, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        msg = f"{label} must be a number"
        raise ValueError(msg)
    try:
        return float(value)
    except OverflowError:
        msg = f"{label} is too large"
        raise ValueError(msg) from None
