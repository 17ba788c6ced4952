"""`sillward done`: confirm that chores are done, or take a confirmation back."""

from contextlib import closing
from datetime import datetime

import click

from sillward.assembly.app import App, Options
from sillward.cli import completion, shared
from sillward.cli.printing import say
from sillward.errors import UsageError
from sillward.ledger import Ledger, StoredChore
from sillward.service.answers import Answered, confirm, take_back
from sillward.service.chore_selection import select_chores
from sillward.wording.voice import Voice


@click.command()
@click.argument("chore", nargs=-1, shell_complete=completion.chores)
@click.option("--undo", is_flag=True, help="Take the last one back, or the last of a CHORE.")
@shared.options(recorded=False, as_json=False)
def done(options: Options, chore: tuple[str, ...], undo: bool) -> None:
    """Acknowledge a CHORE: its id, or as much of it as makes it clear.

    Or what it is about: a kind (carry-in), a spot, plants with commas between them, a kind with
    plants, all, all but some plants. A kind stands for all open chores of that kind of the latest
    day, today's at the latest; a spot, and all, for those that have begun.

    Example: sillward done carry in
    """
    words = " ".join(chore)
    if not words and not undo:
        msg = "say what is done, for example: sillward done carry-in"
        raise UsageError(msg)
    app = shared.build(options)
    now = app.clock()
    if not app.has_ledger:
        msg = f'"{words}" is not a chore you were told of; nothing has been told yet'
        raise UsageError(msg)
    with closing(Ledger(app.settings.ledger)) as ledger:
        if undo:
            say(_taken_back_line(ledger, app.site.name, words, now))
            return
        candidates = _confirmable(app, ledger, words, now)
        plants = [plant.name for plant in app.household.collection.plants]
        plants_by_id = select_chores(words, candidates, plants, now)
        by_id = {candidate.id: candidate for candidate in candidates}
        chosen = [(by_id[key], names) for key, names in plants_by_id.items()]
        for result in confirm(ledger, app.site.name, chosen, now):
            say(_confirmed_line(result, app.household.voice))


def _confirmable(app: App, ledger: Ledger, words: str, now: datetime) -> list[StoredChore]:
    """Return recent chores that may have been done by now; one of a later day by its whole id."""
    today = str(app.site.local_date(now))
    return [
        chore
        for chore in ledger.chores.due_since(app.site.name, now - completion.CONFIRMED_WITHIN)
        if chore.called_off_at is None and (chore.day <= today or chore.id == words)
    ]


def _confirmed_line(result: Answered, voice: Voice) -> str:
    """Return what came of the confirmation of one chore."""
    chore = result.chore
    if result.done_before is not None:
        return f"{chore.id} was done {voice.date_and_hour(result.done_before)} already"
    elsewhere = "".join(
        f"; {name} is at {spot} by what was told later" for name, spot in result.elsewhere.items()
    )
    return f"done: {chore.id} ({', '.join(result.plants)}){elsewhere}"


def _taken_back_line(ledger: Ledger, site: str, words: str, now: datetime) -> str:
    """Take a confirmation back and return that in words. Raise UsageError if there is none."""
    taken = take_back(ledger, site, "-".join(words.lower().split()) or None, now)
    if taken is None:
        msg = f'"{words}" was not acknowledged' if words else "nothing was acknowledged so far"
        raise UsageError(msg)
    names = ", ".join(taken.moved)
    stays = f"; {names}: moved since, so left as they are" if names else ""
    return f"not done after all: {', '.join(taken.chores)}{stays}"
