"""The chores as events of a calendar: those that were told, and the trips that are expected.

The calendar is a view and never the alert, because a subscriber may fetch it hours later. This
module is pure; `ics` writes the events as a file.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from hashlib import sha256

from sillward.ledger import CalendarEventVersion, StoredChore
from sillward.wording import chore_phrases, full_sheet, reason_phrases
from sillward.wording.voice import Voice
from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.weather.site import Site

LENGTH = timedelta(minutes=30)
"""Length of an event without a window of its own; it ends at its deadline, and begins at its hour
for carrying out. Judgement: one trip."""

KEPT = timedelta(days=7)
"""How long a chore stays in the calendar after its deadline. Judgement: a week's view."""

CANCELLED_KEPT = timedelta(days=3)
"""How long a chore stays that was called off. Judgement: well beyond the half day that some
services take to fetch a calendar again."""

LATEST = timedelta(days=2)
"""A chore that is due later than this was told while the clock was ahead, because rounds speak of
today and tomorrow only."""

EXPECTED_STEP = timedelta(minutes=30)
"""The hours of expected trips are rounded to this, to the safe side. Judgement: they are not known
more exactly, and a forecast that says nearly the same then changes no event."""

NAME_STEPS = (20, 12, 8, 5, 3)
"""Numbers of names to try in a line of a description, until they fit in `MAX_NAMES_LENGTH`."""

MAX_NAMES_LENGTH = 400
"""Characters of the names in a line. Judgement: longer lists are not read on a phone."""

MAX_SUMMARY = 120
"""Characters of a summary. Judgement: week views show some 30, lists a line or two."""

MAX_LINE = 700
"""Characters of a line of a description. Judgement: names and a reason fit."""

MAX_DESCRIPTION = 1500
"""Characters of a description. Judgement: a screen of a phone or two."""

_NOT_TEXT = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")
"""Control characters (RFC 5545 section 3.1), characters that some readers take for the end of a
line, and halves of surrogate pairs, which no file can hold."""


class Status(Enum):
    """The status of an event, in the words of RFC 5545 section 3.8.1.11."""

    TENTATIVE = "TENTATIVE"
    CONFIRMED = "CONFIRMED"
    CANCELLED = "CANCELLED"


@dataclass(frozen=True, slots=True)
class Event:
    """A chore as a calendar shows it.

    id: the id of the chore; for expected trips it is made of day and direction.
    start, end: times in UTC, or two dates for what lasts all day.
    """

    id: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str
    status: Status
    category: str
    url: str = ""
    """Where it can be answered; empty for nowhere."""

    @property
    def digest(self) -> str:
        """Return a digest of the content: it changes when the event does."""
        times = self.start.isoformat(), self.end.isoformat()
        content = [*times, self.summary, self.description, self.status.value, self.category]
        content += [self.url] if self.url else []
        return sha256(json.dumps(content).encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class SiteCalendar:
    """The events of a site.

    versions: the version of each event, by its id.
    """

    voice: Voice
    events: Sequence[Event]
    versions: Mapping[str, CalendarEventVersion]


def events_of(
    told: Sequence[StoredChore], expected: Sequence[Chore], voice: Voice, now: datetime
) -> list[Event]:
    """Return the events of chores that were told, and tentative ones of expected trips.

    expected: trips in and out that no round has told yet. Those of a day are one event for each
    direction: they are no orders, and a week of them must be easy to look over. A plant that was
    told to go one way on a day is not expected to go the same way again.
    """
    shown = [stored for stored in told if _is_shown(stored, now)]
    events = [_told_event(stored, voice) for stored in shown]
    told_plants = {(stored.day, stored.kind, name) for stored in shown for name in stored.plants}
    trips: dict[tuple[str, ChoreKind], list[tuple[Chore, list[str]]]] = {}
    for trip in expected:
        day, kind = trip.day, trip.kind
        plants = [name for name in trip.plants if (day, kind, name) not in told_plants]
        if plants:
            trips.setdefault((day, kind), []).append((trip, plants))
    events += [_expected_event(day, kind, one_way, voice) for (day, kind), one_way in trips.items()]
    return sorted(events, key=lambda event: (event.id[:10], str(event.start), event.id))


def superseded(told: Sequence[StoredChore], mornings: Mapping[str, datetime]) -> list[StoredChore]:
    """Return the chores, with those called off that the dusk round told and the morning did not.

    The morning round tells the chores of its day again as its own. What an earlier dusk round told
    for that day, and is still open, is no longer needed.

    mornings: when the morning round of each local date was told.
    """
    return [
        replace(stored, called_off_at=mornings[stored.day])
        if stored.open and stored.is_of_next_day and stored.day in mornings
        else stored
        for stored in told
    ]


def _is_shown(told: StoredChore, now: datetime) -> bool:
    kept = KEPT if told.called_off_at is None else CANCELLED_KEPT
    return now - kept <= told.before <= now + LATEST


def _told_event(told: StoredChore, voice: Voice) -> Event:
    """Return the event of a chore that was told, in the state it is in."""
    chore = told.chore
    lines = _reasons(chore, voice)
    status, note = Status.CONFIRMED, ""
    if told.done_at is not None:
        note = "done"
        lines = [voice.say("event_done", at=told.done_at), *lines]
    elif told.declined_at is not None:
        note = "not needed"
        lines = [voice.say("event_not_needed", at=told.declined_at), *lines]
    elif told.called_off_at is not None:
        status, note = Status.CANCELLED, "not needed"
        lines = [voice.say("event_off", at=told.called_off_at), *lines]
    start, end = _span(chore, date.fromisoformat(told.day))
    return Event(
        id=told.id,
        start=start,
        end=end,
        summary=_summary(
            _chore_name(chore, voice), note, chore.plants, chore_phrases.way(chore), voice
        ),
        description=_description(lines, voice),
        status=status,
        category=voice.say("kind", name=chore.kind.value),
    )


def _expected_event(
    day: str, kind: ChoreKind, trips: Sequence[tuple[Chore, list[str]]], voice: Voice
) -> Event:
    """Return the tentative event of a day's trips in one direction, each with its plants."""
    hours = [_expected_hour(trip, voice.site) for trip, _ in trips]
    goes_in = kind is ChoreKind.CARRY_IN
    start = min(hours) - (LENGTH if goes_in else timedelta(0))
    lines = [] if kind is ChoreKind.CARRY_OUT else [_coldest([trip for trip, _ in trips], voice)]
    for hour, (trip, plants) in sorted(zip(hours, trips, strict=True), key=lambda timed: timed[0]):
        before, since = (voice.hour(hour), "") if goes_in else ("", voice.hour(hour))
        way, who = chore_phrases.way(trip), _names(plants, voice)
        lines.append(voice.say("event_walk", before=before, start=since, way=way, who=who))
    lines.append(voice.say("event_expected"))
    all_plants = [name for _, plants in trips for name in plants]
    ways = {chore_phrases.way(trip) for trip, _ in trips}
    where = ways.pop() if len(ways) == 1 else ""
    return Event(
        id=f"{day}-expected-{kind.value}",
        start=start,
        end=start + LENGTH,
        summary=_summary(_event_name(kind, voice), "expected", all_plants, where, voice),
        description=_description(lines, voice),
        status=Status.TENTATIVE,
        category=voice.say("kind", name=kind.value),
    )


def _expected_hour(trip: Chore, site: Site) -> datetime:
    """Return when a trip out may begin or a trip in must end, in steps of `EXPECTED_STEP`."""
    out = trip.kind is ChoreKind.CARRY_OUT
    at = _utc((trip.not_before if out else None) or trip.before)
    local = at.astimezone(site.zone)
    spare = timedelta(minutes=local.minute, seconds=local.second) % EXPECTED_STEP
    return at - spare + (EXPECTED_STEP if out and spare else timedelta(0))


def _coldest(trips: Sequence[Chore], voice: Voice) -> str:
    """Return why carrying in is expected, in full degrees: days ahead are known no better."""
    reason = reason_phrases.deciding_reason(trips)
    if reason.value is None:
        return voice.say("night_not_known")
    return voice.say(
        "event_coldest",
        quantity=reason.quantity,
        above=reason.above,
        value=voice.measure(reason.value, reason.unit, 0),
        chance=reason_phrases.chance([reason], voice),
    )


def _span(chore: Chore, day: date) -> tuple[datetime | date, datetime | date]:
    """Return start and end of a chore's event: two moments, or two dates if it lasts all day."""
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
    """Return "In (done): 5 plants, pergola > sunroom"."""
    who = plants[0] if len(plants) == 1 else voice.plants(len(plants))
    text = voice.say("event_head", event=event, note=note, who=who, where=where)
    return one_line_for_file(text, MAX_SUMMARY)


def _names(plants: Sequence[str], voice: Voice) -> str:
    """Return as many names as there is room for, or only their number."""
    tried = (voice.names(plants, most) for most in NAME_STEPS)
    return next((text for text in tried if len(text) <= MAX_NAMES_LENGTH), voice.names(plants, 0))


def _chore_name(chore: Chore, voice: Voice) -> str:
    until = None if chore_phrases.forbids_wetting(chore) else voice.hour(chore.before)
    name = _event_name(chore.kind, voice, tonight=chore.not_before is None, until=until)
    return f"{name}, {chore.what}" if chore.what else name


def _event_name(
    kind: ChoreKind, voice: Voice, *, tonight: bool = False, until: str | None = None
) -> str:
    return voice.say("event", kind=kind.value, tonight=tonight, until=until)


def _reasons(chore: Chore, voice: Voice) -> list[str]:
    """Return a line for each reason, with all plants that share it."""
    alike: dict[str, list[str]] = {}
    for reason in chore.single_reasons:
        alike.setdefault(full_sheet.because(reason, chore, voice), []).append(reason.plant)
    return [f"{_names(names, voice)}: {text}" for text, names in alike.items()]


def _description(lines: Sequence[str], voice: Voice) -> str:
    """Return the lines that there is room for, and that the calendar is no alert."""
    shown: list[str] = []
    room = MAX_DESCRIPTION
    for number, line in enumerate(lines):
        text = one_line_for_file(line, MAX_LINE)
        room -= len(text) + 1
        if room < 0:
            shown.append(voice.say("event_more", lines=len(lines) - number))
            break
        shown.append(text)
    return "\n".join([*shown, voice.say("no_alert")])


def one_line_for_file(text: str, most: int) -> str:
    """Return at most `most` characters of the text on one line, all of them valid in a file."""
    whole = _NOT_TEXT.sub(" ", text).strip()
    return whole if len(whole) <= most else f"{whole[: most - 3]}..."
