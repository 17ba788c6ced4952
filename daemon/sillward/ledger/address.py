"""The address of a ledger on a PostgreSQL server, whose password is never shown."""

import re
from pathlib import Path
from urllib.parse import parse_qsl, unquote

SCHEMES = ("postgresql://", "postgres://")
"""How addresses of PostgreSQL begin. Source: "Connection URIs", libpq."""

ON_SERVER = "_shared"
"""In the place of a household's name on a server, for what all share: none can be called so."""

MIN_PART = 3
"""Parts of a password that are shorter are not looked for: they are parts of any text."""

_SECRETS = ("password", "sslpassword")

_SCHEME = re.compile(r"[a-z][a-z0-9+.-]*://", re.IGNORECASE | re.ASCII)

_END_OF_USER = re.compile("[:/?#]")

_HOST = r"(\[[^\]]*\]|[^][:/@#,]*)(:\d*)?"
_SERVER = re.compile(rf"{_HOST}(,{_HOST})*(/[^/@#:]*)?", re.ASCII)
"""Hosts with their ports, and a database."""


class PostgresAddress:
    """An address such as postgresql://sillward@db.example/sillward.

    `str` shows server, user and database alone.
    """

    def __init__(self, url: str) -> None:
        self.url = url.strip()

    @classmethod
    def is_one(cls, text: str) -> bool:
        """Whether a text is such an address."""
        return text.strip().startswith(SCHEMES)

    @classmethod
    def is_anothers(cls, text: str) -> bool:
        """Whether a text is an address, but of nothing that a ledger can be on, and no path."""
        return bool(_SCHEME.match(text.strip())) and not cls.is_one(text)

    def __str__(self) -> str:
        """Return it without what may be a secret: a password may have any signs in it."""
        credentials, at, rest = self._parts()
        server = rest.partition("?")[0]
        if "?" in credentials or not _SERVER.fullmatch(server):
            return f"{SCHEMES[0]}..."  # which part is what cannot be told
        return f"{SCHEMES[0]}{_END_OF_USER.split(credentials)[0]}{at}{server}"

    def __repr__(self) -> str:
        return f"PostgresAddress({str(self)!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PostgresAddress) and self.url == other.url

    def __hash__(self) -> int:
        return hash(self.url)

    @property
    def has_password(self) -> bool:
        """Whether a password is written in it."""
        credentials, _, rest = self._parts()
        return len(_END_OF_USER.split(credentials)) > 1 or bool(_queried(rest))

    def without_secrets(self, text: str) -> str:
        """Return what a server or library says, without anything of the address that is secret."""
        for secret in self._secrets():
            text = text.replace(secret, "...")
        return text

    def _secrets(self) -> list[str]:
        """Return what must not be shown, the longest first: the address itself and passwords."""
        credentials, at, rest = self._parts()
        passwords = {*_queried(credentials), *_queried(rest)}
        if at:
            passwords.add(credentials.partition(":")[2])
        parts = {part for each in passwords for part in re.split("[/?#@:]", each)}
        found = {self.url, *passwords, *map(unquote, passwords)}
        # Where a sign in a password ends it, the library takes the rest for a host or a port.
        found |= {part for part in parts if len(part) >= MIN_PART}
        return sorted(found - {""}, key=len, reverse=True)

    def _parts(self) -> tuple[str, str, str]:
        """Return user and password, the sign after them, and all the rest: whatever a password
        has in it, it ends before the last such sign."""
        return self.url.partition("://")[2].rpartition("@")


def _queried(text: str) -> set[str]:
    """Return the passwords among the parameters at the end of an address."""
    return {value for name, value in parse_qsl(text.partition("?")[2]) if name in _SECRETS}


LedgerAddress = Path | PostgresAddress
"""Where a ledger is: a file, or a database on a server."""
