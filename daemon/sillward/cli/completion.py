"""What a shell completes: plants, chores, channels. Quick, quiet, and never from the network."""

from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.config.settings import Settings, load_settings
from sillward.errors import SillwardError
from sillward.forecast.store import utc_now
from sillward.ledger import Ledger, StoredChore

_SAFE = frozenset(" @%+=:,./_-")
"""Beside letters, digits and all beyond ASCII what every shell takes as it is (a blank, where a
quote is open): bash puts in what it is given, as it is given, so a `$(...)` would be run."""

ACKNOWLEDGED_WITHIN = timedelta(days=2)
"""Chores of rounds longer ago are not asked for any more."""


def plants(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The next word of the names that begin with the words so far.

    Word by word, because bash would put in a blank without quotes. Whoever has begun a quote gets
    the name in one.
    """
    household = _household(context)
    if household is None:
        return []
    before = [word.lower() for word in context.params.get("plant") or ()]
    found: dict[str, None] = {}
    for plant in household.collection.plants:
        words = plant.name.split()
        if [word.lower() for word in words[: len(before)]] != before:
            continue
        rest = words[len(before) :]
        offer = " ".join(rest) if " " in incomplete else "".join(rest[:1])
        if offer and offer.lower().startswith(incomplete.lower()) and _is_safe(offer):
            found[offer] = None
    return [CompletionItem(offer) for offer in found]


def channels(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The channels of the collection."""
    household = _household(context)
    return [
        CompletionItem(one.name, help=", ".join(one.rounds))
        for one in (household.channels if household is not None else ())
        if one.name.startswith(incomplete)
    ]


def chores(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The kinds of the open chores, their spots, all, then the chores themselves and their plants.

    Once a word is there, plants alone, word by word: after "all but", or after a kind.
    """
    household = _household(context)
    told = [] if household is None else list(_open_chores(household))
    words = [word.lower() for word in context.params.get("chore") or ()]
    plants = dict.fromkeys(name for one in told for name in one.plants)
    if words:
        offers = [CompletionItem("but", help="all of it but some plants")]
        offers += [CompletionItem(name) for name in plants]
    else:
        kinds = dict.fromkeys(one.kind for one in told)
        spots = dict.fromkeys(str(one.document["from"]) for one in told)
        offers = [CompletionItem(kind, help="all open ones") for kind in kinds]
        offers += [CompletionItem(spot, help="all from there") for spot in spots]
        offers += [CompletionItem("all", help="all that has begun")] if told else []
        offers += [CompletionItem(one.id, help=", ".join(one.plants)) for one in told]
        offers += [CompletionItem(name, help="this plant") for name in plants]
    return [
        one
        for one in offers
        if one.value.lower().startswith(incomplete.lower()) and _is_safe(one.value)
    ]


def _open_chores(household: Household) -> Iterator[StoredChore]:
    settings = _settings()
    site, now = household.collection.site, utc_now()
    try:
        if settings is None or not settings.ledger.exists():
            return
        with closing(Ledger(settings.ledger)) as ledger:
            told = ledger.chores.due_since(site.name, now - ACKNOWLEDGED_WITHIN)
    except (OSError, SillwardError):
        return
    today = str(site.local_date(now))
    yield from (one for one in told if one.open and one.day <= today)


def _household(context: click.Context) -> Household | None:
    """The collection of this command line; None if it cannot be read: `check` says why."""
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
    plain = all(one.isalnum() or one in _SAFE or not one.isascii() for one in text)
    return plain and not text.startswith("-")
