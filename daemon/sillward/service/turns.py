"""When a household needs its next turn.

A tick asks what is due and not yet told. A single desk is asked every half minute; thousands are
asked only when something may have become due. `next_turn` returns that moment: the earliest time at
which the answer of any step of the tick may change by the clock alone. A moment too many costs only
a turn with nothing to do, so this errs on the side of too many; whatever is not foreseen is found
after `NET`. Events from outside (an answer, a forecast, an edited collection, the outcome of a
message) cause a turn at once; that is up to `house`.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from sillward.ledger import StoredChore
from sillward.readings.lessons import LATE
from sillward.readings.review import lately_heard
from sillward.readings.tonight import EVERY
from sillward.service import due_rounds
from sillward.service.absences import briefed_from
from sillward.service.corrections import LEDGER_STEP
from sillward.service.desk import EARLIEST, PATIENCE, Desk
from sillward.service.reminders import MIN_BEFORE_PASSING_ON, MIN_BEFORE_REMINDER
from sillward.service.round_in_force import round_in_force
from sillward_rules.chore import URGENT
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import EXPIRED_AFTER, OLD_AFTER, UNCHANGED_AFTER, moment

NET = timedelta(minutes=5)
"""A household has a turn at least this often. Judgement: an order has a lead of half an hour, and
thousands of turns in five minutes are a small part of one processor."""

AGAIN = timedelta(seconds=30)
"""How soon to try again what could not be done: the tick of a single desk."""

_JUST_AFTER = timedelta(seconds=1)
"""At the hour itself the forecast still holds."""


def next_turn(desk: Desk) -> datetime:
    """Return when a desk needs its next turn, just after one of its ticks.

    Raise LedgerError if the ledger cannot be read.
    """
    now = desk.context.clock()
    if is_busy(desk, now):
        return now + AGAIN
    return min((at for at in _moments(desk, now) if at > now), default=now + NET)


def is_busy(desk: Desk, now: datetime) -> bool:
    """Whether something is left to do whose time is not known."""
    context = desk.context
    if now < EARLIEST or context.ledger.in_memory or desk.defects.events:
        return True
    if context.household.sensors:  # what they send is taken at each tick
        return True
    return _was_answered_just_now(desk, now) or _has_untold_round(desk, now)


def _was_answered_just_now(desk: Desk, now: datetime) -> bool:
    """Whether corrections wait until what is told is newer than the last answer."""
    context = desk.context
    answered = context.ledger.deeds.latest(context.site.name, 1)
    return any(abs(now - deed.at) < LEDGER_STEP for deed in answered)


def _has_untold_round(desk: Desk, now: datetime) -> bool:
    """Whether a round is due that waits for a forecast."""
    context = desk.context
    due = due_rounds.occasions(context.site, context.household.rounds, now)
    rounds, site = context.ledger.rounds, context.site.name
    return any(rounds.enqueued_at(site, occasion.name, occasion.day) is None for occasion in due)


def _moments(desk: Desk, now: datetime) -> Iterator[datetime]:
    """Yield the times at which something may become due, including past ones."""
    yield now + NET
    yield from _of_rounds(desk, now)
    yield from _of_notices(desk, now)
    yield from _of_orders(desk, now)
    yield from _of_forecasts(desk)
    yield from _of_sun(desk, now)
    yield from _of_absences(desk)
    if lately_heard(desk.context.ledger, desk.context.household.collection, now):
        step_s = EVERY.total_seconds()  # what was read of this night is looked at by such steps
        yield now + timedelta(seconds=step_s - now.timestamp() % step_s)


def _of_rounds(desk: Desk, now: datetime) -> Iterator[datetime]:
    """Yield when rounds are due, and until when they are worth telling."""
    site, rounds = desk.context.site, desk.context.household.rounds
    today = site.local_date(now)
    for offset in (-1, 0, 1):
        for occasion in due_rounds.of_day(site, rounds, today + timedelta(days=offset)):
            yield occasion.due_at
            yield occasion.until
    quiet_until = rounds.quiet.until(site, now)
    if quiet_until is not None:
        yield quiet_until


def _of_notices(desk: Desk, now: datetime) -> Iterator[datetime]:
    """Yield when waiting notices are tried again or given up, and when claims end."""
    context = desk.context
    is_quiet = context.household.rounds.quiet.until(context.site, now) is not None
    for next_at, expires_at in context.ledger.notices.under_way(context.site.name):
        yield expires_at
        # What is due and not sent waits for the end of quiet hours, or for a channel.
        yield next_at if next_at > now or is_quiet else now + AGAIN


def _of_orders(desk: Desk, now: datetime) -> Iterator[datetime]:
    """Yield when open orders are repeated, or passed on, or late (`reminders`)."""
    context = desk.context
    told = round_in_force(context, now)
    if told is None:
        return
    yield told.until
    site = context.site.name
    chores = [
        chore
        for chore in context.ledger.chores.of_day(site, told.day)
        if chore.open and chore.round == told.round.value
    ]
    if not chores:
        return
    notices = context.ledger.notices.of_round(site, told.round.value, told.day, stage=None)
    sent = [notice.sent_at for notice in notices if notice.sent_at is not None]
    for at in sent:
        yield at + MIN_BEFORE_REMINDER
        yield at + MIN_BEFORE_PASSING_ON
    quiet = context.household.rounds.quiet
    for chore in chores:
        for at in _of_order(desk, chore, sent):
            yield at
            yield quiet.before(context.site, at)


def _of_order(desk: Desk, order: StoredChore, sent: list[datetime]) -> Iterator[datetime]:
    """Yield the times of one order. sent: when messages of its round were sent."""
    if order.later_until is not None:
        yield order.later_until
        yield order.later_until + MIN_BEFORE_PASSING_ON
    if order.kind not in URGENT:
        return
    policy, load = desk.context.household.policy, order.chore.load
    aheads = [ahead for ahead in (policy.remind, policy.pass_on) if ahead is not None]
    yield order.before
    if load is not None and load.begin_by is not None:
        yield load.begin_by
    references = [order.before, *(at + 2 * ahead for at in sent for ahead in aheads)]
    for reference in references:
        for ahead in aheads:
            yield reference - ahead


def _of_forecasts(desk: Desk) -> Iterator[datetime]:
    """Yield when stored forecasts become old or expire, and when waiting for one ends."""
    for held in desk.context.forecasts.held(desk.context.site):
        since = held.weather.issued_at or held.saved.fetched_at
        for born in (since, held.saved.fetched_at):
            for age in (OLD_AFTER, UNCHANGED_AFTER, EXPIRED_AFTER):
                yield born + age + _JUST_AFTER
        if held.weather.times.size:
            yield moment(held.weather.times[-1]) + _JUST_AFTER
    if desk.started_at is not None:
        yield desk.started_at + PATIENCE


def _of_sun(desk: Desk, now: datetime) -> Iterator[datetime]:
    """Yield when the day begins, at which alarms and absences are checked; when a night begins and
    ends."""
    site = desk.context.site
    night = sun.night_at_or_after(site, now)
    today = sun.day_events(site, site.local_date(now))
    yield from (today.sunrise, night.start, night.end, night.end + sun.COLD_MORNING + LATE)
    yield night.start - timedelta(hours=24) + sun.COLD_MORNING + LATE


def _of_absences(desk: Desk) -> Iterator[datetime]:
    """Yield when helpers are told that they help."""
    context = desk.context
    for absence in context.ledger.absences.of_site(context.site.name):
        if absence.briefed_at is None and absence.ended_at is None:
            yield briefed_from(context, absence)
