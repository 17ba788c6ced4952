"""All plants by where they stand, and the page of each with its diary."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.config import group_lookup
from sillward.ledger import Answer
from sillward.ledger.tables.confirmations import Confirmation
from sillward.ledger.tables.diary import EntryKind
from sillward.page import plant_facts
from sillward.page.damage_facts import damage_told
from sillward.page.drawings.years import years_drawing
from sillward.page.keys import key_of, named
from sillward.page.route import Route
from sillward.page.visit import Visit, whole_number
from sillward.reports import plant_words, pot_water
from sillward.reports.course import told_of_plant
from sillward.reports.limits import limit_rows
from sillward.reports.plant_years import years_of
from sillward.service import answers, diary, looks
from sillward.service.plant_nights import KNOWN_NIGHTS, NIGHTS, PlantNight, nights_of
from sillward.wording import salt_words
from sillward.wording.voice import capital
from sillward_rules.explanation import pot_of
from sillward_rules.planners.pot_days import PotExplained
from sillward_rules.planners.scene.salts import salt_now
from sillward_rules.plants.plant import Plant

SHOWN = 20
"""Entries of a diary on a page. Judgement: a screen or two."""


SAID = {
    "noted": "Noted.",
    "photo": "Noted, with the photo.",
    "all": "Noted of all plants here.",
    "looked": "Noted: its water is worked out from that.",
    "moved": "Noted: it now stands at {spot}.",
    "back": "The move is taken back: it stands at {spot}.",
    "corrected": "The entry is corrected.",
    "deleted": "The entry is deleted.",
    "unharmed": "Noted: no damage.",
    "unharmed_so_far": "Noted: no damage so far. It can show up to two weeks later: look again.",
    "accepted": "The limits are accepted, and count from now on.",
    "limits": "Taken back: the limits of your collection count again.",
}
"""What a form has just done, by the word in the address to which it leads."""

BACK_WITHIN = timedelta(hours=14)
"""For so long a move can be taken back with a button. Judgement: over a night."""


def plants(visit: Visit) -> Response:
    """List all plants by where they stand, and those of which only a diary is left."""
    collection, diary = visit.context.household.collection, visit.context.ledger.diary
    names = {plant.name for plant in collection.plants}
    gone = [name for name in diary.counts(visit.context.site.name) if name not in names]
    return visit.page(
        "plants.html",
        spots=plant_facts.rows_by_spot(visit),
        count=visit.voice.plants(len(names)),
        gone=[(key_of(name), name) for name in sorted(gone)],
    )


def plant(visit: Visit, key: str) -> Response:
    """Show a plant."""
    return plant_page(visit, key)


def name_of(visit: Visit, key: str) -> str:
    """Return the name of a plant that is there, or of which there is a diary. Raise NotFound."""
    names = [plant.name for plant in visit.context.household.collection.plants]
    return named(key, [*names, *visit.context.ledger.diary.counts(visit.context.site.name)])


def plant_named(visit: Visit, name: str) -> Plant | None:
    """Return the plant of a name; None if it is not in the collection any more."""
    found = (each for each in visit.context.household.collection.plants if each.name == name)
    return next(found, None)


_TYPED = ("problem", "unmoved", "unaccepted", "text", "what", "amount", "seen", "others")
"""What the forms of a page know, besides the kind: empty until somebody types."""


def plant_page(visit: Visit, key: str, status: int = 200, **draft: str) -> Response:
    """Return the page of a plant.

    draft: what somebody has typed, and in `problem`, `unmoved` or `unaccepted` why it cannot be
    taken.
    """
    context, now, voice = visit.context, visit.now, visit.voice
    name = name_of(visit, key)
    skip = whole_number(visit.request.args.get("skip", "")) or 0
    kinds = context.ledger.diary.kinds(context.site.name, name)
    asked = visit.request.args.get("kind", "")
    kind = EntryKind(asked) if asked in kinds and asked in set(EntryKind) else None
    entries = context.ledger.diary.of_plant(
        context.site.name, name, SHOWN + 1, skip=skip, kind=kind
    )
    shown = entries[:SHOWN]
    it = plant_named(visit, name)
    nights = [] if it is None else _nights(visit, it)
    years = years_of(context.ledger, context.site, name, nights, now)
    facts = {} if it is None else _facts(visit, it, nights[:NIGHTS])
    spot = facts["stands"].spot if facts else ""
    return visit.page(
        "plant.html",
        status=status,
        key=key,
        called=name,
        it=it,
        facts=facts,
        said=SAID.get(visit.request.args.get("said", ""), "").format(spot=spot),
        notes=plant_facts.notes(shown, visit.desk.photos, now, voice),
        kind="" if kind is None else kind.value,
        filters=plant_facts.filters(kinds),
        years=plant_facts.years_told(years, now, voice),
        drawing=years_drawing(years, context.site.local_date(now)),
        newer=None if not skip else max(0, skip - SHOWN),
        older=skip + SHOWN if len(shown) < len(entries) else None,
        photos_offered=visit.desk.photos.is_offered,
        choices=plant_facts.NOTE_CHOICES,
        most=diary.MAX_TEXT,
        newest=voice.local(now).strftime("%Y-%m-%dT%H:%M"),
        draft=dict.fromkeys(_TYPED, "") | {"kind": _kind_to_note(visit)} | draft,
    )


def _kind_to_note(visit: Visit) -> str:
    """Return what somebody is about to note, who has followed a link to it; else nothing."""
    return "damage" if visit.request.args.get("note") == EntryKind.DAMAGE.value else ""


def _nights(visit: Visit, it: Plant) -> list[PlantNight]:
    """Return the past nights of a plant of which anything is known, the last one first."""
    context = visit.context
    state = context.states().get(it.name)
    return nights_of(context.ledger, context.site, it, state, visit.now, KNOWN_NIGHTS)


def _facts(visit: Visit, it: Plant, nights: Sequence[PlantNight]) -> dict[str, Any]:
    """Return what is known of a plant besides its diary."""
    context, now, voice = visit.context, visit.now, visit.voice
    collection = context.household.collection
    states = context.states()
    state = states.get(it.name)
    stands = plant_words.standing(it, state, now, voice)
    chores = plant_facts.chores_now(visit)
    here = [
        other
        for other in collection.plants
        if plant_words.standing(other, states.get(other.name), now, voice).spot == stands.spot
    ]
    limits = [
        (
            plant_words.limit_name(name),
            plant_words.limit_value(value, unit, voice),
            voice.retold(origin),
        )
        for name, value, unit, origin in limit_rows(it.limits)
    ]
    return {
        "kind": " x ".join(map(group_lookup.name_with_group, it.named or it.groups)) or "no group",
        "holder": it.holder,
        "stands": stands,
        "size": plant_words.sized(it),
        "season": plant_words.season(it, state, now, voice),
        "salt": salt_words.told(salt_now(it, collection, state, now), voice),
        "spots": [(key_of(spot.name), spot.name) for spot in collection.spots],
        "others": len(here) - 1,
        "last_move": _last_move(visit, it.name),
        "orders": plant_facts.open_orders(chores, it.name, now, voice),
        "limits": limits,
        "damage": damage_told(visit, it),
        "nights": plant_words.night_rows(nights, now, voice),
        "watered": plant_words.watered(state, now, voice),
        "pot": _pot(visit, it),
        "given": told_of_plant(it, collection, context.ledger, now, voice),
    }


def _pot(visit: Visit, it: Plant) -> list[str]:
    """Return how wet its pot is and by when it wants water, in words; nothing without a pot."""
    context = visit.context

    def make() -> PotExplained | None:
        states = context.states()
        return pot_of(it, context.collection, context.weather(), states, context.clock())

    pot = None if it.pot is None else visit.desk.worked_out(("pot", it.name), make)
    if pot is None:
        return []
    parts = (pot_water.left(pot), pot_water.wanted(pot, visit.voice))
    return [capital(part) for part in parts if part]


# -- looked at


def looked(visit: Visit, key: str) -> Response:
    """Note how wet a pot is."""
    it = plant_named(visit, name_of(visit, key))
    if it is None:
        raise NotFound
    context, now = visit.context, visit.now
    word = visit.field("word")
    if word not in looks.WORDS:
        raise NotFound
    looks.look(context.ledger, context.household.collection, it.name, word, now, now, visit.person)
    return visit.redirect("plant", key=key, said="looked")


# -- moved


def moved(visit: Visit, key: str) -> Response:
    """Note that a plant stands at another spot now."""
    it = plant_named(visit, name_of(visit, key))
    if it is None:
        raise NotFound
    spots = visit.context.household.collection.spots
    chosen = visit.field("spot")
    if not chosen:
        return plant_page(visit, key, status=422, unmoved="choose where it stands now")
    spot = visit.context.household.collection.spot(named(chosen, [spot.name for spot in spots]))
    context, site = visit.context, visit.context.site.name
    answers.move(
        context.ledger,
        site,
        it.name,
        spot.name,
        visit.now,
        visit.person,
        is_safe=it.is_safe_at(spot),
    )
    return visit.redirect("plant", key=key, said="moved")


def move_back(visit: Visit, key: str) -> Response:
    """Take back that a plant was moved, unless it was moved again meanwhile."""
    context, site, name = visit.context, visit.context.site.name, name_of(visit, key)
    last = _last_move(visit, name)
    if last is not None and visit.field("answer") == str(last.id):
        answers.take_back(context.ledger, site, name, visit.now, visit.person)
        return visit.redirect("plant", key=key, said="back")
    return visit.redirect("plant", key=key)


def _last_move(visit: Visit, name: str) -> Confirmation | None:
    """Return the last move of a plant, if it was made lately enough to be taken back."""
    last = visit.context.ledger.confirmations.last(visit.context.site.name, name)
    if last is None or last.answer is not Answer.MOVED or name not in last.plants:
        return None
    return last if visit.now - last.at < BACK_WITHIN else None


# -- photos


def large_photo(visit: Visit, photo: str) -> Response:
    """Return a photo of a diary."""
    return _photo(visit, photo, small=False)


def small_photo(visit: Visit, photo: str) -> Response:
    """Return a photo in the size for lists."""
    return _photo(visit, photo, small=True)


CACHED_S = 365 * 24 * 3600
"""How long the browser of a person may keep a photo [s]: there is never another of its name."""


def _photo(visit: Visit, name: str, *, small: bool) -> Response:
    if not visit.context.ledger.diary.has_photo(visit.context.site.name, name):
        raise NotFound
    visit.close()  # nobody has to wait while a file is read
    content = visit.desk.photos.read(name, small=small)
    if content is None:
        msg = "the file of this photo is missing or broken"
        raise NotFound(msg)
    headers = {"Cache-Control": f"private, max-age={CACHED_S}, immutable"}
    return Response(content, 200, headers, content_type="image/jpeg")


ROUTES = (
    Route("/plants", "plants", plants),
    Route("/plants/<key>", "plant", plant),
    Route("/plants/<key>/move", "move", moved, "POST"),
    Route("/plants/<key>/look", "looked", looked, "POST"),
    Route("/plants/<key>/move/back", "move_back", move_back, "POST"),
    Route("/photos/<photo>", "photo", large_photo),
    Route("/photos/<photo>/small", "small_photo", small_photo),
)
