"""`sillward note`: write into the diaries of plants what you see; list, correct and delete it."""

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
@click.argument("words", nargs=-1, metavar="[PLANT]... [TEXT]", shell_complete=completion.plants)
@click.option(
    "--kind",
    metavar="KIND",
    shell_complete=completion.note_kinds,
    help="damage, root, growth, spike, flower, faded, repotted, moved; may begin the TEXT.",
)
@click.option("--what", metavar="WORDS", help='What damage it is ("spots"), or the new medium.')
@click.option(
    "--amount",
    "--count",
    "amount",
    metavar="N",
    help="How many; for damage also a few, some, most.",
)
@click.option("--on", "day", metavar="DAY", help="When it was seen: a date, yesterday, fri.")
@click.option("--list", "lists", is_flag=True, help="List the notes on PLANT, or all notes.")
@click.option("--all", "whole", is_flag=True, help="With --list: all of them, not only the latest.")
@click.option(
    "--correct", type=int, metavar="N", help="Change entry N to TEXT, or as the options say."
)
@click.option("--delete", type=int, metavar="N", help="Delete entry N.")
@click.option("--undo", is_flag=True, help="Delete the last note, for all of its plants.")
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
    undo: bool,
    person: str | None,
) -> None:
    """Note what you see in the diary of a PLANT: a TEXT, and what kind of thing it is.

    The kind may come before the text, with a number: spike, flower 3, damage some spots. Flowers
    are those that opened since the last note; faded ends a blooming. Separate several plants with
    commas: the note applies to each of them.

    Example: sillward note blue basket "a new root at the crown"
    """
    if lists + undo + (correct is not None) + (delete is not None) > 1:
        msg = "choose one of --list, --correct, --delete and --undo"
        raise UsageError(msg)
    app = shared.build(options)
    by, now = answering.person_named(app, person), app.clock()
    is_move = not lists and (kind or "").strip().lower() in diary.MOVED
    told = _Told(
        None if kind is None or is_move else diary.kind_named(kind, to_look_for=lists),
        what,
        amount,
        None if day is None else diary.seen_on(day, app.site, now),
    )
    writes = not lists
    with closing(app.open_ledger() if writes or app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        if lists:
            entries = _listed(app, ledger, words, told, whole=whole)
        elif undo or delete is not None:
            entries = _deleted(app, ledger, delete, words, by)
        elif correct is not None:
            entries = [_corrected(app, ledger, correct, " ".join(words), told, by)]
        else:
            entries = _noted(app, ledger, words, told, by, is_move=is_move)
    document = report.document(entries, app.site, now)
    if as_json:
        print_json(document)
    elif lists:
        click.echo(report.text(document, app.household.voice, terminal.screen()))
    else:
        deletes = undo or delete is not None
        said = "deleted" if deletes else "noted" if correct is None else "corrected"
        for entry in document["entries"]:
            say(f"{said}: {report.line(entry, app.household.voice)}")
        for line in () if deletes else _leads_on(entries[0], now):
            say(f"  {line}")


def _noted(
    app: App,
    ledger: Ledger,
    words: Sequence[str],
    told: _Told,
    by: str | None,
    *,
    is_move: bool,
) -> list[DiaryEntry]:
    """Write what was typed into diaries, and return it with its numbers. Raise UsageError."""
    names = plant_names.names_with_past(app, ledger)
    plants, rest = note_words.plants_and_rest(names, words)
    read = note_words.Read(told.kind, told.what, told.amount, rest)
    if told.kind is None and not is_move:
        read = note_words.led_by_kind(read)
    now, kind = app.clock(), read.kind or EntryKind.OBSERVATION
    entry = DiaryEntry("", told.seen_at or now, now, kind, read.text, by, None, *read[1:3])
    if read.kind is None:
        spot = _spot_moved_to(app, plants, rest, is_past=told.seen_at is not None, is_move=is_move)
        if spot is not None:
            entry = replace(entry, kind=EntryKind.MOVE, text=spot)
        elif rest.lower() in ("photo", "photos"):
            raise UsageError(diary.PHOTO)
    entry = diary.checked(entry)
    entries = [replace(entry, plant=plant) for plant in plants]
    return diary.note(ledger, app.household.collection, entries, now)


def _spot_moved_to(
    app: App, plants: Sequence[str], text: str, *, is_past: bool, is_move: bool
) -> str | None:
    """Return the spot of "moved to the pergola"; None for another note. Raise UsageError for a
    move of now, which is more than a note, and for one that does not say where to.

    is_move: whether it is one by its kind, so that the text is the spot alone.
    """
    first, _, rest = text.partition(" ")
    if first.lower() in diary.MOVED:
        text = rest.strip()
    elif not is_move:
        return None
    where = text.removeprefix("to ").removeprefix("the ")
    try:
        spot = shared.spot_named(app, where) if where else None
    except UsageError:
        if is_move:
            raise
        return None  # "moved a little to the left" is a text
    if spot is not None and not is_move and not _is_clear(where, spot):
        return None
    if spot is not None and is_past:
        return spot
    plant = one_line(plants[0], 60)
    msg = (
        f"say where it stands now: sillward move {plant} {spot or 'SPOT'}; of a past day:"
        f" sillward note {plant} moved {spot or 'SPOT'} --on DAY"
    )
    raise UsageError(msg)


def _is_clear(words: str, spot: str) -> bool:
    """Whether a text is of words of a spot's name: not "in" for the winter garden."""
    return set(words.lower().split()) <= set(spot.lower().split())


def _leads_on(entry: DiaryEntry, now: datetime) -> Iterator[str]:
    """Yield what to type next where a note alone changes less than may be meant."""
    plant = one_line(entry.plant, 60)
    first = entry.text.partition(" ")[0].lower()
    if entry.kind is EntryKind.DAMAGE and now - entry.seen_at < LATELY:
        yield f"what may have done it: sillward damage {plant}"
    elif entry.kind is EntryKind.MOVE:
        yield f"if it still stands there: sillward move {plant} {one_line(entry.text, 60)}"
    elif entry.kind is EntryKind.OBSERVATION and first in diary.MOVED:
        yield f"if it stands at another spot now: sillward move {plant} SPOT"
    elif entry.kind is EntryKind.OBSERVATION and first in ("photo", "photos"):
        yield diary.PHOTO


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
    elif found.kind is EntryKind.MOVE and not diary.is_late_move(found):
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
    if found.kind is EntryKind.MOVE:
        msg = f"entry {number} is a move: delete it, and note it as it was"
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


def _deleted(
    app: App, ledger: Ledger, number: int | None, words: Sequence[str], by: str | None
) -> list[DiaryEntry]:
    """Delete an entry, or for None those that were noted last; return them. Raise UsageError."""
    if words:
        how = "--undo" if number is None else f"--delete {number}"
        what = "what was noted last" if number is None else "that entry"
        msg = f"{how} deletes {what}; leave the rest out"
        raise UsageError(msg)
    if number is None:
        found = diary.noted_last(ledger, app.site.name)
    else:
        found = [_entry(app, ledger, number)]
    if not found:
        msg = "nothing is noted so far"
        raise UsageError(msg)
    for entry in found:
        if entry.photo is not None:
            plant = one_line(entry.plant, 60)
            msg = f"entry {entry.id} has a photo: delete it on the page of {plant}"
            raise UsageError(msg)
    diary.delete_together(ledger, app.site, found, app.clock(), by)
    return found
