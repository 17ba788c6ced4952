"""Situations after a round: corrections, reminders, notices that came late or were lost."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from sillward.service.answers import put_off
from sillward.text.units import Units
from sillward_rules.chore import ChoreKind
from tests.support.collection_files import FORTY, SIX, Pot, courtyard, garden
from tests.support.invented_weather import Recording, Sky, recording
from tests.support.situations.dusk import AT, COLD, MILD, WINDY
from tests.support.situations.morning import AT as MORNING
from tests.support.situations.morning import staged_summer
from tests.support.situations.situation import Told, changed, follow_up, of_round, said, situation
from tests.support.staged_day import CHANNELS, FULL, PHONE, StagedDay, staged_day

NEVER = 'remind = "never"'

SOME = Sky([(10, 18), (9.8, 17)])
"""A night too cold for five plants of six."""


def corrected(
    units: Units,
    sky: Sky,
    newer: Sky,
    *,
    pots: Sequence[Pot] = SIX,
    until: str = "18:05",
    notices: str = NEVER,
) -> Told:
    """Play a dusk round by the forecast of 16:30, and return what the next forecast changes."""
    played = staged_day(garden(pots), "16:30", sky, units=units, notices=notices)
    played.play(AT)
    return newly_told(played, newer, until)


def newly_told(played: StagedDay, newer: Sky, until: str, days: int = 0) -> Told:
    before, told = played.chores(days), len(played.pushes)
    played.wire.sky = newer
    played.play(until, days)
    assert len(played.pushes) == told + 1, [push.title for push in played.pushes]
    return changed(played, before, days)


# -- corrections of the dusk round


@situation("push-changes", imperial=True)
def one_more_plant_in(units: Units) -> Told:
    """The night gets colder than it was told."""
    return corrected(units, SOME, COLD)


@situation("push-changes", imperial=True)
def all_in_after_an_all_clear(units: Units) -> Told:
    """A warm night becomes a cold one."""
    return corrected(units, MILD, COLD)


@situation("push-changes", imperial=True)
def forty_in_after_an_all_clear(units: Units) -> Told:
    """Likewise, with forty plants on four spots."""
    return corrected(units, Sky([(18, 27)]), COLD, pots=FORTY)


@situation("push-changes", imperial=True)
def moved_earlier(units: Units) -> Told:
    """The cold comes sooner than it was told."""
    return corrected(units, COLD, EARLY)


EARLY = Sky([(9, 15.2), (1, 12)])
"""Cold from sunset on: plants must be in by six."""


@situation("push-changes", imperial=True)
def called_off(units: Units) -> Told:
    """The night gets milder: all may stay out."""
    return corrected(units, SOME, MILD)


@situation("push-changes")
def some_called_off(units: Units) -> Told:
    """The night gets milder: some may stay out."""
    return corrected(units, COLD, Sky([(13, 20), (11.2, 20)], cloud_pct=100, dew_c=8))


@situation("push-changes")
def the_last_message_of_a_round(units: Units) -> Told:
    """No more than two messages of a round are wanted."""
    return corrected(units, SOME, COLD, notices=f"{NEVER}\nmost = 2")


@situation("push-changes")
def gusts_on_top(units: Units) -> Told:
    """After an all-clear: baskets to secure."""
    pots = [replace(pot, more="limits.gust_high = 5") for pot in SIX]
    windy = replace(WINDY, days=MILD.days)
    return corrected(units, replace(windy, gusts={}), windy, pots=pots)


@situation("push-changes", imperial=True)
def in_at_once_in_the_night(units: Units) -> Told:
    """At eleven at night the forecast turns cold."""
    played = staged_day(garden(SIX), "16:30", MILD, units=units, notices=NEVER)
    played.play("22:15", step=15)
    return newly_told(played, COLD, "23:59")


# -- corrections of the morning round


FAIR = Sky([(9, 17), (9.3, 19), (12, 20)])
"""A night too cold for five plants of six, and a day to go out on."""


def morning(units: Units, newer: Sky) -> Told:
    """Play a cold night and a morning that sends plants out later, then a newer forecast."""
    played = staged_day(garden(SIX), AT, FAIR, units=units, notices=NEVER)
    played.desk.tick()
    played.sleep(MORNING, 1)
    return newly_told(played, newer, "10:30", 1)


@situation("push-changes", imperial=True)
def out_later(units: Units) -> Told:
    """The day warms up more slowly."""
    return morning(units, replace(FAIR, days=[(9, 17), (8.5, 14), (12, 20)]))


@situation("push-changes", imperial=True)
def not_out_today(units: Units) -> Told:
    """The day stays cold."""
    return morning(units, replace(FAIR, days=[(9, 17), (7, 9), (6, 15)]))


@situation("push-changes")
def some_not_out_today_and_some_later(units: Units) -> Told:
    """The day stays cold for most, and warms up more slowly for the rest."""
    return morning(units, replace(FAIR, days=[(9, 17), (8.5, 12), (10, 20)]))


# -- reminders

PARTNER = f"""{CHANNELS}
[[channels]]
name = "partner"
url = "json://localhost"
rounds = ["alarm"]
"""


def reminded(units: Units, pots: Sequence[Pot], until: str = "18:12") -> Told:
    played = staged_day(garden(pots), AT, COLD, units=units)
    played.play(until)
    due = [chore for chore in played.chores() if chore.reminded_at is not None]
    return follow_up(played, due)


@situation("push-reminders", imperial=True)
def nobody_has_acknowledged(units: Units) -> Told:
    """Half an hour before the deadline of six plants."""
    return reminded(units, SIX)


@situation("push-reminders", imperial=True)
def nobody_has_acknowledged_forty(units: Units) -> Told:
    """The orders of forty plants that lie ahead still."""
    return reminded(units, FORTY)


@situation("push-reminders", imperial=True)
def what_was_due_at_once_is_overdue(units: Units) -> Told:
    """Told after the usual hour, so due at once; half an hour later nobody has answered."""
    played = staged_day(garden(SIX), "19:50", COLD, units=units)
    played.play("20:25")
    return follow_up(played, [chore for chore in played.chores() if chore.reminded_at is not None])


@situation("push-reminders", imperial=True)
def forty_that_were_due_at_once_are_overdue(units: Units) -> Told:
    """Likewise, forty plants on four spots."""
    played = staged_day(garden(FORTY), "19:50", COLD, units=units)
    played.play("20:25")
    return follow_up(played, [chore for chore in played.chores() if chore.reminded_at is not None])


@situation("push-reminders", imperial=True)
def passed_on(units: Units) -> Told:
    """A quarter of an hour before it, to somebody else."""
    played = staged_day(garden(SIX), AT, COLD, units=units, channels=PARTNER)
    played.play("18:27", step=1)
    due = [chore for chore in played.chores() if chore.passed_on_at is not None]
    told = follow_up(played, due)
    return replace(told, push=played.got("partner")[-1])


@situation("push-reminders")
def as_it_was_asked_for(units: Units) -> Told:
    """Six plants, put off for half an hour long before their deadline."""
    played = staged_day(garden(SIX), AT, COLD, units=units)
    played.desk.tick()
    put_off_half_an_hour(played, ChoreKind.CARRY_IN)
    played.play("17:45")
    return follow_up(played, [chore for chore in played.chores() if chore.reminded_at is not None])


@situation("push-reminders", imperial=True)
def misting_as_it_was_asked_for(units: Units) -> Told:
    """A dry summer morning; the water was put off for half an hour."""
    played = staged_summer(garden(SIX), units)
    put_off_half_an_hour(played, ChoreKind.MIST)
    played.play("07:40")
    return follow_up(played, [chore for chore in played.chores() if chore.reminded_at is not None])


def put_off_half_an_hour(played: StagedDay, kind: ChoreKind) -> None:
    chores = [chore for chore in played.chores() if chore.kind is kind]
    until = played.clock.now + timedelta(minutes=30)
    site = played.household.collection.site.name
    results = put_off(played.ledger, site, chores, until, played.clock.now)
    assert [result.until for result in results] == [until] * len(chores)


# -- late


def late(
    units: Units,
    reached: str,
    *,
    pots: Sequence[Pot] = SIX,
    text: str | None = None,
    sky: Sky | Recording = COLD,
    days: int = 0,
    hanging: bool = False,
) -> Told:
    """Play a dusk round that no channel takes until this hour.

    text: a collection to use instead of pots.
    """
    played = staged_day(text or garden(pots), AT, sky, units=units, notices=NEVER)
    played.post.down, played.post.hanging = {PHONE, FULL}, hanging
    played.desk.tick()
    played.post.down = set()
    played.sleep(reached, days)
    return follow_up(played, [chore for chore in played.chores() if chore.round == "dusk"])


@situation("push-late", imperial=True)
def minutes_are_left(units: Units) -> Told:
    """Taken twelve minutes before the deadline."""
    return late(units, "18:28")


@situation("push-late", imperial=True)
def minutes_are_left_for_forty(units: Units) -> Told:
    """Likewise; for some it is over already."""
    return late(units, "18:28", pots=FORTY)


@situation("push-late")
def the_first_walk_is_overdue(units: Units) -> Told:
    """Taken when the first of two deadlines is over, and the second near."""
    return late(units, "17:55", sky=recording("cold-snap"), text=courtyard())


@situation("push-late", imperial=True)
def now(units: Units) -> Told:
    """Taken five minutes after the deadline."""
    return late(units, "18:45")


@situation("push-late", imperial=True)
def missed_and_still_cold(units: Units) -> Told:
    """Taken an hour after the deadline: still to do."""
    return late(units, "19:40")


@situation("push-late", imperial=True)
def missed_and_still_cold_for_forty(units: Units) -> Told:
    """Likewise, for forty plants."""
    return late(units, "19:40", pots=FORTY)


@situation("push-late", imperial=True)
def missed_and_over(units: Units) -> Told:
    """Taken before sunrise, when it is warm again."""
    early = Sky([(9, 17), (7, 24)], coldest_h=0, warmest_h=9)
    told = late(units, "07:45", sky=early, days=1)
    return replace(told, into=frozenset(), order=False)


@situation("push-late")
def perhaps_a_repeat(units: Units) -> Told:
    """The first try had no answer, and may have arrived."""
    return late(units, "17:25", hanging=True)


@situation("push-late", imperial=True)
def a_lost_notice_owned_up_to(units: Units) -> Told:
    """Nobody was reached in the night; the morning round says so."""
    played = staged_day(garden(SIX), AT, COLD, units=units, notices=NEVER)
    played.post.down = {PHONE, FULL}
    played.play("08:30", 1, step=30)
    played.post.down = set()
    played.sleep("08:40", 1)
    return of_round(played, "morning", 1)


@situation("push-late")
def a_lost_notice_and_forty_plants(units: Units) -> Told:
    """Likewise, on a morning that is crowded already."""
    played = staged_day(garden(FORTY), AT, COLD, units=units, notices=NEVER)
    played.post.down = {PHONE, FULL}
    played.play("08:30", 1, step=30)
    played.post.down = set()
    played.sleep("08:40", 1)
    return of_round(played, "morning", 1)


@situation("push-late")
def the_round_could_not_be_drawn_up(units: Units) -> Told:
    """A defect of ours."""
    played = staged_day(garden(SIX), AT, COLD, units=units)
    object.__setattr__(played.household.collection, "habits", None)
    played.desk.tick()
    return said(played)
