"""The calendar of the chores as an iCalendar file (RFC 5545, RFC 7986), for any calendar program.

A view and never the alert: whoever subscribes to it fetches it hours later. Pure: what was told and
what is expected in, bytes out.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from hashlib import sha256
from uuid import UUID, uuid5

from sillward.ledger import EventVersion, StoredChore
from sillward.ledger.chore_codec import chore_of
from sillward.wording import full_sheet, phrases
from sillward.wording.voice import Voice
from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.weather.site import Site

LENGTH = timedelta(minutes=30)
"""Of an event that has no window of its own: up to its deadline, for going out from its hour on.
Judgement: one walk."""

KEPT = timedelta(days=7)
"""What was to do stays in the calendar so long after its deadline. Judgement: a week's view."""

CANCELLED_KEPT = timedelta(days=3)
"""... and so long if it was called off: well beyond the half day that some services take to fetch a
calendar again. Judgement."""

LATEST = timedelta(days=2)
"""A chore that was told for later than this was told by a clock that was ahead: rounds speak of
today and tomorrow."""

EXPECTED_STEP = timedelta(minutes=30)
"""The hours of expected trips are rounded to this, to the safe side: more they are not worth, and a
forecast that says nearly the same changes nothing. Judgement."""

NAME_STEPS = (20, 12, 8, 5, 3)
"""Names in a line of a description: the first of these with at most `MOST_OF_NAMES` characters.
Judgement: beyond it nobody reads on a phone."""

MOST_OF_NAMES = 400
"""Characters of the names in a line. Judgement."""

MOST_SUMMARY = 120
"""Characters of a summary; week views show some 30. Judgement."""

MOST_SITE = 60
"""Characters of a site's name. Judgement."""

MOST_LINE = 700
"""Characters of a line of a description. Judgement."""

MOST_DESCRIPTION = 1500
"""Characters of a description. Judgement: a screen of a phone or two."""

REFRESH = timedelta(hours=1)
"""How often a subscriber may fetch it again, by RFC 7986 section 5.7 and, for Outlook, MS-OXCICAL
(X-PUBLISHED-TTL). Judgement; many fetch by a plan of their own."""

PRODUCT = "-//sillward//sillward//EN"

_NO_TEXT = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")
"""Control characters (RFC 5545 section 3.1), what some readers take for the end of a line, and
halves of surrogate pairs, which no file can hold."""

_UIDS = UUID("6f1c2a52-0c77-4a43-9a52-3d0f6f6b8f3e")  # made up; ours alone


class Status(Enum):
    """How sure an event is, as RFC 5545 section 3.8.1.11 spells it."""

    TENTATIVE = "TENTATIVE"
    CONFIRMED = "CONFIRMED"
    CANCELLED = "CANCELLED"


@dataclass(frozen=True, slots=True)
class Event:
    """A chore as a calendar shows it.

    id: the chore's, or the day's and way's of trips that are expected. start, end: in UTC, or two
    dates for what holds all day.
    """

    id: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str
    status: Status
    category: str

    @property
    def digest(self) -> str:
        """Another one for another content."""
        times = self.start.isoformat(), self.end.isoformat()
        content = [*times, self.summary, self.description, self.status.value, self.category]
        return sha256(json.dumps(content).encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class Page:
    """The events of a site with the version of each, by the event's id."""

    voice: Voice
    events: Sequence[Event]
    versions: Mapping[str, EventVersion]


def events_of(
    told: Sequence[StoredChore], expected: Sequence[Chore], voice: Voice, now: datetime
) -> list[Event]:
    """The events of what was told, and tentative ones of trips that no round has spoken of yet.

    expected: walks in and out. Those of a day are one event each way: they are no orders, and a
    week of them must be easy to look over. It goes when a round tells the walks. A plant that was
    told for that day is not expected to go the same way again.
    """
    shown = [one for one in told if _belongs(one, now)]
    events = [_of_told(one, voice) for one in shown]
    spoken_of = {(one.day, one.kind, name) for one in shown for name in one.plants}
    trips: dict[tuple[str, ChoreKind], list[tuple[Chore, list[str]]]] = {}
    for walk in expected:
        day, kind = walk.id[:10], walk.kind
        plants = [name for name in walk.plants if (day, kind.value, name) not in spoken_of]
        if plants:
            trips.setdefault((day, kind), []).append((walk, plants))
    events += [_of_expected(day, kind, walks, voice) for (day, kind), walks in trips.items()]
    return sorted(events, key=lambda one: (one.id[:10], str(one.start), one.id))


def superseded(told: Sequence[StoredChore], mornings: Mapping[str, datetime]) -> list[StoredChore]:
    """The chores, those called off of the next day that the dusk told and the morning does not.

    What the morning round tells again is its own by then.
    mornings: when the morning round of each local date was told.
    """
    return [
        replace(one, called_off_at=mornings[one.day])
        if one.open and _of_next_day(one) and one.day in mornings
        else one
        for one in told
    ]


def _of_next_day(told: StoredChore) -> bool:
    """Whether it is the dusk round's word on the day after."""
    day_out = told.kind == ChoreKind.CARRY_OUT.value
    day_in = told.kind == ChoreKind.STAY_IN.value and told.document["not_before"] is not None
    return told.round.startswith("dusk") and (day_out or day_in)


def _belongs(told: StoredChore, now: datetime) -> bool:
    kept = KEPT if told.called_off_at is None else CANCELLED_KEPT
    return now - kept <= told.before <= now + LATEST


def _of_told(told: StoredChore, voice: Voice) -> Event:
    chore = chore_of(told.document)
    lines = _reasons(chore, voice)
    status, note = Status.CONFIRMED, ""
    if told.done_at is not None:
        note = "done"
        lines = [voice.say("event_done", at=told.done_at), *lines]
    elif told.called_off_at is not None:
        status, note = Status.CANCELLED, "not needed"
        lines = [voice.say("event_off", at=told.called_off_at), *lines]
    start, end = _span(chore, date.fromisoformat(told.day))
    return Event(
        id=told.id,
        start=start,
        end=end,
        summary=_summary(_head(chore, voice), note, chore.plants, phrases.way(chore), voice),
        description=_description(lines, voice),
        status=status,
        category=voice.say("kind", name=chore.kind.value),
    )


def _of_expected(
    day: str, kind: ChoreKind, walks: Sequence[tuple[Chore, list[str]]], voice: Voice
) -> Event:
    hours = [_expected_hour(walk, voice.site) for walk, _ in walks]
    into = kind is ChoreKind.CARRY_IN
    start = min(hours) - (LENGTH if into else timedelta(0))
    lines = [] if kind is ChoreKind.CARRY_OUT else [_coldest([walk for walk, _ in walks], voice)]
    for hour, (walk, plants) in sorted(zip(hours, walks, strict=True), key=lambda one: one[0]):
        before, start_ = (voice.hour(hour), "") if into else ("", voice.hour(hour))
        way, who = phrases.way(walk), _who(plants, voice)
        lines.append(voice.say("event_walk", before=before, start=start_, way=way, who=who))
    lines.append(voice.say("event_expected"))
    everybody = [name for _, plants in walks for name in plants]
    ways = {phrases.way(walk) for walk, _ in walks}
    where = ways.pop() if len(ways) == 1 else ""
    return Event(
        id=f"{day}-expected-{kind.value}",
        start=start,
        end=start + LENGTH,
        summary=_summary(_event(kind, voice), "expected", everybody, where, voice),
        description=_description(lines, voice),
        status=Status.TENTATIVE,
        category=voice.say("kind", name=kind.value),
    )


def _expected_hour(walk: Chore, site: Site) -> datetime:
    """The hour that matters of a walk, in steps of `EXPECTED_STEP` of the site's clocks."""
    out = walk.kind is ChoreKind.CARRY_OUT
    at = _utc((walk.not_before if out else None) or walk.before)
    local = at.astimezone(site.zone)
    spare = timedelta(minutes=local.minute, seconds=local.second) % EXPECTED_STEP
    return at - spare + (EXPECTED_STEP if out and spare else timedelta(0))


def _coldest(walks: Sequence[Chore], voice: Voice) -> str:
    """What carrying in is expected for, as roughly as days ahead are known."""
    reason = phrases.deciding(walks)
    if reason.value is None:
        return voice.say("night_not_known")
    return voice.say(
        "event_coldest",
        quantity=reason.quantity,
        above=reason.above,
        value=voice.measure(reason.value, reason.unit, 0),
        chance=phrases.chance([reason], voice),
    )


def _span(chore: Chore, day: date) -> tuple[datetime | date, datetime | date]:
    """From when to when a chore is in the calendar."""
    if chore.kind in (ChoreKind.STAY_IN, ChoreKind.STOP_WETTING):
        return day, day + timedelta(days=1)
    start, end = _utc(chore.not_before or chore.before), _utc(chore.before)
    if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
        return start, start + LENGTH
    if chore.kind in WETTINGS and start < end:
        return start, end
    return end - LENGTH, end


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)


def _summary(event: str, note: str, plants: Sequence[str], where: str, voice: Voice) -> str:
    """ "In (done): 5 plants, pergola > sunroom"."""
    who = plants[0] if len(plants) == 1 else voice.plants(len(plants))
    text = voice.say("event_head", event=event, note=note, who=who, where=where)
    return _cut(text, MOST_SUMMARY)


def _who(plants: Sequence[str], voice: Voice) -> str:
    tried = (voice.names(plants, most) for most in NAME_STEPS)
    return next((text for text in tried if len(text) <= MOST_OF_NAMES), voice.names(plants, 0))


def _head(chore: Chore, voice: Voice) -> str:
    until = None if phrases.no_wetting(chore) else voice.hour(chore.before)
    return _event(chore.kind, voice, tonight=chore.not_before is None, until=until)


def _event(
    kind: ChoreKind, voice: Voice, *, tonight: bool = False, until: str | None = None
) -> str:
    return voice.say("event", kind=kind.value, tonight=tonight, until=until)


def _reasons(chore: Chore, voice: Voice) -> list[str]:
    """A line for plants that have the same reason."""
    alike: dict[str, list[str]] = {}
    for reason in chore.because:
        alike.setdefault(full_sheet.because(reason, chore, voice), []).append(reason.plant)
    return [f"{_who(names, voice)}: {text}" for text, names in alike.items()]


def _description(lines: Sequence[str], voice: Voice) -> str:
    """The lines that there is room for, and that this is no alert."""
    told: list[str] = []
    room = MOST_DESCRIPTION
    for number, line in enumerate(lines):
        text = _cut(line, MOST_LINE)
        room -= len(text) + 1
        if room < 0:
            told.append(voice.say("event_more", lines=len(lines) - number))
            break
        told.append(text)
    return "\n".join([*told, voice.say("no_alert")])


def _cut(text: str, most: int) -> str:
    """The text in one line without what no calendar may hold; what is cut off shows."""
    whole = _NO_TEXT.sub(" ", text).strip()
    return whole if len(whole) <= most else f"{whole[: most - 3]}..."


def uid_of(site: Site, event_id: str) -> str:
    """A UUID for an event: the same every time, and nobody reads a name out of it.

    RFC 7986 section 5.3: nothing in it may say who or where one is.
    """
    return str(uuid5(_UIDS, f"{site.name}\0{event_id}"))


def to_ics(pages: Sequence[Page]) -> bytes:
    """The file, of one page or more. The same pages give the same bytes: nothing is written twice.

    DTSTAMP says when an event last changed, as LAST-MODIFIED does, and not when the file was made.
    """
    import icalendar  # 10 MB that nobody needs who has no calendar

    text = icalendar.vText
    first = pages[0].voice
    name = "sillward" if len(pages) > 1 else f"{_cut(first.site.name, MOST_SITE)} (sillward)"
    about = first.say("calendar_about")
    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", PRODUCT)
    calendar.add("method", "PUBLISH")
    # The library knows some of these names only since a version: the type is said each time.
    for key, value in (
        ("name", name),
        ("x-wr-calname", name),
        ("description", about),
        ("x-wr-caldesc", about),
    ):
        calendar.add(key, text(value))
    calendar.add("refresh-interval", icalendar.vDuration(REFRESH), {"VALUE": "DURATION"})
    calendar.add("x-published-ttl", text(f"PT{REFRESH // timedelta(hours=1)}H"))
    for page in pages:
        for event in page.events:
            version = page.versions[event.id]
            entry = icalendar.Event()
            entry.add("uid", text(uid_of(page.voice.site, event.id)))
            entry.add("sequence", version.sequence)
            entry.add("dtstamp", version.changed_at)
            entry.add("last-modified", version.changed_at)
            entry.add("dtstart", event.start)
            entry.add("dtend", event.end)
            entry.add("summary", text(event.summary))
            entry.add("description", text(event.description))
            if len(pages) > 1:
                entry.add("location", text(_cut(page.voice.site.name, MOST_SITE)))
            entry.add("status", event.status.value)
            entry.add("categories", [event.category])
            entry.add("class", "PRIVATE")
            entry.add("transp", "TRANSPARENT")
            calendar.add_component(entry)
    written: bytes = calendar.to_ical(sorted=False)
    return written
