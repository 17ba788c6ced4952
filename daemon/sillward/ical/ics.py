"""Calendars written as an iCalendar file (RFC 5545, RFC 7986), for any calendar program."""

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from sillward.ical.events import Event, SiteCalendar, one_line_for_file
from sillward.ledger import CalendarEventVersion
from sillward.wording.voice import Voice
from sillward_rules.weather.site import Site

if TYPE_CHECKING:
    import icalendar

REFRESH = timedelta(hours=1)
"""How often a subscriber may fetch the file, by RFC 7986 section 5.7 and, for Outlook, MS-OXCICAL
(X-PUBLISHED-TTL). Judgement: as often as a forecast changes; many subscribers choose for
themselves."""

PRODUCT = "-//sillward//sillward//EN"

MAX_SITE = 60
"""Characters of a site's name. Judgement: what a list of calendars shows."""

_UID_NAMESPACE = UUID("6f1c2a52-0c77-4a43-9a52-3d0f6f6b8f3e")  # random, used for nothing else


def uid_of(site: Site, event_id: str) -> str:
    """Return a UUID for an event: the same every time, and no name can be read out of it.

    RFC 7986 section 5.3: it must not reveal who or where the user is.
    """
    return str(uuid5(_UID_NAMESPACE, f"{site.name}\0{event_id}"))


def to_ics(calendars: Sequence[SiteCalendar]) -> bytes:
    """Return the file, for the calendars of one site or more.

    The same calendars give the same bytes: DTSTAMP says when an event last changed, as
    LAST-MODIFIED does, and not when the file was made.
    """
    file = _empty_calendar(calendars)
    for calendar in calendars:
        site = calendar.voice.site
        for event in calendar.events:
            version = calendar.versions[event.id]
            file.add_component(_entry(event, version, site, with_location=len(calendars) > 1))
    content: bytes = file.to_ical(sorted=False)
    return content


def _empty_calendar(calendars: Sequence[SiteCalendar]) -> "icalendar.Calendar":
    """Return a calendar with its name and description, without events."""
    import icalendar  # 10 MB that a household without a calendar does not need

    first: Voice = calendars[0].voice
    one_site = f"{one_line_for_file(first.site.label, MAX_SITE)} (sillward)"
    name = "sillward" if len(calendars) > 1 else one_site
    about = first.say("calendar_about")
    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", PRODUCT)
    calendar.add("method", "PUBLISH")
    # Older versions of the library do not know the types of these names, so each is given.
    for key, value in (
        ("name", name),
        ("x-wr-calname", name),
        ("description", about),
        ("x-wr-caldesc", about),
    ):
        calendar.add(key, icalendar.vText(value))
    calendar.add("refresh-interval", icalendar.vDuration(REFRESH), {"VALUE": "DURATION"})
    ttl = icalendar.vText(f"PT{REFRESH // timedelta(hours=1)}H")
    calendar.add("x-published-ttl", ttl)
    return calendar


def _entry(
    event: Event, version: CalendarEventVersion, site: Site, *, with_location: bool
) -> "icalendar.Event":
    """Return an event as a component of the file."""
    import icalendar

    entry = icalendar.Event()
    entry.add("uid", icalendar.vText(uid_of(site, event.id)))
    entry.add("sequence", version.sequence)
    entry.add("dtstamp", version.changed_at)
    entry.add("last-modified", version.changed_at)
    entry.add("dtstart", event.start)
    entry.add("dtend", event.end)
    entry.add("summary", icalendar.vText(event.summary))
    entry.add("description", icalendar.vText(event.description))
    if with_location:
        entry.add("location", icalendar.vText(one_line_for_file(site.label, MAX_SITE)))
    if event.url:
        entry.add("url", event.url)
    entry.add("status", event.status.value)
    entry.add("categories", [event.category])
    entry.add("class", "PRIVATE")
    entry.add("transp", "TRANSPARENT")
    return entry
