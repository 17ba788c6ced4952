"""Absences: somebody else looks after the plants for some days, and is told what to do.

Whom each round and alarm goes to is up to `ServiceContext.channels_for` and `alarmed`, by the days
of the absence alone. Here the helper and the household are told that it begins and that it is over,
and `unreached` finds helpers who cannot be told anything.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sillward.config.channel import Channel, is_mail
from sillward.config.household import Household
from sillward.errors import UsageError, one_line
from sillward.ledger import Absence, Alarm, Deed, Ledger, Notice, NoticeState, Subject
from sillward.ledger.ledger import MAX_CLOCK_AHEAD
from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward.service.round_in_force import round_in_force
from sillward.wording import absence_notices, helper_list
from sillward.wording.helper_list import HelperList
from sillward.wording.push import Message
from sillward_rules.planners.shelters_ahead import shelters_ahead
from sillward_rules.plants.group_names import folded
from sillward_rules.sheet import Round
from sillward_rules.weather import sun

GOOD_FOR = timedelta(hours=24)
"""A helper is tried to be told for this long that it begins, or is over. Judgement."""

MAX_DAYS = 366
"""The longest absence, and the longest time until it begins [days]. Judgement: what is longer is a
mistyped year."""

MAX_PERSON, MAX_NOTE = 60, 500
"""Characters of a name, and of a note. Judgement: the note is a few sentences on the list."""

MIN_FAILED_ATTEMPTS = 3
"""A helper whose notice was tried this often without success is not reached. Judgement: after
three and a half minutes it is more than a network that was away for a moment."""

LOST_WITHIN = timedelta(hours=24)
"""A notice to a helper that was never sent is told of for this long. Judgement."""

log = logging.getLogger(__name__)


BEGUN, ENDED = "away", "back"
"""What the log calls it when somebody writes an absence down, and when somebody ends it."""

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def day_named(text: str, today: date, earliest: date | None = None) -> date:
    """Return a day that is given as a date or by a word. Raise UsageError.

    earliest: a weekday is the first from this day on; by default from today on.
    """
    word = text.strip().lower()
    if word in ("today", "tomorrow"):
        return today + timedelta(days=int(word == "tomorrow"))
    weekdays = [number for number, name in enumerate(_WEEKDAYS) if word in (name, name[:3])]
    try:
        if weekdays:
            since = earliest or today
            return since + timedelta(days=(weekdays[0] - since.weekday()) % 7)
        return date.fromisoformat(word)
    except (ValueError, OverflowError):
        msg = f'"{one_line(text, 40)}" is not a day; write it as 2026-12-04, tomorrow or fri'
        raise UsageError(msg) from None


def enter(
    context: ServiceContext,
    first: date,
    last: date,
    person: str,
    channel: str,
    note: str = "",
    by: str | None = None,
) -> Absence:
    """Write an absence down. Raise UsageError for days or a channel that cannot be.

    by: who of the household says so, if that is known.
    """
    person, note = one_line(person.strip(), MAX_PERSON), one_line(note.strip(), MAX_NOTE)
    today = context.site.local_date(context.clock())
    known = {each.name: each for each in context.household.channels}
    if not person:
        msg = "say who looks after the plants"
    elif first < today:
        msg = f"{context.voice.day(first)} is over; the first day can be today"
    elif first - today >= timedelta(days=MAX_DAYS):
        msg = f"{first} is more than a year ahead"
    elif last < first:
        last_on, first_on = context.voice.day(last), context.voice.day(first)
        msg = f"the last day, {last_on}, is before the first, {first_on}"
    elif last - first >= timedelta(days=MAX_DAYS):
        msg = f"{first} to {last} is more than a year"
    elif channel not in known:
        listed = ", ".join(known) or "none"
        msg = f'"{one_line(channel, 40)}" is not a channel of the collection ({listed})'
    elif known[channel].url is None:
        msg = f"channel {channel} has no url, so nothing can be sent to it"
    else:
        ledger, site, now = context.ledger, context.site.name, context.clock()
        with ledger.database.transaction():
            absence = ledger.absences.insert(site, first, last, person, channel, now, note)
            ledger.deeds.insert(site, _deed(BEGUN, absence, now, by))
        return absence
    raise UsageError(msg)


def end(context: ServiceContext, absence: Absence, by: str | None = None) -> None:
    """End an absence, or cancel it; ending it twice is ending it once.

    by: who of the household says so, if that is known.
    """
    ledger, now = context.ledger, context.clock()
    with ledger.database.transaction():
        current = ledger.absences.get(absence.id)  # its helper may have been told meanwhile
        if current is None or current.ended_at is not None:
            return
        ledger.absences.end(current, now)
        ledger.deeds.insert(context.site.name, _deed(ENDED, current, now, by))


def told_already(
    context: ServiceContext, first: date, last: date, person: str, channel: str
) -> str | None:
    """Return who else is told through a channel on these days; None if nobody is known to be."""
    known = {each.name: each.person for each in context.household.channels}
    people = [known.get(channel)] + [
        other.person
        for other in not_over(context)
        if other.channel == channel and other.first_day <= last and first <= other.last_day
    ]
    others = (each for each in people if each is not None and folded(each) != folded(person))
    return next(others, None)


def just_ended(context: ServiceContext, since: datetime) -> Deed | None:
    """Return the end of an absence, if that is the last that was done, since a moment."""
    for deed in context.ledger.deeds.latest(context.site.name, 1):
        if deed.what == ENDED and deed.at >= since:
            return deed
    return None


def _deed(what: str, absence: Absence, now: datetime, by: str | None) -> Deed:
    """Return a deed with all that it takes to enter the absence once more."""
    about = {
        "helper": absence.person,
        "first_day": str(absence.first_day),
        "last_day": str(absence.last_day),
        "channel": absence.channel,
        "note": absence.note,
    }
    return Deed(now, by, what, about)


def not_over(context: ServiceContext) -> list[Absence]:
    """Return the absences that go on or are still to come."""
    absences = context.ledger.absences.of_site(context.site.name)
    return [absence for absence in absences if not absence.is_over(context.day)]


def one_of(absences: Sequence[Absence], name: str) -> Absence:
    """Return the absence of a helper, or the only one there is. Raise UsageError.

    name: that of the helper or of their channel; empty for any.
    """
    wanted = folded(name)
    found = [
        absence
        for absence in absences
        if not name.strip() or wanted in (folded(absence.person), folded(absence.channel))
    ]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(dict.fromkeys(absence.person for absence in found or absences))
    if not absences:
        msg = "nobody looks after the plants in your place, now or later"
    elif found:
        msg = f"say of whom it is ({listed})"
    else:
        msg = f'"{one_line(name, 40)}" is not told in your place ({listed})'
    raise UsageError(msg)


def briefed_from(context: ServiceContext, absence: Absence) -> datetime:
    """Return when the helper is told that they help: at dusk of the day before."""
    before = absence.first_day - timedelta(days=1)
    of_day = due_rounds.of_day(context.site, context.household.rounds, before)
    return next(occasion.due_at for occasion in of_day if occasion.round is Round.DUSK)


def list_for(context: ServiceContext, absence: Absence) -> HelperList:
    """Return the list for the helper, with where the plants stand now."""
    states = context.states()
    spots = {name: state.spot for name, state in states.items() if not state.assumed}
    return helper_list.helper_list(
        context.household.collection,
        spots,
        shelters_ahead(
            context.collection, context.weather(), states, context.clock(), absence.last_day
        ),
        (absence.first_day, absence.last_day),
        absence.person,
        absence.note,
        _round_hours(context, absence),
        context.voice,
        linked=_has_page(context),
    )


def _has_page(context: ServiceContext) -> bool:
    """Whether messages lead to the page."""
    return bool(context.links and context.links.url)


def _round_hours(context: ServiceContext, absence: Absence) -> helper_list.RoundHours:
    """Return between which hours the daily rounds are told on the days of an absence."""
    rounds, site = context.household.rounds, context.site
    span = (absence.last_day - absence.first_day).days
    times: dict[Round, list[datetime]] = {Round.DUSK: [], Round.MORNING: []}
    for offset in range(span + 1):
        for occasion in due_rounds.of_day(site, rounds, absence.first_day + timedelta(days=offset)):
            if occasion.round in times:
                told_at = rounds.quiet.until(site, occasion.due_at) or occasion.due_at
                times[occasion.round].append(told_at.astimezone(site.zone))
    dusk, morning = times[Round.DUSK], times[Round.MORNING]
    by_clock = datetime.time
    return helper_list.RoundHours(
        (min(dusk, key=by_clock), max(dusk, key=by_clock)),
        (min(morning, key=by_clock), max(morning, key=by_clock)),
    )


def unreached(household: Household, ledger: Ledger, now: datetime) -> list[tuple[str, str]]:
    """Return the helpers of today who cannot be told anything, each with the reason in words."""
    site, found = household.collection.site, {}
    channels = {channel.name: channel for channel in household.channels}
    day = sun.night_at_or_after(site, now).day
    for absence in ledger.absences.covering(site.name, day):
        channel = channels.get(absence.channel)
        if channel is None:
            found[absence.person] = f"{absence.channel} is no longer a channel of the collection"
        elif channel.url is None:
            found[absence.person] = f"channel {absence.channel} has no url"
        elif (error := _failing(ledger, site.name, absence.channel, now)) is not None:
            found[absence.person] = f"{absence.channel}: {error or 'not sent in time'}"
    return list(found.items())


def _failing(ledger: Ledger, site: str, channel: str, now: datetime) -> str | None:
    """Return why the latest notice to a channel does not arrive; None if nothing is wrong."""
    notices = ledger.notices.latest(site, channel=channel)
    taken = (notice.sent_at for notice in notices if notice.sent_at and not notice.is_doubtful)
    sent_at = max(taken, default=None)
    for notice in notices:
        is_stuck = (
            notice.is_doubtful
            or (notice.is_on_its_way and notice.failures >= MIN_FAILED_ATTEMPTS)
            or (
                notice.state is NoticeState.EXPIRED and now - LOST_WITHIN < notice.expires_at <= now
            )
        )
        if is_stuck and (sent_at is None or notice.next_at > sent_at):
            return notice.last_error or ""
    return None


@dataclass(slots=True)
class Absences:
    """Tells that absences begin and end, each once."""

    context: ServiceContext

    def look(self) -> None:
        """Enqueue what is due now."""
        context = self.context
        now, day = context.clock(), context.day
        for absence in context.ledger.absences.of_site(context.site.name):
            briefed = _has_happened(absence.briefed_at, now)
            if absence.is_over(day):
                if briefed and not _has_happened(absence.parted_at, now):
                    self._part(absence)
            elif not briefed and now >= briefed_from(context, absence):
                self._brief(absence)

    def _brief(self, absence: Absence) -> None:
        """Tell the helper, with the list, and the household."""
        context, voice = self.context, self.context.voice
        days = (absence.first_day, absence.last_day)
        subject = Subject(Alarm.HELPER, time=_time_of(absence))
        first_evening = sun.day_events(context.site, absence.first_day).sunset
        until = max(context.clock() + GOOD_FOR, first_evening)
        notices: list[Notice] = []
        channel = self._channel(absence)
        if channel is not None:
            whole = absence_notices.helper_begins(list_for(context, absence), days, voice)
            parts = [whole] if is_mail(channel.url) else absence_notices.in_parts(whole, voice)
            for number, part in enumerate(parts, 1):
                name = f"{subject} {absence.channel} part {number}"
                notices.append(self._notice(channel, name, subject, part, until))
            notices += self._round_so_far(absence, channel)
        own = absence_notices.household_begins(
            absence.person, days, voice, linked=_has_page(context)
        )
        notices += self._to_household(absence, subject, own, until)
        ledger = context.ledger
        with ledger.database.transaction():
            if ledger.absences.get(absence.id) != absence:  # ended while this was worded
                return
            ledger.enqueue(context.site.name, context.clock(), notices)
            ledger.absences.mark_briefed(absence, context.clock())
        log.info("absence.begins channel=%s first_day=%s", absence.channel, absence.first_day)

    def _round_so_far(self, absence: Absence, channel: Channel) -> list[Notice]:
        """Return the notice of the round that was told today before the absence was entered."""
        context = self.context
        told = round_in_force(context, context.clock())
        if told is None or not absence.covers(told.day):
            return []
        known = context.ledger.notices.of_round(
            context.site.name, told.round.value, told.day, stage=None
        )
        if any(notice.channel == channel.name for notice in known):
            return []
        sheet = context.sheet(told.round, context.weather())
        message = context.message(channel, sheet)
        return [context.notice(channel, told.round.value, told.day, message, told.until)]

    def _part(self, absence: Absence) -> None:
        """Tell the helper and the household that it is over, unless the helper goes on."""
        context = self.context
        tomorrow = context.day + timedelta(days=1)
        goes_on = any(
            other.channel == absence.channel
            and (other.covers(context.day) or other.covers(tomorrow))
            for other in context.ledger.absences.of_site(context.site.name)
        )
        if not goes_on:
            subject = Subject(Alarm.HELPER, time=_time_of(absence), is_over=True)
            until, notices = context.clock() + GOOD_FOR, list[Notice]()
            channel = self._channel(absence)
            if channel is not None:
                words = absence_notices.helper_ends(context.voice)
                name = f"{subject} {absence.channel}"
                notices.append(self._notice(channel, name, subject, words, until))
            own = absence_notices.household_ends(absence.person, context.voice)
            notices += self._to_household(absence, subject, own, until)
            context.ledger.enqueue(context.site.name, context.clock(), notices)
        context.ledger.absences.mark_parted(absence, context.clock())
        log.info("absence.ends channel=%s last_day=%s", absence.channel, absence.last_day)

    def _channel(self, absence: Absence) -> Channel | None:
        """Return the helper's channel, or None if it was removed."""
        channels = self.context.household.channels
        return next((each for each in channels if each.name == absence.channel), None)

    def _to_household(
        self, absence: Absence, subject: Subject, message: Message, until: datetime
    ) -> list[Notice]:
        name = f"{subject} {absence.channel} household"
        return [
            self._notice(channel, name, subject, message, until)
            for channel in self.context.alarmed(self.context.day, helpers=False)
            if channel.name != absence.channel
        ]

    def _notice(
        self, channel: Channel, name: str, subject: Subject, message: Message, until: datetime
    ) -> Notice:
        context = self.context
        return context.notice(channel, name, context.day, message, until, round_=str(subject))


def _has_happened(at: datetime | None, now: datetime) -> bool:
    """Whether something was told; what was told by a clock far ahead is told again."""
    return at is not None and at <= now + MAX_CLOCK_AHEAD


def _time_of(absence: Absence) -> str:
    """Return what distinguishes an absence from others of the same days and channel."""
    return f"{absence.entered_at:%H:%M:%S}"
