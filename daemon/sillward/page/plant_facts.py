"""What the pages of plants show, in words: where each stands, what is to do, what was noted."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.ledger import StoredChore
from sillward.ledger.tables.diary import DiaryEntry
from sillward.page import plans
from sillward.page.cards import LOOKED_BACK
from sillward.page.keys import key_of
from sillward.page.photos.folder import PhotoFolder
from sillward.page.visit import Visit
from sillward.reports.plant_nights import PlantNight, coldest_told
from sillward.reports.reading_noted import LAST_YEAR
from sillward.service import diary
from sillward.wording import diary_words, follow_up, reason_phrases, season_words
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, ChoreKind
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState

_MOVES = URGENT | {ChoreKind.MOVE}
"""Chores that stay to do when their hour is over. What was to be done with water, or left, is over
with it."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a plant stands, and how that is known.

    Args:
        since: from when on, in words; empty if that is not known.
        known: whether somebody has said so. Otherwise the advice is taken as followed, or it is
            taken to be at its home.
    """

    spot: str
    since: str
    known: bool


def standing(plant: Plant, state: PlantState | None, now: datetime, voice: Voice) -> Standing:
    """Return where a plant stands now."""
    if state is None:
        return Standing(plant.home, "", known=False)
    there = state.at(now)
    since = "" if there.since is None or there.since > now else when(there.since, now, voice)
    return Standing(there.spot, since, known=not there.assumed)


def season(plant: Plant, state: PlantState | None, now: datetime, voice: Voice) -> str:
    """Return the season of a plant as the last morning round has left it; empty if not known."""
    memory = None if state is None else state.care.season
    if memory is None:
        return ""
    today = voice.local(now).date()
    return capital(season_words.told(memory, today, voice, rests_dry=plant.rests_dry))


def when(at: datetime, now: datetime, voice: Voice) -> str:
    """Return a time in the past: "today 17:10", "Wed 13 May 17:10", "Wed 13 May 2024, 17:10"."""
    if voice.local(at).date() == voice.local(now).date():
        return f"today {voice.hour(at)}"
    if now - at > LAST_YEAR:
        return f"{voice.day(at)} {voice.local(at).year}, {voice.hour(at)}"
    return voice.date_and_hour(at)


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


def unbroken(value: str) -> str:
    """Return a value that stays on one line with its unit."""
    return value.replace(" ", "\u00a0")


def limit_name(name: str) -> str:
    """Return how a limit is called: "Night low", "VPD high"."""
    return capital(name.replace("_", " ")).replace("Vpd", "VPD")


def limit_value(value: float | str, unit: str, voice: Voice) -> str:
    """Return the value of a limit with its unit."""
    if isinstance(value, str):
        return value
    return unbroken(voice.bound(value, unit).replace("umol m-2 s-1", "µmol/m²/s"))


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


# -- what it went through


@dataclass(frozen=True, slots=True)
class NightRow:
    """A night of a plant in words.

    Args:
        stood: where it stood.
        came: what was expected, what a thermometer showed, and its limit.
        is_under: whether the thermometer went below the limit.
    """

    night: str
    stood: str
    came: tuple[str, ...]
    is_under: bool
    orders: tuple[str, ...]


def night_rows(nights: Sequence[PlantNight], now: datetime, voice: Voice) -> list[NightRow]:
    """Return past nights in words."""
    return [
        NightRow(
            voice.day(night.day),
            _where(night),
            tuple(_values(night, voice)),
            night.is_under,
            tuple(_what_came(order, now, voice) for order in night.orders),
        )
        for night in nights
    ]


def _where(night: PlantNight) -> str:
    if len(night.spots) > 1:
        return f"{' or '.join(night.spots)}, not confirmed"
    return night.spots[0] if night.is_known else f"{night.spots[0]}, assumed"


def _values(night: PlantNight, voice: Voice) -> Iterator[str]:
    if night.told_c is not None:
        yield f"expected {unbroken(voice.degrees(night.told_c))}"
    if night.read_c is not None:
        yield f"read {unbroken(voice.degrees(night.read_c))}"
    if night.limit_c is not None:
        yield f"limit {unbroken(voice.bound(night.limit_c))}"


def _what_came(order: StoredChore, now: datetime, voice: Voice) -> str:
    what = voice.say("kind", name=order.kind.value)
    if order.done_at is not None:
        return f"{what}: done {voice.clock_of_day(order.done_at, order.before)}"
    if order.called_off_at is not None:
        return f"{what}: called off"
    if not order.open:
        return f"{what}: not needed, you said"
    return f"{what}: not confirmed"


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


def watered(state: PlantState | None, now: datetime, voice: Voice) -> Mapping[str, str]:
    """Return when a plant was last misted, fed and rinsed, as far as that is known."""
    if state is None:
        return {}
    there = state.at(now)
    last = {"misted": there.misted_at, "fed": there.fed_at, "rinsed": there.rinsed_at}
    return {what: when(at, now, voice) for what, at in last.items() if at is not None}
