"""`sillward done`: say of chores that they are done, not needed or for later; take that back."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import datetime, timedelta

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.printing import say
from sillward.errors import UsageError
from sillward.ledger import Ledger, StoredChore
from sillward.service.answers import Chosen, answerable, confirm, decline, put_off, take_back
from sillward.service.chore_selection import ALL_DAY, left_for_later, select_chores
from sillward_rules.weather.time_expressions import parse_duration

USUAL_WAIT = "30 min"
"""How long a chore is put off where no time is given. Judgement: a meal."""


@click.command()
@click.argument("chore", nargs=-1, shell_complete=completion.chores)
@click.option("--not-needed", is_flag=True, help="It need not be done: that is your decision.")
@click.option(
    "--later",
    is_flag=False,
    flag_value=USUAL_WAIT,
    metavar="[TIME]",
    help=f"Remind of it in {USUAL_WAIT}, or in another TIME (1h).",
)
@click.option("--undo", is_flag=True, help="Take back the last answer, or the last about a CHORE.")
@answering.by_person
@shared.options(recorded=False, as_json=False)
def done(
    options: Options,
    chore: tuple[str, ...],
    not_needed: bool,
    later: str | None,
    undo: bool,
    person: str | None,
) -> None:
    """Acknowledge a CHORE: its id, or as much of it as makes it clear.

    You can also name a kind as messages call it (carry in, put out, water), a spot, plants
    separated by commas, a kind with plants, "all", or "all but" some plants. These mean what is
    open on the latest day, up to today, and has begun. Carrying in, covers, shade and the like
    count before their hour too; of what is done hour by hour the rest waits, unless you say mist
    all day.

    Example: sillward done carry in
    """
    words = " ".join(chore)
    if not_needed + undo + (later is not None) > 1:
        msg = "choose one of --not-needed, --later and --undo"
        raise UsageError(msg)
    if not words and not undo:
        msg = "say what is done, for example: sillward done carry-in"
        raise UsageError(msg)
    wait = None if later is None else _duration(later)
    app = shared.build(options)
    by = answering.person_named(app, person)
    if not app.has_ledger:
        msg = f'"{words}" is not a chore you were told of; nothing has been told yet'
        raise UsageError(msg)
    with closing(app.open_ledger()) as ledger:
        if undo:
            say(_taken_back_line(ledger, app, words, by))
            return
        chosen, left = _chosen(app, ledger, words)
        if wait is not None:
            lines = _put_off(app, ledger, chosen, wait, by)
        else:
            lines = _answered(app, ledger, chosen, by, not_needed=not_needed)
        for line in lines:
            say(line)
        if left and not not_needed and wait is None:
            say(_left_line(left, app))


def _duration(text: str) -> timedelta:
    """Return how long to wait. Raise UsageError."""
    try:
        return parse_duration(text)
    except ValueError as error:
        msg = f"--later: {error}; without a time it goes last: sillward done carry-in --later"
        raise UsageError(msg) from None


def _chosen(app: App, ledger: Ledger, words: str) -> tuple[Chosen, Sequence[StoredChore]]:
    """Return the chores that are meant, each with the plants, and what is left for later.

    Raise UsageError.
    """
    now = app.clock()
    candidates = _answerable(app, ledger, words, now)
    plants = [plant.name for plant in app.household.collection.plants]
    voice = app.household.voice
    plants_by_id = select_chores(words, candidates, plants, now, voice)
    by_id = {candidate.id: candidate for candidate in candidates}
    chosen = [(by_id[key], names) for key, names in plants_by_id.items()]
    return chosen, left_for_later(plants_by_id, candidates, now)


def _left_line(left: Sequence[StoredChore], app: App) -> str:
    """Return what of the same kind stays open for later hours, and how to confirm it too."""
    voice = app.household.voice
    verb = voice.say("verb", name=left[0].kind.value)
    starts = [chore.chore.not_before or chore.before for chore in left]
    hours = ", ".join(dict.fromkeys(voice.hour(at) for at in sorted(starts)))
    return f"open for later: {verb} at {hours}; if that is done too: sillward done {verb} {ALL_DAY}"


def _answerable(app: App, ledger: Ledger, words: str, now: datetime) -> list[StoredChore]:
    """Return recent chores that may have been done by now; one of a later day by its whole id."""
    today = str(app.site.local_date(now))
    return [
        chore
        for chore in answerable(ledger, app.site.name, now, completion.CONFIRMED_WITHIN)
        if chore.called_off_at is None and (chore.day <= today or chore.id == words)
    ]


def _answered(
    app: App, ledger: Ledger, chosen: Chosen, person: str | None, *, not_needed: bool
) -> Iterator[str]:
    """Write down that chores are done, or not needed, and yield what came of each."""
    answer, word = (decline, "not needed") if not_needed else (confirm, "done")
    voice = app.household.voice
    for result in answer(ledger, app.site.name, chosen, app.clock(), person):
        chore = result.chore
        if chore.done_at is not None:
            yield f"{chore.id} was done {voice.date_and_hour(chore.done_at)} already"
        elif not_needed and chore.declined_at is not None:
            at = voice.date_and_hour(chore.declined_at)
            yield f"{chore.id} is not needed, you said {at} already"
        else:
            elsewhere = "".join(
                f"; {name} is at {spot} by what was told later"
                for name, spot in result.elsewhere.items()
            )
            yield f"{word}: {chore.id} ({', '.join(result.plants)}){elsewhere}"


def _put_off(
    app: App, ledger: Ledger, chosen: Chosen, wait: timedelta, person: str | None
) -> Iterator[str]:
    """Put chores off, and yield when each is reminded of."""
    now, voice = app.clock(), app.household.voice
    chores = [chore for chore, _ in chosen]
    for result in put_off(ledger, app.site.name, chores, now + wait, now, person):
        chore = result.chore
        if result.until is not None:
            yield f"later: {chore.id}; you are reminded at {voice.hour(result.until)}"
        elif chore.open:
            yield f"{chore.id} cannot wait: it is due at {voice.hour(chore.before)}"
        else:
            yield f"{chore.id} is answered already"


def _taken_back_line(ledger: Ledger, app: App, words: str, person: str | None) -> str:
    """Take an answer back and return that in words. Raise UsageError if there is none."""
    about = "-".join(words.lower().split()) or None
    taken = take_back(ledger, app.site.name, about, app.clock(), person)
    if taken is None:
        msg = f'"{words}" was not acknowledged' if words else "nothing was acknowledged so far"
        raise UsageError(msg)
    return answering.taken_back_line(taken)
