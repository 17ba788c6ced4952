"""`sillward look`: say in a word what you saw of a plant, for example how wet its pot is."""

from contextlib import closing

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.reports import diary as report
from sillward.service import diary, looks
from sillward.service.diary_effects import POT
from sillward.wording.diary_words import seen
from sillward_rules.plants.plant import Plant

_HOW = "say which plant, and what you saw, for example: sillward look blue basket dry"


@click.command()
@click.argument(
    "words", nargs=-1, required=True, metavar="PLANT [WORD]", shell_complete=completion.plants
)
@click.option("--on", "day", metavar="DAY", help="When it was seen: a time, a date, yesterday.")
@click.option("--undo", is_flag=True, help="Take the last look at PLANT back.")
@answering.by_person
@shared.options(recorded=False)
def look(
    options: Options,
    as_json: bool,
    words: tuple[str, ...],
    day: str | None,
    undo: bool,
    person: str | None,
) -> None:
    """Say what you saw of a PLANT, in a WORD: dry, moist, wet; or better, same, worse.

    The first three are how wet its pot is, the others how its leaves are while a course runs.

    Lift the pot or put a finger in; after a watering that nobody asked for, say wet. For PLANT, all
    stands for all plants whose pot is known. The word corrects what is worked out of the water in
    it, and how much the plant drinks. The diary keeps it; `sillward course` shows the leaves over
    time.

    Example: sillward look blue basket dry
    """
    app = shared.build(options)
    by, now = answering.person_named(app, person), app.clock()
    if undo:
        say(_taken_back_line(app, shared.plant_named(app, " ".join(words)).name, by))
        return
    if len(words) < 2:
        raise UsageError(_HOW)
    word = looks.word_named(words[-1])
    chosen = _plants(app, " ".join(words[:-1]))
    seen_at = now if day is None else diary.seen_on(day, app.site, now)
    with closing(Ledger(app.settings.ledger)) as ledger:
        collection = app.household.collection
        entries = [
            looks.look(ledger, collection, one.name, word, seen_at, now, by) for one in chosen
        ]
    document = report.document(entries, app.site, now)
    if as_json:
        print_json(document)
        return
    for one, noted in zip(chosen, document["entries"], strict=True):
        say(f"noted: {report.line(noted, app.household.voice)}")
        if looks.WORDS[word] == POT and one.pot is None:
            say(f"its water is not worked out: your collection gives no pot for {one.name}")


def _plants(app: App, words: str) -> list[Plant]:
    """Return the plant of a name, or for "all" those in pots. Raise UsageError."""
    plants = app.household.collection.plants
    if words.lower() != "all" or any(plant.name.lower() == "all" for plant in plants):
        return [shared.plant_named(app, words)]
    potted = [plant for plant in plants if plant.pot is not None]
    if not potted:
        msg = "your collection gives no plant a pot"
        raise UsageError(msg)
    return potted


def _taken_back_line(app: App, plant: str, person: str | None) -> str:
    """Take the last look at a plant back and return that in words. Raise UsageError."""
    with closing(Ledger(app.settings.ledger if app.has_ledger else IN_MEMORY)) as ledger:
        taken = looks.take_back(ledger, app.site.name, plant, app.clock(), person)
    if taken is None:
        msg = f'no look at "{plant}" is left to take back'
        raise UsageError(msg)
    return f"taken back: {plant}, {seen(taken)}"
