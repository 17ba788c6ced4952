"""When to ask a source again: a plain schedule, kept in the ledger, so that no thread waits.

What a provider asks for (Expires, Retry-After, a quota) moves the next call; nobody sleeps.
"""

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from sillward.ledger import CallSchedule

PAUSES = tuple(timedelta(minutes=m) for m in (2, 5, 10, 20, 40))
"""Pauses after one failed call, two, and so on; the last is kept."""

JITTER = 0.2
"""Every pause is made longer by up to this share, so that many of us do not ask in step."""

CROWDED_MIN = 4
"""So many minutes before and after a full hour servers are busiest: calls are put after it."""

MAX_EXPIRY = timedelta(hours=6)
"""An answer that claims to be good for longer is asked for again by then. Judgement."""

MAX_WAIT = timedelta(hours=26)
"""A provider that asks to wait longer was misheard, or the clock has been set back since."""

SLACK = timedelta(minutes=20)
"""By so much a plan of ours may be later than its pause; later ones were made by a clock that
was wrong."""

BACKOFF_S = 1.0
"""Pause before the second try of one call, the double before the third [s]."""


def is_due(plan: CallSchedule | None, now: datetime, interval: timedelta) -> bool:
    """Whether a source that is asked so often is to be asked now."""
    if plan is None:
        return True
    if is_forbidden(plan, now):
        return False
    latest = now + max(interval, PAUSES[-1] * (1 + JITTER)) + SLACK
    return not now < plan.next_at <= latest


def is_forbidden(plan: CallSchedule | None, now: datetime) -> bool:
    """Whether the provider itself asked not to be asked yet."""
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
    """The schedule once all went well; good_for: how long the provider says its answer is."""
    until = None
    if good_for is not None and good_for > timedelta(0):
        until = now + min(good_for, MAX_EXPIRY)
    planned = max(now + interval, until or now)
    next_at = off_the_hour(planned + rng.random() * timedelta(minutes=5), rng)
    return replace(plan, next_at=next_at, not_before=until, failures=0, reason=None)


def after_failure(
    plan: CallSchedule, now: datetime, reason: str, wait: timedelta | None, rng: random.Random
) -> CallSchedule:
    """The schedule after a failure; wait: how long the provider asked us to."""
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
    """The schedule with these calls counted to the UTC day."""
    today = now.astimezone(UTC).date()
    before = plan.calls if plan.day == today else 0
    return replace(plan, day=today, calls=before + calls)


def backoff_s(tries: int, rng: random.Random) -> float:
    """How long to pause after so many tries of one call [s]."""
    return float(BACKOFF_S * 2 ** (tries - 1) * (1 + rng.random()))


def off_the_hour(at: datetime, rng: random.Random) -> datetime:
    """The moment, or a few minutes past the full hour if it is close to one."""
    past = timedelta(minutes=at.minute, seconds=at.second, microseconds=at.microsecond)
    crowded = timedelta(minutes=CROWDED_MIN)
    if crowded <= past <= timedelta(hours=1) - crowded:
        return at
    hour = at - past if past < crowded else at - past + timedelta(hours=1)
    return hour + crowded + rng.random() * crowded
