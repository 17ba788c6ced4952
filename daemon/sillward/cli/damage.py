"""`sillward damage`: what a plant went through before damage, and the limits that follow."""

import sys
from contextlib import closing
from datetime import datetime
from functools import partial

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.inquest_desk import Desk
from sillward.cli.printing import print_json, say
from sillward.cli.progress import Progress
from sillward.cli.unharmed import answer_unharmed
from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.replay import limit_trial
from sillward.reports import damage as report
from sillward.reports import damage_document
from sillward.reports import replay_comparison as comparison
from sillward.service import accepted_limits, diary
from sillward.service import damage as answers
from sillward.setup import prompts
from sillward.setup.dialogue import Conversation, Dialogue, Question, ask
from sillward.text import terminal
from sillward_rules.plants.plant import Plant


@click.command()
@click.argument("plant", nargs=-1, shell_complete=completion.several_plants)
@click.option("--what", metavar="WORDS", help='Note damage: how it looks ("soft spots").')
@click.option("--amount", metavar="N", help="How much: a few, some, most, or a count.")
@click.option("--on", "day", metavar="DAY", help="When it was seen: a date, yesterday, fri.")
@click.option(
    "--none", "unharmed", is_flag=True, help="There is no damage on one PLANT or several."
)
@click.option(
    "--undo", is_flag=True, help="With --none: take that answer back; you are asked again."
)
@click.option("--accept", is_flag=True, help="Use the proposed limits from now on.")
@click.option("--take-back", is_flag=True, help="Stop using limits that you have accepted.")
@click.option("--replay", is_flag=True, help="Show what the proposal would have cost last year.")
@answering.by_person
@shared.options(recorded=False)
def damage(
    options: Options,
    as_json: bool,
    plant: tuple[str, ...],
    what: str | None,
    amount: str | None,
    day: str | None,
    unharmed: bool,
    undo: bool,
    accept: bool,
    take_back: bool,
    replay: bool,
    person: str | None,
) -> None:
    """Show what a PLANT went through in the three weeks before it was damaged.

    With --what or --amount the damage is noted in its diary; without them the latest note of damage
    counts, and if there is none you are asked on a terminal. Nights are ranked by harm; then comes
    what was learned about its limits, and what is proposed. Nothing changes until you --accept.

    With --none you may name several plants; without any, it means all that you are asked about.

    Example: sillward damage blue basket --what "soft spots" --on yesterday
    """
    notes = what is not None or amount is not None
    if unharmed + accept + take_back + replay + notes > 1:
        msg = "choose one of --what with --amount, --none, --accept, --take-back and --replay"
        raise UsageError(msg)
    if day is not None and not notes:
        msg = "--on goes with --what or --amount: it says when the damage was seen"
        raise UsageError(msg)
    if undo and not unharmed:
        msg = "--undo goes with --none; --take-back is for limits that you have accepted"
        raise UsageError(msg)
    app = shared.build(options)
    by, now = answering.person_named(app, person), app.clock()
    if unharmed:
        answer_unharmed(app, " ".join(plant), by, undo=undo, as_json=as_json)
        return
    if not plant:
        msg = "say which plant, for example: sillward damage blue basket"
        raise UsageError(msg)
    chosen = shared.plant_named(app, " ".join(plant))
    writes = accept or take_back or notes
    # Looking into noted damage also learns from it, so this writes in any case.
    opened = app.settings.ledger if writes or app.has_ledger else IN_MEMORY
    with closing(Ledger(opened)) as ledger:
        desk = Desk.of(app, ledger, chosen, now)
        if take_back:
            _take_back(app, ledger, chosen, now, by)
        elif accept:
            _accept(app, desk, by)
        elif replay:
            _replay(app, desk, as_json=as_json)
        else:
            entry = (
                _noted(app, desk, what, amount, day, by)
                if notes
                else _known_or_asked(app, desk, by, as_json=as_json)
            )
            _tell(app, desk, entry, as_json=as_json)


# -- damage is noted


def _noted(
    app: App, desk: Desk, what: str | None, amount: str | None, day: str | None, by: str | None
) -> DiaryEntry:
    """Write damage into the diary. Raise UsageError."""
    seen = desk.now if day is None else diary.seen_on(day, app.site, desk.now)
    entry = diary.checked(
        DiaryEntry(desk.plant.name, seen, desk.now, EntryKind.DAMAGE, "", by, None, what, amount)
    )
    return diary.note(desk.ledger, desk.collection, [entry], desk.now)[0]


def _known_or_asked(app: App, desk: Desk, by: str | None, *, as_json: bool) -> DiaryEntry | None:
    """Return the damage that was noted last; on a terminal ask for it if there is none."""
    entry = answers.last_damage(desk.ledger, app.site.name, desk.plant.name, desk.now)
    if entry is not None or as_json or not app.has_ledger or not _is_asked():
        return entry
    seen = prompts.hold(Conversation(partial(_ask_what_is_seen, app, desk.now)))
    return None if seen is None else _noted(app, desk, *seen, by)


def _ask_what_is_seen(app: App, now: datetime) -> Dialogue[tuple[str, str | None, str] | None]:
    """Ask what is seen, how much of it, and since when; None for nothing."""
    text = 'What do you see, such as "soft spots"?'
    what = yield from ask(Question(text, str, enter="nothing"))
    if not what:
        return None
    text = "How much: a few, some, most"
    amount = yield from ask(Question(text, _amount, enter="not said"))
    text = "When did you see it"
    day = yield from ask(Question(text, partial(_day, app, now), "today"))
    return what, amount or None, day


def _is_asked() -> bool:
    """Whether somebody is there to ask."""
    return sys.stdin.isatty()


def _amount(typed: str) -> str:
    """Return an amount that can be noted, or nothing. Raise ValueError."""
    try:
        return diary.amount_named(typed) if typed else ""
    except UsageError as error:
        raise ValueError(str(error)) from None


def _day(app: App, now: datetime, typed: str) -> str:
    """Return a day that can be noted. Raise ValueError."""
    try:
        diary.seen_on(typed, app.site, now)
    except UsageError as error:
        raise ValueError(str(error)) from None
    return typed


def _tell(app: App, desk: Desk, entry: DiaryEntry | None, *, as_json: bool) -> None:
    inquest = desk.inquest(entry)
    news = desk.news()
    year = desk.year(news)
    if as_json:
        print_json(damage_document.document(inquest, entry, news, year))
    else:
        click.echo(report.text(inquest, entry, news, year, app.household.voice, terminal.screen()))


# -- answers


def _accept(app: App, desk: Desk, by: str | None) -> None:
    """Let the limits that are proposed count. Raise UsageError if there are none."""
    news = desk.news()
    if news is None or not news.changes:
        msg = f"{desk.plant.name}: nothing is proposed"
        raise UsageError(msg)
    name, voice = desk.plant.name, app.household.voice
    accepted_limits.accept(
        desk.ledger, app.site.name, name, news.changes, desk.now, by, news.because
    )
    for change in news.changes:
        was, value = voice.bound(change.was), voice.bound(change.value)
        say(f"accepted: {name}, {change.name} is {value} (was {was})")
    say(
        "It counts wherever sillward decides. Your file stays as it is; change the limit there, and"
        " the file counts."
    )


def _replay(app: App, desk: Desk, *, as_json: bool) -> None:
    """Replay the last year with the limits that are proposed. Raise UsageError without any."""
    news = desk.news()
    if news is None or not news.changes:
        msg = f"{desk.plant.name}: nothing is proposed, so there is nothing to replay"
        raise UsageError(msg)
    progress = Progress("nights replayed", 2 * limit_trial.NIGHTS)
    before, after = limit_trial.limit_trial(
        desk.ledger,
        app.household,
        desk.collection,
        desk.plant,
        news.changes,
        desk.now,
        lambda _: progress.one_more(),
    )
    changes = [f"{change.name} {change.was:g} -> {change.value:g} °C" for change in news.changes]
    voice, caution = app.household.voice, desk.collection.habits.caution
    if as_json:
        print_json(comparison.document(before, after, changes, app.site, (), caution))
        return
    told = [voice.retold(change) for change in changes]
    click.echo(
        comparison.text(
            before, after, told, voice, (), terminal.screen(), judged_alike=True, caution=caution
        )
    )


def _take_back(app: App, ledger: Ledger, plant: Plant, now: datetime, by: str | None) -> None:
    """Let the limits of the collection count again. Raise UsageError if nothing was accepted."""
    if not accepted_limits.take_back(ledger, app.site.name, plant.name, now, by):
        msg = f"{plant.name}: no limit was accepted"
        raise UsageError(msg)
    say(f"taken back: {plant.name} has the limits of your collection again")
