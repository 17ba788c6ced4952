"""What the grower answers: a chore is done."""

from contextlib import closing
from datetime import datetime

import click

from sillward import completion
from sillward.app import App, Options
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.errors import UsageError
from sillward.ledger import Ledger, StoredChore
from sillward_rules.chore import WETTINGS, ChoreKind
from sillward_rules.collection import PlantState
from sillward_rules.sheet import acknowledged


@click.command()
@click.argument("chore", shell_complete=completion.chores)
@shared.options(recorded=False, as_json=False)
def done(options: Options, chore: str) -> None:
    """Acknowledge a CHORE: its id, as much of it as makes it clear, or a kind such as carry-in.

    A kind stands for all open chores of that kind of the latest day, today's at the latest.

    Example: sillward done carry-in
    """
    app = shared.build(options)
    now = app.clock()
    today = str(app.site.local_date(now))
    if not app.has_ledger:
        msg = f'"{chore}" is not a chore you were told of; nothing has been told yet'
        raise UsageError(msg)
    with closing(Ledger(app.settings.ledger)) as ledger:
        told = [
            one
            for one in ledger.chores(app.site.name, now - completion.ACKNOWLEDGED_WITHIN)
            if one.called_off_at is None and (one.day <= today or one.id == chore)
        ]
        for one in _chores_named(told, chore):
            say(_acknowledge(app, ledger, one, now))


def _acknowledge(app: App, ledger: Ledger, told: StoredChore, now: datetime) -> str:
    """Write down that a chore is done, and return that in words."""
    if told.done_at is not None:
        return f"{told.id} was done {app.household.voice.date_and_hour(told.done_at)} already"
    states, document = ledger.states(app.site.name), told.document
    kind, to_spot = ChoreKind(told.kind), document["to"]
    before = {name: states.get(name) or PlantState(document["from"]) for name in told.plants}
    # Last night's carrying in says nothing of where a plant is that was to go out this morning.
    later = {
        name: state
        for name, state in before.items()
        if kind not in WETTINGS and state.since is not None and state.since > told.before
    }
    changed = {
        name: acknowledged(state, kind, to_spot, now)
        for name, state in before.items()
        if name not in later
    }
    ledger.finish(app.site.name, told.id, now, changed)
    elsewhere = [
        f"; {name} is at {state.spot} by what was told later"
        for name, state in later.items()
        if state.spot != to_spot
    ]
    return f"done: {told.id} ({', '.join(told.plants)}){''.join(elsewhere)}"


def _chores_named(told: list[StoredChore], name: str) -> list[StoredChore]:
    """All open chores of a kind, of the latest day; else the one chore that is meant."""
    of_kind = [one for one in told if one.kind == name and one.open]
    if of_kind:
        latest = max(one.day for one in of_kind)
        return [one for one in of_kind if one.day == latest]
    return [_chore_named(told, name)]


def _chore_named(told: list[StoredChore], name: str) -> StoredChore:
    """The chore of this id, or the latest open one whose id contains it."""
    near = [one for one in told if one.id == name]
    near = near or [one for one in told if name.lower() in one.id]
    ways = {one.id[10:] for one in near}  # without the date
    still = [one for one in near if one.done_at is None]
    if len(ways) == 1 and (still or near):
        return max(still or near, key=lambda one: one.id)
    known = ", ".join(one.id for one in near or told if one.open) or "none"
    what = "is more than one chore" if near else "is not a chore you were told of"
    msg = f'"{name}" {what}; open: {known}'
    raise UsageError(msg)
