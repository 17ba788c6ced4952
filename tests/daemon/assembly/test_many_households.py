"""Many households in one daemon: what it asks grows with their number, and no faster."""

import zlib
from contextlib import closing
from pathlib import Path

import pytest

from sillward.assembly.app import of_place
from sillward.assembly.read_only import forecast_updater
from sillward.config import households
from sillward.config.channel import Channel
from tests.support.desks import DAY
from tests.support.held_post import HeldPost
from tests.support.houses import Street, collection


def a_street(folder: Path, households: int) -> Street:
    folder.mkdir()
    street = Street(folder)
    for number in range(households):
        street.add(f"h{number}", collection(latitude=-32.89 + 0.01 * number))
    street.open()
    street.run(1)
    return street


def test_forecasts_are_asked_for_once_for_all_neighbours(tmp_path: Path) -> None:
    requests = {}
    for number in (2, 6):
        street = a_street(tmp_path / str(number), number)
        street.run(10)
        requests[number] = len(street.source.asked)
        street.close()
    assert requests[2] == requests[6] == 1


def test_a_turn_in_which_nothing_is_due_unpacks_no_forecast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    street = a_street(tmp_path / "street", 3)
    street.run(1)
    unpacked: list[int] = []
    real = zlib.decompress

    def counted(body: bytes) -> bytes:
        unpacked.append(len(body))
        return real(body)

    monkeypatch.setattr(zlib, "decompress", counted)
    street.house.wake_all()
    street.run(0.5)
    assert unpacked == []
    street.close()


def test_neighbours_share_a_forecast_and_each_keeps_its_own_nights(tmp_path: Path) -> None:
    street = Street(tmp_path)
    for name, latitude in (("here", -32.88), ("next-door", -32.87), ("away", -32.70)):
        street.add(name, collection(latitude=latitude))
    street.open()
    street.run(2)

    shared = street.equipment.ledgers.shared()
    cells = shared.forecasts.fetched_at(street.source.name)
    assert sorted(cells) == ["cell -32.6750 -68.8250 700 m", "cell -32.8750 -68.8250 700 m"]
    for name in ("here", "next-door", "away"):
        with closing(street.ledger(name)) as ledger:
            assert ledger.nights.since(name, DAY)
            assert ledger.forecasts.fetched_at(street.source.name) == {}

    place = households.find(street.households)["next-door"]
    app = of_place(place, street.settings, [street.source], street.clock)
    with closing(app.open_ledger()) as ledger:
        assert forecast_updater(app, ledger).store.best(app.site) is not None
    street.close()


def whose(channel: Channel) -> str:
    assert channel.url is not None
    return channel.url.get_secret_value().rpartition("/")[2]


def test_a_channel_that_hangs_holds_up_no_other_household_and_is_marked_at_the_end(
    tmp_path: Path,
) -> None:
    street, post = Street(tmp_path), HeldPost()
    for name in ("slow", "quick"):
        street.add(name)
    street.open(post.submit)
    street.house.is_sending = lambda: False  # else a tick waits for news
    street.run(15)
    assert len(post.under_way) == 2

    (quick,) = (future for channel, _, future in post.under_way if whose(channel) == "quick")
    quick.set_result(None)
    street.run(1)
    states = {}
    for name in ("slow", "quick"):
        with closing(street.ledger(name)) as ledger:
            states[name] = [notice.state for notice in ledger.notices.latest(name)]
    assert states == {"slow": ["sending"], "quick": ["sent"]}

    for _, _, future in post.under_way:
        if not future.done():
            future.set_result(None)
    street.close()
    with closing(street.ledger("slow")) as ledger:
        assert [notice.state for notice in ledger.notices.latest("slow")] == ["sent"]
