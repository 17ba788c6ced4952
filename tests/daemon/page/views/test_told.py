"""What was told and what came of it, and the log."""

import re
from dataclasses import replace
from datetime import timedelta
from html import escape

import pytest

from sillward.ledger import Deed, Stage, StoredChore
from sillward.page.keys import key_of
from sillward.page.views import told
from sillward.service import answers
from tests.support.desks import DAY, SITE, World, a_plant
from tests.support.page_worlds import SCRIPT, US, a_garden, a_visitor
from tests.support.pages import Visitor


def confirm(world: World, person: str | None = None) -> None:
    """Confirm the order to carry in, for all plants."""
    (chore,) = orders(world)
    answers.confirm(world.ledger, SITE.name, [(chore, chore.plants)], world.clock(), person)


def orders(world: World) -> list[StoredChore]:
    chores = world.ledger.chores.of_day(SITE.name, DAY)
    return [chore for chore in chores if chore.kind.value == "carry-in"]


def test_a_round_is_told_with_its_channels_its_words_and_its_orders() -> None:
    visitor, world = a_visitor(told=True)

    words = visitor.says("/told")

    assert "Thu 14 May Dusk phone: sent 17:00" in words
    assert world.post.pushes[0][1].body.splitlines()[0] in words
    assert "Carry in to room: Left pot, Right pot open, due " in words


def test_what_came_of_an_order_is_told_with_the_person() -> None:
    visitor, world = a_visitor(told=True)
    confirm(world, "Inés")
    assert "done 17:00 by Inés" in visitor.says("/told")

    (chore,) = orders(world)
    later, world = a_visitor(told=True)
    world.clock.now = chore.before + timedelta(hours=1)
    due = chore.before.astimezone(SITE.zone)
    assert f"not confirmed, was due {due:%H:%M}" in later.says("/told")
    confirm(world)
    assert re.search(rf"done \d\d:\d\d, due {due:%H:%M}", later.says("/told"))


def test_what_was_declined_or_called_off_is_told() -> None:
    visitor, world = a_visitor(told=True)
    (chore,) = orders(world)
    answers.decline(world.ledger, SITE.name, [(chore, chore.plants)], world.clock(), None)
    assert "left out, said 17:00" in visitor.says("/told")

    visitor, world = a_visitor(told=True)
    world.ledger.chores.call_off(SITE.name, [orders(world)[0].id], world.clock())
    assert "called off 17:00" in visitor.says("/told")


def test_a_channel_that_is_down_is_told_with_its_reason() -> None:
    visitor, world = a_visitor()
    world.post.down.add("phone")
    world.desk.tick()

    assert "waits to be sent: the service refused it" in visitor.says("/told")
    world.clock.move(hours=30)
    world.desk.tick()
    assert "not sent in time" in visitor.says("/told")


def test_older_days_are_behind_a_link_and_the_oldest_have_none() -> None:
    visitor, world = a_visitor(told=True)
    world.clock.move(days=20)

    page = visitor.get("/told")
    assert "Nothing was told on these days." in page
    (older,) = re.findall(r'href="(/told\?until=[\d-]+)"', page)
    assert "Thu 14 May" in visitor.says(older)

    world.clock.move(days=30)
    pages = 0
    while found := re.findall(r'href="(/told\?until=[\d-]+)"', page):
        page, pages = visitor.get(found[0]), pages + 1
        assert pages < 10
    assert "The latest" in page


@pytest.mark.parametrize("until", ["yesterday", "2026-13-01", "'; --", ""])
def test_a_date_that_is_none_is_refused(until: str) -> None:
    visitor, _ = a_visitor()

    assert visitor.client.get("/told", query_string={"until": until}).status_code == 400


@pytest.mark.parametrize("until", ["0001-01-05", "9999-12-31", "1000-01-01"])
def test_days_of_which_nothing_can_be_known_are_not_asked_for(until: str) -> None:
    visitor, _ = a_visitor(told=True)

    page = visitor.get(f"/told?until={until}")

    assert ("Thu 14 May" in page) == until.startswith("9999")
    key = key_of("other")
    assert visitor.client.get(f"/told/{until}/{key}").status_code == 404


def test_the_words_of_old_notices_are_on_a_page_of_their_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(told, "MAX_WORDS", 0)
    visitor, world = a_visitor(told=True)
    body = world.post.pushes[0][1].body.splitlines()[0]

    page = visitor.get("/told")

    assert escape(body) not in page
    (address,) = re.findall(rf'href="(/told/{DAY}/[0-9a-f]+)"', page)
    assert body in visitor.says(address)
    assert visitor.client.get(f"/told/{DAY}/{key_of('other')}").status_code == 404
    assert visitor.client.get("/told/never/000000000000").status_code == 400


def test_a_change_and_a_reminder_are_named() -> None:
    visitor, world = a_visitor(told=True)
    (notice,) = world.ledger.notices.of_days(SITE.name, DAY, DAY)

    for key, stage, number in (("other", Stage.REMINDER, 0), ("third", Stage.CHANGE, 2)):
        later = replace(notice, key=key, stage=stage, change_number=number)
        world.ledger.notices.insert(later)

    words = visitor.says("/told")
    assert "phone: sent" in words
    assert "phone, reminder: sent" in words
    assert "phone, change 2: " in words


def test_names_are_escaped() -> None:
    visitor, _ = a_visitor(a_garden(a_plant(SCRIPT)), told=True)

    assert "<script>alert" not in visitor.get("/told")


def test_times_are_the_growers() -> None:
    visitor, _ = a_visitor(a_garden(units=US), told=True)

    assert "phone: sent 5:00 pm" in visitor.says("/told")


def test_the_log_says_who_did_what_the_last_first() -> None:
    visitor, world = a_visitor()
    assert "Nothing so far" in visitor.says("/log")
    for minute, person in enumerate(("Inés", SCRIPT, None)):
        deed = Deed(
            world.clock() + timedelta(minutes=minute),
            person,
            "moved",
            {"to": "room", "plants": ["Pot"]},
        )
        world.ledger.deeds.insert(SITE.name, deed)

    words = visitor.says("/log")

    assert words.index("17:02 Moved to room: Pot") < words.index("17:00 Inés: moved to room: Pot")
    assert "<script>alert" not in visitor.get("/log")


def test_a_demonstration_has_told_two_rounds() -> None:
    words = Visitor().says("/told")

    assert "Dusk phone: sent 17:14" in words
    assert "Morning phone: sent 08:33" in words


def test_what_is_to_be_kept_in_is_told_with_its_end() -> None:
    said = Visitor().says("/told")

    assert re.search(r"Keep in: Blue basket, [^:]* until Fri 18:40", said)
    assert not re.search(r"Keep in: [^:]*? open, due", said)
