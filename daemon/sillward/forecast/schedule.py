"""When a source is called again: a schedule that is kept in the ledger, so that no thread waits.

Expires, Retry-After and quotas of a provider move the next call.
"""

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from sillward.ledger import CallSchedule

PAUSES = tuple(timedelta(minutes=m) for m in (2, 5, 10, 20, 40))
"""The pauses after one failed call, two, and so on; after more, the last."""

JITTER = 0.2
"""Every pause is longer by up to this share, so that many installations do not call in step."""

CROWDED_MIN = 4
"""Servers are busiest for so many minutes before and after a full hour: calls come after them."""

MAX_EXPIRY = timedelta(hours=6)
"""The longest time for which an answer counts as good. Judgement: by then every model has run
again."""

MAX_WAIT = timedelta(hours=26)
"""A longer wait was misread, or the clock has been set back since: it does not count."""

SLACK = timedelta(minutes=20)
"""How much later than its pause a planned call may be; a later one was planned by a wrong clock."""

BACKOFF_S = 1.0
"""The pause before the second try of one call; twice as long before the third [s]."""


def is_due(plan: CallSchedule | None, now: datetime, interval: timedelta) -> bool:
    """Whether a source that is called at this interval is to be called now."""
    if plan is None:
        return True
    if is_forbidden(plan, now):
        return False
    latest = now + max(interval, PAUSES[-1] * (1 + JITTER)) + SLACK
    return not now < plan.next_at <= latest


def is_forbidden(plan: CallSchedule | None, now: datetime) -> bool:
    """Whether the provider asked not to be called yet."""
    if plan is None or plan.not_before is None:
        return False
    return now < plan.not_before <= now + MAX_WAIT


def after_success(
    plan: CallSchedule,
    now: datetime,
    interval: timedelta,
    good_for: timedelta | None,
    rng: random.Random,
) -> CallSchedule:
    """Return the schedule after a good call.

    `good_for` is how long the answer is good, if the provider says so.
    """
    until = None
    if good_for is not None and good_for > timedelta(0):
        until = now + min(good_for, MAX_EXPIRY)
    planned = max(now + interval, until or now)
    next_at = off_the_hour(planned + rng.random() * timedelta(minutes=5), rng)
    return replace(plan, next_at=next_at, not_before=until, failures=0, reason=None)


def after_failure(
    plan: CallSchedule, now: datetime, reason: str, wait: timedelta | None, rng: random.Random
) -> CallSchedule:
    """Return the schedule after a failed call.

    `wait` is how long the provider asked to be left alone, if it did.
    """
    pause = PAUSES[min(plan.failures, len(PAUSES) - 1)] * (1 + JITTER * rng.random())
    until = None if wait is None else now + wait
    next_at = max(now + pause, until or now)
    return replace(
        plan,
        next_at=off_the_hour(next_at, rng),
        not_before=until,
        failures=plan.failures + 1,
        reason=reason,
    )


def counted(plan: CallSchedule, now: datetime, calls: int) -> CallSchedule:
    """Return the schedule with these calls added to those of the UTC day."""
    today = now.astimezone(UTC).date()
    before = plan.calls if plan.day == today else 0
    return replace(plan, day=today, calls=before + calls)


def backoff_s(tries: int, rng: random.Random) -> float:
    """Return how long to pause after so many tries of one call [s]."""
    return float(BACKOFF_S * 2 ** (tries - 1) * (1 + rng.random()))


def off_the_hour(at: datetime, rng: random.Random) -> datetime:
    """Return the time, or a few minutes past the full hour if it is close to one."""
    if not is_crowded(at):
        return at
    past, crowded = _past_the_hour(at), timedelta(minutes=CROWDED_MIN)
    hour = at - past if past < crowded else at - past + timedelta(hours=1)
    return hour + crowded + rng.random() * crowded


def is_crowded(at: datetime) -> bool:
    """Whether servers are busiest: close to a full hour."""
    crowded = timedelta(minutes=CROWDED_MIN)
    return not crowded <= _past_the_hour(at) <= timedelta(hours=1) - crowded


def _past_the_hour(at: datetime) -> timedelta:
    return timedelta(minutes=at.minute, seconds=at.second, microseconds=at.microsecond)
