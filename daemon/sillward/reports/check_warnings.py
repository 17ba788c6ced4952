"""What `sillward check` warns of: what cannot be as the collection says, or harms plants."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from sillward.config.build_collection import OWN_LIMIT
from sillward.config.household import Household
from sillward.config.zone_places import missing_sign
from sillward.text.numbered_names import folded
from sillward.wording.voice import Voice
from sillward_rules.physics.cold_harm import MIN_SPAN_K
from sillward_rules.planners import cold_places
from sillward_rules.planners.cold_places import ColdRoom
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants import never_given
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import Course
from sillward_rules.plants.plant import Plant
from sillward_rules.remark import FeedTooStrong


def warnings(household: Household, now: datetime) -> list[tuple[str, str]]:
    """Return each warning with its plant, spot, feed or channel; with "" if the text names them."""
    collection, voice = household.collection, household.voice
    return [
        *_untold(household),
        *_doubtful(collection),
        *((place, text) for place, _, text in _cold_places(collection, voice)),
        *_limits_too_close(collection.plants, voice),
        *_never_given(collection),
        *_too_strong(collection, now, voice),
        *_about_readings(collection, voice),
    ]


def document(household: Household, now: datetime) -> dict[str, Any]:
    """Return the warnings of channels, places, limits and feeds as plain types, for JSON."""
    collection = household.collection
    voice = Voice(collection.site)
    too_close = _limits_too_close(collection.plants, voice)
    return {
        "untold": [{"channel": name, "text": text} for name, text in _untold(household)],
        "doubtful": [{"place": place, "text": text} for place, text in _doubtful(collection)],
        "cold_places": [
            {"spot": place, "plants": list(plants), "text": text}
            for place, plants, text in _cold_places(collection, voice)
        ],
        "warnings": [{"plant": name, "text": text} for name, text in too_close],
        "never_given": [{"name": name, "text": text} for name, text in _never_given(collection)],
        "too_strong": [text for _, text in _too_strong(collection, now, voice)],
    }


MAX_NAMED = 6
"""Of those that something is said of so many are named. Judgement: the number tells the rest."""


def first_of(names: Sequence[str]) -> str:
    """Return the first of many names, and how many more there are."""
    more = len(names) - MAX_NAMED
    return ", ".join(names[:MAX_NAMED]) + (f" and {more} more" if more > 0 else "")


def _untold(household: Household) -> Iterator[tuple[str, str]]:
    """Yield the channels that cannot tell anybody anything."""
    for channel in household.channels:
        if channel.url is None:
            yield f"channel {channel.name}", "no url yet, so nobody gets its messages"


WARMEST_ROOM_C = 30.0
"""No room is kept warmer at night [°C]. Judgement: it is a number in °F, as for limits."""


def _doubtful(collection: Collection) -> Iterator[tuple[str, str]]:
    """Yield what can hardly be true of the site and its rooms: a sign, or a unit."""
    site = collection.site
    key = missing_sign(site.latitude, site.longitude, str(site.zone))
    if key is not None:
        given = site.latitude if key == "latitude" else site.longitude
        doubt = "is a minus missing" if given > 0 else "is the minus right"
        yield "", f"{key} {given:g} does not go with the time zone {site.zone}: {doubt}?"
    for spot in collection.spots:
        if spot.night_low_c is not None and spot.night_low_c > WARMEST_ROOM_C:
            given, meant_c = spot.night_low_c, (spot.night_low_c - 32) / 1.8
            yield (
                spot.name,
                f"night_low = {given:g} counts as °C, and no room is so warm at night; if it is "
                f"{given:g} °F, write {meant_c:.0f}",
            )


def without_pot(collection: Collection) -> tuple[str, ...]:
    """Return the plants in pots of which no pot is given, so that no message says to water them."""
    return tuple(
        plant.name for plant in collection.plants if plant.holder == "pot" and plant.pot is None
    )


def never_watered(household: Household) -> str:
    """Return that no message says when plants in pots want water, and why; empty if none is so."""
    names = without_pot(household.collection)
    if not names:
        return ""
    pots = "1 pot" if len(names) == 1 else f"{len(names)} pots"
    return (
        f"no size given for {pots}, {_first_plants(names)}: no message says when to water; for "
        'that give them pot = { litres = 3, medium = "bark" } or the like'
    )


def _cold_places(
    collection: Collection, voice: Voice
) -> Iterator[tuple[str, tuple[str, ...], str]]:
    """Yield the rooms that do not keep plants that go there, with the plants, and why not.

    Then, with "" for the room, the plants that have none. Without those that go to another room.
    """
    for cold in cold_places.cold_rooms(collection):
        if cold.warmer is None:
            yield cold.room, cold.plants, _cold_room(cold, voice)
    if homeless := cold_places.without_shelter(collection):
        rooms = any(spot.indoors for spot in collection.spots)
        then = (
            "on a cold night they are sent to the warmest room: name one as their shelter"
            if rooms
            else "there is no room for a cold night either: add one, with indoors = true"
        )
        named, count = _first_plants(homeless), voice.plants(len(homeless))
        yield "", homeless, f"no shelter for {count} outdoors, {named}: {then}"


def of_new(household: Household) -> list[str]:
    """Return what is wrong with a new collection: with its site and with where plants go on cold
    nights; and whether pots are watered."""
    collection = household.collection
    cold = _cold_places(collection, household.voice)
    found = [*_doubtful(collection), *((place, text) for place, _, text in cold)]
    texts = [f"{place}: {text}" if place else text for place, text in found]
    return [*texts, *filter(None, [never_watered(household)])]


def _cold_room(cold: ColdRoom, voice: Voice) -> str:
    """Return what is wrong with a room for plants that no other one keeps."""
    plants = voice.plants(cold.of)
    limit, named = voice.bound(cold.limit_c, digits=1), _first_plants(cold.plants)
    if cold.held_c is None:
        return (
            f"how warm it stays at night is not known, and {plants} must go there, {named}, for "
            f"which it must hold {limit}: give its night_low"
        )
    of = f"{len(cold.plants)} of " if len(cold.plants) < cold.of else ""
    return (
        f"holds {voice.bound(cold.held_c, digits=1)}, too cold for {of}{plants} that must go "
        f"there, {named}: {_needed(cold, voice)}, and no room is known to hold that"
    )


def sent_elsewhere(collection: Collection, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield the rooms that are too cold for plants which another room keeps, and what happens."""
    for cold in cold_places.cold_rooms(collection):
        if cold.warmer is not None:
            room, held_c = cold.warmer
            named, held = _first_plants(cold.plants), voice.bound(held_c, digits=1)
            needed = _needed(cold, voice)
            yield cold.room, f"too cold for {named}: {needed}; the sheet will say {room} ({held})"


def _needed(cold: ColdRoom, voice: Voice) -> str:
    limit = voice.bound(cold.limit_c, digits=1)
    return f"{limit} is needed" if len(cold.plants) == 1 else f"up to {limit} is needed"


def _first_plants(names: Sequence[str]) -> str:
    """Return the first of many plants, those that are numbered in a row as one, and the rest."""
    parts = folded(names)
    more = sum(count for _, count in parts[MAX_NAMED:])
    named = ", ".join(name for name, _ in parts[:MAX_NAMED])
    return named + (f" and {more} more" if more else "")


def _limits_too_close(plants: Sequence[Plant], voice: Voice) -> list[tuple[str, str]]:
    """Return the names of plants whose two limits of cold do not go together, and why not."""
    found = ((plant.name, _too_close(plant, voice)) for plant in plants)
    return [(name, warning) for name, warning in found if warning is not None]


def _too_strong(collection: Collection, now: datetime, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield what is too strong for some plants; these are named in the text.

    Without what can be given on humid mornings of a feed for all plants: it is so for few of them.
    """
    for remark in too_strong_for(collection, collection.site.local_date(now)):
        if not (remark.dries and isinstance(remark, FeedTooStrong) and not remark.feed):
            yield "", voice.remark(remark)


def _about_readings(collection: Collection, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield the spots whose readings ask for a look, and why: a thermometer that is in doubt, or
    one that contradicts what the grower has said."""
    for spot in collection.spots:
        if (question := spot.question) is not None:
            yield spot.name, voice.remark(question)
        elif spot.is_contradicted and spot.taught is not None:
            yield spot.name, voice.retold(spot.taught)


def _too_close(plant: Plant, voice: Voice) -> str | None:
    """Return what is wrong if comfort lies below injury, or hardly above it.

    Limits that both come from the groups are not the grower's to mend.
    """
    comfort, injury = plant.limits.night_low, plant.limits.brief_low
    if comfort is None or injury is None or comfort.value - injury.value >= MIN_SPAN_K:
        return None
    if OWN_LIMIT not in (comfort.origin, injury.origin):
        return None
    night, brief = voice.bound(comfort.value), voice.bound(injury.value)
    least = voice.kelvins(MIN_SPAN_K)
    if comfort.value < injury.value:
        wrong = (
            f"night_low {night} is below brief_low {brief}, which injures within hours, so it "
            f"goes in for {brief} all the same"
        )
    else:
        wrong = (
            f"night_low {night} is less than {least} above brief_low {brief}; harm is worked out "
            f"as if {least} lay between them"
        )
    return f"{wrong}: set both under limits, brief_low at least {least} lower"


def _never_given(collection: Collection) -> Iterator[tuple[str, str]]:
    """Yield each feed and course with a name that never reaches some of its plants, and why."""
    for one, plants in never_given.out_of_reach(collection):
        done = "given" if isinstance(one, Course) else "fed"
        why = f"never {done} by sillward: not misted, and no pot given"
        yield one.name, f"{first_of(plants)}: {why}"
