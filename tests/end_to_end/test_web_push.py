"""From the button on a phone to its notification and back: a desk that tells, its page, and a push
service by https on loopback."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from sillward.channels import web_push
from sillward.links.page_links import PageLinks
from sillward.page.desk import PageDesk
from sillward.service.desk import Desk
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_world, local
from tests.support.pages import KEY, Visitor
from tests.support.push_service import (
    IDENTITY,
    Browser,
    PushService,
    anywhere,
    claims_of,
    push_service,
)

PAGE = "https://plants.example"
INES = "phone of Inés"


@dataclass
class Home:
    """A household with its page, and a phone that has been added there."""

    world: World
    desk: Desk
    visitor: Visitor
    service: PushService
    phone: Browser

    def until(self, text: str) -> None:
        """Tick every five minutes until this hour."""
        while self.world.clock.now < local(text):
            self.desk.tick()
            self.world.clock.move(minutes=5)
        self.desk.tick()

    def shown(self) -> list[dict[str, Any]]:
        """What the phone was sent, as it reads it."""
        return [self.phone.read(body) for _, _, body in self.service.sent]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Home]:
    world = a_world("16:30")
    world.household = a_household(a_channel("other"))
    desk = world.desk
    context = desk.context
    context.push, context.links = IDENTITY, PageLinks(KEY, PAGE)
    told = context.sender

    def send(channel: Any, message: Any) -> None:
        """As `sending.send`, with a push service that is on this machine."""
        by_push = partial(web_push.send, may_dial=anywhere, clock=world.clock)
        (by_push if channel.name == INES else told)(channel, message)

    context.sender = send
    visitor = Visitor(PageDesk(context, lambda: world.household))
    with push_service(tmp_path, monkeypatch) as service:
        phone = service.browser()
        visitor.get("/phones")
        assert visitor.post("/phones", **phone.given, person="Inés").status_code == 303
        yield Home(world, desk, visitor, service, phone)


def test_a_phone_is_told_and_answers_and_the_page_knows_who_it_was(home: Home) -> None:
    home.until("17:10")

    greeting, dusk = home.shown()
    assert greeting["title"] == "This phone gets messages from now on"
    assert "buttons" not in greeting
    assert dusk["title"] == "Carry in 2 plants by 18:40"
    done, *_ = dusk["buttons"]
    assert done["acts"]
    assert done["url"].startswith(f"{PAGE}/t/")

    answer = home.visitor.client.post(urlsplit(done["url"]).path)

    assert answer.text == "Carry in: 2 plants, done.\n"
    chores = home.world.ledger.chores.of_day(SITE.name, DAY)
    assert {chore.done_by for chore in chores if chore.done_at} == {"Inés"}


def test_every_message_is_signed_while_it_is_sent(home: Home) -> None:
    home.until("17:10")

    for _, headers, _ in home.service.sent:
        claims, key = claims_of(headers["Authorization"])
        assert key == IDENTITY.public
        assert claims["aud"] == home.service.origin
        assert 0 < claims["exp"] - home.world.clock().timestamp() <= 24 * 3600


def test_a_phone_that_is_gone_is_asked_once_and_the_others_are_told(home: Home) -> None:
    home.until("16:40")
    home.service.status = 410
    home.service.sent.clear()

    home.until("18:00")

    assert len(home.service.sent) == 1
    assert "Carry in 2 plants by 18:40" in home.world.post.titles
    assert "Phone of Inés has not been told since" in home.visitor.says("/status")
    assert "its browser takes no messages" in home.visitor.says("/phones")


def test_a_push_service_that_is_away_gets_the_message_later(home: Home) -> None:
    home.until("16:40")
    home.service.status = 503
    home.until("17:15")
    home.service.status = 201
    home.service.sent.clear()

    home.until("18:00")

    assert home.shown()[0]["title"] == "Carry in 2 plants by 18:40"
