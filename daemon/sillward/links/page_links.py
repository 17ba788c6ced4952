"""The addresses that messages lead to."""

from dataclasses import dataclass, field

from sillward.links.token import Token, write


@dataclass(frozen=True, slots=True)
class PageLinks:
    """Makes them for one household.

    key: signs tokens.
    url: what the page of the household is called by from outside, without a slash at its end.
    """

    key: bytes = field(repr=False)
    url: str

    @property
    def page(self) -> str:
        """The page with all that is to do."""
        return f"{self.url}/"

    def tap(self, token: Token) -> str:
        """Return the address where what a token stands for is answered."""
        return f"{self.url}/t/{write(token, self.key)}"
