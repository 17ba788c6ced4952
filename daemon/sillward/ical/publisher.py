"""The calendar's file: what goes into it, when it is written anew, and how.

Nothing here may hold up a notice: what fails is logged, and tried again later.
"""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path

from sillward import files
from sillward.errors import CalendarError, ConfigError, NotOursError, SillwardError
from sillward.ical.events import KEPT, PRODUCT, Page, events_of, superseded, to_ics
from sillward.ledger import Ledger
from sillward.service.context import ServiceContext
from sillward.service.desk import EARLIEST
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Freshness, Weather
from sillward_rules.weather.site import Site

AGAIN = timedelta(minutes=10)
"""After a file that could not be written. Judgement."""

BEGINNING = b"BEGIN:VCALENDAR"
MADE_BY = f"\r\nPRODID:{PRODUCT}\r\n".encode()

HEAD = 500
"""Bytes of a calendar's beginning that say whose it is."""

log = logging.getLogger(__name__)


class CalendarPublisher:
    """Keeps one file for all the desks of a daemon."""

    def __init__(self, path: Path, contexts: Sequence[ServiceContext]) -> None:
        self._path, self._contexts = path, contexts
        self._seen: list[object] = []
        """What the file was made of last."""
        self._failed_at: datetime | None = None

    def keep(self) -> None:
        """Write the file if it is not as it should be any more. Never raise."""
        now = self._contexts[0].clock()
        failed = self._failed_at
        if now < EARLIEST or (failed is not None and timedelta(0) <= now - failed < AGAIN):
            return
        try:
            seen = [_seen(context) for context in self._contexts]
            if seen == self._seen and self._path.exists():
                return
            put(self._path, to_ics([_page(context) for context in self._contexts]))
        except SillwardError as error:
            self._failed_at = now
            log.warning("calendar.failed reason=%s", error)
        except Exception:
            self._failed_at = now
            log.exception("calendar.failed")
        else:
            self._seen, self._failed_at = seen, None


def _seen(context: ServiceContext) -> object:
    """What a site's page depends on, as far as it is cheap to ask at every tick."""
    now, site = context.clock(), context.site
    best = context.keeper.shelf.best(site)
    forecast = None if best is None else (best.source.name, best.stored.changed_at)
    told = context.ledger.chores.stored_since(site.name, now - KEPT)
    stand = sorted(context.ledger.plants.states(site.name).items(), key=lambda one: one[0])
    return hash((site.local_date(now), forecast, context.has_forecast(), *told, *stand))


def _page(context: ServiceContext) -> Page:
    now = context.clock()
    expected = trips(context.household.collection, context.weather(), context.states(), now)
    context.run.step_done()
    return page(context.ledger, context.voice, expected, now)


def trips(
    collection: Collection, weather: Weather, state: State, now: datetime
) -> tuple[Chore, ...]:
    """The carrying that a forecast lets expect; none by a forecast that one cannot go by."""
    if not weather.reaches(now) or weather.freshness(now) is Freshness.EXPIRED:
        return ()
    ahead = draw_up(Round.WEEK, collection, weather, state, now).outlook
    return () if ahead is None else ahead.chores


def page(ledger: Ledger, voice: Voice, expected: Sequence[Chore], now: datetime) -> Page:
    """What the calendar shows of a site.

    expected: the trips of the days ahead; those that a round has spoken of are left out, for what
    was told stands for them. New versions of events are written down. Raise LedgerError.
    """
    site = voice.site
    told = ledger.chores.due_since(site.name, now - KEPT)
    mornings = {one.day: _told_at(ledger, site, Round.MORNING, one.day) for one in told}
    events = events_of(
        superseded(told, {day: at for day, at in mornings.items() if at is not None}),
        [one for one in expected if not _spoken_of(ledger, site, one)],
        voice,
        now,
    )
    digests = {event.id: event.digest for event in events}
    return Page(voice, events, ledger.calendar.versions(site.name, digests, now))


def _spoken_of(ledger: Ledger, site: Site, trip: Chore) -> bool:
    """Whether the round that tells such a trip has been told: it is told then, or not needed."""
    day = trip.id[:10]
    if trip.kind is ChoreKind.CARRY_IN:
        return _told_at(ledger, site, Round.DUSK, day) is not None
    eve = str(date.fromisoformat(day) - timedelta(days=1))
    rounds = ((Round.MORNING, day), (Round.DUSK, eve))
    return any(_told_at(ledger, site, *one) is not None for one in rounds)


def _told_at(ledger: Ledger, site: Site, round_: Round, day: str) -> datetime | None:
    return ledger.rounds.told_at(site.name, round_.value, date.fromisoformat(day))


def put(path: Path, content: bytes) -> None:
    """Write the file whole or not at all, unless it has this content. Raise CalendarError.

    A file that is there keeps its mode, so that who wants others to read it says so once. What is
    not a calendar of ours is not written over; an empty file may be put there first.
    """
    with _told_as_calendar_error(path):
        place = _place(path, len(content) + 1)
        if place.head == content:
            return
        files.write_to(place, content, mode=files.PRIVATE_MODE)


def check_place(path: Path) -> None:
    """Raise ConfigError for a place where no calendar can be written."""
    try:
        with _told_as_calendar_error(path):
            _place(path, HEAD)
    except CalendarError as error:
        raise ConfigError([str(error)]) from error


@contextmanager
def _told_as_calendar_error(path: Path) -> Iterator[None]:
    try:
        yield
    except NotOursError as error:
        msg = f"calendar {error}"
        raise CalendarError(msg) from error
    except (OSError, ValueError) as error:  # ValueError: a null in the name
        reason = error.strerror if isinstance(error, OSError) else None
        msg = f"calendar {path}: {reason or error}"
        raise CalendarError(msg) from error


def _place(path: Path, most: int) -> files.Destination:
    place = files.destination(path, _is_ours, max(most, HEAD))
    if not place.file.parent.is_dir():
        msg = f"calendar {path}: there is no folder {place.file.parent}"
        raise CalendarError(msg)
    return place


def _is_ours(content: bytes) -> bool:
    head = content[:HEAD]
    return not head or (head.startswith(BEGINNING) and MADE_BY in head)
