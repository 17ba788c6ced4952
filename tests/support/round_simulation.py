"""Rounds told by what decides them: the plan, the clock and the ledger, used as `Desk` does."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from sillward.config.household import Rounds
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import Ledger, Notice, NoticeState
from sillward.service import due_rounds
from sillward.service.desk import EARLIEST
from sillward.service.due_rounds import Occasion
from sillward_rules.sheet import Round
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import Moment, parse_hours, parse_moment, parse_weekly
from tests.support.desks import Post, a_channel, a_world
from tests.support.wandering_clock import Look, at_wall, looks

PLANS = {
    "clock": Rounds(parse_moment("23:45"), parse_moment("01:30"), parse_weekly("sun 02:30")),
    "midnight": Rounds(parse_moment("02:30"), parse_moment("00:15"), parse_weekly("sun 23:45")),
    "sun": Rounds(
        parse_moment("sunset-90min"),
        parse_moment("sunrise+15min"),
        parse_weekly("sun 01:30"),
        QuietHours(parse_hours("22:30-06:30")),
    ),
}
"""Hours that are skipped, and hours that come twice, somewhere; and the sun's."""

SURELY_GOOD_FOR = timedelta(hours=1)
"""Every round is worth telling for at least so long after its hour."""


@dataclass(frozen=True, slots=True)
class Told:
    """A round that was put down, and at which look."""

    round: Round
    day: date
    look: int


def kept(
    site: Site, plan: Rounds, seen: Sequence[Look], rng: random.Random
) -> tuple[list[Told], Ledger]:
    """Put down what is due at each look, as `Desk._tick` and `Desk.tell` do."""
    ledger, told = Ledger(":memory:"), []
    pruned = seen[0].shown
    for number, look in enumerate(seen):
        now = look.shown
        if now < EARLIEST:
            continue
        ledger.forget_rounds_of_wrong_clock(site.name, now)
        for occasion in due_rounds.occasions(site, plan, now):
            if ledger.rounds.enqueued_at(site.name, occasion.name, occasion.day) is None:
                _enqueue(ledger, site, occasion, now, sent=rng.random() < 0.5)
                told.append(Told(occasion.round, occasion.day, number))
        if abs(now - pruned) > timedelta(days=1):
            ledger.prune(now)
            pruned = now
    return told, ledger


def _enqueue(ledger: Ledger, site: Site, occasion: Occasion, now: datetime, *, sent: bool) -> None:
    notice = Notice(
        key=f"{site.name}/{occasion.day}/{occasion.name}/phone",
        site=site.name,
        round=occasion.name,
        day=str(occasion.day),
        channel="phone",
        title="Carry in 2 plants by 18:40",
        body="",
        state=NoticeState.SENT if sent else NoticeState.WAITING,
        attempts=0,
        next_at=now,
        expires_at=occasion.until,
    )
    ledger.keep_round(
        site.name, occasion.name, occasion.day, now, notices=[notice], chores=[], states_now={}
    )


def hours_of(site: Site, plan: Rounds, day: date) -> Iterator[tuple[Round, datetime, timedelta]]:
    """The rounds of a date, when each is due and how long it is worth telling at least.

    Hours by the clock come from zoneinfo alone. Those by the sun are our own: of them it is shown
    that each date has one.
    """
    temperate = abs(site.latitude) < 60
    for round_, moment in (
        (Round.MORNING, plan.morning),
        (Round.DUSK, plan.dusk),
        (Round.WEEK, plan.week.moment),
    ):
        if round_ is Round.WEEK and day.weekday() != plan.week.weekday:
            continue
        due = _due(site, plan, day, round_, moment)
        good_for = SURELY_GOOD_FOR
        if round_ is Round.WEEK:
            good_for = timedelta(hours=24)
        elif round_ is Round.DUSK and temperate and moment.clock != time(2, 30):
            good_for = timedelta(hours=3)  # nights are longer than that, and begin before
        elif round_ is Round.MORNING and moment.clock is not None:
            good_for = at_wall(site.zone, day, time(10)) - due  # nowhere is noon before ten
        yield round_, due, good_for


def _due(site: Site, plan: Rounds, day: date, round_: Round, moment: Moment) -> datetime:
    if moment.clock is not None:
        return at_wall(site.zone, day, moment.clock)
    return next(
        occasion.due_at
        for occasion in due_rounds.of_day(site, plan, day)
        if occasion.round is round_
    )


def check(site: Site, plan: Rounds, seen: Sequence[Look], told: Sequence[Told]) -> int:
    """Each round was told once for each of its dates, at the first look that met its hour.

    Rounds told by a clock that was a day ahead do not count. Return how many were due.
    """
    at: dict[tuple[Round, date], int] = {}
    for told_round in told:
        if seen[told_round.look].sane:
            assert (told_round.round, told_round.day) not in at, "told twice"
            at[told_round.round, told_round.day] = told_round.look
    sane = [(look.shown, number) for number, look in enumerate(seen) if look.sane]
    by_hour: dict[int, list[tuple[datetime, int]]] = {}
    for shown, number in sane:
        by_hour.setdefault(int(shown.timestamp()) // 3600, []).append((shown, number))
    due_in_all = 0
    first, last = site.local_date(sane[0][0]), site.local_date(sane[-1][0])
    for offset in range(1, (last - first).days - 1):
        day = first + timedelta(days=offset)
        for round_, due, good_for in hours_of(site, plan, day):
            hours = range(int(due.timestamp()) // 3600, int((due + good_for).timestamp()) // 3600)
            near = [timed for hour in (*hours, hours.stop) for timed in by_hour.get(hour, ())]
            met = [number for shown, number in near if due <= shown < due + good_for]
            if met:
                assert (round_, day) in at, (site.name, round_, day, due)
                # Before, if the clock was past it already, and then set back.
                assert at[round_, day] <= min(met), (site.name, round_, day, due)
                due_in_all += 1
            if (round_, day) in at:
                assert seen[at[round_, day]].shown >= due
    assert {told_round.day.weekday() for told_round in told if told_round.round is Round.WEEK} <= {
        plan.week.weekday
    }
    return due_in_all


def kept_by_desk(site: Site, plan: Rounds, seen: Sequence[Look]) -> tuple[list[Told], Post]:
    """Let a whole desk go through it, with a forecast and a channel that never fail."""
    world = a_world("12:00", a_channel(all_clear=True), low_c=5.0)
    household = world.household
    collection = replace(household.collection, site=site)
    world.household = replace(household, collection=collection, rounds=plan)
    desk, told = world.desk, []
    known: set[tuple[Round, date, datetime]] = set()
    for number, look in enumerate(seen):
        world.clock.now = look.shown
        if look.new:
            desk = world.desk
        desk.tick()
        assert desk.defects.events == []
        today = site.local_date(look.shown)
        for round_ in Round:
            for day in (today + timedelta(days=offset) for offset in range(-1, 3)):
                at = world.ledger.rounds.enqueued_at(site.name, round_.value, day)
                if at is not None and (round_, day, at) not in known:
                    known.add((round_, day, at))
                    told.append(Told(round_, day, number))
    world.ledger.close()
    return told, world.post


def told_on(
    site: Site, plan: Rounds, start: datetime, days: int, seed: int
) -> tuple[list[Look], list[Told]]:
    """Some days of a wandering clock, from a moment on."""
    rng = random.Random(seed)
    seen = list(looks(rng, start, start + timedelta(days=days)))
    told, ledger = kept(site, plan, seen, rng)
    ledger.close()
    return seen, told
