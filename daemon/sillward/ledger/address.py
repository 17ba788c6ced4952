"""The address of a ledger on a PostgreSQL server, whose password is never shown."""

from pathlib import Path
from urllib.parse import parse_qsl, unquote, urlsplit

SCHEMES = ("postgresql://", "postgres://")
"""How addresses of PostgreSQL begin. Source: "Connection URIs", libpq."""

ON_SERVER = "_shared"
"""In the place of a household's name on a server, for what all share: none can be called so."""

_SECRETS = ("password", "sslpassword")


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

    def __str__(self) -> str:
        try:
            parts = urlsplit(self.url)
        except ValueError:
            return SCHEMES[0] + "..."
        user, at, server = parts.netloc.rpartition("@")
        return f"{SCHEMES[0]}{user.partition(':')[0]}{at}{server}{parts.path}"

    def __repr__(self) -> str:
        return f"PostgresAddress({str(self)!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PostgresAddress) and self.url == other.url

    def __hash__(self) -> int:
        return hash(self.url)

    @property
    def has_password(self) -> bool:
        """Whether a password is written in it."""
        return len(self._secrets()) > 1

    def without_secrets(self, text: str) -> str:
        """Return what a server or library says, without anything of the address that is secret."""
        for secret in self._secrets():
            text = text.replace(secret, "...")
        return text

    def _secrets(self) -> list[str]:
        """Return what must not be shown, the longest first: the address itself and passwords."""
        found = {self.url}
        try:
            parts = urlsplit(self.url)
            password = parts.netloc.rpartition("@")[0].partition(":")[2]
            found |= {password, unquote(password)}
            found |= {value for name, value in parse_qsl(parts.query) if name in _SECRETS}
        except ValueError:
            pass
        return sorted(found - {""}, key=len, reverse=True)


LedgerAddress = Path | PostgresAddress
"""Where a ledger is: a file, or a database on a server."""
