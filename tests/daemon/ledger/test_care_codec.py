"""The care of a plant comes back from the ledger as it was."""

import re
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.ledger.care_codec import decode, encode
from sillward_rules.plants.care import NO_CARE, Care

TIMES = st.datetimes(timezones=st.just(UTC))


def is_finite(care: Care) -> bool:
    """Whether all numbers of a care are numbers, as they always are."""
    return re.search(r"(?<![a-z])(nan|inf)(?![a-z])", repr(care)) is None


@given(st.from_type(Care).filter(is_finite))
def test_every_care_comes_back_as_it_was(care: Care) -> None:
    assert decode(encode(care)) == care


def test_nothing_is_known_without_a_text() -> None:
    assert decode(None) is NO_CARE


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"wettings": 3}', '{"wettings": [{}]}'])
def test_any_other_text_is_an_error(text: str) -> None:
    with pytest.raises(ValueError, match="Care"):
        decode(text)
