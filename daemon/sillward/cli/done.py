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
from sillward.service.chore_selection import select_chores
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
            say(_take_back(app, ledger, words))
            return
        candidates = _acknowledgeable(app, ledger, words, now)
        plants = [plant.name for plant in app.household.collection.plants]
        plants_by_id = select_chores(words, candidates, plants, now)
        by_id = {candidate.id: candidate for candidate in candidates}
        chosen = [(by_id[key], names) for key, names in plants_by_id.items()]
        for line in _acknowledge(app, ledger, chosen, now):
            say(line)


def _acknowledgeable(app: App, ledger: Ledger, words: str, now: datetime) -> list[StoredChore]:
    """Return recent chores that may have been done by now; one of a later day by its whole id."""
    today = str(app.site.local_date(now))
    return [
        chore
        for chore in ledger.chores.due_since(app.site.name, now - completion.ACKNOWLEDGED_WITHIN)
        if chore.called_off_at is None and (chore.day <= today or chore.id == words)
    ]


def _acknowledge(
    app: App, ledger: Ledger, chosen: Sequence[tuple[StoredChore, Sequence[str]]], now: datetime
) -> list[str]:
    """Record, in one transaction, that chores are done for these plants; return that in words."""
    voice = app.household.voice
    states, lines = ledger.plants.states(app.site.name), []
    changed: dict[str, PlantState] = {}
    for chore, names in chosen:
        if chore.done_at is not None:
            lines.append(f"{chore.id} was done {voice.date_and_hour(chore.done_at)} already")
            continue
        kind, to_spot, elsewhere = chore.kind, chore.chore.to_spot, ""
        for name in names:
            before = changed.get(name) or states.get(name) or PlantState(chore.chore.from_spot)
            changed[name] = after = answered(before, kind, to_spot, chore.before, now)
            if is_older(before, kind, chore.before) and after.spot != to_spot:
                elsewhere += f"; {name} is at {after.spot} by what was told later"
        lines.append(f"done: {chore.id} ({', '.join(names)}){elsewhere}")
    newly_done = {chore.id: names for chore, names in chosen if chore.done_at is None}
    if newly_done:
        ledger.confirm(app.site.name, now, newly_done, changed)
    return lines


def _take_back(app: App, ledger: Ledger, words: str) -> str:
    """Take back the last acknowledgement, or the last of a certain chore; return that in words."""
    about = "-".join(words.lower().split()) or None
    answer = ledger.confirmations.last(app.site.name, about)
    if answer is None:
        msg = f'"{words}" was not acknowledged' if words else "nothing was acknowledged so far"
        raise UsageError(msg)
    moved = ledger.undo(app.site.name, answer)
    stays = f"; {', '.join(moved)}: moved since, so left as they are" if moved else ""
    return f"not done after all: {', '.join(answer.chores)}{stays}"
