"""The calendar file: what goes into it, when it is rewritten, and how.

Nothing here may hold up a notice: a failure is logged, and tried again later.
"""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from sillward import files
from sillward.errors import CalendarError, ConfigError, NotOursError, SillwardError
from sillward.ical.events import KEPT, SiteCalendar, events_of, superseded
from sillward.ical.ics import PRODUCT, to_ics
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

RETRY_AFTER = timedelta(minutes=10)
"""How long to wait after the file could not be written. Judgement: a full disk does not empty soon,
and a calendar is not urgent."""

BEGINNING = b"BEGIN:VCALENDAR"
MADE_BY = f"\r\nPRODID:{PRODUCT}\r\n".encode()

HEAD = 500
"""Bytes at the beginning of a calendar that show whether sillward wrote it."""

log = logging.getLogger(__name__)


class CalendarPublisher:
    """Publishes one calendar file for all the desks of a daemon."""

    def __init__(self, path: Path, contexts: Sequence[ServiceContext]) -> None:
        self._path, self._contexts = path, contexts
        self._published: list[object] = []
        """Fingerprints of what the file was last made of, one for each site."""
        self._failed_at: datetime | None = None

    def update(self) -> None:
        """Rewrite the file if what it shows has changed. Never raise."""
        now = self._contexts[0].clock()
        failed = self._failed_at
        if now < EARLIEST or (failed is not None and timedelta(0) <= now - failed < RETRY_AFTER):
            return
        try:
            current = [_fingerprint(context) for context in self._contexts]
            if current == self._published and self._path.exists():
                return
            calendars = [_calendar_of(context) for context in self._contexts]
            write_calendar(self._path, to_ics(calendars))
        except SillwardError as error:
            self._failed_at = now
            log.warning("calendar.failed reason=%s", error)
        except Exception:
            self._failed_at = now
            log.exception("calendar.failed")
        else:
            self._published, self._failed_at = current, None


def _fingerprint(context: ServiceContext) -> object:
    """Return a hash of what a site's calendar depends on, cheap enough for every tick."""
    now, site = context.clock(), context.site
    best = context.forecasts.best(site)
    forecast = None if best is None else (best.source.name, best.saved.changed_at)
    told = context.ledger.chores.stored_since(site.name, now - KEPT)
    states = sorted(
        context.ledger.plant_states.of_site(site.name).items(), key=lambda state: state[0]
    )
    today, page = site.local_date(now), _page(context)
    return hash((today, forecast, context.has_forecast(), page, *told, *states))


def _calendar_of(context: ServiceContext) -> SiteCalendar:
    now = context.clock()
    expected = expected_trips(context.collection, context.weather(), context.states(), now)
    context.run.step_done()
    return site_calendar(context.ledger, context.voice, expected, now, _page(context))


def _page(context: ServiceContext) -> str:
    """Return the address of the page, to which events lead; empty if there is none."""
    return "" if context.links is None else context.links.page


def expected_trips(
    collection: Collection, weather: Weather, state: State, now: datetime
) -> tuple[Chore, ...]:
    """Return the trips in and out of the week ahead; none if the forecast is too old to be used."""
    if not weather.reaches(now) or weather.freshness(now) is Freshness.EXPIRED:
        return ()
    ahead = draw_up(Round.WEEK, collection, weather, state, now).outlook
    return () if ahead is None else ahead.chores


def site_calendar(
    ledger: Ledger, voice: Voice, expected: Sequence[Chore], now: datetime, page: str = ""
) -> SiteCalendar:
    """Return what the calendar shows of a site, and store new versions of its events.

    expected: the trips of the days ahead; they are left out once a round has told of their day.
    page: the address to which its events lead; empty for none.
    Raise LedgerError.
    """
    site = voice.site
    told = ledger.chores.due_since(site.name, now - KEPT)
    mornings = {chore.day: _enqueued_at(ledger, site, Round.MORNING, chore.day) for chore in told}
    events = events_of(
        superseded(told, {day: at for day, at in mornings.items() if at is not None}),
        [trip for trip in expected if not _was_told(ledger, site, trip)],
        voice,
        now,
    )
    events = [replace(event, url=page) for event in events]
    digests = {event.id: event.digest for event in events}
    return SiteCalendar(voice, events, ledger.calendar_events.versions(site.name, digests, now))


def _was_told(ledger: Ledger, site: Site, trip: Chore) -> bool:
    """Whether the round that would include this trip has been told, with the trip or without it."""
    day = trip.day
    if trip.kind is ChoreKind.CARRY_IN:
        return _enqueued_at(ledger, site, Round.DUSK, day) is not None
    eve = str(date.fromisoformat(day) - timedelta(days=1))
    rounds = ((Round.MORNING, day), (Round.DUSK, eve))
    return any(_enqueued_at(ledger, site, round_, day) is not None for round_, day in rounds)


def _enqueued_at(ledger: Ledger, site: Site, round_: Round, day: str) -> datetime | None:
    return ledger.rounds.enqueued_at(site.name, round_.value, date.fromisoformat(day))


def write_calendar(path: Path, content: bytes) -> None:
    """Write the file whole or not at all, unless it has this content. Raise CalendarError.

    An existing file keeps its mode, so that it has to be opened to other readers only once. A file
    that is not a calendar of sillward's is never overwritten, but an empty one is.
    """
    with _as_calendar_error(path):
        place = _place(path, len(content) + 1)
        if place.head == content:
            return
        files.write_to(place, content, mode=files.PRIVATE_MODE)


def check_place(path: Path) -> None:
    """Raise ConfigError if no calendar can be written at this path."""
    try:
        with _as_calendar_error(path):
            _place(path, HEAD)
    except CalendarError as error:
        raise ConfigError([str(error)]) from error


@contextmanager
def _as_calendar_error(path: Path) -> Iterator[None]:
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
