"""Damage, and its absence, as the grower tells of it: written down, and limits learn from it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sillward.errors import UsageError
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.inquest import Inquest, as_harmful_night, inquire
from sillward_rules.inquest import LOOK_BACK_NIGHTS, ColdNight
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState, State

NO_DAMAGE = "no damage"
"""The deed, for the log."""

LATELY = timedelta(days=LOOK_BACK_NIGHTS)
"""Damage that was seen longer ago is not looked into any more: what did it is not known by now."""


def last_damage(ledger: Ledger, site: str, plant: str, now: datetime) -> DiaryEntry | None:
    """Return the damage of a plant that was seen last, if that was lately."""
    entries = ledger.diary.of_plant(site, plant)
    found = (entry for entry in entries if entry.kind is EntryKind.DAMAGE)
    last = next(found, None)
    return last if last is not None and now - last.seen_at <= LATELY else None


def inquest_of(
    ledger: Ledger,
    collection: Collection,
    sources: Sequence[str],
    plant: Plant,
    state: PlantState | None,
    entry: DiaryEntry | None,
    now: datetime,
) -> Inquest:
    """Return what is known of the weeks before damage; before now if none was seen."""
    seen = collection.site.local_date(now if entry is None else entry.seen_at)
    looks = "" if entry is None else f"{entry.what or ''} {entry.text}"
    return inquire(ledger, collection, sources, plant, state, seen, looks, now)


def learn(
    ledger: Ledger, site: str, inquest: Inquest, entry: DiaryEntry, now: datetime
) -> HarmfulNight | None:
    """Write down that the likeliest night did the damage, and return it.

    Nothing is learned where cold is not the likeliest cause, or nobody knows where the plant was.
    Other nights before it that the grower was asked about are closed: which of them did no harm
    cannot be told any more.
    """
    night = inquest.coldest
    if night is None or not inquest.suspects[0].is_likely or not night.is_known:
        return None
    kept = replace(
        as_harmful_night(inquest.plant.name, night, now),
        answered_at=entry.entered_at,
        damaged=True,
        person=entry.person,
    )
    with ledger.transaction():
        for other in ledger.harmful_nights.of_plant(site, inquest.plant.name):
            is_open = other.answered_at is None and other.night < inquest.seen
            # Another night was thought to have done it while less was known.
            was_blamed = other.damaged and other.answered_at == entry.entered_at
            if other.night != night.day and (is_open or was_blamed):
                closed = replace(
                    other, answered_at=entry.entered_at, damaged=None, person=entry.person
                )
                ledger.harmful_nights.keep(site, closed)
        ledger.harmful_nights.keep(site, kept)
    return kept


def learn_from_diary(
    ledger: Ledger, collection: Collection, sources: Sequence[str], states: State, now: datetime
) -> int:
    """Look into damage of the last weeks that nothing was learned from; return how much taught.

    However it was entered, it counts.
    """
    site, taught = collection.site.name, 0
    plants = {plant.name: plant for plant in collection.plants}
    last = {
        entry.plant: entry
        for entry in ledger.diary.seen_since(site, now - LATELY)
        if entry.kind is EntryKind.DAMAGE and entry.plant in plants
    }
    for name, entry in last.items():
        if not _is_learned(ledger, site, entry):
            state = states.get(name)
            found = inquest_of(ledger, collection, sources, plants[name], state, entry, now)
            taught += learn(ledger, site, found, entry, now) is not None
    return taught


def _is_learned(ledger: Ledger, site: str, entry: DiaryEntry) -> bool:
    nights = ledger.harmful_nights.of_plant(site, entry.plant)
    return any(night.answered_at == entry.entered_at for night in nights)


def no_damage(
    ledger: Ledger,
    site: str,
    plant: Plant,
    nights: Sequence[ColdNight],
    now: datetime,
    person: str | None,
) -> list[HarmfulNight]:
    """Write down that the grower has looked and sees no damage; return the nights it is about.
    Where it is not known that the plant stood in the cold that teaches nothing.

    Those are the nights that were asked about; if there are none, the coldest of `nights`, which
    are those of the last weeks that are known. Raise UsageError if there is nothing to learn from.
    """
    since = (now - LATELY).date()
    asked = [
        night
        for night in ledger.harmful_nights.of_plant(site, plant.name)
        if night.answered_at is None and night.night >= since
    ]
    known = [night for night in nights if night.is_known]
    if not asked and known:
        coldest = min(known, key=lambda night: night.low_c)
        asked = [as_harmful_night(plant.name, coldest, now)]
    if not asked:
        msg = f"{plant.name}: nothing is known of its nights, so that nothing can be learned"
        raise UsageError(msg)
    answered = [replace(night, answered_at=now, damaged=False, person=person) for night in asked]
    with ledger.transaction():
        for night in answered:
            ledger.harmful_nights.keep(site, night)
        ledger.deeds.insert(site, Deed(now, person, NO_DAMAGE, {"plants": [plant.name]}))
    return answered
