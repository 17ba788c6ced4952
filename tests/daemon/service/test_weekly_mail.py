"""The week round by mail: which channels get the page, of which hour it is, what never stops
it."""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from email.message import EmailMessage

import pytest
from pydantic import SecretStr

from sillward.assembly.desk_setup import build_desks
from sillward.assembly.examples import demo
from sillward.charts import process
from sillward.charts.data import ChartData
from sillward.config.channel import Channel
from sillward.ledger import Ledger, NoticeState, week_review
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.links.page_links import PageLinks
from sillward.service import due_rounds, weekly_mail
from sillward.service.desk import Desk
from sillward.service.weekly_mail import (
    CHARTS_S,
    MAX_IMAGES_BYTES,
    WeeklyMail,
)
from sillward.service.weekly_mail_file import MADE_BY, page_for_file
from sillward.text.units import SI, Units
from sillward.wording.push import Message
from sillward.wording.weekly_mail import html_page
from sillward_rules.chore import ChoreKind
from sillward_rules.sheet import Round
from tests.support.desks import SITE, World, a_channel, a_world, local
from tests.support.html_pages import page_of
from tests.support.mailbox import MAIL_QUERY, mail_server, only_mail

SUNDAY = date(2026, 5, 17)
PNG = b"\x89PNG\r\n\x1a\n" + bytes(1_000)


def a_mail(name: str = "mail", *, full_length: bool = True) -> Channel:
    url = SecretStr(f"mailto://127.0.0.1:9/?{MAIL_QUERY}")
    return Channel(name, url, ("dusk", "morning", "week"), all_clear=False, full_length=full_length)


@dataclass
class Artist:
    """An artist that draws nothing and remembers what it was asked for."""

    made: bytes | None = PNG
    takes_s: float = 0.0
    asked: list[tuple[str, str, float]] = field(default_factory=list)
    units: set[Units] = field(default_factory=set)
    now_s: float = 100.0

    def __call__(self, data: ChartData, limit_s: float) -> bytes | None:
        self.asked.append((data.kind, data.spot, limit_s))
        self.units.add(data.units)
        self.now_s += self.takes_s
        return self.made

    def monotonic(self) -> float:
        return self.now_s


def at_week(*channels: Channel, artist: Artist | None = None) -> tuple[World, Desk]:
    """A Sunday at six: the week round is due."""
    world = a_world("18:00", *channels)
    world.clock.now = local("18:00", SUNDAY)
    return world, with_artist(world.desk, artist or Artist())


def with_artist(desk: Desk, artist: Artist) -> Desk:
    desk.weekly_mail.draw, desk.weekly_mail.monotonic = artist, artist.monotonic
    return desk


def weeks(world: World) -> dict[str, Message]:
    return {
        name: message for name, message in world.post.pushes if message.title.startswith("Week")
    }


# -- who gets it


def test_a_mail_in_full_gets_page_and_charts_and_nobody_else_does() -> None:
    world, desk = at_week(
        a_channel("phone"),
        a_channel("screen", full_length=True),
        a_mail("mail"),
        a_mail("brief", full_length=False),
    )

    desk.tick()

    told = weeks(world)
    assert set(told) == {"phone", "screen", "mail", "brief"}
    assert {name for name, message in told.items() if message.html is not None} == {"mail"}
    assert {name for name, message in told.items() if message.images} == {"mail"}


def test_told_by_hand_on_another_day_it_is_the_same_mail() -> None:
    world, desk = at_week(a_mail())
    world.clock.now = local("12:00", date(2026, 5, 13))  # a Wednesday
    week = due_rounds.current(
        desk.context.site, desk.context.household.rounds, Round.WEEK, world.clock()
    )
    assert week.early

    desk.tell(week)
    desk.deliver(ignore_quiet_hours=True)

    told = weeks(world)["mail"]
    assert told.html is not None
    assert told.images


def test_a_page_for_a_file_has_its_pictures_in_it() -> None:
    page = page_for_file(
        Message("Week", "text", "<p><img src='cid:one@x'></p>", (("one@x", b"png"),))
    )

    assert page == f"{MADE_BY}<p><img src='data:image/png;base64,cG5n'></p>"
    assert "1 &lt; 2" in page_for_file(Message("Week", "1 < 2"))


@pytest.mark.parametrize("url", ["mailto://h", "mailtos://h", "MAILTOS://h"])
def test_every_way_of_mail_is_one(url: str) -> None:
    assert replace(a_mail(), url=SecretStr(url)).full_mail
    assert not replace(a_mail(), url=SecretStr("json://mailto")).full_mail
    assert not replace(a_mail(), url=None).full_mail


def test_the_daily_rounds_stay_text() -> None:
    world = a_world("17:00", a_mail())
    desk = with_artist(world.desk, Artist())

    desk.tick()

    assert [
        message.title for _, message in world.post.pushes if message.title.startswith("Carry in ")
    ]
    assert all(message.html is None for _, message in world.post.pushes)


def test_what_a_mail_says_as_text_is_what_others_get_and_the_review() -> None:
    world, desk = at_week(a_channel("screen", full_length=True), a_mail())

    desk.tick()

    told = weeks(world)
    mail, screen = told["mail"].body.split("\n"), told["screen"].body.split("\n")
    # What the first of them got has been delivered when the second is made.
    (life,) = [line for line in screen if line not in mail]
    assert life.startswith("Running: a forecast on 1 of 1 evenings, 0 messages")
    extra = [line for line in mail if line not in screen]
    assert extra[0] == "LAST WEEK, SUN 10 MAY TO SAT 16 MAY"
    assert told["mail"].title == told["screen"].title
    assert "Running: a forecast on" in told["mail"].body


def test_page_and_text_are_of_one_sheet() -> None:
    world, desk = at_week(a_mail())

    desk.tick()

    message = weeks(world)["mail"]
    assert message.html is not None
    told = page_of(message.html).text
    assert "Sunday 17 May 2026, 18:00" in message.body
    assert "Sunday 17 May 2026, 18:00" in told
    (life,) = [line for line in message.body.split("\n") if line.startswith("Running")]
    assert life in told
    assert "Last week, Sun 10 May to Sat 16 May" in told
    assert [f"cid:{name}" for name, _ in message.images] == [
        image["src"] for image in page_of(message.html).all("img")
    ]


def test_the_ledger_keeps_title_and_text() -> None:
    world, desk = at_week(a_mail())

    desk.tick()

    kept = world.notice("mail", "week", SUNDAY)
    message = weeks(world)["mail"]
    assert (kept.state, kept.title, kept.body) == ("sent", message.title, message.body)
    assert "<" not in kept.body


# -- what it looks back on


def test_the_review_is_of_what_the_ledger_has() -> None:
    """Four days of rounds at a low of 6 °C, each dusk with its order; one is acknowledged.

    The days are as warm as to bring the plants out again.
    """
    world = a_world("17:00", a_mail(), low_c=6.0)
    world.clock.now = local("16:30", SUNDAY - timedelta(days=4))
    desk = with_artist(world.desk, Artist())
    while world.clock.now < local("17:59", SUNDAY):
        desk.tick()
        world.clock.move(minutes=30)
    orders = [
        chore
        for chore in world.ledger.chores.due_since(
            SITE.name, local("00:00", SUNDAY - timedelta(days=4))
        )
        if chore.kind is ChoreKind.CARRY_IN and chore.day < str(SUNDAY)
    ]
    world.ledger.confirm(SITE.name, world.clock.now, {orders[0].id: None}, {})

    seen = {days: local("12:00", SUNDAY - timedelta(days=days)) for days in (8, 7, 1, 0)}
    noted = [
        DiaryEntry("Test strap", at, at, EntryKind.SPIKE, str(days)) for days, at in seen.items()
    ]
    world.ledger.diary.add(SITE.name, noted)

    week = weekly_mail.review_week(desk.context, SUNDAY)

    assert len(orders) == 4
    assert [entry.text for entry in week.seen] == ["7", "1"]
    assert (week.told, week.done, week.missed, week.false_alarms) == (4, 1, 0, 0)
    assert [night.day for night in week.nights] == [
        SUNDAY - timedelta(days=days) for days in (4, 3, 2, 1)
    ]
    assert all(night.at_dusk_c == pytest.approx(6.0, abs=0.1) for night in week.nights)


def test_a_notice_that_was_missed_is_counted() -> None:
    world = a_world("17:00", a_channel())
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.clock.move(days=1, hours=2)
    desk.deliver()
    assert world.notice().state == NoticeState.EXPIRED

    assert world.ledger.notices.count_expired(SITE.name, date(2026, 5, 14), date(2026, 5, 14)) == 1
    assert world.ledger.notices.count_expired(SITE.name, date(2026, 5, 15), date(2026, 5, 20)) == 0
    assert world.ledger.notices.count_expired(SITE.name, date(2026, 5, 8), date(2026, 5, 13)) == 0
    assert (
        world.ledger.notices.count_expired("elsewhere", date(2026, 5, 14), date(2026, 5, 14)) == 0
    )


def test_a_defect_in_the_review_costs_the_review(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(week_review, "review_of", broken)
    world, desk = at_week(a_mail())

    desk.tick()

    message = weeks(world)["mail"]
    assert message.html is not None
    assert "LAST WEEK" not in message.body
    assert "review.failed" in caplog.text


# -- what never stops it


def test_a_defect_in_the_page_sends_the_text(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> str:
        raise ZeroDivisionError

    monkeypatch.setattr(html_page, "html", broken)
    world, desk = at_week(a_mail())

    desk.tick()

    message = weeks(world)["mail"]
    assert (message.html, message.images) == (None, ())
    assert "NIGHTS" in message.body
    assert "LAST WEEK" in message.body
    assert "notice.failed_to_word" in caplog.text


def test_a_chart_that_fails_is_left_out() -> None:
    artist = Artist(made=None)
    world, desk = at_week(a_mail(), artist=artist)

    desk.tick()

    message = weeks(world)["mail"]
    assert message.html is not None
    assert message.images == ()
    assert page_of(message.html).all("img") == []
    assert len(artist.asked) == 1


def test_a_defect_in_a_chart_is_left_out(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(weekly_mail, "chart_of", broken)
    world, desk = at_week(a_mail())

    desk.tick()

    assert weeks(world)["mail"].html is not None
    assert weeks(world)["mail"].images == ()
    assert "chart.failed" in caplog.text


def courtyard(example: str, artist: Artist, units: Units = SI) -> tuple[WeeklyMail, date]:
    """The packaged example, and the day on which it was recorded."""
    app = demo(example)
    app = replace(app, household=replace(app.household, units=units))
    desk = build_desks([app], Ledger(":memory:"))[0]
    desk.context.updater.fetch_now()
    with_artist(desk, artist)
    return desk.weekly_mail, app.site.local_date(app.clock())


def test_charts_are_of_the_two_spots_with_most_plants_and_of_water_where_one_mists() -> None:
    """Eight plants live at the wall bench, all in compost, and seven at the pergola."""
    dry, cold = Artist(), Artist()

    made, day = courtyard("dry-summer", dry)
    message = made.mail(day)
    made, day = courtyard("cold-snap", cold)
    made.mail(day)

    assert [(kind, spot) for kind, spot, _ in dry.asked] == [
        ("night", "wall bench"),
        ("night", "pergola"),
        ("water", "pergola"),
    ]
    # In the cold snap nothing is misted.
    assert [(kind, spot) for kind, spot, _ in cold.asked] == [
        ("night", "wall bench"),
        ("night", "pergola"),
    ]
    assert [name for name, _ in message.images] == [
        f"chart-{number}@sillward" for number in (1, 2, 3)
    ]
    assert message.html is not None
    assert page_of(message.html).all("img")[0]["alt"] == (
        "Chart of wall bench: Leaf temperature, Tue 20 Jan to Tue 27 Jan 2026"
    )


@pytest.mark.parametrize("units", [SI, Units("°F", "12 h", "mph")])
def test_charts_are_drawn_in_the_growers_units(units: Units) -> None:
    artist = Artist()
    made, day = courtyard("dry-summer", artist, units)

    made.mail(day)

    assert artist.units == {units}


def test_all_charts_together_have_one_limit() -> None:
    artist = Artist(takes_s=12.0)
    made, day = courtyard("dry-summer", artist)

    message = made.mail(day)

    assert [limit for _, _, limit in artist.asked] == [CHARTS_S, CHARTS_S - 12, CHARTS_S - 24]
    assert len(message.images) == 3


def test_charts_that_are_too_large_are_left_out() -> None:
    made, day = courtyard("dry-summer", Artist(made=bytes(MAX_IMAGES_BYTES // 2)))

    assert len(made.mail(day).images) == 2


# -- tries


def test_a_mail_that_has_to_wait_is_made_once_an_hour() -> None:
    artist = Artist()
    world, desk = at_week(a_mail(), artist=artist)
    world.post.down = {"mail"}
    desk.tick()
    drawn = len(artist.asked)
    for _ in range(5):
        world.clock.move(minutes=10)
        desk.tick()
    assert (len(artist.asked), world.post.tried.count("mail")) == (drawn, 12)  # dusk's, too

    world.clock.move(minutes=16)
    world.post.down = set()
    desk.tick()

    assert len(artist.asked) == 2 * drawn
    assert "Sunday 17 May 2026, 19:06" in weeks(world)["mail"].body
    world.clock.move(minutes=61)
    desk.tick()
    assert desk.weekly_mail._last is None


def test_a_repeat_says_so_and_has_its_page() -> None:
    world, desk = at_week(a_mail())
    world.post.down, world.post.hanging = {"mail"}, True
    desk.tick()
    world.post.down = set()
    world.clock.move(minutes=2)
    desk.tick()

    ((_, message),) = [push for push in world.post.pushes if "Week" in push[1].title]
    assert message.title.startswith("(repeat) Week")
    assert message.html is not None


def test_two_mails_are_drawn_once() -> None:
    artist = Artist()
    world, desk = at_week(a_mail("one"), a_mail("two"), artist=artist)

    desk.tick()

    told = weeks(world)
    assert told["one"] == told["two"]
    assert len({spot for _, spot, _ in artist.asked}) * 2 >= len(artist.asked)


# -- all of it, for real


def test_a_whole_mail_of_the_courtyard_arrives_and_is_small() -> None:
    app = demo("dry-summer")
    with mail_server() as box:
        url = SecretStr(box.url(MAIL_QUERY))
        channel = Channel("mail", url, ("week",), all_clear=False, full_length=True)
        day = app.site.local_date(app.clock())
        household = replace(app.household, channels=(channel,))
        desk = build_desks([replace(app, household=household)], Ledger(":memory:"))[0]
        desk.context.updater.fetch_now()
        process._log_once.cache_clear()
        message = desk.weekly_mail.mail(day)
        desk.context.sender(channel, message)
        sent = only_mail(box)
        ((_, _, content),) = box.mails

    images = {
        part["Content-ID"].strip("<>"): part.get_content()
        for part in sent.walk()
        if isinstance(part, EmailMessage) and part.get_content_type() == "image/png"
    }
    page = sent.get_body(("html",))
    assert page is not None
    shown = [
        (image["src"] or "").removeprefix("cid:")
        for image in page_of(page.get_content()).all("img")
    ]
    assert len(shown) == 3
    assert sorted(images) == sorted(shown)
    assert all(image.startswith(PNG[:8]) for image in images.values())
    assert 80_000 < len(content) < 300_000


def test_the_mail_leads_to_the_page_in_text_and_html() -> None:
    world, desk = at_week(a_mail())
    desk.context.links = PageLinks(b"k" * 32, "https://plants.example")
    desk.tick()

    message = weeks(world)["mail"]
    assert message.body.count("https://plants.example/") == 1
    assert (message.html or "").count('href="https://plants.example/"') == 1
    assert "/t/" not in f"{message.body}{message.html}"
    assert message.links is None, "nothing of a week is to be answered"
