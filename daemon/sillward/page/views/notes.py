"""The diary of a plant is written: notes and photos are added, corrected and deleted."""

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import IO

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.errors import NotOursError, PhotoError, UsageError
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.page import plant_facts
from sillward.page.keys import key_of
from sillward.page.photos import process
from sillward.page.route import MAX_FORM_BYTES, Route
from sillward.page.views.plants import name_of, plant_page
from sillward.page.visit import Visit
from sillward.reports.plant_words import standing
from sillward.service import diary
from sillward.service.damage import learn_from_diary
from sillward.service.defects import contained

_WITH_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
"""How what a browser sends of a date and time begins."""


def note(visit: Visit, key: str) -> Response:
    """Take a note, a photo, or both. What cannot be taken comes back in its form, with the reason.

    The photo is prepared before the ledger is opened for it, so that nobody has to wait.
    """
    typed = {name: visit.request.form.get(name, "") for name in (*_FIELDS, "others")}
    typed["text"] = diary.clean_text(typed["text"])
    upload = visit.request.files.get("photo")
    has_photo = upload is not None and bool(upload.filename)
    name = name_of(visit, key)
    try:
        entry = _entry_of(visit, name, typed, has_photo=has_photo)
        visit.close()
        if upload is not None and has_photo:
            entry = replace(entry, photo=_kept(visit, upload.stream))
    except (PhotoError, UsageError) as error:
        return plant_page(visit, key, status=422, problem=str(error), **typed)
    entries = [entry]
    if typed["others"] and (entry.text or entry.kind in diary.CAN_BE_NOTED):
        kind = EntryKind.OBSERVATION if entry.kind is EntryKind.PHOTO else entry.kind
        alike = replace(entry, kind=kind, photo=None)
        entries += [replace(alike, plant=other) for other in _beside(visit, name)]
    try:
        collection = visit.context.household.collection
        diary.note(visit.context.ledger, collection, entries, visit.now)
    except BaseException:
        if entry.photo is not None:
            visit.desk.photos.remove(entry.photo)
        raise
    if entry.kind is EntryKind.DAMAGE:
        _learn(visit)
    said = "all" if len(entries) > 1 else "noted" if entry.photo is None else "photo"
    return visit.redirect("plant", key=key, said=said)


def _learn(visit: Visit) -> None:
    """Look into damage that was just noted, so that the page can say at once what follows. The note
    stays if that fails; the daemon looks again the next day."""
    context = visit.context
    sources = [source.name for source in context.forecasts.sources]
    with contained("damage.failed_to_learn"):
        learn_from_diary(
            context.ledger, context.taught_collection, sources, context.states(), visit.now
        )


_FIELDS = ("text", "kind", "what", "amount", "seen")
"""What a form says of an entry."""


def _entry_of(visit: Visit, plant: str, typed: Mapping[str, str], *, has_photo: bool) -> DiaryEntry:
    """Return the entry that was typed, without its photo. Raise UsageError."""
    now = visit.now
    told = typed["kind"].strip()
    kind = diary.kind_named(told) if told else EntryKind.OBSERVATION
    if kind is EntryKind.OBSERVATION and has_photo:
        kind = EntryKind.PHOTO
    entry = DiaryEntry(
        plant,
        _seen_at(typed["seen"], now, visit),
        now,
        kind,
        typed["text"],
        visit.person,
        None,
        typed["what"],
        typed["amount"],
    )
    return diary.checked(entry)


def _kept(visit: Visit, upload: IO[bytes]) -> str:
    """Prepare and keep a photo; return its name. Raise PhotoError."""
    if not visit.desk.photos.is_offered:
        msg = "no photos can be taken here"
        raise PhotoError(msg)
    visit.desk.photos.require_room()
    return visit.desk.photos.keep(process.prepare(upload))


def _beside(visit: Visit, name: str) -> list[str]:
    """Return the other plants that stand where a plant stands."""
    now, voice, states = visit.now, visit.voice, visit.context.states()
    spots = {
        plant.name: standing(plant, states.get(plant.name), now, voice).spot
        for plant in visit.context.household.collection.plants
    }
    return [other for other, spot in spots.items() if other != name and spot == spots.get(name)]


def _seen_at(typed: str, now: datetime, visit: Visit) -> datetime:
    """Return when it was seen; now if nothing was typed. Raise UsageError."""
    if not typed.strip():
        return now
    if not _WITH_DAY.match(typed.strip()):
        msg = "that is not a date and time; write for example 2026-05-14 06:40, or leave it empty"
        raise UsageError(msg)
    return diary.seen_on(typed, visit.context.site, now)


# -- corrected, and deleted


def entry(visit: Visit, number: int) -> Response:
    """Show an entry in a form to correct it."""
    found = _found(visit, number)
    typed = {
        "text": found.text,
        "kind": found.kind.value,
        "what": found.what or "",
        "amount": found.amount or "",
        "seen": _shown_time(visit, found),
        "problem": "",
    }
    return _entry_page(visit, found, typed)


def correct(visit: Visit, number: int) -> Response:
    """Give an entry another text, kind and time."""
    found = _found(visit, number)
    typed = {name: visit.request.form.get(name, "") for name in _FIELDS}
    typed["text"] = diary.clean_text(typed["text"])
    try:
        if found.kind in diary.CAN_BE_NOTED:
            after = _entry_of(visit, found.plant, typed, has_photo=found.photo is not None)
            after = replace(
                found,
                kind=after.kind,
                text=after.text,
                what=after.what,
                amount=after.amount,
                seen_at=after.seen_at,
            )
        else:
            seen_at = _seen_at(typed["seen"], visit.now, visit)
            after = diary.checked(replace(found, text=typed["text"], seen_at=seen_at))
    except UsageError as error:
        return _entry_page(visit, found, typed | {"problem": str(error)}, status=422)
    if typed["seen"] == _shown_time(visit, found):  # to the minute; it stays as it was
        after = replace(after, seen_at=found.seen_at)
    context = visit.context
    collection = context.household.collection
    diary.correct(context.ledger, collection, after, visit.now, visit.person)
    return visit.redirect("plant", key=key_of(found.plant), said="corrected")


def _shown_time(visit: Visit, found: DiaryEntry) -> str:
    return visit.voice.local(found.seen_at).strftime("%Y-%m-%dT%H:%M")


def _entry_page(
    visit: Visit, found: DiaryEntry, typed: dict[str, str], status: int = 200
) -> Response:
    return visit.page(
        "note.html",
        status=status,
        note=_in_words(visit, found),
        plant=found.plant,
        key=key_of(found.plant),
        typed=typed,
        can_be_noted=found.kind in diary.CAN_BE_NOTED,
        choices=plant_facts.NOTE_CHOICES,
        most=diary.MAX_TEXT,
        newest=visit.voice.local(visit.now).strftime("%Y-%m-%dT%H:%M"),
    )


def question(visit: Visit, number: int) -> Response:
    """Ask whether an entry is to be deleted."""
    found = _found(visit, number)
    note = _in_words(visit, found)
    return visit.page("note_delete.html", note=note, plant=found.plant, key=key_of(found.plant))


def delete(visit: Visit, number: int) -> Response:
    """Delete an entry with its photo: both, or neither if the file cannot be deleted."""
    context = visit.context
    found = context.ledger.diary.entry(context.site.name, number)
    if found is None:  # pressed twice
        return visit.redirect("plants")
    try:
        with context.ledger.database.transaction():
            diary.delete(context.ledger, context.site, found, visit.now, visit.person)
            if found.photo is not None:
                visit.desk.photos.remove(found.photo)
    except (OSError, NotOursError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not ours"
        msg = f"the photo cannot be deleted: {reason}; the entry stays"
        raise PhotoError(msg) from None
    return visit.redirect("plant", key=key_of(found.plant), said="deleted")


def _found(visit: Visit, number: int) -> DiaryEntry:
    """Return an entry that somebody wrote; what the page wrote of a move stays as it is."""
    found = visit.context.ledger.diary.entry(visit.context.site.name, number)
    if found is None or found.kind is EntryKind.MOVE:
        raise NotFound
    return found


def _in_words(visit: Visit, found: DiaryEntry) -> plant_facts.Note:
    return plant_facts.notes([found], visit.desk.photos, visit.now, visit.voice)[0]


_NUMBER = "<int(max=9007199254740991):number>"

ROUTES = (
    Route(
        "/plants/<key>/notes",
        "note",
        note,
        "POST",
        max_bytes=process.MAX_UPLOAD_BYTES + MAX_FORM_BYTES,
    ),
    Route(f"/notes/{_NUMBER}", "entry", entry),
    Route(f"/notes/{_NUMBER}", "correct_entry", correct, "POST"),
    Route(f"/notes/{_NUMBER}/delete", "delete_question", question),
    Route(f"/notes/{_NUMBER}/delete", "delete_entry", delete, "POST"),
)
