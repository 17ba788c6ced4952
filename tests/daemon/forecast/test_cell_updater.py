"""Forecasts of many households: asked for by cell, each when it is due, within what is allowed."""

import random
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import pytest

from sillward.errors import SourceError
from sillward.forecast.asking import Answered
from sillward.forecast.cell_updater import CLAIM, CellUpdater
from sillward.forecast.ensemble import NAME, Ensemble
from sillward.forecast.quota import Quota
from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward.net.http import Answer, Query
from sillward_rules.weather.site import Site
from tests.support.desks import SITE, local
from tests.support.fakes import FakeClock, FakeSource, low_of


@dataclass
class Town:
    """Households some cells apart, whose weather is one number for each cell."""

    count: int
    sources: tuple[FakeSource, ...] = (FakeSource(max_sites=100),)
    clock: FakeClock = field(default_factory=lambda: FakeClock(local("12:10")))
    asked: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    """The source, and the cells."""
    broken: set[str] = field(default_factory=set)
    """Sources that do not answer."""
    bodies: dict[str, str] = field(default_factory=dict)
    """What is said of a cell instead of its low."""
    steady_s: float = 0.0

    def __post_init__(self) -> None:
        self.ledger = Ledger(":memory:")
        store = ForecastStore(self.sources, self.ledger, self.clock, shares_cells=True)
        self.updater = CellUpdater(
            store, self.sites, ask=self.ask, pause=lambda _: None, monotonic=lambda: self.steady_s,
            rng=random.Random(3),
        )  # fmt: skip

    @property
    def sites(self) -> list[Site]:
        return [
            replace(SITE, name=f"house-{n}", latitude=-32.875 + 0.1 * n) for n in range(self.count)
        ]

    def ask(
        self, query: Query, *, source: str, conditions: Mapping[str, str], deadline_s: float
    ) -> Answer:
        cells = tuple(query.params["sites"].split(","))
        self.asked.append((source, cells))
        if source in self.broken:
            msg = f"{source}: answered 503"
            raise SourceError(msg)
        return low_of("|".join(self.bodies.get(cell, f"{3 + len(self.asked)}.0") for cell in cells))

    def look(self, minutes: float = 0) -> int:
        """Look after this time. Return for how many cells was asked."""
        self.clock.move(minutes=minutes)
        self.steady_s += 60 * minutes
        before = len(self.asked)
        self.updater.refresh_due()
        return sum(len(cells) for _, cells in self.asked[before:])

    def low(self, number: int) -> float:
        (held,) = self.updater.store.held(self.sites[number])
        return float(held.weather.temp_c.min())

    def spent(self) -> int:
        plan = self.ledger.call_schedules.get(self.sources[0].name)
        return 0 if plan is None else plan.calls


def test_sites_of_one_cell_are_asked_for_once_and_each_reads_it_at_its_height() -> None:
    town = Town(1)
    below = replace(SITE, name="below", elevation_m=610.0)
    above = replace(SITE, name="above", elevation_m=790.0)
    town.updater.sites = [below, above]

    assert town.look() == 1
    lows = {
        site.name: float(town.updater.store.held(site)[0].weather.temp_c.min())
        for site in (below, above)
    }
    assert town.asked == [("Invented weather", ("cell -32.8750 -68.8250 700 m",))]
    assert lows["above"] == lows["below"] - 0.585  # 90 m; the night below is no warmer
    assert town.updater.sites_with_news() == ["below", "above"]
    assert town.updater.sites_with_news() == []


def test_a_new_household_costs_no_call_for_the_others() -> None:
    town = Town(3)
    assert town.look() == 3
    town.count = 4
    town.updater.sites = town.sites

    assert town.look(minutes=10) == 1
    assert town.look(minutes=10) == 0
    assert town.look(minutes=60) == 3
    assert town.look(minutes=10) == 1


def test_a_cell_whose_forecast_is_no_good_is_asked_for_again_by_itself() -> None:
    town = Town(3)
    cell = "cell -32.7750 -68.8250 700 m"
    town.bodies[cell] = "nothing"
    town.look()
    assert town.updater.store.held(town.sites[1]) == []
    assert len(town.updater.store.held(town.sites[2])) == 1

    assert town.look(minutes=1) == 0
    town.bodies.clear()
    assert town.look(minutes=1) == 1
    assert town.asked[-1] == ("Invented weather", (cell,))
    assert len(town.updater.store.held(town.sites[1])) == 1


def test_a_provider_that_fails_is_left_alone_for_a_while_and_the_second_one_asked() -> None:
    second = FakeSource(name="Other", max_sites=100)
    town = Town(2, (FakeSource(max_sites=100), second))
    town.broken = {"Invented weather"}
    town.look()
    assert [name for name, _ in town.asked] == ["Invented weather", "Other"]

    assert town.look(minutes=1) == 0
    town.broken.clear()
    town.look(minutes=5)

    assert [name for name, _ in town.asked][-1] == "Invented weather"
    assert len(town.updater.store.held(town.sites[0])) == 2
    town.look(minutes=80)
    assert [name for name, _ in town.asked][-1] == "Invented weather"


def test_a_place_that_is_not_covered_says_nothing_of_the_others() -> None:
    source = FakeSource(max_sites=1)
    town = Town(2, (source,))
    answered = town.ask

    def ask(query: Query, **given: object) -> Answer:
        if "-32.8750" in query.params["sites"]:
            msg = "has no forecast for this place"
            raise SourceError(msg, wait=timedelta(hours=24), of_place=True)
        return answered(query, **given)  # type: ignore[arg-type]

    town.updater.ask = ask
    town.look()

    assert [len(town.updater.store.held(site)) for site in town.sites] == [0, 1]
    assert town.look(minutes=80) == 1


def test_calls_are_counted_as_the_provider_counts_and_there_are_no_more_than_it_takes() -> None:
    source = FakeSource(max_sites=10, quota=Quota(a_minute=40, a_day=100, of_site=1.5))
    town = Town(50, (source,))

    assert town.look() == 24  # in the first minute, of 24
    assert town.look(minutes=0.5) == 0
    assert town.spent() == 36
    assert town.look(minutes=0.6) == 24
    assert town.look(minutes=1.1) == 2
    assert town.spent() == 75
    for _ in range(60):
        town.look(minutes=9)
    assert 75 < town.spent() <= 100


def test_what_other_processes_asked_counts_for_the_minute_and_the_hour() -> None:
    quota = Quota(a_minute=40, a_day=None, of_site=1.0, an_hour=50)
    town = Town(60, (FakeSource(max_sites=10, quota=quota),))
    assert town.look() == 36

    town.updater = CellUpdater(
        town.updater.store, town.sites, ask=town.ask, pause=lambda _: None,
        monotonic=lambda: town.steady_s, rng=random.Random(3),
    )  # fmt: skip

    assert town.look(minutes=0.5) == 0
    assert town.look(minutes=0.6) == 9


def test_whose_dusk_is_near_comes_first() -> None:
    source = FakeSource(max_sites=10, quota=Quota(a_minute=20, a_day=None, of_site=1.0))
    town = Town(0, (source,))
    places = {f"house-{n}": replace(SITE, name=f"house-{n}", longitude=15.0 * n) for n in range(24)}
    town.updater.sites = list(places.values())

    town.look()

    asked = [cell for _, cells in town.asked for cell in cells]
    assert len(asked) == 18
    hours = [(17.24 - float(cell.split()[2]) / 15 - 15.17) % 24 for cell in asked]
    assert hours == sorted(hours)
    assert max(hours) < 18.1


def test_requests_are_counted_by_what_came_of_them() -> None:
    town = Town(2, (FakeSource(max_sites=1),))
    town.look()
    town.broken = {"Invented weather"}
    town.look(minutes=80)

    assert town.updater.requests == {
        ("Invented weather", "good"): 2,
        ("Invented weather", "failed"): 2,
    }


def test_of_two_processes_with_one_ledger_one_asks() -> None:
    town = Town(3)
    asked = town.ask

    def ask(query: Query, **given: Any) -> Answer:
        other = CellUpdater(town.updater.store, town.sites, ask=asked)
        other.refresh_due()
        assert town.asked == []
        return asked(query, **given)

    town.look()
    town.asked.clear()
    town.updater.ask = ask

    assert town.look(minutes=80) == 3
    assert len(town.asked) == 1


def test_the_forecast_of_a_cell_that_nobody_asks_for_is_forgotten() -> None:
    town = Town(2)
    town.look()
    town.updater.sites = town.sites[:1]
    for _ in range(8):
        town.look(minutes=24 * 60)

    assert list(town.ledger.forecasts.fetched_at("Invented weather")) == [
        "cell -32.8750 -68.8250 700 m"
    ]


def test_members_are_shared_by_wider_cells_and_a_failed_call_is_one_of_the_day() -> None:
    town = Town(1)
    town.updater.sites = [replace(SITE, name=f"h{n}", latitude=-32.88 + 0.02 * n) for n in range(5)]
    asked: list[str] = []

    def ask(query: Query, *, source: str, **given: Any) -> Answer:
        if source == NAME:
            asked.append(query.params["latitude"])
            msg = f"{source}: answered 503"
            raise SourceError(msg, passing=True)
        return town.ask(query, source=source, **given)

    town.updater.ask = ask
    town.updater.store.ensemble = Ensemble()
    town.look()
    town.look(minutes=60)
    assert asked == ["-32.8750"]
    plan = town.ledger.call_schedules.get(NAME)
    assert plan is not None
    assert plan.calls == 6  # of 5.1: by tens of members

    town.look(minutes=12 * 60)
    assert len(asked) == 2


@dataclass
class Later:
    """Calls that are begun, and answered when a test says so."""

    begun: list[tuple[Callable[[], list[Answered]], "Future[list[Answered]]"]] = field(
        default_factory=list
    )

    def begin(self, asking: Callable[[], list[Answered]]) -> "Future[list[Answered]]":
        future: Future[list[Answered]] = Future()
        self.begun.append((asking, future))
        return future

    def answer(self) -> None:
        for asking, future in self.begun:
            future.set_result(asking())
        self.begun.clear()


def test_a_look_waits_for_no_provider_and_a_later_one_takes_up_the_answers() -> None:
    second = FakeSource(name="Other", max_sites=100)
    town, later = Town(2, (FakeSource(max_sites=100), second)), Later()
    town.updater.begin = later.begin

    assert town.look() == town.look(minutes=1) == 0
    assert not town.updater.has_answers
    assert len(later.begun) == 1  # nor is the second one asked while the first may still answer
    later.answer()
    assert town.updater.has_answers
    town.look()

    assert [len(town.updater.store.held(site)) for site in town.sites] == [1, 1]
    assert sorted(town.updater.sites_with_news()) == ["house-0", "house-1"]
    assert (later.begun, town.updater.has_answers) == ([], False)
    assert town.spent() == 1


def test_the_answers_of_many_places_are_taken_up_one_request_at_a_look() -> None:
    town, later = Town(3, (FakeSource(max_sites=1),)), Later()
    town.updater.begin = later.begin
    town.look()
    later.answer()
    other = CellUpdater(town.updater.store, town.sites, ask=town.ask)

    for taken_up in (1, 2, 3):
        assert town.updater.has_answers
        assert town.look(minutes=0.1) == 0
        other.refresh_due()  # it does not ask for what is not taken up yet
        assert sum(len(town.updater.store.held(site)) for site in town.sites) == taken_up

    assert not town.updater.has_answers
    assert (len(town.asked), town.spent()) == (3, 3)


def test_a_request_that_failed_beside_good_ones_is_not_made_again_at_once() -> None:
    town, later = Town(2, (FakeSource(max_sites=1),)), Later()
    town.updater.begin, town.broken = later.begin, {"Invented weather"}
    town.look()
    asking, future = later.begun.pop()
    (failed, _), town.broken = asking(), set()
    good = asking()[1]
    future.set_result([failed, good])
    town.asked.clear()

    for _ in range(3):
        town.look(minutes=0.5)
        later.answer()
    assert town.asked == []
    for _ in range(4):
        town.look(minutes=0.5)
        later.answer()
    assert len(town.asked) == 1


def test_what_failed_meanwhile_has_the_second_one_asked() -> None:
    second = FakeSource(name="Other", max_sites=100)
    town, later = Town(2, (FakeSource(max_sites=100), second)), Later()
    town.updater.begin, town.broken = later.begin, {"Invented weather"}
    town.look()
    later.answer()
    town.look(minutes=1)
    later.answer()
    town.look(minutes=1)

    assert [name for name, _ in town.asked] == ["Invented weather", "Other"]
    assert [len(town.updater.store.held(site)) for site in town.sites] == [1, 1]


def test_a_process_that_hangs_over_a_call_is_waited_for_no_longer_than_its_claim() -> None:
    town, hangs = Town(2), Later()
    town.look()
    town.updater.begin = hangs.begin
    town.look(minutes=80)
    assert len(hangs.begun) == 1
    other = CellUpdater(town.updater.store, town.sites, ask=town.ask)
    town.asked.clear()

    other.refresh_due()
    assert town.asked == []
    town.clock.move(minutes=CLAIM.total_seconds() / 60 + 0.1)
    other.refresh_due()

    assert len(town.asked) == 1


def test_what_another_process_fetched_before_the_claim_is_not_asked_for_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    town = Town(3)
    town.look()
    other = CellUpdater(town.updater.store, town.sites, ask=town.ask)
    claim = town.updater._claim

    def late(*given: Any) -> bool:
        monkeypatch.undo()
        other.refresh_due()
        return claim(*given)

    monkeypatch.setattr(CellUpdater, "_claim", lambda _, *given: late(*given))

    assert town.look(minutes=80) == 3
