"""Shell completion of plants, chores and channels: without errors, and never from the network."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.config.models import HabitsTable, NoticesTable, RoundsTable, Table
from sillward.config.plant_models import LimitsTable
from sillward.config.settings import Settings, load_settings
from sillward.errors import SillwardError
from sillward.forecast.store import utc_now
from sillward.ledger import Ledger, StoredChore
from sillward.wording.diary_words import NAMES

_SAFE = frozenset(" @%+=:,./_-")
"""ASCII characters, besides letters and digits, that every shell takes literally (a blank inside a
quote). bash inserts what it is given as it is, so a `$(...)` would be run."""

_DAYS, _DAYS_AND_NAME = 2, 3
"""How many words of `sillward away` come before a name, and before a channel."""

CONFIRMED_WITHIN = timedelta(days=2)
"""Chores of rounds longer ago can no longer be confirmed."""


def plants(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the next word of the names that begin with the words so far.

    Names are completed word by word, because bash would insert a blank without quotes; after an
    opening quote the whole rest of a name is offered.
    """
    household = _household(context)
    names = () if household is None else [plant.name for plant in household.collection.plants]
    words = context.params.get("plant") or context.params.get("words") or ()
    return _next_words(names, words, incomplete)


def several_plants(
    context: click.Context, _: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the next word of one of several names; after a whole name another may begin."""
    words = context.params.get("plant") or context.params.get("words") or ()
    return _several(context, words, incomplete)[0]


def looked_at(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete plants, and the word of a look before or after them."""
    from sillward.service.looks import WORDS

    said: Sequence[str] = context.params.get("words") or ()
    is_said = bool(said) and said[0].lower() in WORDS
    offers, is_whole = _several(context, said[1:] if is_said else said, incomplete)
    if is_whole and not is_said:
        offers += [CompletionItem(word) for word in WORDS if word.startswith(incomplete.lower())]
    return offers


def _several(
    context: click.Context, said: Sequence[str], incomplete: str
) -> tuple[list[CompletionItem], bool]:
    """Return the next words of several names, and whether those so far are whole."""
    household = _household(context)
    names = [] if household is None else [plant.name for plant in household.collection.plants]
    whole = {tuple(name.lower().split()) for name in names}
    last: list[str] = []
    left = " ".join(said).lower().split()
    while left:
        cut = max((n for n in range(1, len(left) + 1) if tuple(left[:n]) in whole), default=0)
        if not cut:
            return _next_words(names, left, incomplete), False
        last, left = left[:cut], left[cut:]
    longer = _next_words(names, last, incomplete) if last else []
    return longer + _next_words(names, (), incomplete), bool(names)


def note_kinds(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the kinds of notes."""
    return [
        CompletionItem(kind.value, help=name)
        for kind, name in NAMES.items()
        if kind.value.startswith(incomplete.lower())
    ]


def plant_and_spot(
    context: click.Context, _: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the words of a plant, and after its whole name those of a spot."""
    household = _household(context)
    if household is None:
        return []
    words = context.params.get("words") or ()
    said = " ".join(words).lower().split()
    names = [plant.name for plant in household.collection.plants]
    offers = _next_words(names, words, incomplete)
    for name in names:
        own = name.lower().split()
        if said[: len(own)] == own:
            offers += _next_words(_spot_names(context), said[len(own) :], incomplete)
    return offers


def courses(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the next word of the names of courses that begin with the words so far."""
    household = _household(context)
    names = () if household is None else [one.name for one in household.collection.courses]
    return _next_words(names, context.params.get("words") or (), incomplete)


def feeds(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the next word of the names of feeds and courses that begin with the words so far."""
    household = _household(context)
    of = None if household is None else household.collection
    names = [] if of is None else [feed.name for feed in of.feeds]
    names += [] if of is None else [course.name for course in of.courses]
    return _next_words(names, context.params.get("words") or (), incomplete)


def spots(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the next word of the names of spots that begin with the words so far."""
    words = context.params.get("words") or context.params.get("spot") or ()
    return _next_words(_spot_names(context), words, incomplete)


def spot(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the name of a spot as the value of an option."""
    return [
        CompletionItem(name)
        for name in _spot_names(context)
        if name.lower().startswith(incomplete.lower()) and _is_safe(name)
    ]


def _spot_names(context: click.Context) -> list[str]:
    household = _household(context)
    return [] if household is None else [spot.name for spot in household.collection.spots]


def sensors(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the names of the sensors that have readings."""
    household, settings = _household(context), _settings()
    try:
        if household is None or settings is None or not settings.has_ledger:
            return []
        with closing(Ledger(settings.ledger)) as ledger:
            known = ledger.readings.sensors(household.collection.site.name)
    except (OSError, SillwardError):
        return []
    spots_of: dict[str, list[str]] = {}
    for sensor in known:
        spots_of.setdefault(sensor.name, []).append(sensor.spot)
    return [
        CompletionItem(name, help=", ".join(dict.fromkeys(places)))
        for name, places in spots_of.items()
        if name.lower().startswith(incomplete.lower()) and _is_safe(name)
    ]


def _next_words(
    names: Sequence[str], words_so_far: Sequence[str], incomplete: str
) -> list[CompletionItem]:
    before = [word.lower() for word in words_so_far]
    found: dict[str, None] = {}
    for name in names:
        words = name.split()
        if [word.lower() for word in words[: len(before)]] != before:
            continue
        rest = words[len(before) :]
        offer = " ".join(rest) if " " in incomplete else "".join(rest[:1])
        if offer and offer.lower().startswith(incomplete.lower()) and _is_safe(offer):
            found[offer] = None
    return [CompletionItem(offer) for offer in found]


def changes(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the keys of `--set`, as far as they are the same in every collection."""
    tables: dict[str, type[Table]] = {
        "habits": HabitsTable,
        "rounds": RoundsTable,
        "notices": NoticesTable,
    }
    offers = [f"{table}.{key}=" for table, model in tables.items() for key in model.model_fields]
    offers += [f"plants.*.limits.{key}=" for key in LimitsTable.model_fields]
    return [CompletionItem(offer) for offer in offers if offer.startswith(incomplete)]


def away(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the days of an absence, and the channels of the collection after a name."""
    words = context.params.get("words") or ()
    if len(words) >= _DAYS_AND_NAME:
        return channels(context, _, incomplete)
    days = ("today", "tomorrow", "mon", "tue", "wed", "thu", "fri", "sat", "sun")
    named = len(words) < _DAYS
    return [CompletionItem(day) for day in days if named and day.startswith(incomplete.lower())]


def channels(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the channels of the collection."""
    household = _household(context)
    return [
        CompletionItem(channel.name, help=channel.told)
        for channel in (household.channels if household is not None else ())
        if channel.name.startswith(incomplete)
    ]


def people(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the names of those who sign in to the page."""
    household = _household(context)
    names = () if household is None else household.people
    return [
        CompletionItem(name)
        for name in names
        if name.lower().startswith(incomplete.lower()) and _is_safe(name)
    ]


def chores(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete kinds of open chores, their spots, "all", ids of chores, and plants.

    After a first word only plants follow, as after "all but" or after a kind.
    """
    household = _household(context)
    open_chores = [] if household is None else list(_open_chores(household))
    words = context.params.get("chore")
    plants = dict.fromkeys(name for chore in open_chores for name in chore.plants)
    if words:
        offers = [CompletionItem("but", help="all of it but some plants")]
        offers += [CompletionItem(name) for name in plants]
    else:
        kinds = dict.fromkeys(chore.kind.value for chore in open_chores)
        spots = dict.fromkeys(chore.chore.from_spot for chore in open_chores)
        offers = [CompletionItem(kind, help="all open ones") for kind in kinds]
        offers += [CompletionItem(spot, help="all from there") for spot in spots]
        offers += [CompletionItem("all", help="all that has begun")] if open_chores else []
        offers += [CompletionItem(chore.id, help=", ".join(chore.plants)) for chore in open_chores]
        offers += [CompletionItem(name, help="this plant") for name in plants]
    return [
        offer
        for offer in offers
        if offer.value.lower().startswith(incomplete.lower()) and _is_safe(offer.value)
    ]


def _open_chores(household: Household) -> Iterator[StoredChore]:
    settings = _settings()
    site, now = household.collection.site, utc_now()
    try:
        if settings is None or not settings.has_ledger:
            return
        with closing(Ledger(settings.ledger)) as ledger:
            chores = ledger.chores.due_since(site.name, now - CONFIRMED_WITHIN)
    except (OSError, SillwardError):
        return
    today = str(site.local_date(now))
    yield from (chore for chore in chores if chore.open and chore.day <= today)


def _household(context: click.Context) -> Household | None:
    """Return the collection of this command line; None if it cannot be read (`check` says why)."""
    path: Path | None = context.params.get("collection")
    settings = _settings()
    if path is None and settings is not None:
        path = settings.collection
    try:
        return None if path is None else load_household(path)
    except SillwardError:
        return None


def _settings() -> Settings | None:
    try:
        return load_settings()
    except SillwardError:
        return None


def _is_safe(text: str) -> bool:
    """Whether a shell takes a text literally, and click does not take it for an option."""
    literal = all(letter.isalnum() or letter in _SAFE or not letter.isascii() for letter in text)
    return literal and not text.startswith("-")
