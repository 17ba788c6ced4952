"""A start at which the collection is wrong goes on with the one that was last in force.

That one is kept in the ledger, which the daemon writes when it takes a collection over. It is used
by the daemon alone, and the grower is told (`CollectionReloader`, whose first look finds what is
wrong): every command refuses the wrong file. Nothing is gone on with where the garden is another,
where sillward has not run for long, or where nobody could be told.
"""

import logging
import os
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path

from sillward import files
from sillward.assembly.app import App, Options, household_of_tables
from sillward.assembly.desk_setup import require_channels
from sillward.channels.sender import Problems
from sillward.config import kept_tables
from sillward.config.collection_file import MAX_COLLECTION_BYTES
from sillward.config.household import Household
from sillward.config.households import Place
from sillward.config.settings import Settings
from sillward.errors import ConfigError, LedgerError, one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.kept_collections import KeptCollection
from sillward.service.health import TICK_MARK

MAX_AWAY = timedelta(days=30)
"""After so long without a tick the kept collection is not used any more. Judgement: by then a
season has changed and plants have come and gone; who starts it after a month looks at it anyhow."""

MAX_MOVED_DEG = 0.1
"""A wrong file whose place is further away than this, north or east, is for another garden [°].
Judgement: some 10 km, beyond what anybody corrects about a garden that stays where it is."""

MAX_REASON = 200
"""Characters of a reason. Judgement: three lines of a terminal."""

NOT_USED = "the last good collection is not used"

log = logging.getLogger(__name__)


def keep(ledger: Ledger, site: str, path: Path, now: datetime) -> None:
    """Keep a collection that is in force, if it is not kept already. Raise LedgerError."""
    try:
        data = files.read(path, MAX_COLLECTION_BYTES)
        file, digest = os.path.abspath(path), sha256(data).hexdigest()
        known = ledger.kept_collections.of_site(site)
        if known is None or (known.file, known.digest) != (file, digest):
            # Another worker may know its file by another path.
            since = now if known is None or known.digest != digest else known.since
            tables = kept_tables.packed(data)
            ledger.kept_collections.keep(KeptCollection(site, file, digest, since, tables))
    except (OSError, ValueError) as error:  # it is being edited again: the next look keeps it
        log.warning("collection.not_kept file=%s reason=%s", path.name, one_line(error, MAX_REASON))


def build(app_of: Callable[..., App], options: Options, problems: Problems) -> App:
    """Build the app of a collection file for the daemon, with the kept collection if need be.

    app_of: builds it, from options and what finds the household.
    Raise ConfigError or UsageError if there is none to go on with.
    """
    try:
        app = app_of(options)
        require_channels(app, problems)
    except ConfigError as error:
        if options.recorded is not None:
            raise
        return app_of(options, find=partial(_kept_in_file, error, problems))
    return app


def _kept_in_file(
    error: ConfigError,
    problems: Problems,
    _: Options,
    path: Path,
    settings: Settings,
    place: Place | None,
) -> Household:
    """Return the household that was last in force, from the ledger of the settings."""
    if not settings.has_ledger:
        raise error
    household = None if place is None else place.name
    try:
        ledger = Ledger.open_or_in_memory(settings.ledger, household=household)
    except (ConfigError, LedgerError) as why:
        raise _with_reason(error, str(why)) from None
    with closing(ledger):
        try:
            return in_place_of(error, ledger, path, settings, place, problems, datetime.now(UTC))
        except LedgerError as why:
            raise _with_reason(error, str(why)) from None


def in_place_of(
    error: ConfigError,
    ledger: Ledger,
    path: Path,
    settings: Settings,
    place: Place | None,
    problems: Problems,
    now: datetime,
) -> Household:
    """Return the household that was last in force, in the place of one that is wrong.

    Raise the error if there is none; with the reason if one was kept and cannot be used.
    """
    table = ledger.kept_collections
    try:
        kept = table.of_file(os.path.abspath(path)) if place is None else table.of_site(place.name)
        if kept is None:
            raise error
        if place is not None:  # its file is read below
            place.require_own_files()
        household = _usable(kept, ledger, path, settings, place, now)
        household = _with_usable_channels(household, problems)
    except _CannotBeUsedError as why:
        raise _with_reason(error, str(why)) from None
    reason = one_line(error.lines[0], MAX_REASON)
    log.error("collection.from_before file=%s since=%s reason=%s", path.name, kept.since, reason)
    return household


class _CannotBeUsedError(Exception):
    """The collection that was last in force cannot be used; the text says why."""


def _with_reason(error: ConfigError, why: str) -> ConfigError:
    return ConfigError([*error.lines, f"{NOT_USED}: {one_line(why, MAX_REASON)}"])


def _usable(
    kept: KeptCollection,
    ledger: Ledger,
    path: Path,
    settings: Settings,
    place: Place | None,
    now: datetime,
) -> Household:
    """Return the household of a kept collection. Raise _CannotBeUsedError."""
    tick = ledger.marks.get(TICK_MARK)
    last = kept.since if tick is None else max(kept.since, tick.at)
    if now - last > MAX_AWAY:
        msg = f"sillward has not run since {last:%d %b %Y}, and much may have changed"
        raise _CannotBeUsedError(msg)
    urls = kept_tables.channel_urls(path)
    try:
        tables = kept_tables.unpacked(kept.tables)
        try:
            household = household_of_tables(tables, path, settings, place, urls)
        except ConfigError:  # a file beside it may be what is wrong
            tables = kept_tables.without_other_files(tables)
            household = household_of_tables(tables, path, settings, place, urls)
    except (ValueError, ConfigError) as error:
        raise _CannotBeUsedError(str(error)) from None
    there = kept_tables.read_place(path)
    site = household.collection.site
    if there is not None and not (
        abs(there[0] - site.latitude) <= MAX_MOVED_DEG
        and abs(there[1] - site.longitude) <= MAX_MOVED_DEG
    ):
        msg = f"it is for another place ({site.latitude:g}, {site.longitude:g})"
        raise _CannotBeUsedError(msg)
    return household


def _with_usable_channels(household: Household, problems: Problems) -> Household:
    """Return a household with those channels that can tell somebody something."""
    channels = household.channels
    wrong = problems(channels)
    for channel, problem in zip(channels, wrong, strict=True):
        if problem is not None:
            log.error("collection.channel_left_out name=%s reason=%s", channel.name, problem)
    usable = tuple(
        channel for channel, problem in zip(channels, wrong, strict=True) if problem is None
    )
    if not any(channel.rounds for channel in usable):
        msg = "no channel of it can be used, so nobody would be told"
        raise _CannotBeUsedError(msg)
    return replace(household, channels=usable)
