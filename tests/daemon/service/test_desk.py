"""The desk: rounds told once, delivered until they arrive or their time is over. Everything is
fake but the ledger, which is real SQLite."""

import os
from collections.abc import Callable
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.forecast.schedule import PAUSES
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger, NoticeState, SavedForecast
from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward.service.desk import PATIENCE, Desk
from sillward.service.outbox import LEASE, SEND_PAUSES
from sillward.wording.push import Message
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import NoForecast
from sillward_rules.sheet import Round
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site
from tests.support.chores import a_chore
from tests.support.desks import (
    DAY,
    SITE,
    ZONE,
    Make,
    Post,
    Weatherman,
    World,
    a_channel,
    a_household,
    a_world,
    local,
)


@pytest.fixture
def make() -> Make:
    return a_world


# -- told once, sent once


def test_a_due_round_is_told_and_delivered_once(make: Make) -> None:
    world = make("17:00")
    desk = world.desk

    desk.tick()
    world.clock.move(seconds=30)
    desk.tick()

    ((channel, message),) = world.post.pushes
    assert channel == "phone"
    assert message.title.startswith("Carry in ")
    assert "2 plants" in message.title
    assert world.notice().state == NoticeState.SENT
    assert world.notice().attempts == 1


def test_nothing_is_told_before_its_time(make: Make) -> None:
    world = make("16:59")

    world.desk.tick()

    assert world.post.pushes == []


def test_a_restart_sends_nothing_again(tmp_path: Path, make: Make) -> None:
    world = make("17:00")
    for _ in range(3):
        world.ledger = Ledger(tmp_path / "ledger.sqlite3")
        world.ledger.notices.release_claims(SITE.name, world.clock.now)
        world.desk.tick()
        world.ledger.close()
        world.clock.move(minutes=1)

    assert len(world.post.pushes) == 1


def test_every_channel_gets_the_rounds_it_asked_for_at_its_length(make: Make) -> None:
    world = make(
        "17:00",
        a_channel("phone", "dusk"),
        a_channel("mail", "dusk", "week", full_length=True),
        a_channel("weekly", "week"),
    )

    world.desk.tick()

    told = dict(world.post.pushes)
    assert set(told) == {"phone", "mail"}
    assert len(told["phone"].title + told["phone"].body) < 300
    assert "CARRY IN" in told["mail"].body
    assert "Invented weather by nobody" in told["mail"].body


def test_a_day_has_a_morning_and_a_dusk_and_a_sunday_its_week(make: Make) -> None:
    world = make("08:29", a_channel(all_clear=True))
    world.clock.now = local("08:29", date(2026, 5, 17))
    desk = world.desk

    for _ in range(24 * 6):
        desk.tick()
        world.clock.move(minutes=10)

    notices = world.ledger.notices.latest(SITE.name)
    assert sorted(notice.round for notice in notices) == ["dusk", "morning", "week"]
    assert {notice.day for notice in notices} == {"2026-05-17"}
    assert len(world.post.pushes) == 3


def test_a_late_start_in_the_evening_still_tells_dusk(make: Make) -> None:
    world = make("22:00")

    world.desk.tick()

    assert world.post.titles == ["Carry in 2 plants now"]


def test_a_late_start_in_the_afternoon_tells_no_morning(make: Make) -> None:
    world = make("15:00")

    world.desk.tick()

    assert world.post.pushes == []
    assert world.ledger.notices.latest(SITE.name) == []


def test_a_round_told_by_hand_is_not_told_again_by_the_daemon(make: Make) -> None:
    world = make("17:00")
    desk = world.desk
    desk.context.updater.refresh_due()
    (occasion,) = rounds_due(world)

    assert desk.tell(occasion) is not None
    assert desk.tell(occasion) is None
    desk.tick()

    assert len(world.post.pushes) == 1


def rounds_due(world: World) -> list[due_rounds.Occasion]:
    return due_rounds.occasions(
        world.household.collection.site, world.household.rounds, world.clock.now
    )


# -- when there is nothing to say


def test_a_round_without_chores_is_enqueued_as_not_needed(make: Make) -> None:
    world = make("17:00", low_c=15.0)

    world.desk.tick()

    assert world.post.tried == []
    assert world.notice().state == NoticeState.NOT_NEEDED
    assert world.notice().title == "Nothing to carry in tonight"


def test_a_channel_can_ask_for_the_all_clear(make: Make) -> None:
    world = make("17:00", a_channel("calm", all_clear=True), a_channel("terse"), low_c=15.0)

    world.desk.tick()

    assert [(name, message.title) for name, message in world.post.pushes] == [
        ("calm", "Nothing to carry in tonight")
    ]
    assert world.notice("calm").state == NoticeState.SENT
    assert world.notice("terse").state == NoticeState.NOT_NEEDED


# -- when a channel fails


def test_a_failing_channel_is_tried_again_after_growing_pauses(make: Make) -> None:
    world = make("17:00")
    world.post.down = {"phone"}
    desk = world.desk

    tries: list[datetime] = []
    for _ in range(2 * 90):
        before = len(world.post.tried)
        desk.tick()
        tries += [world.clock.now] * (len(world.post.tried) - before)
        world.clock.move(seconds=30)

    pauses = [after - before for before, after in pairwise(tries)]
    assert pauses[: len(SEND_PAUSES)] == list(SEND_PAUSES)
    assert set(pauses[len(SEND_PAUSES) :]) == {SEND_PAUSES[-1]}
    notice = world.notice()
    assert (notice.state, notice.attempts) == ("waiting", len(tries))
    assert notice.last_error == "channel phone: the service refused it"


@pytest.mark.parametrize(("hanging", "mark"), [(False, ""), (True, "(repeat) ")])
def test_another_attempt_is_marked_as_a_repeat_if_the_first_may_have_arrived(
    make: Make, hanging: bool, mark: str
) -> None:
    world = make("17:00", a_channel("phone"), a_channel("mail"))
    world.post.down, world.post.hanging = {"phone"}, hanging
    desk = world.desk
    desk.tick()

    world.post.down = set()
    world.clock.move(seconds=30)
    desk.tick()

    (mail, first), (phone, second) = world.post.pushes
    assert (mail, phone) == ("mail", "phone")
    assert second.title == f"{mark}{first.title}"
    assert second.body == first.body
    assert world.notice().last_error is None


def test_what_may_have_arrived_once_stays_a_repeat(make: Make) -> None:
    """It got no answer, was refused, and then sent: the first may be on the phone already."""
    world = make("17:00")
    desk = world.desk
    world.post.down, world.post.hanging = {"phone"}, True
    desk.tick()
    world.post.hanging = False
    world.clock.move(minutes=1)
    desk.tick()

    world.post.down = set()
    world.clock.move(minutes=5)
    desk.tick()

    assert world.notice().attempts == 3
    assert world.post.titles[0].startswith("(repeat) ")


def test_one_channel_that_is_down_does_not_hold_up_the_other(make: Make) -> None:
    """The order in the file or in the alphabet makes no difference."""
    world = make("17:00", a_channel("a_down"), a_channel("middle"), a_channel("z_down"))
    world.post.down = {"a_down", "z_down"}

    world.desk.tick()

    assert [name for name, _ in world.post.pushes] == ["middle"]
    assert world.notice("a_down").state == world.notice("z_down").state == NoticeState.WAITING


def test_a_notice_is_given_up_when_the_night_is_over(
    make: Make, caplog: pytest.LogCaptureFixture
) -> None:
    world = make("17:00")
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()

    world.clock.now = local("08:29", DAY + timedelta(days=1))
    world.post.down = set()
    desk.tick()

    assert world.notice().state == NoticeState.EXPIRED
    assert world.post.pushes == []
    assert "notice.expired" in caplog.text


def test_a_notice_of_a_channel_that_left_the_file_waits_and_then_expires(make: Make) -> None:
    world = make("17:00")
    world.post.down = {"phone"}
    world.desk.tick()

    world.household = a_household(a_channel("other", "week"))  # is told no dusk round
    world.clock.move(hours=1)
    world.desk.tick()

    assert world.post.tried == ["phone"]
    assert world.notice().state == NoticeState.WAITING


def test_a_notice_that_a_killed_process_was_sending_is_sent_as_a_repeat(make: Make) -> None:
    world = make("17:00")
    desk = world.desk
    desk.context.updater.refresh_due()
    desk.tell(rounds_due(world)[0])
    until = world.clock.now + LEASE
    assert world.ledger.notices.claim(world.notice().key, until)  # and then the power went

    world.ledger.notices.release_claims(SITE.name, world.clock.now)
    world.desk.tick()
    world.desk.tick()

    (title,) = world.post.titles
    assert title.startswith("(repeat) Carry in ")


def test_what_another_process_is_sending_is_left_to_it_until_its_lease_is_over(
    make: Make,
) -> None:
    """`sillward send` beside the daemon: neither sends what the other is sending."""
    world = make("17:00")
    desk = world.desk
    desk.context.updater.refresh_due()
    desk.tell(rounds_due(world)[0])
    world.ledger.notices.claim(world.notice().key, world.clock.now + LEASE)
    world.ledger.database.connection.execute("UPDATE notice SET owner = ?", (os.getppid(),))

    world.clock.move(seconds=LEASE.total_seconds() - 1)
    assert desk.deliver() == 0
    assert world.post.tried == []

    world.clock.move(seconds=1)
    desk.deliver()
    assert world.post.titles[0].startswith("(repeat) ")


def test_nothing_more_is_sent_once_the_end_is_asked_for(make: Make) -> None:
    world = make("17:00", a_channel("phone"), a_channel("mail"))
    desk = world.desk

    def send(channel: Channel, message: Message) -> None:
        world.post(channel, message)
        desk.context.run.request_stop()

    desk.context.sender = send
    desk.tick()

    assert len(world.post.pushes) == 1
    world.desk.tick()
    assert sorted(name for name, _ in world.post.pushes) == ["mail", "phone"]


def test_a_sender_that_fails_by_surprise_costs_no_notice(make: Make) -> None:
    """A defect in a plugin must not make the notice disappear until the next restart."""
    world = make("17:00", a_channel("phone"), a_channel("mail"))

    def crash(channel: Channel, message: Message) -> None:
        if channel.name == "phone" and not world.post.pushes:
            raise RuntimeError
        world.post(channel, message)

    desk = Desk.of(
        ServiceContext(
            world.household, world.desk.context.updater, world.ledger, crash, world.clock
        )
    )
    for _ in range(20):
        with_luck(desk.tick)
        world.clock.move(minutes=1)

    assert {name for name, _ in world.post.pushes} == {"phone", "mail"}


def with_luck(tick: Callable[[], None]) -> None:
    """Run a tick as the daemon does: one that fails is one tick lost."""
    try:
        tick()
    except RuntimeError:
        return


def test_a_ledger_that_fails_for_a_moment_costs_no_notice(tmp_path: Path, make: Make) -> None:
    """The send fails and the ledger is locked just then: it must still be tried again."""
    world = make("17:00")
    world.ledger = Ledger(tmp_path / "ledger.sqlite3")
    world.ledger.database.connection.execute("PRAGMA busy_timeout = 0")
    other = Ledger(tmp_path / "ledger.sqlite3")

    def lock_and_fail(channel: Channel, message: Message) -> None:
        other.database.connection.execute("BEGIN IMMEDIATE")
        msg = "channel phone: the service refused it"
        raise DeliveryError(msg)

    Desk.of(
        ServiceContext(
            world.household, world.desk.context.updater, world.ledger, lock_and_fail, world.clock
        )
    ).tick()
    other.database.connection.execute("ROLLBACK")
    other.close()
    for _ in range(20):
        world.desk.tick()
        world.clock.move(minutes=1)
    world.ledger.close()

    assert len(world.post.pushes) == 1


def test_a_notice_goes_to_the_channel_of_its_own_site_only(make: Make) -> None:
    """Two collections may share a ledger; their channels may be called the same."""
    world = make("17:00")
    world.post.down = {"phone"}
    world.desk.tick()

    elsewhere = World(
        world.clock, world.source, Post(), world.ledger, a_household(name="Another court")
    )
    world.clock.move(minutes=1)
    elsewhere.desk.deliver()

    assert elsewhere.post.tried == []


# -- when the forecast fails


def test_a_fresh_forecast_is_not_asked_for_again(make: Make) -> None:
    world = make("12:00")
    desk = world.desk

    for _ in range(90):
        desk.tick()
        world.clock.move(minutes=1)

    assert [asked.astimezone(ZONE).hour for asked in world.source.asked] == [12, 13]


def test_a_failing_source_is_asked_again_after_growing_pauses(make: Make) -> None:
    world = make("09:00")
    world.source.failing = True
    desk = world.desk

    for _ in range(180):
        desk.context.updater.refresh_due()
        world.clock.move(minutes=1)

    asked = world.source.asked
    pauses = [after - before for before, after in pairwise(asked)]
    assert len(pauses) >= len(PAUSES)
    assert all(pause >= least for pause, least in zip(pauses, PAUSES, strict=False))
    assert desk.context.updater.store.trouble() == "Invented weather: answered 503"


def test_the_last_good_forecast_serves_while_the_source_fails(make: Make) -> None:
    world = make("14:00")
    desk = world.desk
    desk.tick()

    world.source.failing = True
    world.clock.now = local("17:00")
    desk.tick()

    ((_, message),) = world.post.pushes
    assert message.title.startswith("Carry in ")
    assert "not known" not in message.body


def test_a_forecast_of_a_few_hours_ago_is_named_as_old(make: Make) -> None:
    world = make("09:00", a_channel(full_length=True))
    desk = world.desk
    desk.context.updater.refresh_due()

    world.source.failing = True
    world.clock.now = local("17:00")
    desk.tick()

    assert "the forecast is 8 hours old" in world.post.pushes[0][1].body


@pytest.mark.parametrize("held", [False, True], ids=["no forecast", "one of 25 h ago"])
def test_without_a_usable_forecast_dusk_waits_and_then_says_treat_as_cold(
    make: Make, held: bool
) -> None:
    world = make("17:00", a_channel(full_length=True), low_c=15.0)
    desk = world.desk
    if held:
        world.clock.now = local("16:00", DAY - timedelta(days=1))
        desk.context.updater.refresh_due()
        world.clock.now = local("17:00")
    world.source.failing = True

    told_at = None
    while told_at is None and world.clock.now < local("18:00"):
        desk.tick()
        told_at = world.clock.now if world.post.pushes else None
        world.clock.move(minutes=1)

    assert told_at == local("17:00") + PATIENCE
    ((_, message),) = world.post.pushes
    assert "2 plants" in message.title
    assert "- Left pot" in message.body
    assert "- Right pot" in message.body
    assert "treated as cold" in message.body
    assert "Sill" not in message.body


def test_patience_has_an_end_although_the_clock_is_set_back(make: Make) -> None:
    world = make("17:05")
    world.source.failing = True
    desk = world.desk
    desk.tick()
    world.clock.now = local("17:02", DAY - timedelta(days=30))

    for _ in range(22):
        desk.tick()
        world.clock.move(minutes=1)

    assert [title for title in world.post.titles if title.startswith("Carry in ")]


def test_a_forecast_that_comes_within_the_patience_is_used(make: Make) -> None:
    world = make("17:00", low_c=15.0)
    world.source.failing = True
    desk = world.desk
    desk.tick()

    world.source.failing = False
    world.clock.move(minutes=8)
    desk.tick()

    assert world.notice().title == "Nothing to carry in tonight"


def test_a_stored_body_that_cannot_be_read_counts_as_none(make: Make) -> None:
    world = make("17:00")
    at = local("16:59")
    world.ledger.forecasts.keep(SITE.name, SavedForecast(world.source.name, at, at, b"<html>"))

    weather = world.desk.context.weather()

    assert not np.isfinite(weather.temp_c).any()
    assert weather.remarks == (NoForecast(),)


@pytest.mark.parametrize(
    ("source", "body"),
    [("Invented weather (recorded)", b"15"), ("Invented weather", b"<html>")],
    ids=["of another source", "unreadable"],
)
def test_a_stored_body_of_no_use_does_not_stop_a_fetch(
    make: Make, source: str, body: bytes
) -> None:
    """It may come from `sillward send --recorded`, or from coordinates that were corrected
    since."""
    world = make("17:00", low_c=15.0)
    at = local("16:59")
    world.ledger.forecasts.keep(SITE.name, SavedForecast(source, at, at, body))

    world.desk.tick()

    assert world.source.asked != []
    assert world.notice().title == "Nothing to carry in tonight"


@pytest.mark.parametrize(
    ("whose", "where"), [(ForecastUpdater, "refresh_due"), (ForecastStore, "is_usable")]
)
def test_a_defect_in_the_updater_costs_no_round(
    whose: type, where: str, make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make("17:00").desk

    def broken(*_: object) -> bool:
        msg = "a defect"
        raise ValueError(msg)

    monkeypatch.setattr(whose, where, broken)
    for _ in range(6):
        desk.tick()
        desk.context.clock.move(minutes=5)  # type: ignore[attr-defined]

    assert desk.context.ledger.rounds.enqueued_at(SITE.name, "dusk", DAY) is not None


def test_a_defect_in_a_source_costs_no_round(make: Make) -> None:
    """For a body that no parser foresaw the round says that the night is not known."""
    world = make("17:00")
    world.source = BrokenSource()
    desk = world.desk

    for _ in range(60):
        with_luck(desk.tick)
        world.clock.move(minutes=1)

    ((_, message),) = world.post.pushes
    assert "2 plants" in message.title


class BrokenSource(Weatherman):
    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        raise RuntimeError


# -- where the plants stand


def test_the_state_follows_the_advice_as_assumed(make: Make) -> None:
    world = make("17:00", low_c=7.0)
    desk = world.desk

    desk.tick()

    assert world.spots() == {"Left pot": "room", "Right pot": "room", "Sill": "room"}
    assert all(state.assumed for state in world.ledger.plant_states.of_site(SITE.name).values())

    world.clock.now = local("08:30", DAY + timedelta(days=1))
    desk.tick()

    assert world.spots() == {"Left pot": "bench", "Right pot": "bench", "Sill": "room"}
    assert world.post.titles[-1].startswith("Put out ")


def test_plants_stay_in_on_the_second_cold_night_if_the_day_is_too_cold(make: Make) -> None:
    world = make("17:00", low_c=-6.0)
    desk = world.desk
    desk.tick()

    world.clock.now = local("08:30", DAY + timedelta(days=1))
    desk.tick()
    world.clock.now = local("17:00", DAY + timedelta(days=1))
    desk.tick()

    assert world.spots()["Left pot"] == "room"
    kinds = {chore.kind for chore in world.ledger.chores.due_since(SITE.name, local("00:00"))}
    assert ChoreKind.CARRY_OUT not in kinds


def test_advice_that_reached_nobody_is_not_taken_as_followed(make: Make) -> None:
    """The channel is down all night, so the plants still stand outside in the morning."""
    world = make("17:00", low_c=-6.0)
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.clock.now = local("08:29", DAY + timedelta(days=1))
    desk.tick()
    assert world.notice().state == NoticeState.EXPIRED

    world.post.down = set()
    for hour in ("08:30", "17:00"):
        world.clock.now = local(hour, DAY + timedelta(days=1))
        desk.tick()

    assert world.post.titles[0].startswith("Carry in 2 plants now"), "told as soon as it can be"


def test_a_week_sheet_moves_no_plant_and_leaves_no_chore(make: Make) -> None:
    world = make("17:00")
    world.clock.now = local("18:00", date(2026, 5, 17))
    desk = world.desk
    desk.context.updater.refresh_due()
    week = next(due for due in rounds_due(world) if due.round is Round.WEEK)

    desk.tell(week)

    assert world.ledger.plant_states.of_site(SITE.name) == {}
    assert world.ledger.chores.due_since(SITE.name, local("00:00")) == []


# -- a clock that is set


def test_a_clock_set_back_while_a_source_fails_does_not_stop_the_asking(make: Make) -> None:
    world = make("17:00")
    world.source.failing = True
    desk = world.desk
    desk.context.updater.refresh_due()

    world.clock.move(hours=-5)
    desk.context.updater.refresh_due()

    assert len(world.source.asked) == 2


def test_a_clock_set_back_does_not_hold_up_a_retry(make: Make) -> None:
    world = make("17:00", dusk="13:00")
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()

    world.post.down = set()
    world.clock.move(hours=-3)
    for _ in range(20):
        world.clock.move(minutes=1)
        desk.tick()

    assert len(world.post.pushes) == 1


# -- by hand, and after a start


def test_a_round_told_by_hand_before_its_hour_does_not_use_up_the_real_one(make: Make) -> None:
    world = make("10:00")
    desk = world.desk
    desk.context.updater.fetch_now()
    early = due_rounds.current(SITE, world.household.rounds, Round.DUSK, world.clock.now)

    desk.tell(early)
    desk.tell(early)
    desk.deliver()
    world.clock.now = local("17:00")
    desk.tick()

    assert early.early
    assert len(world.post.pushes) == 2
    assert world.notice(round_="dusk early").state == NoticeState.SENT
    assert world.notice().state == NoticeState.SENT


def test_after_a_late_start_a_round_waits_a_little_for_its_first_forecast(make: Make) -> None:
    world = make("18:30", a_channel(all_clear=True), low_c=15.0)
    world.source.failing = True
    desk = world.desk
    desk.tick()
    assert world.post.pushes == []

    world.source.failing = False
    world.clock.move(minutes=3)
    desk.tick()

    assert world.post.titles == ["Nothing to carry in tonight"]


def test_what_was_acknowledged_is_not_overwritten_by_advice_that_arrives_later(make: Make) -> None:
    world = make("17:00")
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    shed = PlantState("bench", local("17:20"), assumed=False)
    world.ledger.confirm(SITE.name, local("17:20"), {"any": None}, {"Left pot": shed})

    world.post.down = set()
    world.clock.move(minutes=30)
    desk.tick()

    assert world.spots()["Left pot"] == "bench"
    assert world.spots()["Right pot"] == "room"


def test_a_notice_given_up_while_the_clock_was_wrong_gets_its_chance_back(make: Make) -> None:
    world = make("17:00")
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.clock.move(hours=24)
    desk.deliver()
    assert world.notice().state == NoticeState.EXPIRED

    world.clock.move(hours=-24, minutes=1)
    world.post.down = set()
    desk.tick()

    assert world.notice().state == NoticeState.SENT


def test_the_week_sheet_is_sent_even_if_there_is_nothing_to_do(make: Make) -> None:
    world = make("17:00", low_c=15.0)
    world.clock.now = local("18:00", date(2026, 5, 17))

    world.desk.tick()

    assert any(title.startswith("Week: nothing to carry in") for title in world.post.titles)


def test_a_look_by_hand_does_not_lose_a_move_that_lies_ahead(make: Make) -> None:
    world = make("08:30", low_c=5.0)
    world.clock.now = local("08:30", DAY + timedelta(days=1))
    desk = world.desk
    desk.context.updater.fetch_now()
    desk.tick()  # the morning round: out later today
    ahead = world.ledger.plant_states.of_site(SITE.name)["Left pot"]
    assert (ahead.spot, ahead.came_from) == ("bench", "room")

    world.clock.move(minutes=10)
    desk.tell(due_rounds.current(SITE, world.household.rounds, Round.DUSK, world.clock.now))
    desk.deliver()

    assert world.ledger.plant_states.of_site(SITE.name)["Left pot"].spot == "bench"
    world.clock.now = local("17:00", DAY + timedelta(days=1))
    desk.tick()
    assert world.post.titles[-1].startswith("Carry in ")


def test_where_the_morning_reached_nobody_the_plants_may_be_out(make: Make) -> None:
    """With a channel for dusk alone the grower carries out by what dusk said of tomorrow."""
    world = make("17:00", a_channel("phone", "dusk"), low_c=5.0)
    desk = world.desk
    desk.tick()

    world.clock.now = local("17:00", DAY + timedelta(days=1))
    desk.tick()

    assert [title[:9] for title in world.post.titles] == ["Carry in ", "Carry in "]


def test_a_channel_that_never_answers_is_not_told_for_ever(make: Make) -> None:
    world = make("17:00")
    world.post.down, world.post.hanging = {"phone"}, True
    desk = world.desk

    for _ in range(600):
        desk.tick()
        world.clock.move(minutes=1)

    assert len(world.post.tried) <= 4
    assert world.notice().state == NoticeState.SENT
    assert world.notice().last_error is not None


def test_what_was_done_is_open_again_for_other_plants(make: Make) -> None:
    world = make("17:00")
    desk = world.desk
    desk.tick()
    (told,) = [
        chore
        for chore in world.ledger.chores.due_since(SITE.name, local("00:00"))
        if "carry-in" in chore.id
    ]
    world.ledger.confirm(SITE.name, local("17:30"), {told.id: None}, {})
    more = a_chore(told.id, told.before, told.kind, [*told.plants, "Third pot"])

    world.ledger.keep_round(
        SITE.name, "dusk early", DAY, local("17:40"), notices=[], chores=[more], states_now={}
    )

    (again,) = [
        chore
        for chore in world.ledger.chores.due_since(SITE.name, local("00:00"))
        if chore.id == told.id
    ]
    assert again.done_at is None
