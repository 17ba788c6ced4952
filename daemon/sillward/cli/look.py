"""`sillward look`: say in a word what you saw of plants, for example how wet their pots are."""

from collections.abc import Sequence
from contextlib import closing

import click

from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.readings.lessons import Lessons
from sillward.reports import diary as report
from sillward.reports import pot_water
from sillward.service import diary, looks
from sillward.service.chore_selection import ALL
from sillward.service.diary_effects import POT
from sillward.service.water_after_look import told_after_look
from sillward.wording.diary_words import seen
from sillward_rules.chore import Chore
from sillward_rules.plants.plant import Plant

_HOW = "say which plants, and what you saw, for example: sillward look blue basket dry"
_ALL_BUT = f"{ALL} but "


@click.command()
@click.argument("words", nargs=-1, metavar="PLANT... WORD", shell_complete=completion.looked_at)
@click.option("--on", "day", metavar="DAY", help="When it was seen: a time, a date, yesterday.")
@click.option("--undo", is_flag=True, help="Take back the last look, or the last at each PLANT.")
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
    """Say what you saw of one PLANT or several, in a WORD: dry, moist, wet; better, same, worse.

    The first three say how wet the pot is, the others how the leaves are doing during a course. The
    word goes before the plants or after them.

    Lift the pot or put a finger in; if you have watered without being asked, say wet. "All" means
    all plants with a known pot, or all that are in a course; "all but lime" means all the others.
    The word corrects the estimate of the water in the pot, and of how much the plant drinks. The
    diary keeps it; `sillward course` shows the leaves over time. You are told at once what needs
    water today because of it, by the saved forecast, and `sillward done water` confirms it.

    Example: sillward look blue basket dry
    """
    app = shared.build(options)
    by, now = answering.person_named(app, person), app.clock()
    if undo:
        _take_back(app, " ".join(words), by, as_json=as_json)
        return
    word, names = _word_and_names(" ".join(words).split())
    chosen = _plants(app, names, word)
    seen_at = now if day is None else diary.seen_on(day, app.site, now)
    pots = [one.name for one in chosen if one.pot is not None and looks.WORDS[word] == POT]
    with closing(app.open_ledger()) as ledger:
        collection = app.household.collection
        entries = looks.look_at_each(
            ledger, collection, [one.name for one in chosen], word, seen_at, now, by
        )
        told = _told_after_look(app, ledger, pots) if pots else []
    document = report.document(entries, app.site, now)
    document["water"] = pot_water.water_document(told, app.site)
    if as_json:
        print_json(document)
        return
    for one, noted in zip(chosen, document["entries"], strict=True):
        say(f"noted: {report.line(noted, app.household.voice)}")
        if looks.WORDS[word] == POT and one.pot is None:
            say(f"its water is not worked out: your collection gives {one.name} no pot")
    for line in pot_water.to_water(told, app.household.voice, now):
        say(line)
    if told:
        say("when you have watered: sillward done water")


def _told_after_look(app: App, ledger: Ledger, pots: Sequence[str]) -> Sequence[Chore]:
    """Return the waterings that follow from looks, by the forecast that is saved, and keep them.

    No source is asked: without a forecast there are none.
    """
    store, now = read_only.forecast_updater(app, ledger).store, app.clock()
    if not store.is_usable(app.site):
        return []
    collection = Lessons(ledger, store).applied(app.household.collection, now)
    return told_after_look(ledger, collection, store.weather(app.site), pots, now)


def _word_and_names(words: Sequence[str]) -> tuple[str, str]:
    """Return the word, which stands last or first, and the plants. Raise UsageError."""
    if len(words) < 2:
        raise UsageError(_HOW)
    if words[-1].lower() not in looks.WORDS and words[0].lower() in looks.WORDS:
        return looks.word_named(words[0]), " ".join(words[1:])
    return looks.word_named(words[-1]), " ".join(words[:-1])


def _plants(app: App, names: str, word: str) -> list[Plant]:
    """Return the plants that are named, or for "all" those to which a word applies. UsageError."""
    collection = app.household.collection
    lower = f"{names.lower()} "
    is_all = lower == f"{ALL} " or lower.startswith(_ALL_BUT)
    if not is_all or any(plant.name.lower() == ALL for plant in collection.plants):
        return shared.plants_named(app, names)
    if looks.WORDS[word] == POT:
        found = [plant for plant in collection.plants if plant.pot is not None]
        msg = "your collection gives no plant a pot"
    else:
        wheres = [course.plants for course in collection.courses]
        found = [one for one in collection.plants if any(it.includes(one) for it in wheres)]
        msg = "your collection has no course"
    but = names[len(_ALL_BUT) :]
    left_out = shared.plants_named(app, but) if but else ()
    found = [plant for plant in found if plant not in left_out]
    if not found:
        raise UsageError(msg if not left_out else f'"{names}" leaves no plant')
    return found


def _take_back(app: App, names: str, person: str | None, *, as_json: bool) -> None:
    """Take back the last answer, or the last look at each of these plants. Raise UsageError."""
    site, now = app.site, app.clock()
    with closing(app.open_ledger() if app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        if not names:
            taken = looks.take_last_back(ledger, site, now, person)
        else:
            plants = [plant.name for plant in shared.plants_named(app, names)]
            taken = looks.take_back_each(ledger, site, plants, now, person)
    if as_json:
        print_json(report.document(taken, app.site, now))
        return
    for entry in taken:
        say(f"taken back: {entry.plant}, {seen(entry)}")
