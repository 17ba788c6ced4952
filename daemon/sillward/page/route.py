"""An address of the page: what is there, and who may ask for it."""

from dataclasses import dataclass
from enum import Enum, auto

from sillward.page.visit import View


class Access(Enum):
    """Who may ask for an address."""

    HOUSEHOLD = auto()
    """Whoever has signed in, where people sign in; a form must come from a page of ours."""
    ANYBODY = auto()
    """Anybody who reaches the page at all; a form must come from a page of ours."""
    LINK = auto()
    """Whoever has the link: what is in the address is the permission."""


MAX_FORM_BYTES = 64_000
"""Of a form without a photo. Judgement: a note, and the names of some hundred plants."""


@dataclass(frozen=True, slots=True)
class Route:
    """An address.

    rule: as Werkzeug writes it.
    name: by which other pages link to it.
    is_kept: whether what a form says is written into the ledger.
    """

    rule: str
    name: str
    view: View
    method: str = "GET"
    access: Access = Access.HOUSEHOLD
    max_bytes: int = MAX_FORM_BYTES
    is_kept: bool = True
