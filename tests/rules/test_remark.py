"""Remarks are facts: values that can be compared and told apart."""

from dataclasses import FrozenInstanceError, is_dataclass
from datetime import date

import pytest

from sillward_rules import remark
from sillward_rules.remark import CarryBegins, CarryEnds, Remark, WateringUnplanned
from tests.support.cases import for_each

KINDS = [kind for kind in vars(remark).values() if isinstance(kind, type) and is_dataclass(kind)]


@for_each(KINDS)
def test_a_kind_says_in_one_line_what_it_tells(kind: type) -> None:
    assert kind.__doc__
    assert "\n" not in kind.__doc__
    assert not kind.__doc__.startswith(kind.__name__), "what dataclass makes up"


@for_each(KINDS)
def test_a_kind_is_small_and_stays_as_it_is(kind: type) -> None:
    assert "__dict__" not in dir(kind)
    assert kind.__hash__ is not None


def test_remarks_are_the_same_by_kind_and_facts() -> None:
    first, second = date(2026, 5, 14), date(2026, 5, 15)

    told: list[Remark] = [CarryBegins(first), CarryBegins(first), CarryEnds(first)]
    told += [CarryBegins(second), WateringUnplanned(), WateringUnplanned()]

    assert list(dict.fromkeys(told)) == [told[0], told[2], told[3], told[4]]


def test_a_remark_cannot_be_changed() -> None:
    said = CarryBegins(date(2026, 5, 14))

    with pytest.raises(FrozenInstanceError):
        said.day = date(2026, 5, 15)  # type: ignore[misc]
