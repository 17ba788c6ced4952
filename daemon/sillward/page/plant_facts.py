"""What the pages of plants show, in words: where each stands, what is to do, what was noted."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.ledger import StoredChore
from sillward.ledger.tables.diary import DiaryEntry
from sillward.page import plans
from sillward.page.cards import LOOKED_BACK
from sillward.page.keys import key_of
from sillward.page.photos.folder import PhotoFolder
from sillward.page.visit import Visit
from sillward.reports.plant_words import standing, unbroken, when
from sillward.reports.plant_year_words import year_rows
from sillward.reports.plant_years import PlantYear
from sillward.service import diary
from sillward.service.plant_nights import coldest_told
from sillward.wording import diary_words, follow_up, reason_phrases
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, ChoreKind

_MOVES = URGENT | {ChoreKind.MOVE, ChoreKind.WATER}
"""Chores that stay to do when their hour is over. What was to be misted, fed or left is over with
it."""

MIN_FILTERED = 5
"""With fewer entries nobody needs to look through a diary by kind. Judgement: they fit a screen."""


@dataclass(frozen=True, slots=True)
class Row:
    """A plant in the list of all."""

    key: str
    name: str
    since: str
    known: bool
    orders: tuple[str, ...]
    notes: int


@dataclass(frozen=True, slots=True)
class SpotRows:
    """The plants at a spot.

    Args:
        are_assumed: whether nobody has confirmed of any of them that it stands there.
    """

    spot: str
    rows: tuple[Row, ...]
    are_assumed: bool


def rows_by_spot(visit: Visit) -> list[SpotRows]:
    """Return all plants by the spot where they stand, spots in the order of the collection."""
    context, now, voice = visit.context, visit.now, visit.voice
    collection, states = context.household.collection, context.states()
    orders = _open_by_plant(chores_now(visit), now, voice)
    notes = context.ledger.diary.counts(context.site.name)
    groups: dict[str, list[Row]] = {spot.name: [] for spot in collection.spots}
    for plant in collection.plants:
        stands = standing(plant, states.get(plant.name), now, voice)
        row = Row(
            key_of(plant.name),
            plant.name,
            stands.since,
            stands.known,
            tuple(orders.get(plant.name, ())),
            notes.get(plant.name, 0),
        )
        groups.setdefault(stands.spot, []).append(row)
    return [
        SpotRows(spot, tuple(rows), are_assumed=not any(row.known for row in rows))
        for spot, rows in groups.items()
        if rows
    ]


def chores_now(visit: Visit) -> list[StoredChore]:
    """Return what was told and still holds."""
    context, now = visit.context, visit.now
    stored = context.ledger.chores.due_since(context.site.name, now - LOOKED_BACK)
    is_blind = not context.has_forecast()
    return plans.still_planned(stored, visit.told_last, context.site, now, is_blind=is_blind)


def open_orders(
    chores: Iterable[StoredChore], plant: str, now: datetime, voice: Voice
) -> list[str]:
    """Return what is to do for a plant, in words."""
    mine = [chore for chore in chores if plant in chore.chore.plants]
    return _open_by_plant(mine, now, voice).get(plant, [])


def _open_by_plant(
    chores: Iterable[StoredChore], now: datetime, voice: Voice
) -> dict[str, list[str]]:
    """Return what is to do for each plant, in words, with the low that it is for."""
    found: dict[str, list[str]] = {}
    for chore in chores:
        is_over = chore.before <= now and chore.kind not in _MOVES
        if not chore.open or is_over:
            continue
        words = _what(chore, now, voice)
        for reason in chore.chore.because:
            if chore.kind is ChoreKind.STAY_IN and reason.plant not in chore.chore.unconfirmed:
                continue  # nothing to do
            told = coldest_told(reason) if chore.kind in URGENT else None
            low = ""
            if told is not None and told.value is not None and told.limit is not None:
                shown, limit = voice.beside(told.value, told.limit), voice.bound(told.limit)
                low = f": {unbroken(shown)} expected, limit {unbroken(limit)}"
                if reason_phrases.is_precaution(told):  # else it would read as a mistake
                    low += reason_phrases.precaution(told, voice)
            found.setdefault(reason.plant, []).append(words + low)
    return found


def _what(chore: StoredChore, now: datetime, voice: Voice) -> str:
    """Return what is to do by when; from when on, for what may go out again later."""
    start = chore.chore.not_before
    if chore.kind is ChoreKind.CARRY_OUT and start is not None and start > now:
        until = chore.before
        is_same_day = voice.local(start).date() == voice.local(until).date()
        end = voice.hour(until) if is_same_day else voice.clock_of_day(until, now)
        return f"May go out again {voice.clock_of_day(start, now)} to {end}"
    return f"{voice.say('kind', name=chore.kind.value)} {_due(chore, now, voice)}"


def _due(chore: StoredChore, now: datetime, voice: Voice) -> str:
    if chore.before > now - follow_up.LATE:
        return voice.by(chore.before, now)
    return f"(overdue since {voice.clock_of_day(chore.before, now)})"


# -- the diary


@dataclass(frozen=True, slots=True)
class NoteChoices:
    """What the form of a note offers: kinds with their names, what damage is called, amounts."""

    kinds: tuple[tuple[str, str], ...]
    whats: tuple[str, ...]
    amounts: tuple[str, ...]


NOTE_CHOICES = NoteChoices(
    tuple((kind.value, capital(name)) for kind, name in diary_words.NAMES.items()),
    diary.DAMAGE_WHATS,
    diary.SHARES,
)
"""As it is for every plant."""


def filters(kinds: Mapping[str, int]) -> list[tuple[str, str]]:
    """Return the kinds of a diary by which it can be looked through, each with its name and count;
    nothing if there is one kind, or little to look through."""
    if len(kinds) < 2 or sum(kinds.values()) < MIN_FILTERED:
        return []
    return [
        (kind.value, f"{capital(name)} ({kinds[kind]})")
        for kind, name in diary_words.HEADS.items()
        if kind in kinds
    ]


@dataclass(frozen=True, slots=True)
class YearTold:
    """A year of a plant.

    Args:
        counts: what is counted, by the heads of the table; empty texts for nothing.
        rows: all that is known, in words.
    """

    year: int
    counts: Mapping[str, str]
    rows: Sequence[tuple[str, str]]


def years_told(years: Iterable[PlantYear], now: datetime, voice: Voice) -> list[YearTold]:
    """Return years in words."""
    return [YearTold(year.year, _counts(year), year_rows(year, now, voice)) for year in years]


def _counts(year: PlantYear) -> dict[str, str]:
    counts = {
        "Flowers": year.flowers,
        "Growth": year.growths,
        "Roots": year.roots,
        "Repotted": len(year.repotted),
        "Damage": len(year.damage),
    }
    return {head: str(count) if count else "" for head, count in counts.items()}


@dataclass(frozen=True, slots=True)
class Note:
    """An entry of a diary in words.

    Args:
        seen: what it is, without its text; empty for an observation.
        is_photo_there: whether its photo, if it has one, can be shown.
    """

    id: int
    kind: str
    when: str
    seen: str
    text: str
    person: str
    photo: str | None
    is_photo_there: bool


def notes(
    entries: Iterable[DiaryEntry], photos: PhotoFolder, now: datetime, voice: Voice
) -> list[Note]:
    """Return entries of a diary in words."""
    return [
        Note(
            entry.id,
            entry.kind.value,
            capital(when(entry.seen_at, now, voice)),
            capital(diary_words.seen(entry)),
            entry.text,
            entry.person or "",
            entry.photo,
            entry.photo is not None and photos.is_there(entry.photo),
        )
        for entry in entries
    ]
