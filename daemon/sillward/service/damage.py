"""Damage, and its absence, as the grower tells of it: written down, and limits learn from it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sillward.errors import UsageError
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.damage_questions import next_question
from sillward.service.inquest import Inquest, as_harmful_night, inquire
from sillward_rules.inquest import LOOK_BACK_NIGHTS, ColdNight
from sillward_rules.planners.scene.salts import salt_now
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather.site import Site

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
    found = inquire(ledger, collection, sources, plant, state, seen, looks, now)
    if state is None:
        return found
    care = state.care
    salt = None if care.salt is None else salt_now(plant, collection, state, now)
    return replace(found, salt=salt, water=None if plant.pot is None else care.water)


def learn(
    ledger: Ledger, site: str, inquest: Inquest, entry: DiaryEntry, now: datetime
) -> HarmfulNight | None:
    """Write down that the likeliest night did the damage, and return it.

    Nothing is learned where cold is not the likeliest cause, or nobody knows where the plant was.
    Other nights before it that the grower was asked about are closed: which of them did no harm
    cannot be told any more.
    """
    night = inquest.coldest
    if night is None or not inquest.suspects[0].is_likely or not night.is_placed:
        return None
    noted = ledger.harmful_nights.of_plant(site, inquest.plant.name)
    made = as_harmful_night(inquest.plant, night, now)
    # The limits of then, in case somebody has raised them since.
    first = next((other for other in noted if other.night == night.day), made)
    kept = replace(
        made,
        given=first.given,
        answered_at=entry.entered_at,
        damaged=True,
        person=entry.person,
    )
    with ledger.transaction():
        for other in noted:
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
    site: Site,
    plant: Plant,
    nights: Sequence[ColdNight],
    now: datetime,
    person: str | None,
) -> list[HarmfulNight]:
    """Write down that the grower has looked and sees no damage; return the nights it is about.
    Raise UsageError if there is nothing to learn from."""
    looked = looked_after(ledger, site, plant, nights, now, person)
    keep_looked(ledger, site, looked, now, person)
    return looked


def keep_looked(
    ledger: Ledger,
    site: Site,
    looked: Sequence[HarmfulNight],
    now: datetime,
    person: str | None,
) -> None:
    """Write down that nights did no damage so far, of one plant or several, as one answer."""
    plants = list(dict.fromkeys(night.plant for night in looked))
    with ledger.transaction():
        for night in looked:
            ledger.harmful_nights.keep(site.name, night)
        ledger.deeds.insert(site.name, Deed(now, person, NO_DAMAGE, {"plants": plants}))


def looked_after(
    ledger: Ledger,
    site: Site,
    plant: Plant,
    nights: Sequence[ColdNight],
    now: datetime,
    person: str | None,
) -> list[HarmfulNight]:
    """Return the nights after which somebody has looked and sees no damage, with that answer.

    Those are the nights that are not answered; if there are none, the coldest of `nights`, which
    are those of the last weeks that are known. A night that was over two weeks ago did no damage.
    A later one stays open, as damage may still show, and is asked about again. What is answered
    stays as it is. Raise UsageError if there is nothing to learn from.
    """
    today = site.local_date(now)
    since = today - timedelta(days=LOOK_BACK_NIGHTS)
    noted = ledger.harmful_nights.of_plant(site.name, plant.name)
    about = [night for night in noted if night.answered_at is None and night.night >= since]
    if not about:
        days = {night.night for night in noted}
        cold = [
            night
            for night in nights
            if night.is_placed and night.hours > 0 and night.day not in days
        ]
        about = [
            as_harmful_night(plant, night, now)
            for night in sorted(cold, key=lambda night: night.low_c)[:1]
        ]
    if not about:
        msg = (
            f"{plant.name}: no cold night of the last three weeks waits for an answer, so nothing"
            " can be learned"
        )
        raise UsageError(msg)
    return [
        replace(night, looked_at=now, answered_at=now, damaged=False, person=person)
        if next_question(night, today) is None
        else replace(night, looked_at=now)
        for night in about
    ]
