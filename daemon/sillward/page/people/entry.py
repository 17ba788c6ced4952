"""Who makes a request, as far as its cookies tell."""

import secrets
from dataclasses import dataclass

from sillward.page.people.sessions import Session


@dataclass(slots=True)
class Entry:
    """Who makes a request: known by cookies before it, and set anew by signing in or out.

    word: of the visit.
    came_with: the session that the request brought.
    is_over: whether that is to be forgotten. One that does not hold at the moment, because a
        passphrase cannot be read, may hold again.
    """

    word: str
    session: Session | None = None
    came_with: str = ""
    is_over: bool = False

    def sign_in(self, session: Session) -> None:
        """Begin a session. Forms of the visit before it are worth nothing from here on."""
        self.session, self.word = session, secrets.token_hex(16)

    def sign_out(self) -> None:
        """End it."""
        self.session, self.word, self.is_over = None, secrets.token_hex(16), True

    @property
    def person(self) -> str | None:
        """The name of who has signed in, if people sign in by name."""
        return None if self.session is None else self.session.person
