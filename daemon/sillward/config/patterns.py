"""Texts of the collection as regular expressions, for the JSON Schema.

The parsers of the core decide what is valid. A pattern matches whatever its parser takes, and does
not match most of what the parser refuses. Only features that ECMA-262 and the engines of editors
share are used: no look-ahead.
"""

from sillward_rules.plants.limits import UNITS
from sillward_rules.plants.rule_grammar import UNIT_SPELLINGS
from sillward_rules.plants.rules import Quantity


def _any_case(word: str) -> str:
    return "".join(f"[{letter}{letter.upper()}]" if letter.isalpha() else letter for letter in word)


def _amount(unit: str) -> str:
    return rf"{_NUMBER}\s*{unit}"


def _duration(d: str, h: str, minute: str) -> str:
    """Return a pattern of days, hours and minutes: at least one of them, in this order."""
    days, hours, minutes = _amount(d), _amount(h), _amount(minute)
    return rf"({days}(\s*{hours})?(\s*{minutes})?|{hours}(\s*{minutes})?|{minutes})"


def _whole(shape: str) -> str:
    return rf"^\s*{shape}\s*$"


_NUMBER = r"[0-9]+(\.[0-9]+)?"
_SIGNED = r"[-+]?[0-9]+(\.[0-9]+)?"
_CLOCK = r"([01]?[0-9]|2[0-3]):[0-5][0-9]"
_BY_SUN = (
    f"({_any_case('sunrise')}|{_any_case('sunset')})"
    rf"(\s*[-+]\s*{_duration('[dD]', '[hH]', _any_case('min'))})?"
)
_MOMENT = f"({_CLOCK}|{_BY_SUN})"
_FROM_TO = rf"({_CLOCK}\s*-\s*{_CLOCK}|{_MOMENT}\s+{_any_case('to')}\s+{_MOMENT})"
_DAYS = ("mon(day)?", "tue(sday)?", "wed(nesday)?", "thu(rsday)?", "fri(day)?", "sat(urday)?")

DURATION = _whole(_duration("d", "h", "min"))
DURATION_OR_NEVER = f"{DURATION}|^never$"
MOMENT = _whole(_MOMENT)
WEEKLY = _whole(rf"({'|'.join(_any_case(day) for day in (*_DAYS, 'sun(day)?'))}) \s*{_MOMENT}")
QUIET = _whole(_FROM_TO)
HOURS = _whole(f"({'|'.join(_any_case(word) for word in ('any', 'day', 'night'))}|{_FROM_TO})")
YEAR_DAY = _whole(r"(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])")
NPK = _whole("[0-9.]+-[0-9.]+-[0-9.]+")
ZONE = r"^[A-Za-z0-9_+/-]+$"
_ADDRESS_6 = r"[0-9A-Fa-f.]*:[0-9A-Fa-f.]*:[0-9A-Fa-f.:]*"
HOST = rf"^([A-Za-z0-9_][A-Za-z0-9_.-]*|{_ADDRESS_6})$"
TOPIC = r"^[^+#]+$"


def bound(quantity: Quantity, own: str | None) -> str:
    """Return the pattern of a bound that a rule may compare a quantity with.

    own: the limit that the word "limit" stands for; None if there is none.
    """
    others = [_any_case(text) for text, unit in UNIT_SPELLINGS.items() if unit == quantity.unit]
    unit = f"({'|'.join([quantity.unit, *others])})" if others else quantity.unit
    names = [name for name, its_unit in UNITS.items() if its_unit == quantity.unit]
    value = rf"{_SIGNED}\s*{unit}"
    words = [*(["limit"] if own else []), *names]
    if not words:
        return _whole(value)
    return _whole(rf"(({'|'.join(words)})(\s*[-+]\s*{_NUMBER}\s*{unit})?|{value})")
