"""Who may come in: the people of the household, their passphrases and their sessions."""

import time
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sillward.config.credentials import folded_name, those_with_passphrase
from sillward.errors import SillwardError
from sillward.page.people import throttle
from sillward.page.people.passphrases import Passphrases
from sillward.page.people.sessions import Session, Sessions


class NotSignedInError(SillwardError):
    """The name or the passphrase was wrong, or there were too many tries.

    wait_s: how long to wait before the next try.
    """

    def __init__(self, text: str, wait_s: float = 0.0) -> None:
        super().__init__(text)
        self.wait_s = wait_s


@dataclass(slots=True)
class Door:
    """Lets people of one household in. It is called by several threads at once.

    people: returns the names of those who sign in; none for one passphrase for all.
    required: whether nobody comes in without a passphrase, even if there is none. Otherwise the
        page is open as long as there was none since the start.
    clock, steady: return the seconds since 1970, and those of a clock that never goes back.
    """

    key: bytes
    site: str
    people: Callable[[], Sequence[str]]
    credentials: Path | None
    required: bool
    clock: Callable[[], float] = time.time
    steady: Callable[[], float] = time.monotonic
    _passphrases: Passphrases = field(init=False)
    _sessions: Sessions = field(init=False)
    tries: throttle.Throttle = field(init=False)

    def __post_init__(self) -> None:
        """Look at the passphrases. Raise ConfigError for one that cannot be used."""
        self._passphrases = Passphrases(self.credentials)
        self._passphrases.check(self.people())
        self._sessions = Sessions(self.key, self.site)
        self.tries = throttle.Throttle(self.steady)

    @property
    def open(self) -> bool:
        """Whether anybody who reaches the page may come in."""
        if not self.required and those_with_passphrase(self.credentials, self.people()):
            self.required = True  # a folder that cannot be reached for a while opens nothing
        return not self.required

    @property
    def asks_for_name(self) -> bool:
        """Whether people sign in by name."""
        return bool(self.people())

    def session_of(self, cookie: str) -> Session | None:
        """Return the session of a cookie, with a new date if it is time for that; None if it is not
        ours, over, of somebody who is not among the people any more, or of an old passphrase."""
        session = self._sessions.read(cookie)
        now = self.clock()
        if session is None or session.expired(now):
            return None
        if session.person not in (self.people() or (None,)):
            return None
        if session.mark != self._mark(session.person):
            return None
        return session.renewed(now)

    def cookie(self, session: Session) -> str:
        """Return the text of the cookie of a session."""
        return self._sessions.cookie(session)

    def sign_in(self, name: str, passphrase: str, address: str) -> Session:
        """Return a new session. Raise NotSignedInError, with the same words for a wrong name and a
        wrong passphrase.

        name: as it was typed; it does not matter where there is one passphrase for all.
        address: of who asks.
        """
        people = self.people()
        keys = [throttle.of_address(address)]
        if people:
            keys.append(throttle.of_name(_without_accents(name)))
        wait_s = self.tries.wait_s(keys)
        if wait_s > 0:
            msg = f"Too many tries. Wait {_in_words(wait_s)}, then try again."
            raise NotSignedInError(msg, wait_s)
        person = _person_named(name, people)
        known = person is not None or not people
        right = self._passphrases.is_right(person, passphrase, known=known)
        if right is None:
            msg = "Somebody else is signing in right now. Try again in a few seconds."
            raise NotSignedInError(msg, 2.0)
        mark = self._mark(person)
        if not right or mark is None:
            wrong = "The name or the passphrase is not right." if people else "It is not right."
            raise NotSignedInError(wrong)
        self.tries.forgive(keys)
        return Session.new(person, mark, self.clock())

    def _mark(self, person: str | None) -> str | None:
        text = self._passphrases.text_of(person)
        return None if text is None else self._sessions.mark(text)


def _in_words(seconds: float) -> str:
    if seconds <= 60:
        return f"{max(1, round(seconds))} seconds"
    return f"{-(-round(seconds) // 60)} minutes"


def _person_named(name: str, people: Sequence[str]) -> str | None:
    """Return who is meant; accents may be left out, since many a phone has none of ours.

    That is, unless it makes two people one.
    """
    same = [one for one in people if folded_name(one) == folded_name(name)]
    alike = [one for one in people if _without_accents(one) == _without_accents(name)]
    return same[0] if same else alike[0] if len(alike) == 1 else None


def _without_accents(name: str) -> str:
    parts = unicodedata.normalize("NFKD", folded_name(name))
    return "".join(letter for letter in parts if not unicodedata.combining(letter))
