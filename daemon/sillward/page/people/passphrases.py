"""Passphrases: how they are kept, and whether one is right.

A credential holds a scrypt hash as `sillward passphrase` writes it, or the passphrase itself, as
the credentials of a service manager often do.
"""

import re
import threading
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from werkzeug.security import check_password_hash, generate_password_hash

from sillward.config.credentials import passphrase_file, read_credential, those_with_passphrase
from sillward.errors import ConfigError

METHOD = "scrypt:16384:8:5"
"""N = 2^14, r = 8, p = 5: of the equal settings that OWASP's Password Storage Cheat Sheet gives as
the least (from memory; an older edition has p = 4) the one with 16 MB, because the daemon may have
to do with 256 MB. A quarter of a second on a small machine."""

MIN_CHARACTERS = 12
"""Of a passphrase. Judgement: guesses are throttled, so it is between the 8 that NIST SP 800-63B
asked for in 2017 and the 15 of its fourth revision (2025; both from memory)."""

MIN_DIFFERENT = 5
"""Different characters in it, so that "aaaaaaaaaaaa" is none. Judgement."""

MAX_CHARACTERS = 500
"""Of a passphrase. Judgement: several sentences."""

_HASH = re.compile(r"scrypt:[0-9]+:[0-9]+:[0-9]+\$[A-Za-z0-9]+\$[0-9a-f]{128}")

_NOBODY = "".join(["scrypt:16384:8:5$", "0" * 16, "$", "0" * 128])
"""What the passphrase of nobody is compared with, so that it takes as long as any other."""


def hash_of(passphrase: str) -> str:
    """Return the hash of a passphrase, with a salt of its own."""
    return generate_password_hash(_as_typed(passphrase), METHOD)


def is_hash(content: bytes) -> bool:
    """Whether a file holds the hash of a passphrase, and nothing else."""
    return _HASH.fullmatch(content.decode("utf-8", "replace").strip()) is not None


def weakness(passphrase: str) -> str | None:
    """Return in words why a passphrase will not do; None if it will."""
    text = _as_typed(passphrase)
    if len(text) < MIN_CHARACTERS:
        return f"has fewer than {MIN_CHARACTERS} characters; three or four words make a good one"
    if len(text) > MAX_CHARACTERS:
        return f"has more than {MAX_CHARACTERS} characters"
    if len(set(text)) < MIN_DIFFERENT:
        return f"has fewer than {MIN_DIFFERENT} different characters"
    return None


def _as_typed(passphrase: str) -> str:
    """Return it in one of the ways in which devices write the same letters (NFC, as RFC 8265 asks
    for in OpaqueString), without blanks around it, which phones add."""
    return unicodedata.normalize("NFC", passphrase.strip())


@dataclass(slots=True)
class Passphrases:
    """Those of the credentials folder, which is looked at again at each use.

    A hash costs memory and a core, so there is never more than one at work, and no more than one
    waits for it.
    """

    folder: Path | None
    _hashes: dict[str, str] = field(default_factory=dict, init=False)
    """The hash of each passphrase that is in a file as it is."""
    _work: threading.Lock = field(default_factory=threading.Lock, init=False)
    _room: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(2), init=False)

    def check(self, people: Sequence[str]) -> None:
        """Raise ConfigError for a credential that is there and cannot be used.

        Those that hold a passphrase as it is are hashed here.
        """
        lines = list[str]()
        for person in those_with_passphrase(self.folder, people):
            text = self.text_of(person)
            if text is None:
                lines.append(f"credential {passphrase_file(person)}: cannot be read, or is empty")
            elif not _HASH.fullmatch(text) and (reason := weakness(text)) is not None:
                lines.append(f"credential {passphrase_file(person)}: {reason}")
            else:
                self._hash_in(text)
        if lines:
            raise ConfigError(lines)

    def text_of(self, person: str | None) -> str | None:
        """Return what the credential holds; None for nothing, or nothing that can be read."""
        found = read_credential(self.folder, passphrase_file(person))
        return None if found is None else found.get_secret_value()

    def is_right(self, person: str | None, passphrase: str, *, known: bool) -> bool | None:
        """Whether it is the passphrase of a person; None if too many wait to be told.

        known: whether there is such a person; if not, it takes as long to say so.
        """
        if not self._room.acquire(blocking=False):
            return None
        try:
            with self._work:
                text = self.text_of(person) if known else None
                right = check_password_hash(
                    _NOBODY if text is None else self._hash_in(text),
                    _as_typed(passphrase[:MAX_CHARACTERS]),
                )
                return right and text is not None
        finally:
            self._room.release()

    def _hash_in(self, text: str) -> str:
        """Return the hash that a credential holds, or that of the passphrase that it holds."""
        if _HASH.fullmatch(text):
            return text
        if text not in self._hashes:
            self._hashes = {text: hash_of(text)} | dict(list(self._hashes.items())[:MAX_KEPT])
        return self._hashes[text]


MAX_KEPT = 50
"""Hashes that are kept. Judgement: more than a household has people."""
