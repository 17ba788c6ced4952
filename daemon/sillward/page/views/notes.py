"""The diary of a plant is written: notes and photos are added, corrected and deleted."""

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
from sillward.page.visit import MAX_TEXT, Visit
from sillward.text.printable import blanked
from sillward_rules.readings.quality import CLOCK_AHEAD

OLDEST_YEAR = 1971
"""Before this nothing was seen: times of SQLite and of clocks that are not set lie there."""


def note(visit: Visit, key: str) -> Response:
    """Take a note, a photo, or both. What cannot be taken comes back in its form, with the reason.

    The photo is prepared before the ledger is opened for it, so that nobody has to wait.
    """
    form = visit.request.form
    typed = {"seen": form.get("seen", ""), "others": form.get("others", "")}
    typed["text"] = _text(form.get("text", ""))
    upload = visit.request.files.get("photo")
    has_photo = upload is not None and bool(upload.filename)
    name = name_of(visit, key)
    try:
        seen_at = _seen_at(typed["seen"], visit.now, visit)
        _check_text(typed["text"], may_be_empty=has_photo)
        visit.close()
        photo = None
        if upload is not None and has_photo:
            photo = _kept(visit, upload.stream)
    except (PhotoError, UsageError) as error:
        return plant_page(visit, key, status=422, problem=str(error), **typed)
    kind = EntryKind.OBSERVATION if photo is None else EntryKind.PHOTO
    now, person = visit.now, visit.person
    entries = [DiaryEntry(name, seen_at, now, kind, typed["text"], person, photo)]
    if typed["others"] and typed["text"]:
        entries += [
            DiaryEntry(other, seen_at, now, EntryKind.OBSERVATION, typed["text"], person)
            for other in _beside(visit, name)
        ]
    try:
        visit.context.ledger.diary.add(visit.context.site.name, entries)
    except BaseException:
        if photo is not None:
            visit.desk.photos.remove(photo)
        raise
    said = "all" if len(entries) > 1 else "noted" if photo is None else "photo"
    return visit.redirect("plant", key=key, said=said)


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
        plant.name: plant_facts.standing(plant, states.get(plant.name), now, voice).spot
        for plant in visit.context.household.collection.plants
    }
    return [other for other, spot in spots.items() if other != name and spot == spots.get(name)]


def _text(typed: str) -> str:
    """Return what was typed with its lines, and without characters that cannot be seen."""
    return "\n".join(blanked(line).rstrip() for line in typed.splitlines()).strip()


def _check_text(text: str, *, may_be_empty: bool) -> None:
    if len(text) > MAX_TEXT:
        msg = f"the note is longer than {MAX_TEXT:,} characters; shorten it, or write two"
        raise UsageError(msg)
    if not text and not may_be_empty:
        msg = "write what you see, or add a photo"
        raise UsageError(msg)


def _seen_at(typed: str, now: datetime, visit: Visit) -> datetime:
    """Return when it was seen; now if nothing was typed. Raise UsageError."""
    if not typed.strip():
        return now
    try:
        at = datetime.fromisoformat(typed.strip())
    except ValueError:
        msg = "that is no date and time; write for example 2026-05-14 06:40, or leave it empty"
        raise UsageError(msg) from None
    if at.year < OLDEST_YEAR:
        msg = f"that is before {OLDEST_YEAR}"
        raise UsageError(msg)
    if at.year > now.year + 1:
        msg = "that is in the future"
        raise UsageError(msg)
    at = at.replace(tzinfo=visit.context.site.zone) if at.tzinfo is None else at
    if at > now + CLOCK_AHEAD:
        msg = "that is in the future"
        raise UsageError(msg)
    return min(at, now)


# -- corrected, and deleted


def entry(visit: Visit, number: int) -> Response:
    """Show an entry in a form to correct it."""
    found = _found(visit, number)
    seen = visit.voice.local(found.seen_at).strftime("%Y-%m-%dT%H:%M")
    return _entry_page(visit, found, {"text": found.text, "seen": seen, "problem": ""})


def correct(visit: Visit, number: int) -> Response:
    """Give an entry another text and time."""
    found = _found(visit, number)
    text, seen = _text(visit.request.form.get("text", "")), visit.request.form.get("seen", "")
    try:
        _check_text(text, may_be_empty=found.photo is not None)
        unchanged = seen == visit.voice.local(found.seen_at).strftime("%Y-%m-%dT%H:%M")
        seen_at = found.seen_at if unchanged else _seen_at(seen, visit.now, visit)
    except UsageError as error:
        typed = {"text": text, "seen": seen, "problem": str(error)}
        return _entry_page(visit, found, typed, status=422)
    corrected = replace(found, seen_at=seen_at, text=text)
    visit.context.ledger.diary.correct(visit.context.site.name, corrected)
    return visit.redirect("plant", key=key_of(found.plant), said="corrected")


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
        most=MAX_TEXT,
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
            context.ledger.diary.remove(context.site.name, number)
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
