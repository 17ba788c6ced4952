"""By which push services know this sillward (RFC 8292, VAPID): a key, made at first need.

A phone takes messages that are signed with the key which it was given. With a new key every phone
has to be told again.
"""

import base64
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from sillward.config.made_secret import kept_or_made
from sillward.errors import ConfigError

NAME = "push-key"
"""The file of the key, in the credentials folder or beside the ledger: its private half, and its
public half."""

_FORM = re.compile(r"([\w-]{43}) ([\w-]{87})", re.ASCII)
"""32 and 65 octets, in base64 for addresses without padding."""


@dataclass(frozen=True, slots=True)
class PushIdentity:
    """A key pair on the curve P-256, and whom the operator of a push service can turn to.

    private, public: a number and an uncompressed point, in base64 for addresses.
    subject: an address, by https.
    """

    private: str = field(repr=False)
    public: str
    subject: str

    @classmethod
    def kept_or_made(cls, credentials: Path | None, ledger: Path, subject: str) -> Self:
        """Return the identity with the key that is kept, else with a new one. Raise ConfigError."""
        text, path = kept_or_made(NAME, credentials, ledger, _new)
        found = _FORM.fullmatch(text)
        if found is None:
            msg = f"{path}: this is not a key for pushes; delete it for a new one"
            raise ConfigError([msg])
        return cls(found[1], found[2], subject)


def _new() -> bytes:
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    key = ec.generate_private_key(ec.SECP256R1())
    number = key.private_numbers().private_value.to_bytes(32)
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return b"%s %s\n" % (to_base64(number), to_base64(point))


def to_base64(data: bytes) -> bytes:
    """Return data in base64 for addresses, without padding (RFC 7515, appendix C)."""
    return base64.urlsafe_b64encode(data).rstrip(b"=")


def from_base64(text: str) -> bytes:
    """Return what stands in base64 for addresses, with or without padding. Raise ValueError."""
    return base64.b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4), b"-_", True)
