"""People who sign in to the page of the packaged example, with hashes that take no time."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from werkzeug.security import generate_password_hash
from werkzeug.test import Client, TestResponse

from sillward.config.credentials import passphrase_file
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.hosts import Hosts
from sillward.page.people.door import Door
from tests.support.pages import KEY, Visitor

NOON = 1_778_760_000.0
"""A moment in May 2026, in seconds since 1970."""


def quick_hash(passphrase: str) -> str:
    """A hash like ours, of which thousands are worked out in a second."""
    return generate_password_hash(passphrase, "scrypt:256:8:1")


def keep(folder: Path, person: str | None, passphrase: str) -> Path:
    """Put the hash of a passphrase into the credentials folder."""
    path = folder / passphrase_file(person)
    path.write_text(f"{quick_hash(passphrase)}\n", encoding="utf-8")
    return path


@dataclass
class Yard:
    """A household with people, and clocks that stand still until they are moved."""

    folder: Path
    people: Sequence[str] = ("Inés", "Tomás")
    required: bool = True
    now: float = NOON
    steady: float = 1000.0

    def __post_init__(self) -> None:
        """Give each a passphrase."""
        for person in self.people or (None,):
            keep(self.folder, person, passphrase_of(person))

    def door(self, site: str = "Courtyard") -> Door:
        """What lets them in."""
        return Door(
            KEY,
            site,
            lambda: self.people,
            self.folder,
            required=self.required,
            clock=lambda: self.now,
            steady=lambda: self.steady,
        )

    def guard(self) -> Guard:
        """What checks their requests."""
        return Guard(KEY, Hosts(("plants.example",), url="https://plants.example"), self.door())


def passphrase_of(person: str | None) -> str:
    """What somebody signs in with."""
    return f"{person or 'everybody'} waters at nine"


class Guest(Visitor):
    """A browser that has not signed in."""

    def __init__(self, yard: Yard, desk: PageDesk, guard: Guard | None = None) -> None:
        self.desk = desk
        self.client = Client(Application(self.desk, guard or yard.guard()))
        self.seen: TestResponse | None = None

    def sign_in(self, name: str = "", passphrase: str = "", to: str = "/") -> TestResponse:
        """Fill in the form."""
        self.get("/sign-in")
        fields = {"name": name, "passphrase": passphrase, "to": to}
        answer = self.post("/sign-in", **fields)
        self.seen = None  # what was seen before has forms that are worth nothing now
        return answer
