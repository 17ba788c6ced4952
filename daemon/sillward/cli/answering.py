"""What the commands by which people answer share: who says so, and what was taken back."""

import click

from sillward.assembly.app import App
from sillward.cli import completion
from sillward.config.credentials import folded_name
from sillward.errors import UsageError, one_line
from sillward.ledger import Answer
from sillward.service.answers import TakenBack

by_person = click.option(
    "--by",
    "person",
    metavar="NAME",
    help="Who says so, for the log.",
    shell_complete=completion.people,
)
"""The option of commands by which people answer."""

MAX_PERSON = 60
"""Characters of the name of a person. Judgement: twice as long as names get."""


def person_named(app: App, name: str | None) -> str | None:
    """Return who answers: spelled as in the collection if it names them. Raise UsageError."""
    if name is None:
        return None
    known = {folded_name(person): person for person in app.household.people}
    told = " ".join(name.split())
    if not told or len(told) > MAX_PERSON:
        msg = f"--by: say a name of at most {MAX_PERSON} characters"
        raise UsageError(msg)
    return known.get(folded_name(told), one_line(told, MAX_PERSON))


_TAKEN_BACK = {
    Answer.DONE: "not done after all",
    Answer.NOT_NEEDED: "needed after all",
    Answer.LATER: "not put off any more",
    Answer.MOVED: "not moved after all",
}


def taken_back_line(taken: TakenBack) -> str:
    """Return in words what was taken back."""
    about = taken.plants if taken.answer is Answer.MOVED else taken.chores
    names = ", ".join(taken.moved)
    stays = f"; {names}: moved since, so left as they are" if names else ""
    return f"{_TAKEN_BACK[taken.answer]}: {', '.join(about)}{stays}"
