"""The server of a ledger is away: the grower hears of it, once, and that it is back."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from typing import NoReturn

import psycopg
import pytest

from sillward.ledger import Ledger
from sillward.ledger import postgres as server
from sillward.ledger.address import PostgresAddress
from tests.support.desks import World, a_channel, a_world
from tests.support.postgres_server import PostgresServer

AWAY = "Sillward has not reached its database since 12:03"
BACK = "Sillward reaches its database again"


@pytest.fixture
def world(postgres: PostgresAddress) -> Iterator[World]:
    with closing(Ledger(postgres)) as ledger:
        yield replace(a_world("12:00", a_channel("phone")), ledger=ledger)


def refuse(address: PostgresAddress) -> NoReturn:
    msg = "the server is away"
    raise psycopg.OperationalError(msg)


def titles(world: World) -> list[str]:
    return list(world.post.titles)


def test_it_is_told_once_and_so_is_the_return(
    world: World, postgres_server: PostgresServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = world.desk

    def run(minutes: int) -> None:
        for _ in range(minutes):
            desk.tick()
            world.clock.move(minutes=1)

    run(3)
    before = titles(world)
    with monkeypatch.context() as patch:
        patch.setattr(server, "connect", refuse)
        postgres_server.cut_connections()
        run(14)
        assert titles(world) == before
        run(40)
        assert titles(world) == [*before, AWAY]
        assert any("the server is away" in trouble for trouble in desk.troubles())
    run(5)

    assert titles(world) == [*before, AWAY, BACK]
    assert desk.troubles() == []


def test_an_absence_of_some_minutes_is_not_told(
    world: World, postgres_server: PostgresServer
) -> None:
    desk = world.desk
    desk.tick()
    for _ in range(3):
        world.clock.move(seconds=timedelta(minutes=6).total_seconds())
        postgres_server.cut_connections()
        desk.tick()  # a connection that was lost
        desk.tick()

    assert not {AWAY, BACK} & set(titles(world))
