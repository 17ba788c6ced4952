"""The words of a notice are found when it is sent: minutes left, NOW, missed, a lost round."""

import re
import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.errors import DeliveryError, LedgerError
from sillward.ledger import Ledger, NoticeState
from sillward.ledger.sqlite_database import SqliteDatabase
from sillward.links.page_links import PageLinks
from sillward.service.desk import Desk
from sillward.service.ledger_upkeep import TRY_FILE_EVERY
from sillward.service.notice_wording import NoticeWording
from sillward.service.outbox import SEND_PAUSES
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Message
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.limits import Limit, Limits
from tests.support.collection_files import courtyard
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_plant, a_world, local
from tests.support.situations.dusk import COLD
from tests.support.staged_day import staged_day


def late(reached: str, count: int = 2, now: str = "17:00") -> tuple[World, Desk]:
    """A dusk round, told at five for 18:40, that cannot be sent until this hour."""
    world = a_world(now, low_c=5.0)
    world.household = a_household(plants=tuple(a_plant(f"Pot {number}") for number in range(count)))
    world.post.down = {"phone"}
    desk = world.desk
    while world.clock.now < local(reached, DAY if reached > "12" else DAY + timedelta(days=1)):
        desk.tick()
        world.clock.move(minutes=5)
    world.post.down = set()
    for _ in range(4):
        desk.tick()
        world.clock.move(minutes=5)
    return world, desk


def test_minutes_that_are_left_stand_in_the_title() -> None:
    world, _ = late("18:15")

    (title,) = world.post.titles
    assert re.fullmatch(r"(25|20|15|10) min left: Carry in 2 plants by 18:40", title)


def test_at_the_deadline_it_says_now() -> None:
    world, _ = late("18:40")

    (title,) = world.post.titles
    assert title == "NOW: Carry in 2 plants by 18:40"


def test_after_the_deadline_it_says_that_it_was_missed_and_until_when_it_is_cold() -> None:
    world, _ = late("20:00")

    ((_, message),) = world.post.pushes
    assert message.title == "Overdue since 18:40: carry in 2 plants NOW"
    assert re.search(r"; it stays so until (09|10):\d\d", message.body)
    assert "Bench to room: Pot 0, Pot 1" in message.body


@pytest.mark.parametrize(
    ("reached", "urgent"),
    [("17:30", False), ("18:15", True), ("18:40", True), ("20:00", True)],
)
def test_what_is_due_within_half_an_hour_or_still_cold_is_urgent(
    reached: str, urgent: bool
) -> None:
    """In by 18:40."""
    world, _ = late(reached)

    assert [message.urgent for _, message in world.post.pushes[:1]] == [urgent]


def test_a_missed_order_fits_a_push_for_forty_plants() -> None:
    world, _ = late("20:00", count=40)

    ((_, message),) = world.post.pushes
    assert "40 plants" in message.title
    assert len(message.title) + 1 + len(message.body) <= MAX_CHARACTERS


def test_a_night_that_nobody_heard_of_is_owned_up_to_in_the_next_notice() -> None:
    world = a_world("17:00", a_channel(all_clear=True), low_c=5.0)
    world.post.down = {"phone"}
    desk = world.desk
    while world.clock.now < local("08:20", DAY + timedelta(days=1)):
        desk.tick()
        world.clock.move(minutes=10)
    world.post.down = set()
    for _ in range(8):
        desk.tick()
        world.clock.move(minutes=10)

    (first, *rest) = [message for _, message in world.post.pushes]
    assert "! Thu's dusk message could not be sent" in first.body
    assert all("could not be sent" not in message.body for message in rest)


def test_what_has_waited_is_told_by_the_newest_forecast() -> None:
    world = a_world("17:00", low_c=5.0)
    world.household = a_household(
        plants=(a_plant("Pot"), replace(a_plant("Hardy"), limits=_limit(2.0)))
    )
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.source.low_c = -2.0
    for _ in range(16):
        world.clock.move(minutes=5)
        desk.tick()
    world.post.down = set()
    world.clock.move(minutes=16)
    desk.tick()

    ((_, message),) = world.post.pushes
    assert "2 plants" in message.title
    assert "cool to -1.9" in message.body or "cool to -2" in message.body


def _limit(value: float) -> Limits:
    return Limits(night_low=Limit(value, "your own limit"))


def test_a_defect_in_the_words_sends_the_words_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    world = a_world("17:00")
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.post.down = set()
    monkeypatch.setattr(NoticeWording, "message_now", _broken)
    world.clock.move(minutes=20)

    desk.tick()

    assert world.post.titles == ["Carry in 2 plants by 18:40"]


def _broken(*_: object) -> Message:
    msg = "a defect"
    raise ValueError(msg)


def test_the_ledger_keeps_the_words_that_went_out() -> None:
    world, _ = late("20:00")

    assert world.notice().title == "Overdue since 18:40: carry in 2 plants NOW"


def test_a_channel_that_asks_for_patience_gets_it_within_reason() -> None:
    world = a_world("17:00")
    asked = timedelta(minutes=8)
    tries = []

    def busy(channel: Channel, message: Message) -> None:
        tries.append(world.clock.now)
        msg = "channel phone: the service refused it (429)"
        raise DeliveryError(msg, wait=asked)

    desk = world.desk
    desk.context.sender = busy
    for _ in range(40):
        desk.tick()
        world.clock.move(seconds=30)

    pauses = [after - before for before, after in pairwise(tries)]
    assert all(asked <= pause <= SEND_PAUSES[-1] + timedelta(seconds=30) for pause in pauses)
    assert len(tries) > 1


# -- a ledger that cannot be written


class FullDisk:
    """A disk on which every write of a ledger fails from some moment on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, when: Callable[[], bool]) -> None:
        self.full = False
        real = SqliteDatabase.transaction

        def transaction(database: SqliteDatabase) -> AbstractContextManager[None]:
            within = database.connection.in_transaction
            if not within and not database.is_in_memory and (self.full or when()):
                self.full = True
                msg = "ledger: database or disk is full"
                raise LedgerError(msg)
            return real(database)

        monkeypatch.setattr(SqliteDatabase, "transaction", transaction)


def on_disk(tmp_path: Path, world: World) -> World:
    world.ledger.close()
    world.ledger = Ledger.open_or_in_memory(tmp_path / "ledger.sqlite3", clock=world.clock)
    return world


def test_on_a_full_disk_notices_still_go_out_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = on_disk(tmp_path, a_world("16:58"))
    desk = world.desk
    desk.tick()
    disk = FullDisk(monkeypatch, lambda: False)
    disk.full = True

    for _ in range(60):
        world.clock.move(minutes=1)
        desk.tick()

    told = [title for title in world.post.titles if title.startswith("Carry in")]
    assert told == ["Carry in 2 plants by 18:40"]
    assert "Sillward cannot save anything" in world.post.titles
    assert world.ledger.in_memory
    assert any("ledger cannot be written" in trouble for trouble in desk.troubles())


def test_a_disk_that_fills_up_between_sending_and_marking_costs_no_repeat(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = on_disk(tmp_path, a_world("17:00"))
    FullDisk(monkeypatch, lambda: bool(world.post.pushes))
    desk = world.desk

    for _ in range(10):
        desk.tick()
        world.clock.move(minutes=1)

    told = [title for title in world.post.titles if "Carry in" in title]
    assert told == ["Carry in 2 plants by 18:40"]
    assert world.notice().state == NoticeState.SENT


def test_what_happened_in_memory_comes_into_the_file_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = on_disk(tmp_path, a_world("16:58"))
    desk = world.desk
    desk.tick()
    disk = FullDisk(monkeypatch, lambda: False)
    disk.full = True
    for _ in range(6):
        world.clock.move(minutes=1)
        desk.tick()
    assert world.ledger.in_memory

    monkeypatch.undo()
    world.clock.move(seconds=TRY_FILE_EVERY.total_seconds())
    desk.tick()

    assert not world.ledger.in_memory
    assert "Sillward can save again" in world.post.titles
    file = sqlite3.connect(tmp_path / "ledger.sqlite3")
    (state,) = file.execute("SELECT state FROM notice WHERE round = 'dusk'").fetchone()
    file.close()
    assert state == "sent"
    world.desk.tick()
    assert [title for title in world.post.titles if "Carry in" in title] == [
        "Carry in 2 plants by 18:40"
    ]


def test_a_damaged_ledger_is_owned_up_to(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    Ledger(path).close()
    path.write_bytes(path.read_bytes()[:100] + b"no database" * 500)
    world = on_disk(tmp_path, a_world("17:00"))

    desk = world.desk
    desk.tick()
    desk.tick()

    assert world.post.titles.count("Sillward has lost some of its records") == 1
    assert "Carry in 2 plants by 18:40" in world.post.titles


# -- clocks


def test_a_round_told_by_a_clock_a_day_ahead_is_told_again_on_its_day() -> None:
    world = a_world("17:00")
    desk = world.desk
    desk.tick()
    world.clock.move(days=1)
    desk.tick()
    assert len(world.post.pushes) == 2
    world.clock.now = local("17:20")

    for _ in range(24 * 4):
        world.clock.move(minutes=15)
        desk.tick()

    told = [
        notice
        for notice in world.ledger.notices.latest(SITE.name)
        if notice.round == "dusk" and notice.stage == "told" and notice.state == NoticeState.SENT
    ]
    assert [notice.day for notice in told] == [str(DAY + timedelta(days=1)), str(DAY)]


def test_what_a_clock_a_day_ahead_asked_for_is_not_asked_for_on_a_mild_day() -> None:
    world = a_world("17:00")
    desk = world.desk
    world.clock.move(days=1)
    desk.tick()
    tomorrow = DAY + timedelta(days=1)
    assert [chore.kind for chore in world.ledger.chores.of_day(SITE.name, tomorrow)]
    world.clock.now = local("17:20")
    world.source.low_c = 14.0

    while world.clock.now < local("17:20", tomorrow):
        world.clock.move(minutes=15)
        desk.tick()

    assert world.ledger.rounds.enqueued_at(SITE.name, "dusk", tomorrow)
    assert not [
        chore
        for chore in world.ledger.chores.of_day(SITE.name, tomorrow)
        if chore.kind is ChoreKind.CARRY_IN
    ]


def test_a_notice_of_long_ago_does_not_come_back_when_the_clock_falls_years_behind() -> None:
    world = a_world("17:00")
    world.post.down = {"phone"}
    desk = world.desk
    while world.clock.now < local("10:00", DAY + timedelta(days=1)):
        desk.tick()
        world.clock.move(minutes=30)
    assert world.notice().state == NoticeState.EXPIRED
    world.post.down = set()
    world.clock.now -= timedelta(days=100)

    desk.tick()

    assert [
        notice.state for notice in world.ledger.notices.latest(SITE.name) if notice.day == str(DAY)
    ] == ["not needed"]


# -- signs of life


def test_the_week_says_how_the_last_seven_days_went() -> None:
    world = a_world("17:00", a_channel("mail", full_length=True))
    desk = world.desk
    sunday = local("18:05", DAY + timedelta(days=3))
    while world.clock.now < sunday:
        first_night = world.clock.now < local("10:00", DAY + timedelta(days=1))
        world.post.down = {"mail"} if first_night else set()
        desk.tick()
        world.clock.move(minutes=30)
    desk.tick()

    week = next(message for _, message in world.post.pushes if message.title.startswith("Week"))
    assert re.search(
        r"Running: a forecast on 4 of 4 evenings, \d messages delivered, 1 not",
        week.body,
    )


def test_what_is_long_ago_is_forgotten() -> None:
    world = a_world("17:00")
    desk = world.desk
    desk.tick()
    world.clock.move(days=61)
    world.clock.now = world.clock.now.replace(hour=3)

    desk.tick()

    assert world.ledger.rounds.enqueued_at(SITE.name, "dusk", DAY) is None
    assert all(
        notice.day != str(DAY) for notice in world.ledger.notices.latest(SITE.name, most=100)
    )
    assert world.ledger.chores.of_day(SITE.name, DAY) == []


def test_a_tick_is_written_down_now_and_then() -> None:
    world = a_world("12:00")
    desk = world.desk
    seen = set()
    for _ in range(60):
        desk.tick()
        seen.add(world.ledger.marks.all()["tick"].at)
        world.clock.move(seconds=30)

    assert len(seen) == 3  # in half an hour


def test_troubles_are_told_and_over_when_they_are_over() -> None:
    world = a_world("17:00")
    desk = world.desk
    world.post.down = {"phone"}
    for _ in range(12):
        desk.tick()
        world.clock.move(minutes=2)
    assert desk.troubles() == ["phone: 1 waiting: channel phone: the service refused it"]
    world.post.down = set()
    world.clock.move(minutes=15)

    desk.tick()

    assert desk.troubles() == []


def test_a_channel_that_never_answers_is_a_trouble_until_it_takes_one() -> None:
    """Of three attempts nobody knows whether one arrived: it counts as sent, not as well."""
    world = a_world("17:00")
    desk = world.desk
    world.post.down, world.post.hanging = {"phone"}, True
    for _ in range(4):
        desk.tick()
        world.clock.move(minutes=2)
    (notice,) = world.desk.context.ledger.notices.latest(desk.context.site.name)
    assert notice.is_doubtful
    assert desk.troubles() == [f"phone: 1 may not have arrived: {notice.last_error}"]
    world.clock.move(hours=20)
    world.clock.move(hours=4)
    desk.tick()
    assert any(trouble.startswith("phone: 1 may not") for trouble in desk.troubles())
    world.post.down = set()

    world.clock.move(minutes=15)
    desk.tick()

    assert world.post.pushes
    assert not any(trouble.startswith("phone") for trouble in desk.troubles())


def test_a_forecast_that_is_missing_or_old_is_a_trouble() -> None:
    world = a_world("12:00")
    desk = world.desk
    world.source.failing = True
    desk.tick()
    assert desk.troubles() == ["there is no forecast: Invented weather: answered 503"]

    world.source.failing = False
    world.clock.move(hours=1)
    desk.tick()
    assert desk.troubles() == []
    world.source.failing = True
    for _ in range(8):
        world.clock.move(hours=1)
        desk.tick()
    assert any(re.match(r"the forecast is \d h old: Inv", trouble) for trouble in desk.troubles())


def test_a_defect_of_ours_is_a_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    world = a_world("17:00")
    desk = world.desk
    monkeypatch.setattr(type(desk.corrections), "look", _broken)

    desk.tick()

    assert desk.troubles() == ["change.failed: see the log"]
    assert world.post.titles == ["Carry in 2 plants by 18:40"]


def test_the_troubles_of_a_daemon_that_is_gone_can_be_seen_in_its_ledger() -> None:
    world = a_world("17:00")
    world.desk.tick()

    world.clock.move(minutes=45)

    assert any("has done nothing since" in trouble for trouble in world.desk.troubles())


def test_tries_that_were_refused_are_no_doubtful_ones() -> None:
    world = a_world("17:00")
    desk = world.desk
    for hanging in (True, False, False, True):
        world.post.down, world.post.hanging = {"phone"}, hanging
        desk.tick()
        world.clock.move(minutes=16)
    world.post.down = set()

    desk.tick()

    ((_, message),) = world.post.pushes
    assert message.title.startswith("(repeat) ")


def test_a_channel_that_fails_by_a_defect_of_ours_holds_up_nothing_else(
    caplog: pytest.LogCaptureFixture,
) -> None:
    world = a_world("16:50", a_channel("broken"), a_channel("phone"))
    desk = world.desk

    def sender(channel: Channel, message: Message) -> None:
        if channel.name == "broken":
            msg = "nobody thought of this: json://token@localhost"
            raise RuntimeError(msg)
        world.post(channel, message)

    desk.context.sender = sender
    for _ in range(40):
        desk.tick()
        world.clock.move(minutes=1)

    assert [name for name, _ in world.post.pushes] == ["phone"]
    broken = world.notice("broken")
    assert (broken.state, broken.sent_at) == ("waiting", None)  # and never taken for sent
    assert broken.attempts < 10
    assert any("broken: 1 waiting" in trouble for trouble in desk.troubles())
    assert "in sender" in caplog.text  # where it failed
    assert "token" not in caplog.text


PASSING_NOTHING_ON = NoticePolicy(remind=None, pass_on=None)


def without_its_phone(*now: Channel) -> tuple[World, Desk]:
    """A dusk round that its only channel did not take, with other channels from then on."""
    world = a_world("17:00", a_channel("phone"))
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    desk.take_over(replace(desk.context.household, channels=now, policy=PASSING_NOTHING_ON))
    world.clock.move(minutes=1)
    desk.tick()
    return world, desk


def test_what_waits_for_a_channel_that_is_gone_goes_to_the_one_in_its_place() -> None:
    world, desk = without_its_phone(a_channel("quiet", "week"), a_channel("mobile", "dusk"))
    for _ in range(3):
        world.clock.move(minutes=1)
        desk.tick()

    ((name, message),) = world.post.pushes
    assert name == "mobile"
    assert message.title.startswith("Carry in 2 plants by 18:40")
    assert world.notice("mobile").state == NoticeState.SENT
    assert all(
        state.asked is not None
        for state in world.ledger.plant_states.of_site(SITE.name).values()
        if state.since
    )
    assert desk.troubles() == []


def test_who_has_been_told_inherits_nothing() -> None:
    world = a_world("17:00", a_channel("phone"), a_channel("mail"))
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    desk.take_over(replace(desk.context.household, channels=(a_channel("mail"),)))
    world.clock.move(minutes=5)

    desk.tick()

    assert [name for name, _ in world.post.pushes] == ["mail"]
    assert desk.troubles() == []


def test_where_nobody_is_in_its_place_that_is_a_trouble() -> None:
    world, desk = without_its_phone(a_channel("quiet", "week"))

    assert world.post.pushes == []
    (trouble,) = desk.troubles()
    assert trouble == "phone is no longer a channel: nobody was told dusk of 2026-05-14"


def test_an_order_is_told_and_stays_open_though_its_sheet_cannot_be_worded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = a_world("17:00", a_channel("phone"), a_channel("mail", full_length=True))
    world.household = replace(world.household, policy=NoticePolicy(pass_on=None))
    desk = world.desk
    monkeypatch.setattr("sillward.wording.full_sheet.text", _broken)
    monkeypatch.setattr("sillward.wording.short_sheet.message", _broken)

    desk.tick()

    assert [name for name, _ in world.post.pushes] == ["mail", "phone"]
    for _, message in world.post.pushes:
        assert message.title == "Carry in 2 plants by 18:40"
        assert "bench to room: Left pot, Right pot" in message.body
    assert desk.defects.events == ["round.failed_to_word"] * 2
    assert [chore.plants for chore in world.ledger.chores.of_day(SITE.name, DAY) if chore.open]
    assert any(state.asked for state in world.ledger.plant_states.of_site(SITE.name).values())
    world.clock.move(minutes=75)
    desk.tick()
    assert len(world.post.pushes) == 4  # reminded


def test_words_that_fail_for_one_channel_cost_no_other_its_sheet(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = a_world("17:00", a_channel("mail", full_length=True), a_channel("phone"))
    monkeypatch.setattr("sillward.wording.full_sheet.text", _broken)

    world.desk.tick()

    told = dict(world.post.pushes)
    assert "Leaves cool to" in told["phone"].body
    assert told["mail"].body == "18:40 bench to room: Left pot, Right pot"


@pytest.mark.parametrize("url", ["", "https://plants.example"])
def test_what_is_cut_is_on_the_page_where_a_message_leads_there(url: str) -> None:
    played = staged_day(courtyard(), "16:00", COLD)
    if url:
        played.desk.context.links = PageLinks(b"k" * 32, url)
    played.sleep("17:20")
    played.sleep("10:00", 1)

    last_lines = [push.body.splitlines()[-1] for push in played.pushes]
    cut = [line for line in last_lines if line.startswith("+")]
    where = "see the page" if url else "`sillward sheet`"
    assert cut
    assert all(line.endswith(f": {where}") for line in cut)
    assert all(len(f"{push.title}\n{push.body}") <= MAX_CHARACTERS for push in played.pushes)
