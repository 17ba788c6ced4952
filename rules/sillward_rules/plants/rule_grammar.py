"""The grammar of a rule table: its keys, and the form of each key's value.

`rule_reading` reads rules by these tables, and whatever describes rules to a grower (a JSON
Schema, say) can be derived from the same tables.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, TypeAlias

from sillward_rules.plants.limits import RESTS, ROT_CLASSES
from sillward_rules.plants.plant import HOLDERS
from sillward_rules.plants.rules import ASKS, QUANTITIES, Direction
from sillward_rules.weather.season import Season
from sillward_rules.weather.time_expressions import parse_duration, parse_hours


@dataclass(frozen=True, slots=True)
class Name:
    """A text on one line."""

    required: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a few words. kind: what they are, such as "a chore", for errors."""

    words: Sequence[str]
    kind: str
    required: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class SomeOf:
    """A text or a list of texts, each one of these words; any text if there are no words.

    refusal: what is said of other texts; {value} is what was written, {texts} the same as a list,
    {words} the words. refusal_of_others: what is said of what is no text at all, likewise.
    """

    words: Sequence[str] = ()
    refusal: str = ""
    refusal_of_others: str = "must be a text or a list of texts"
    required: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class Written:
    """A text that a parser of `time_expressions` takes. default: what is read if it is left out."""

    parse: Callable[[str], object]
    default: str
    required: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class BoundOn:
    """A bound on the quantity that the table watches; exactly one side is given.

    The bound is "limit", the name of a limit, either with an amount added or taken away, or a
    value with its unit.
    """

    side: Direction
    required: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class TableOf:
    """A table with keys of its own. example: how one is written, for errors."""

    keys: Mapping[str, "Form"] = field(repr=False)
    example: str
    required: ClassVar[bool] = False


Form: TypeAlias = Name | OneOf | SomeOf | Written | BoundOn | TableOf

CONDITION_KEYS: Mapping[str, Form] = {
    "watch": OneOf(tuple(QUANTITIES), "a quantity"),
    "below": BoundOn("below"),
    "above": BoundOn("above"),
}
"""The keys of `while`."""

_NO_CLASS = "{texts} is not one of: {words}"

CHOICE_KEYS: Mapping[str, Form] = {
    "holder": SomeOf(HOLDERS, "{texts} are not holders (known: {words})"),
    "group": SomeOf(),
    "home": SomeOf(),
    "name": SomeOf(),
    "rot": SomeOf(ROT_CLASSES, _NO_CLASS),
    "rest": SomeOf(RESTS, _NO_CLASS),
}
"""The keys of `plants`, which are the fields of `Chosen`."""

_NO_SEASON = "{value} is not a season (known: {words})"

RULE_KEYS: Mapping[str, Form] = {
    "name": Name(),
    **CONDITION_KEYS,
    "lasting": Written(parse_duration, "0 min"),
    "hours": Written(parse_hours, "any"),
    "asks": OneOf(ASKS, "a chore"),
    "plants": TableOf(CHOICE_KEYS, '{ holder = ["mount"] }'),
    "season": SomeOf(tuple(season.value for season in Season), _NO_SEASON, _NO_SEASON),
    "while": TableOf(CONDITION_KEYS, '{ watch = "wind", below = "0.5 m/s" }'),
}
"""The keys of a rule."""

UNIT_SPELLINGS: Mapping[str, str] = {"degc": "°C", "c": "°C", "k": "°C", "w/m²": "W/m2"}
"""Other spellings of units, in lower case, for which any case is taken."""
