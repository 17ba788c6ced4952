"""Tokens say what they were made to say, and nothing that was not signed is one."""

import hmac
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward.ledger import Stage
from sillward.links import token
from sillward.links.token import LENGTH, Purpose, Token, can_tell, digest, read, write

KEY = b"k" * 32
TOLD_AT = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
TOKEN = Token(
    Purpose.ANSWER,
    digest("Test court"),
    TOLD_AT,
    TOLD_AT + timedelta(hours=15),
    "dusk",
    date(2026, 5, 14),
    "change",
    3,
    digest("Inés"),
    digest("orders", 6),
)

tokens = st.builds(
    Token,
    st.sampled_from(Purpose),
    st.binary(min_size=4, max_size=4),
    st.integers(0, 2**32 - 1).map(lambda at: datetime.fromtimestamp(at, UTC)),
    st.just(TOLD_AT),
    st.sampled_from(["", "dusk", "morning", "dusk early", "morning early"]),
    st.dates(date(2020, 1, 1), date(2199, 1, 1)),
    st.sampled_from([stage.value for stage in Stage]),
    st.integers(0, 2**16 - 1),
    st.binary(min_size=4, max_size=4),
    st.binary(min_size=6, max_size=6),
).flatmap(
    lambda made: st.integers(0, 60_000).map(
        lambda minutes: replace(made, until=made.told_at + timedelta(minutes=minutes))
    )
)


@settings(max_examples=40)
@given(tokens, st.binary(min_size=16, max_size=64))
def test_a_token_says_what_it_was_made_to_say(made: Token, key: bytes) -> None:
    text = write(made, key)

    assert read(text, key) == made
    assert len(text) == LENGTH <= 60
    assert text.replace("-", "a").replace("_", "a").isalnum()


@given(st.binary(min_size=16, max_size=64))
def test_another_key_reads_nothing(other: bytes) -> None:
    assert other == KEY or read(write(TOKEN, KEY), other) is None


def test_no_character_can_be_changed() -> None:
    text = write(TOKEN, KEY)
    for index, right in enumerate(text):
        for wrong in "ABab01-_.=/+ é\0":
            if wrong != right:
                assert read(f"{text[:index]}{wrong}{text[index + 1 :]}", KEY) is None


@given(st.integers(0, 43), st.integers(1, 255))
def test_no_byte_can_be_changed(index: int, change: int) -> None:
    raw = bytearray(urlsafe_b64decode(write(TOKEN, KEY) + "="))
    raw[index] ^= change

    assert read(urlsafe_b64encode(raw).rstrip(b"=").decode(), KEY) is None


@pytest.mark.parametrize("name", [field.name for field in fields(Token)])
def test_every_field_is_signed(name: str) -> None:
    """A field with another value gives another signature: none can be exchanged for another's."""
    others: dict[str, Any] = {
        "purpose": Purpose.TRY,
        "site": digest("Other court"),
        "told_at": TOLD_AT + timedelta(seconds=1),
        "until": TOKEN.until + timedelta(minutes=1),
        "round": "morning",
        "day": date(2026, 5, 15),
        "stage": "reminder",
        "change": 4,
        "person": digest("Tomás"),
        "told": digest("other orders", 6),
    }
    raw, other = (
        urlsafe_b64decode(write(made, KEY) + "=")
        for made in (TOKEN, replace(TOKEN, **{name: others[name]}))
    )
    swapped = other[:-16] + raw[-16:]

    assert raw[-16:] != other[-16:]
    assert read(urlsafe_b64encode(swapped).rstrip(b"=").decode(), KEY) is None


@settings(max_examples=40)
@given(st.text(max_size=80))
def test_no_other_text_is_a_token(text: str) -> None:
    assert read(text, KEY) is None


@pytest.mark.parametrize("cut", [0, 1, 10, LENGTH - 1])
def test_a_cut_or_longer_one_is_none(cut: int) -> None:
    text = write(TOKEN, KEY)

    assert read(text[:cut], KEY) is None
    assert read(f"{text}{text[:cut]}=", KEY) is None


def test_another_version_or_purpose_is_none_though_it_is_signed() -> None:
    own_key = hmac.digest(KEY, b"sillward link", "sha256")
    raw = urlsafe_b64decode(write(TOKEN, KEY) + "=")[:-16]
    for index, value in ((0, 1), (0, 3), (1, 9), (6, 200), (9, 200)):
        packed = raw[:index] + bytes([value]) + raw[index + 1 :]
        signed = packed + hmac.digest(own_key, packed, "sha256")[:16]

        assert read(urlsafe_b64encode(signed).rstrip(b"=").decode(), KEY) is None


def test_what_the_key_signs_elsewhere_is_no_token() -> None:
    raw = urlsafe_b64decode(write(TOKEN, KEY) + "=")[:-16]
    signed = raw + hmac.digest(KEY, raw, "sha256")[:16]

    assert read(urlsafe_b64encode(signed).rstrip(b"=").decode(), KEY) is None


def test_it_acts_until_its_end_and_no_longer() -> None:
    made = read(write(TOKEN, KEY), KEY)

    assert made is not None
    assert not made.is_expired(made.until - timedelta(seconds=1))
    assert made.is_expired(made.until)


def test_no_name_is_in_it() -> None:
    raw = urlsafe_b64decode(write(TOKEN, KEY) + "=")

    assert b"Test" not in raw
    assert "Inés".encode() not in raw


@pytest.mark.parametrize(
    ("round_", "can"), [("dusk", True), ("morning early", True), ("", False), ("week", False)]
)
def test_rounds_that_can_be_answered(round_: str, can: bool) -> None:
    assert can_tell(round_) is can


RFC_4231 = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (
        b"Jefe",
        b"what do ya want for nothing?",
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
    ),
    (
        b"\xaa" * 20,
        b"\xdd" * 50,
        "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
    ),
    (
        b"\xaa" * 131,
        b"Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
]
"""Key, data and HMAC-SHA-256 of test cases 1, 2, 3 and 6 of RFC 4231, sections 4.2, 4.3, 4.4 and
4.7 (from memory)."""


@pytest.mark.parametrize(("key", "data", "mac"), RFC_4231)
def test_the_signature_is_the_hmac_of_the_standard(key: bytes, data: bytes, mac: str) -> None:
    own_key = hmac.digest(key, b"sillward link", "sha256")

    assert hmac.digest(key, data, "sha256").hex() == mac
    assert token._mac(data, key) == hmac.digest(own_key, data, "sha256")[:16]
