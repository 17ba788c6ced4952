"""Which rounds are due: worked out at each tick from their hours and the clock alone."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward.config.household import Rounds
from sillward.ledger import Subject
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

MAX_EARLY = timedelta(hours=2)
"""A round told by hand no more than this before its hour is the round of that day."""


@dataclass(frozen=True, slots=True)
class Occasion:
    """A round of a day: when it is due, and until when it is worth telling.

    early: it is told by `sillward send` long before it is due; at its own hour it is told again.
    """

    round: Round
    day: date
    due_at: datetime
    until: datetime
    early: bool = False

    @property
    def name(self) -> str:
        """The name under which the ledger knows it."""
        return str(Subject(self.round, is_early=self.early))


def occasions(site: Site, rounds: Rounds, now: datetime) -> list[Occasion]:
    """Return the rounds that are due and still worth telling, in the order of their hours."""
    today = site.local_date(now)
    around = [today - timedelta(days=1), today, today + timedelta(days=1)]
    due = [
        occasion
        for day in around
        for occasion in of_day(site, rounds, day)
        if occasion.due_at <= now < occasion.until
    ]
    return sorted(due, key=lambda occasion: occasion.due_at)


def upcoming(site: Site, rounds: Rounds, now: datetime) -> dict[Round, Occasion]:
    """Return the next occasion of each round after now."""
    found: dict[Round, Occasion] = {}
    today = site.local_date(now)
    for offset in range(-1, 9):
        for occasion in of_day(site, rounds, today + timedelta(days=offset)):
            if occasion.due_at > now:
                found.setdefault(occasion.round, occasion)
    return found


def of_day(site: Site, rounds: Rounds, day: date) -> Iterator[Occasion]:
    """Yield the rounds of a local date, with the hours at which they are due.

    A dusk round whose hour lies in quiet hours is due before they start, because the deadlines of
    its orders lie in them. If they start before sunrise of that day, it is due at its own hour. A
    morning or week round keeps its hour; the outbox holds its notices back until quiet hours end.
    """
    night = sun.night_of(site, day)
    noon = site.middle_of_day(day)
    morning = rounds.morning.on(site, day)
    yield Occasion(Round.MORNING, day, morning, max(noon, morning + timedelta(hours=1)))
    dusk = rounds.dusk.on(site, day)
    until = max(night.end, dusk + timedelta(hours=1))
    before = rounds.quiet.before(site, dusk)
    due = before if before >= sun.day_events(site, day).sunrise else dusk
    yield Occasion(Round.DUSK, day, due, until)
    if day.weekday() == rounds.week.weekday:
        week = rounds.week.moment.on(site, day)
        yield Occasion(Round.WEEK, day, week, week + timedelta(hours=24))


def current(site: Site, rounds: Rounds, round_: Round, now: datetime) -> Occasion:
    """Return the occasion that a round told right now stands for: the due one, or else today's."""
    for occasion in occasions(site, rounds, now):
        if occasion.round is round_:
            return occasion
    day = site.local_date(now)
    for occasion in of_day(site, rounds, day):
        if occasion.round is round_:
            return replace(occasion, early=now < occasion.due_at - MAX_EARLY)
    return Occasion(round_, day, now, now + timedelta(hours=24), early=True)


def nearest(site: Site, now: datetime) -> Round:
    """Return the daily round that a look at this moment is most likely about."""
    day = site.local_date(now)
    before_noon = sun.day_events(site, day).sunrise - timedelta(hours=2) <= now
    return Round.MORNING if before_noon and now < site.middle_of_day(day) else Round.DUSK
