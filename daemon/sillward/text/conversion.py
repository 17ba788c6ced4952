"""Values in SI units inside a finished text, rewritten in the grower's units."""

import re
from datetime import time

from sillward.text.units import Units

_UNSIGNED = r"\d+(?:\.\d+)?"

_NUMBER = re.compile(rf"(?<!\d)-?{_UNSIGNED}")

_CONVERTIBLE = re.compile(
    rf"""
    "[^"]*"                                  # names and quotations: left as they are
    | (?<![\w.])(?P<values>-?{_UNSIGNED}(?:(?:[ ]to[ ]-?|[-–]){_UNSIGNED})?)
      [ ](?P<unit>°C|K|m/s)(?!\w)
    | (?<![\w:.+-])(?P<clock>(?:[01]\d|2[0-3]):[0-5]\d)(?![:\w]|-\d|[ ][ap]m)
    """,
    re.VERBOSE,
)
"""A value or a range with its unit, or a clock time (never a part of an ISO time), as the core and
the forecast sources write them."""


def converted(text: str, units: Units) -> str:
    """Return the text with its temperatures, differences, speeds and clock times in these units.

    "1 to 3 K colder" becomes "1.8 to 5.4 °F colder", or "1 to 3 °C colder".
    """
    return _CONVERTIBLE.sub(lambda match: _converted_match(match, units), text)


def _converted_match(match: re.Match[str], units: Units) -> str:
    """Return a value, a range or a clock time in these units; a quotation as it is."""
    if match["clock"]:
        return units.hour(time.fromisoformat(match["clock"]))
    unit = match["unit"]
    if unit is None:  # a quotation
        return match[0]

    def shown(value: float) -> tuple[float, str]:
        return units.difference(value) if unit == "K" else units.shown(value, unit)

    shown_unit = shown(0.0)[1]
    if shown(1.0)[0] == 1.0:  # the value stays as it was written
        return f"{match['values']} {shown_unit}"

    def converted_number(number: re.Match[str]) -> str:
        return f"{round(shown(float(number[0]))[0], 1) + 0.0:g}"

    return f"{_NUMBER.sub(converted_number, match['values'])} {shown_unit}"
