"""One way to reach the grower.

A module of its own: the process that sends needs this of a household, and nothing of its plants.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import SecretStr

if TYPE_CHECKING:
    from sillward.config.models import RoundName


@dataclass(frozen=True, slots=True)
class Channel:
    """One way to reach the grower.

    url: None if neither the file nor the environment nor a credential has one; then sheets can be
        printed, but nothing can be sent.
    rounds: what it is told; empty for one that is kept for helpers (`sillward away`).
    all_clear: whether it is told when there is nothing to do as well.
    full_length: whether it gets the full text instead of a push.
    person: who reads it, if the file says so: what is answered by its links is theirs.
    """

    name: str
    url: SecretStr | None
    rounds: "tuple[RoundName, ...]"
    all_clear: bool
    full_length: bool
    person: str | None = None

    @property
    def told(self) -> str:
        """What it is told, in words."""
        return ", ".join(self.rounds) or "only what `sillward away` asks for"

    @property
    def full_mail(self) -> bool:
        """Whether it is a mail that is told in full."""
        return self.full_length and is_mail(self.url)


def is_mail(url: SecretStr | None) -> bool:
    """Whether what is sent to this URL is a mail."""
    return url is not None and url.get_secret_value().lower().startswith("mailto")
