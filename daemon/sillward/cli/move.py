"""`sillward move`: say that a plant stands at another spot now, or take that back."""

from contextlib import closing

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.printing import say
from sillward.errors import UsageError
from sillward.ledger import Answer, Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.service import answers

_HOW = "say which plant, and where it stands now, for example: sillward move blue basket sunroom"


@click.command()
@click.argument(
    "words",
    nargs=-1,
    required=True,
    metavar="PLANT [SPOT]",
    shell_complete=completion.plant_and_spot,
)
@click.option("--undo", is_flag=True, help="Take back the last move of PLANT.")
@answering.by_person
@shared.options(recorded=False, as_json=False)
def move(options: Options, words: tuple[str, ...], undo: bool, person: str | None) -> None:
    """Say that a PLANT now stands at another SPOT, although you were not told to move it.

    Give both names with or without quotes, or as much of each as makes it clear. This completes an
    open order to carry the plant in if SPOT is where it was to go, or is indoors and known to be
    warm enough; otherwise the order stays open.

    Example: sillward move blue basket sunroom
    """
    app = shared.build(options)
    by = answering.person_named(app, person)
    if undo:
        plant = shared.plant_named(app, " ".join(words)).name
        with closing(app.open_ledger() if app.has_ledger else Ledger(IN_MEMORY)) as ledger:
            say(_taken_back_line(app, ledger, plant, by))
        return
    plant, spot_name = _plant_and_spot(app, " ".join(words).split())
    collection = app.household.collection
    spot = collection.spot(spot_name)
    is_safe = any(it.name == plant and it.is_safe_at(spot) for it in collection.plants)
    with closing(app.open_ledger()) as ledger:
        moved = answers.move(
            ledger, app.site.name, plant, spot.name, app.clock(), by, is_safe=is_safe
        )
    was = f" (was at {moved.from_spot})" if moved.from_spot not in (None, spot.name) else ""
    say(f"{plant} is now at {spot.name}{was}")
    for chore_id in moved.done:
        say(f"this completes {chore_id}")
    voice = app.household.voice
    for chore in moved.still_open:
        say(f"still open: {chore.id}, due {voice.clock_of_day(chore.before, app.clock())}")


def _plant_and_spot(app: App, words: list[str]) -> tuple[str, str]:
    """Return the plant and the spot in "blue basket to sunroom". Raise UsageError."""
    found, error = {}, UsageError(_HOW)
    for cut in range(1, len(words)):
        rest = words[cut:]
        if rest[0].lower() == "to" and len(rest) > 1:
            rest = rest[2:] if rest[1].lower() == "the" and len(rest) > 2 else rest[1:]
        try:
            plant = shared.plant_named(app, " ".join(words[:cut])).name
            found[plant, shared.spot_named(app, " ".join(rest))] = cut
        except UsageError as reason:
            error = reason
    if len(found) > 1:
        ways = " or ".join(f'"{plant}" to "{spot}"' for plant, spot in found)
        msg = f'"{" ".join(words)}" is {ways}; write the names out'
        raise UsageError(msg)
    if not found:
        raise error
    return next(iter(found))


def _taken_back_line(app: App, ledger: Ledger, plant: str, person: str | None) -> str:
    """Take the last move of a plant back and return that in words. Raise UsageError."""
    site = app.site.name
    last = ledger.confirmations.last(site, plant)
    taken = None
    if last is not None and last.answer is Answer.MOVED:
        taken = answers.take_back(ledger, site, plant, app.clock(), person)
    if taken is None:
        msg = f'no move of "{plant}" is left to take back'
        raise UsageError(msg)
    return answering.taken_back_line(taken)
