"""`sillward note`: write into the diary of a plant what you see; list, correct and delete it."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from typing import NamedTuple

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, note_words, plant_names, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.reports import diary as report
from sillward.service import diary
from sillward.text import terminal

LATELY = timedelta(days=30)
"""For damage that was seen longer ago nobody is led to the nights before it. Judgement: little is
known of them any more, and old records are entered one after another."""


class _Told(NamedTuple):
    """What the options say; None for those that are not given."""

    kind: EntryKind | None
    what: str | None
    amount: str | None
    seen_at: datetime | None


@click.command()
@click.argument("words", nargs=-1, metavar="[PLANT] [TEXT]", shell_complete=completion.plants)
@click.option(
    "--kind",
    metavar="KIND",
    shell_complete=completion.note_kinds,
    help="damage, root, growth, spike, flower, faded or repotted; may also stand before the TEXT.",
)
@click.option("--what", metavar="WORDS", help='What damage it is ("spots"), or the new medium.')
@click.option(
    "--amount", "--count", "amount", metavar="N", help="How many; of damage also a few, some, most."
)
@click.option("--on", "day", metavar="DAY", help="When it was seen: a date, yesterday, fri.")
@click.option("--list", "lists", is_flag=True, help="What is noted, of PLANT or of all.")
@click.option("--all", "whole", is_flag=True, help="With --list: all of it, not the last alone.")
@click.option("--correct", type=int, metavar="N", help="Entry N is TEXT, or as the options say.")
@click.option("--delete", type=int, metavar="N", help="Delete entry N.")
@answering.by_person
@shared.options(recorded=False)
def note(
    options: Options,
    as_json: bool,
    words: tuple[str, ...],
    kind: str | None,
    what: str | None,
    amount: str | None,
    day: str | None,
    lists: bool,
    whole: bool,
    correct: int | None,
    delete: int | None,
    person: str | None,
) -> None:
    """Note in the diary of a PLANT what you see: a TEXT, and what kind of thing it is.

    The kind may stand before the text, with how many: spike, flower 3, damage some spots. Flowers
    are those that opened since the last note; faded is the end of a blooming.

    Example: sillward note blue basket "a new root at the crown"
    """
    if lists + (correct is not None) + (delete is not None) > 1:
        msg = "choose one of --list, --correct and --delete"
        raise UsageError(msg)
    app = shared.build(options)
    by, now = answering.person_named(app, person), app.clock()
    told = _Told(
        None if kind is None else diary.kind_named(kind, to_look_for=lists),
        what,
        amount,
        None if day is None else diary.seen_on(day, app.site, now),
    )
    writes = not lists
    with closing(Ledger(app.settings.ledger if writes or app.has_ledger else IN_MEMORY)) as ledger:
        if lists:
            entries = _listed(app, ledger, words, told, whole=whole)
        elif delete is not None:
            _delete(app, ledger, delete, words, by)
            return
        elif correct is not None:
            entries = [_corrected(app, ledger, correct, " ".join(words), told, by)]
        else:
            entries = [_noted(app, ledger, words, told, by)]
    document = report.document(entries, app.site, now)
    if as_json:
        print_json(document)
    elif lists:
        click.echo(report.text(document, app.household.voice, terminal.screen()))
    else:
        said = "noted" if correct is None else "corrected"
        say(f"{said}: {report.line(document['entries'][0], app.household.voice)}")
        if entries[0].kind is EntryKind.DAMAGE and now - entries[0].seen_at < LATELY:
            plant = one_line(entries[0].plant, 60)
            say(f"  what may have done it: sillward damage {plant}")


def _noted(
    app: App, ledger: Ledger, words: Sequence[str], told: _Told, by: str | None
) -> DiaryEntry:
    """Write what was typed into a diary, and return it with its number. Raise UsageError."""
    names = plant_names.names_with_past(app, ledger)
    plant, rest = note_words.plant_and_rest(names, words)
    read = note_words.Read(told.kind, told.what, told.amount, rest)
    if told.kind is None:
        read = note_words.led_by_kind(read)
    now, kind = app.clock(), read.kind or EntryKind.OBSERVATION
    entry = DiaryEntry(
        plant, told.seen_at or now, now, kind, read.text, by, None, read.what, read.amount
    )
    entry = diary.checked(entry)
    return diary.note(ledger, app.household.collection, [entry], now)[0]


# -- listed, corrected, deleted


def _listed(
    app: App, ledger: Ledger, words: Sequence[str], told: _Told, *, whole: bool
) -> list[DiaryEntry]:
    """Return what is noted, of a plant or of all, of a kind or of all, the last one first."""
    most = -1 if whole else report.MOST
    site = app.site.name
    if words:
        names = plant_names.names_with_past(app, ledger)
        plant = plant_names.one_name(names, " ".join(words))
        return ledger.diary.of_plant(site, plant, most, kind=told.kind)
    return ledger.diary.last_entered(site, most, told.kind)


def _entry(app: App, ledger: Ledger, number: int) -> DiaryEntry:
    """Return an entry that can be amended. Raise UsageError."""
    found = ledger.diary.entry(app.site.name, number) if 0 < number < 2**63 else None
    if found is None:
        msg = f"there is no entry {number}; `sillward note --list` has them"
    elif found.kind is EntryKind.MOVE:
        msg = f"entry {number} is a move; `sillward move --undo {found.plant}` takes the last back"
    else:
        return found
    raise UsageError(msg)


def _corrected(
    app: App, ledger: Ledger, number: int, text: str, told: _Told, by: str | None
) -> DiaryEntry:
    """Write an entry anew, as far as something else is said of it. Raise UsageError."""
    found, now = _entry(app, ledger, number), app.clock()
    if not text and not any(value is not None for value in told):
        msg = f"say what entry {number} is instead: a text, --kind, --what, --amount or --on"
        raise UsageError(msg)
    if found.kind not in diary.CAN_BE_NOTED and (told.kind or told.what or told.amount):
        msg = f"entry {number} is a {found.kind.value}: only its text and day can be corrected"
        raise UsageError(msg)
    kind = told.kind or found.kind
    kept = found if kind is found.kind else replace(found, what=None, amount=None)
    after = replace(
        kept,
        kind=kind,
        text=text or found.text,
        what=kept.what if told.what is None else told.what,
        amount=kept.amount if told.amount is None else told.amount,
        seen_at=told.seen_at or found.seen_at,
    )
    after = diary.checked(after)
    diary.correct(ledger, app.household.collection, after, now, by)
    return after


def _delete(app: App, ledger: Ledger, number: int, words: Sequence[str], by: str | None) -> None:
    """Delete an entry, and say so. Raise UsageError."""
    found = _entry(app, ledger, number)
    if words:
        msg = f"--delete {number} deletes that entry; leave the rest out"
        raise UsageError(msg)
    if found.photo is not None:
        msg = f"entry {number} has a photo: delete it on the page of {one_line(found.plant, 60)}"
        raise UsageError(msg)
    diary.delete(ledger, app.site.name, found, app.clock(), by)
    for line in _deleted_lines(found):
        say(line)


def _deleted_lines(found: DiaryEntry) -> Iterator[str]:
    yield f"deleted: entry {found.id}, {one_line(found.plant, 60)}"
    if found.text:
        yield f"  {one_line(found.text, 200)}"
