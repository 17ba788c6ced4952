"""Sessions: who has signed in, in a cookie that only this page can have written.

Nothing is kept here: the cookie holds who it is and since when, and a mark of the passphrase, so
that a new passphrase ends all sessions of the one before. The key signs it.
"""

import base64
import hmac
import json
import secrets
from dataclasses import dataclass, replace

SESSION_S = 30 * 24 * 3600
"""A session that is not used for so long is over [s]. Judgement: longer than most holidays."""

LONGEST_S = 180 * 24 * 3600
"""So is any session so long after somebody signed in [s]: nothing else ends one whose cookie is in
other hands. Judgement: to sign in twice a year is no burden."""

RENEW_S = 24 * 3600
"""One that is used and older than this is given a new date [s]."""

MAX_COOKIE = 1_000
"""Characters of a cookie that is looked at; ours have some three hundred."""

_VERSION = 1


@dataclass(frozen=True, slots=True)
class Session:
    """A person who has signed in.

    person: None where there is one passphrase for all.
    mark: of the passphrase.
    began, issued: when somebody signed in, and its present date, in seconds since 1970.
    word: random; the forms of this session carry a token made from it.
    """

    person: str | None
    mark: str
    began: int
    issued: int
    word: str

    @classmethod
    def new(cls, person: str | None, mark: str, now: float) -> "Session":
        """Return a session that begins now, with a word of its own."""
        return cls(person, mark, int(now), int(now), secrets.token_hex(16))

    def expired(self, now: float) -> bool:
        """Whether it is over. One from the future is not: a clock may have been set back."""
        return now > min(self.issued + SESSION_S, self.began + LONGEST_S)

    def renewed(self, now: float) -> "Session":
        """Return it with a new date if it is time for that."""
        return replace(self, issued=int(now)) if now > self.issued + RENEW_S else self


@dataclass(frozen=True, slots=True)
class Sessions:
    """Writes and reads cookies. site: that of the household, whose sessions are no other's."""

    key: bytes
    site: str

    def cookie(self, session: Session) -> str:
        """Return the text of the cookie."""
        facts = [_VERSION, self.site, *_facts_of(session)]
        body = base64.urlsafe_b64encode(json.dumps(facts).encode()).decode().rstrip("=")
        return f"{body}.{self._signature(body)}"

    def read(self, cookie: str) -> Session | None:
        """Return the session of a cookie; None for one that this page did not write for this site.

        Whether it has expired, and whether it is still that person's passphrase, is not looked at.
        """
        body, _, signature = cookie.partition(".")
        if len(cookie) > MAX_COOKIE or not cookie.isascii():
            return None
        if not hmac.compare_digest(signature, self._signature(body)):
            return None
        version, site, *facts = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
        return Session(*facts) if (version, site) == (_VERSION, self.site) else None

    def mark(self, secret: str) -> str:
        """Return the mark of what a credential holds. Nothing of that can be read from it."""
        return hmac.new(self.key, f"passphrase {secret}".encode(), "sha256").hexdigest()[:32]

    def _signature(self, body: str) -> str:
        return hmac.new(self.key, f"session {body}".encode(), "sha256").hexdigest()


def _facts_of(session: Session) -> list[object]:
    return [session.person, session.mark, session.began, session.issued, session.word]
