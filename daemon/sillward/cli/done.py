"""`sillward done`: what the grower answers, that a chore is done or not after all."""

from collections.abc import Sequence
from contextlib import closing
from datetime import datetime

import click

from sillward.assembly.app import App, Options
from sillward.cli import completion, shared
from sillward.cli.printing import say
from sillward.errors import UsageError
from sillward.ledger import Ledger, StoredChore
from sillward.service.chore_selection import meant
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import answered, is_older


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
            say(_taken_back(app, ledger, words))
            return
        told = acknowledgeable(app, ledger, words, now)
        plants = [plant.name for plant in app.household.collection.plants]
        done_for = meant(words, told, plants, now)
        by_id = {one.id: one for one in told}
        chosen = [(by_id[key], names) for key, names in done_for.items()]
        for line in _acknowledge(app, ledger, chosen, now):
            say(line)


def acknowledgeable(app: App, ledger: Ledger, words: str, now: datetime) -> list[StoredChore]:
    """Chores of these days that may have been done by now; of another day, by its whole id."""
    today = str(app.site.local_date(now))
    return [
        one
        for one in ledger.chores.due_since(app.site.name, now - completion.ACKNOWLEDGED_WITHIN)
        if one.called_off_at is None and (one.day <= today or one.id == words)
    ]


def _acknowledge(
    app: App, ledger: Ledger, chosen: Sequence[tuple[StoredChore, Sequence[str]]], now: datetime
) -> list[str]:
    """Write down that chores are done for these plants, at once, and return that in words."""
    voice = app.household.voice
    known, lines = ledger.plants.states(app.site.name), []
    changed: dict[str, PlantState] = {}
    for told, names in chosen:
        if told.done_at is not None:
            lines.append(f"{told.id} was done {voice.date_and_hour(told.done_at)} already")
            continue
        kind, to_spot, elsewhere = ChoreKind(told.kind), told.document["to"], ""
        for name in names:
            before = changed.get(name) or known.get(name) or PlantState(told.document["from"])
            changed[name] = after = answered(before, kind, to_spot, told.before, now)
            if is_older(before, kind, told.before) and after.spot != to_spot:
                elsewhere += f"; {name} is at {after.spot} by what was told later"
        lines.append(f"done: {told.id} ({', '.join(names)}){elsewhere}")
    fresh = {told.id: names for told, names in chosen if told.done_at is None}
    if fresh:
        ledger.confirm(app.site.name, now, fresh, changed)
    return lines


def _taken_back(app: App, ledger: Ledger, words: str) -> str:
    """Take the last acknowledgement back, or the last about some chore."""
    about = "-".join(words.lower().split()) or None
    answer = ledger.confirmations.last(app.site.name, about)
    if answer is None:
        msg = f'"{words}" was not acknowledged' if words else "nothing was acknowledged so far"
        raise UsageError(msg)
    moved = ledger.undo(app.site.name, answer)
    stays = f"; {', '.join(moved)}: moved since, so left as they are" if moved else ""
    return f"not done after all: {', '.join(answer.chores)}{stays}"
