"""Absences: a helper is told from the first day to the last night, and the household as before."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.errors import UsageError
from sillward.ledger import Absence, Alarm
from sillward.links import token as token_words
from sillward.links.page_links import PageLinks
from sillward.service import absences
from sillward.service.answer_links import person_of
from sillward.service.desk import Desk
from sillward.wording import absence_notices
from sillward.wording.push import Message
from sillward_rules.chore import ChoreKind
from sillward_rules.weather.site import Site
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_world, local

PHONE = a_channel("phone")
HELPER = Channel("ines", PHONE.url, (), all_clear=False, full_length=False)
TOMORROW, YESTERDAY = DAY + timedelta(days=1), DAY - timedelta(days=1)


def courtyard(
    now: str = "12:00",
    *channels: Channel,
    low_c: float = 3.0,
    policy: NoticePolicy | None = None,
) -> tuple[World, Desk]:
    world = a_world(now, low_c=low_c)
    told = channels or (PHONE, HELPER)
    world.household = a_household(*told, policy=policy or NoticePolicy(remind=None, pass_on=None))
    return world, world.desk


def away(
    desk: Desk, first: date = DAY, last: date = DAY, person: str = "Inés", channel: str = "ines"
) -> Absence:
    return absences.enter(desk.context, first, last, person, channel)


def until(world: World, desk: Desk, text: str, day: date = DAY, minutes: float = 30) -> None:
    """Tick until this hour."""
    while world.clock.now < local(text, day):
        desk.tick()
        world.clock.move(minutes=minutes)
    desk.tick()


def heard(world: World, channel: str) -> list[str]:
    return [message.title for name, message in world.post.pushes if name == channel]


def rounds_heard(world: World, channel: str) -> list[str]:
    """The titles of rounds and what follows them, without those about the absence itself."""
    about = ("You ", "(1 of", "(2 of", "Inés ", "Tomás ")
    return [title for title in heard(world, channel) if not title.startswith(about)]


# -- who is told, and when


def test_a_helper_hears_the_rounds_of_the_first_day_to_the_last() -> None:
    world, desk = courtyard()
    away(desk, TOMORROW, TOMORROW)

    until(world, desk, "16:00", TOMORROW + timedelta(days=2))

    days = {
        notice.day
        for day in (DAY, TOMORROW, TOMORROW + timedelta(days=1))
        for round_ in ("dusk", "morning")
        for notice in world.ledger.notices.of_round(SITE.name, round_, day)
        if notice.channel == "ines"
    }
    assert days == {str(TOMORROW)}
    assert len(rounds_heard(world, "ines")) == 2


def test_the_helper_gets_the_list_at_dusk_of_the_day_before() -> None:
    world, desk = courtyard()
    away(desk, TOMORROW, TOMORROW)

    until(world, desk, "16:30")
    assert heard(world, "ines") == []
    until(world, desk, "17:00")

    (name, message) = next(push for push in world.post.pushes if push[0] == "ines")
    assert (name, message.title) == ("ines", "You look after the plants from Friday 15 May")
    assert "on Friday 15 May, from morning to evening" in message.body
    assert "Left pot, Right pot" in message.body


def test_the_helper_gets_the_list_at_once_if_that_hour_is_past() -> None:
    world, desk = courtyard("20:00")
    away(desk, TOMORROW, TOMORROW)

    desk.tick()

    assert heard(world, "ines") == ["You look after the plants from Friday 15 May"]


def test_the_household_is_told_as_before_and_once_that_somebody_helps() -> None:
    alone, desk_alone = courtyard()
    until(alone, desk_alone, "16:00", TOMORROW)
    world, desk = courtyard()
    away(desk, TOMORROW, TOMORROW)
    until(world, desk, "16:00", TOMORROW)

    assert [title for title in heard(world, "phone") if title == "Inés is being told too"] != []
    assert rounds_heard(world, "phone") == heard(alone, "phone")
    assert heard(world, "phone").count("Inés is being told too") == 1


def test_nothing_is_told_twice_after_a_restart() -> None:
    world, desk = courtyard("20:00")
    away(desk, DAY, TOMORROW)
    desk.tick()
    first = len(world.post.pushes)

    world.desk.tick()

    assert len(world.post.pushes) == first


def test_a_helper_is_told_that_there_is_nothing_to_do() -> None:
    world, desk = courtyard("14:00", low_c=15.0)
    away(desk)

    until(world, desk, "18:00")

    assert rounds_heard(world, "phone") == []
    assert rounds_heard(world, "ines") == ["Nothing to carry in tonight"]


def test_who_begins_after_the_round_was_told_is_told_it_at_once() -> None:
    world, desk = courtyard()
    until(world, desk, "17:10")
    world.clock.now = local("17:20")
    away(desk)

    desk.tick()

    assert rounds_heard(world, "ines") == ["Carry in 2 plants by 18:40"]
    until(world, desk, "18:00")
    assert len(rounds_heard(world, "ines")) == 1


def test_a_channel_that_is_kept_for_helpers_is_told_nothing_otherwise() -> None:
    world, desk = courtyard("12:00", replace(PHONE, rounds=("dusk",)), HELPER)
    world.source.failing = True
    world.clock.move(hours=-2)

    until(world, desk, "18:00", TOMORROW, minutes=60)

    assert heard(world, "ines") == []
    assert any("no forecast" in title for title in heard(world, "phone"))


# -- reminders and alarms


def test_reminders_go_to_the_helper_too() -> None:
    policy = NoticePolicy(pass_on=None)
    world, desk = courtyard(policy=policy)
    away(desk)

    until(world, desk, "18:30", minutes=2)

    assert heard(world, "ines")[-1] == "30 min left: Carry in 2 plants by 18:40"
    assert heard(world, "phone")[-1] == "30 min left: Carry in 2 plants by 18:40"


def test_what_nobody_confirms_is_passed_on_to_one_who_has_not_heard_of_it() -> None:
    partner = a_channel("partner", "alarm")
    world, desk = courtyard("12:00", PHONE, HELPER, partner, policy=NoticePolicy())
    away(desk)

    until(world, desk, "18:39", minutes=2)

    passed_on = [title for title in heard(world, "partner") if title != "Inés is being told too"]
    assert len(passed_on) == 1
    assert rounds_heard(world, "ines")[-2:] == [
        "Carry in 2 plants by 18:40",
        "30 min left: Carry in 2 plants by 18:40",
    ]


def test_a_helper_hears_that_there_is_no_forecast_but_not_of_the_machine() -> None:
    world, desk = courtyard("09:00")
    away(desk, DAY, TOMORROW)
    desk.tick()
    world.source.failing = True
    until(world, desk, "12:00", TOMORROW, minutes=60)
    assert any("no forecast" in title for title in heard(world, "ines"))

    refused = Message("Your edited collection has an error", "Line 3")
    desk.alarms.tell_at_once(Alarm.COLLECTION_REFUSED, world.clock.now, refused)
    desk.tick()

    assert refused.title in heard(world, "phone")
    assert refused.title not in heard(world, "ines")


def test_the_links_that_a_helper_gets_carry_their_name() -> None:
    world, desk = courtyard()
    away(desk)
    desk.context.links = PageLinks(b"k" * 32, "https://page.example")
    until(world, desk, "17:30")

    links = [message.links for name, message in world.post.pushes if name == "ines"][-1]
    assert links is not None
    token = token_words.read(links.address.rpartition("/")[2], b"k" * 32)
    assert token is not None
    assert person_of(desk.context, token) == "Inés"


# -- the end


def test_the_last_night_is_the_helpers_until_its_morning() -> None:
    """A forecast that gets colder in the night is told to both; the next morning to one."""
    world, desk = courtyard(low_c=15.0)
    away(desk)
    until(world, desk, "23:50")
    world.source.low_c = 3.0

    until(world, desk, "04:00", TOMORROW)
    changes = [title for title in rounds_heard(world, "ines") if title.startswith("Change")]
    assert changes
    assert "You no longer need to look after the plants" not in heard(world, "ines")

    until(world, desk, "08:30", TOMORROW)
    assert heard(world, "ines")[-1] == "You no longer need to look after the plants"
    assert "Inés is no longer told" in heard(world, "phone")
    assert world.notice("phone", "morning", TOMORROW)
    with pytest.raises(StopIteration):
        world.notice("ines", "morning", TOMORROW)


def test_a_helper_whose_time_is_ended_is_thanked_and_reminded_of_nothing() -> None:
    world, desk = courtyard(policy=NoticePolicy(pass_on=None))
    absence = away(desk)
    until(world, desk, "17:30")
    absence = absences.one_of(absences.not_over(desk.context), "inés")
    world.ledger.absences.end(absence, world.clock.now)

    until(world, desk, "18:30", minutes=2)

    assert heard(world, "ines")[-1] == "You no longer need to look after the plants"
    assert heard(world, "phone")[-1] == "30 min left: Carry in 2 plants by 18:40"


def test_one_that_was_not_told_yet_is_cancelled_without_a_word() -> None:
    world, desk = courtyard()
    absence = away(desk, TOMORROW, TOMORROW)
    world.ledger.absences.end(absence, world.clock.now)

    until(world, desk, "16:00", TOMORROW)

    assert world.ledger.absences.of_site(SITE.name) == []
    assert heard(world, "ines") == []


def test_a_helper_who_is_told_while_it_is_cancelled_hears_that_it_is_over() -> None:
    """The page read the absence before the daemon told the helper."""
    world, desk = courtyard()
    seen = away(desk, TOMORROW, TOMORROW)
    until(world, desk, "17:10")

    absences.end(desk.context, seen, "Inés")
    absences.end(desk.context, seen, "Tomás")  # pressed on two phones
    until(world, desk, "17:40")

    assert heard(world, "ines")[-1] == "You no longer need to look after the plants"
    deeds = desk.context.ledger.deeds.latest(SITE.name, 9)
    assert [deed.person for deed in deeds if deed.what == absences.ENDED] == ["Inés"]


def test_a_helper_is_not_told_of_what_is_cancelled_while_it_is_worded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world, desk = courtyard()
    absence = away(desk, TOMORROW, TOMORROW)
    begins = absence_notices.household_begins

    def cancelled_meanwhile(*facts: Any, **more: Any) -> Message:
        absences.end(desk.context, absence)
        return begins(*facts, **more)

    monkeypatch.setattr(absence_notices, "household_begins", cancelled_meanwhile)
    until(world, desk, "17:40")

    assert world.ledger.absences.of_site(SITE.name) == []
    assert heard(world, "ines") == []


# -- more than one


def test_two_helpers_are_both_told() -> None:
    tomas = replace(HELPER, name="tomas")
    world, desk = courtyard("12:00", PHONE, HELPER, tomas)
    away(desk, DAY, TOMORROW)
    away(desk, DAY, DAY, "Tomás", "tomas")

    until(world, desk, "18:00")

    assert rounds_heard(world, "ines") == rounds_heard(world, "tomas")
    told = {title for title in heard(world, "phone") if "told too" in title}
    assert told == {"Inés is being told too", "Tomás is being told too"}


def test_nobody_is_sent_home_between_two_absences_that_meet() -> None:
    world, desk = courtyard()
    away(desk, DAY, DAY)
    away(desk, TOMORROW, TOMORROW)

    until(world, desk, "16:00", TOMORROW)
    assert not any("any more" in title for title in heard(world, "ines"))

    until(world, desk, "16:00", TOMORROW + timedelta(days=1))
    assert heard(world, "ines").count("You no longer need to look after the plants") == 1


def test_the_same_absence_is_written_down_once() -> None:
    world, desk = courtyard()

    assert away(desk).id == away(desk).id
    assert len(world.ledger.absences.of_site(SITE.name)) == 1


# -- a helper who cannot be told


def gone(channels: Sequence[Channel]) -> Sequence[Channel]:
    return [channel for channel in channels if channel.name != "ines"]


def without_url(channels: Sequence[Channel]) -> Sequence[Channel]:
    return [
        replace(channel, url=None) if channel.name == "ines" else channel for channel in channels
    ]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (gone, "ines is no longer a channel of the collection"),
        (without_url, "channel ines has no url"),
    ],
)
def test_the_household_hears_that_a_helper_cannot_be_told(
    change: Callable[[Sequence[Channel]], Sequence[Channel]], reason: str
) -> None:
    world, desk = courtyard("09:00")
    away(desk, DAY, TOMORROW)
    desk.tick()
    before = world.household
    desk.take_over(replace(before, channels=tuple(change(before.channels))))

    until(world, desk, "11:00")

    title = "Inés cannot be told what to do"
    assert heard(world, "phone").count(title) == 1
    assert any(reason in message.body for _, message in world.post.pushes)
    assert any(reason in trouble for trouble in desk.troubles())

    desk.take_over(before)
    until(world, desk, "11:10")
    assert heard(world, "phone")[-1] == "Your helper can be told again"


def test_the_household_hears_that_messages_to_a_helper_fail() -> None:
    world, desk = courtyard("09:00")
    world.post.down.add("ines")
    away(desk)

    until(world, desk, "10:00", minutes=2)
    assert heard(world, "phone").count("Inés cannot be told what to do") == 1

    world.post.down.clear()
    until(world, desk, "12:00")
    assert heard(world, "phone")[-1] == "Your helper can be told again"


# -- clocks


def test_a_clock_far_ahead_ends_nothing_for_good() -> None:
    world, desk = courtyard()
    away(desk, DAY, TOMORROW)
    desk.tick()
    right = world.clock.now
    world.clock.now = right + timedelta(days=100)
    desk.tick()
    world.clock.now = right + timedelta(minutes=5)

    until(world, desk, "18:00")

    assert [absence.person for absence in absences.not_over(desk.context)] == ["Inés"]
    assert "Carry in 2 plants by 18:40" in heard(world, "ines")


def test_days_and_nights_are_the_same_around_a_clock_change() -> None:
    """On 25 October 2026 clocks in Berlin go from 03:00 back to 02:00; the sun rises at 06:47."""
    berlin = Site(SITE.name, 52.52, 13.40, 35, ZoneInfo("Europe/Berlin"))
    world, _ = courtyard()
    world.household = replace(
        world.household, collection=replace(world.household.collection, site=berlin)
    )
    context = world.desk.context
    absence = Absence(1, date(2026, 10, 24), date(2026, 10, 24), "Inés", "ines", "", DAY_AT)
    at, covered = datetime(2026, 10, 23, 22, 0, tzinfo=UTC), []
    while at < datetime(2026, 10, 26, 0, 0, tzinfo=UTC):
        world.clock.now = at
        if absence.covers(context.day):
            covered.append(at)
        at += timedelta(minutes=10)

    sunrises = [at.astimezone(berlin.zone).strftime("%d %H") for at in (covered[0], covered[-1])]
    assert sunrises == ["24 07", "25 06"]
    assert len(covered) == len([at for at in covered if covered[0] <= at <= covered[-1]])


DAY_AT = datetime(2026, 5, 14, tzinfo=UTC)


# -- what is written down


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("today", DAY),
        ("Tomorrow", TOMORROW),
        ("thu", DAY),
        ("Friday", TOMORROW),
        ("wed", DAY + timedelta(days=6)),
        (" 2026-12-04 ", date(2026, 12, 4)),
    ],
)
def test_days_are_dates_or_words(text: str, day: date) -> None:
    assert absences.day_named(text, DAY) == day


@pytest.mark.parametrize("text", ["", "friyay", "4.12.", "2026-13-01", "mo"])
def test_what_is_no_day_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is not a day"):
        absences.day_named(text, DAY)


def test_no_weekday_follows_the_last_day_of_all() -> None:
    with pytest.raises(UsageError, match="is not a day"):
        absences.day_named("mon", DAY, earliest=date.max)


@pytest.mark.parametrize(
    ("first", "last", "person", "channel", "words"),
    [
        (YESTERDAY, DAY, "Inés", "ines", "is over"),
        (TOMORROW, DAY, "Inés", "ines", "is before the first"),
        (DAY, DAY + timedelta(days=366), "Inés", "ines", "more than a year"),
        (date.max, date.max, "Inés", "ines", "more than a year ahead"),
        (DAY.replace(year=2062), DAY.replace(year=2062), "Inés", "ines", "more than a year ahead"),
        (DAY, DAY, "  ", "ines", "who looks after"),
        (DAY, DAY, "Inés", "inez", r'"inez" is not a channel of the collection \(phone, ines\)'),
        (DAY, DAY, "Inés", "silent", "has no url"),
    ],
)
def test_what_cannot_be_is_refused(
    first: date, last: date, person: str, channel: str, words: str
) -> None:
    channels = [PHONE, HELPER]
    if channel == "silent":
        channels.append(replace(HELPER, name="silent", url=None))
    world, desk = courtyard("12:00", *channels)

    with pytest.raises(UsageError, match=words):
        absences.enter(desk.context, first, last, person, channel)
    assert world.ledger.absences.of_site(SITE.name) == []


def test_the_orders_that_a_helper_hears_are_chores_as_all_others() -> None:
    world, desk = courtyard()
    away(desk)
    until(world, desk, "17:10")

    kinds = [chore.kind for chore in world.ledger.chores.of_day(SITE.name, DAY)]
    assert ChoreKind.CARRY_IN in kinds
