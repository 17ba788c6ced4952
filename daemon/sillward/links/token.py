"""Tokens: what a link stands for, signed, in an address.

A token says of which notice it is, for whom it was made and until when it acts; whoever has it may
answer that notice and nothing else. No name is in it, only digests of names. It is signed with
HMAC-SHA256 (RFC 2104), cut to half its length, which that RFC (section 5) gives as the least.
"""

import base64
import binascii
import hmac
import struct
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import IntEnum
from hashlib import sha256

VERSION = 2
"""Of what is signed, and of what the digest of the orders is made of."""

MAC_BYTES = 16

DIGEST_BYTES = 4
"""Of the names of a site or a person: enough to tell a household's few apart."""

TOLD_BYTES = 6
"""Of the orders that a notice told: two sets of orders share a digest once in 3e14."""

_PURPOSE_OF_KEY = b"sillward link"
"""What the key is used for here, so that nothing signed with it elsewhere is a token."""

_FIRST_DAY = date(2020, 1, 1)
_FORM = struct.Struct(f">BB{DIGEST_BYTES}sBHBHIH{DIGEST_BYTES}s{TOLD_BYTES}s")
_MAX_MINUTES = 0xFFFF

LENGTH = -(-(_FORM.size + MAC_BYTES) * 4 // 3)
"""Characters of a token."""


class Purpose(IntEnum):
    """What a link is for."""

    ANSWER = 1
    """To answer the orders of a notice."""
    TRY = 2
    """To see whether links work; nothing is changed."""


_ROUNDS = ("", "dusk", "morning", "dusk early", "morning early")
"""The rounds that a token can be of, by the names of the ledger; the first is for none."""

_STAGES = ("told", "change", "alarm", "reminder", "passed on", "call-off")


@dataclass(frozen=True, slots=True)
class Token:
    """What a link stands for.

    Args:
        site, person: digests of names, see `digest`; all zeros for nobody.
        round, day, stage, change: which notice it was sent with, in the words of the ledger.
        told_at: when the notice was worded, in whole seconds.
        until: when it stops to act, in whole minutes after that.
        told: a digest of the orders that the notice told.
    """

    purpose: Purpose
    site: bytes
    told_at: datetime
    until: datetime
    round: str = ""
    day: date = _FIRST_DAY
    stage: str = "told"
    change: int = 0
    person: bytes = bytes(DIGEST_BYTES)
    told: bytes = bytes(TOLD_BYTES)

    def is_expired(self, now: datetime) -> bool:
        """Whether it acts no more."""
        return now >= self.until


def digest(name: str | None, size: int = DIGEST_BYTES) -> bytes:
    """Return what stands for a name in a token; zeros for None."""
    return bytes(size) if name is None else sha256(name.encode()).digest()[:size]


def can_tell(round_: str) -> bool:
    """Whether a token can be of a round, by its name in the ledger."""
    return round_ in _ROUNDS[1:]


def write(token: Token, key: bytes) -> str:
    """Return a token as it stands in an address: `LENGTH` letters, digits, - and _."""
    minutes = -(-(token.until - token.told_at) // timedelta(minutes=1))
    packed = _FORM.pack(
        VERSION,
        token.purpose,
        token.site,
        _ROUNDS.index(token.round),
        (token.day - _FIRST_DAY).days,
        _STAGES.index(token.stage),
        token.change,
        int(token.told_at.timestamp()),
        max(0, min(minutes, _MAX_MINUTES)),
        token.person,
        token.told,
    )
    return base64.urlsafe_b64encode(packed + _mac(packed, key)).rstrip(b"=").decode()


def read(text: str, key: bytes) -> Token | None:
    """Return what a token says, also of one that is expired; None for anything not signed by us.

    Why it is none is not told apart: whoever guesses learns nothing.
    """
    if len(text) != LENGTH or not text.isascii():
        return None
    try:
        raw = base64.b64decode(text + "=" * (-LENGTH % 4), altchars=b"-_", validate=True)
    except binascii.Error:
        return None
    packed, mac = raw[: _FORM.size], raw[_FORM.size :]
    # The last character has bits to spare, so that several would stand for the same bytes.
    is_canonical = base64.urlsafe_b64encode(raw).rstrip(b"=") == text.encode()
    if not hmac.compare_digest(mac, _mac(packed, key)) or not is_canonical:
        return None
    return _unpacked(packed)


def _unpacked(packed: bytes) -> Token | None:
    """Return what was signed; None if another version of sillward did."""
    version, purpose, site, round_, days, stage, change, told_s, minutes, person, told = (
        _FORM.unpack(packed)
    )
    is_known = purpose in list(Purpose) and round_ < len(_ROUNDS) and stage < len(_STAGES)
    if version != VERSION or not is_known:
        return None
    told_at = datetime.fromtimestamp(told_s, UTC)
    return Token(
        Purpose(purpose),
        site,
        told_at,
        told_at + timedelta(minutes=minutes),
        _ROUNDS[round_],
        _FIRST_DAY + timedelta(days=days),
        _STAGES[stage],
        change,
        person,
        told,
    )


def _mac(packed: bytes, key: bytes) -> bytes:
    own_key = hmac.digest(key, _PURPOSE_OF_KEY, "sha256")
    return hmac.digest(own_key, packed, "sha256")[:MAC_BYTES]
