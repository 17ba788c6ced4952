"""The pages of the state of the service, and the word for a monitor."""

from dataclasses import replace
from datetime import timedelta

from sillward.errors import LedgerError
from sillward.page.desk import PageDesk
from sillward.service.health import DAEMON_GONE_AFTER
from tests.support.desks import SITE
from tests.support.page_worlds import US, a_garden, a_visitor
from tests.support.pages import Visitor
from tests.support.sensors import BENCH as BENCH_SENSOR


def test_what_is_well_is_said() -> None:
    visitor, _ = a_visitor(told=True)

    words = visitor.says("/status")

    assert "All is well." in words
    assert "Forecast Invented weather, fetched Thu 14 May 17:00" in words
    assert "Next" in words
    assert "answers are written down" in words


def test_what_is_wrong_comes_first() -> None:
    visitor, world = a_visitor(told=True)
    world.clock.move(hours=30)

    words = visitor.says("/status")

    assert "All is well" not in words
    assert "`sillward run` has done nothing since Thu 14 May 17:00" in words
    assert "The forecast is 30 h old, too old to judge a night by" in words


def test_no_forecast_and_troubles_of_the_daemon_are_told() -> None:
    visitor, _ = a_visitor(forecast=False)
    visitor.desk.troubles = lambda: ["reading.failed: see the log"]
    visitor.desk.obstacle = lambda: "the ledger cannot be written"

    words = visitor.says("/status")

    assert "There is no forecast" in words
    assert "Reading.failed: see the log" in words
    assert "answers cannot be written down: the ledger cannot be written" in words


def test_sensors_are_listed_in_the_growers_units() -> None:
    visitor, _ = a_visitor(replace(a_garden(units=US), sensors=(BENCH_SENSOR,)))

    words = visitor.says("/status")

    assert "bench, temperature nothing so far" in words
    assert "5:00 pm" in words


def test_the_further_pages_are_reached_from_more() -> None:
    page = Visitor().get("/more")

    for path in ("/told", "/log", "/away", "/status"):
        assert f'href="{path}"' in page


def test_health_is_one_word_by_the_last_tick() -> None:
    visitor, world = a_visitor(told=True)

    def answer() -> tuple[int, str]:
        got = visitor.client.get("/health")
        assert got.content_type.startswith("text/plain")
        return got.status_code, got.text

    assert answer() == (200, "ok\n")
    world.clock.move(seconds=DAEMON_GONE_AFTER.total_seconds())
    assert answer() == (200, "ok\n")
    world.clock.move(seconds=1)
    assert answer() == (503, "old\n")


def test_health_without_a_tick_or_a_ledger_is_old() -> None:
    visitor, world = a_visitor()
    assert visitor.client.get("/health").status_code == 503

    class Broken(PageDesk):
        def _take_over(self) -> None:
            msg = f"{SITE.name}: secret path"
            raise LedgerError(msg)

    broken = Visitor(Broken(world.desk.context, lambda: world.household))
    got = broken.client.get("/health")
    assert (got.status_code, got.text) == (503, "old\n")


def test_a_tick_in_the_future_is_no_reason_to_worry() -> None:
    visitor, world = a_visitor(told=True)
    world.clock.now -= timedelta(hours=1)

    assert visitor.client.get("/health").status_code == 200


def test_a_forecast_is_as_old_there_as_on_the_other_pages() -> None:
    visitor = Visitor()
    said = visitor.says("/status")

    assert "The forecast is 9 h old" in said
    assert 'class="note late"' not in visitor.get("/status"), "it still serves"
    assert "9 h old" in visitor.says("/ahead")
    assert "The forecast is 9 hours old" in visitor.says()
