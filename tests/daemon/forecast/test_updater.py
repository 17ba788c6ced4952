"""The updater: who is asked when, what is kept, which forecast is gone by, what is said of it."""

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward.errors import LedgerError, SourceError
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.provider_calls import TRIES
from sillward.forecast.store import PLACE_MARK, ForecastStore
from sillward.forecast.updater import SECOND_OPINION_INTERVAL, ForecastUpdater
from sillward.ledger import CallSchedule, Ledger
from sillward.ledger.database import Database
from sillward.net.http import Answer
from sillward_rules.remark import ForecastDoubted, ForecastsDisagree, NoForecast
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness, Weather, covers
from sillward_rules.weather.plausibility import COLDER_HOLDS, WARMER_HOLDS
from sillward_rules.weather.site import Site
from tests.support.fakes import FakeClock, FakeSource, Wire, ever_new, low_of, remarked

ZONE = ZoneInfo("America/Argentina/Mendoza")
SITE = Site("Test court", -32.89, -68.85, 780, ZONE)
OTHER_SITE = Site("Far court", -31.4, -64.2, 400, ZONE)
NOW = datetime(2026, 5, 14, 16, 20, tzinfo=UTC)
FIRST, SECOND = "Invented weather", "Other weather"
DOWN = SourceError(f"{FIRST}: cannot be reached")


@dataclass
class World:
    """An updater as after a restart, and all that it holds."""

    clock: FakeClock
    wire: Wire
    ledger: Ledger
    sources: list[FakeSource]
    sites: list[Site] = field(default_factory=lambda: [SITE])
    second_opinion_k: float | None = None
    pauses: list[float] = field(default_factory=list)

    @property
    def updater(self) -> ForecastUpdater:
        return ForecastUpdater(
            ForecastStore(
                self.sources, self.ledger, self.clock, second_opinion_k=self.second_opinion_k
            ),
            self.sites,
            ask=self.wire,
            pause=self.pauses.append,
            rng=random.Random(7),
        )

    def run(self, hours: float, step_min: int = 1) -> None:
        """Refresh once a minute for some hours."""
        end = self.clock.now + timedelta(hours=hours)
        updater = self.updater
        while self.clock.now < end:
            updater.refresh_due()
            self.clock.move(minutes=step_min)

    def weather(self, site: Site = SITE) -> Weather:
        return self.updater.store.weather(site)

    def low(self) -> float:
        return float(np.nanmin(self.weather().temp_c))


Make = Callable[..., World]


@pytest.fixture
def make() -> Make:
    def make(*answers: object, **given: object) -> World:
        clock = FakeClock(NOW)
        names = (FIRST, SECOND)[: max(1, len(answers))]
        wire = Wire(clock, dict(zip(names, answers or (low_of(3),), strict=True)))  # type: ignore[arg-type]
        sources = [FakeSource(name) for name in names]
        return World(clock, wire, Ledger(":memory:"), sources, **given)  # type: ignore[arg-type]

    return make


# -- asking


def test_a_good_answer_is_kept_and_served(make: Make) -> None:
    world = make(low_of(3))

    world.updater.refresh_due()

    assert world.low() == pytest.approx(3.0, abs=0.2)
    assert world.weather().source == FIRST
    assert world.weather().remarks == ()
    assert world.updater.store.is_usable(SITE)


def test_a_day_of_ticks_asks_about_nineteen_times_and_off_the_hour(make: Make) -> None:
    world = make(low_of(3))

    world.run(24)

    times = world.wire.times(FIRST)
    assert 17 <= len(times) <= 20
    assert all(4 <= at.minute < 57 for at in times[1:])


def test_a_second_opinion_is_asked_for_a_few_times_a_day(make: Make) -> None:
    world = make(ever_new(3), ever_new(3), second_opinion_k=2.0)

    world.run(24)

    assert 7 <= len(world.wire.times(SECOND)) <= timedelta(hours=24) / SECOND_OPINION_INTERVAL
    assert len(world.wire.asked) <= 28  # with two calls for the members: at most 30 a day


def test_without_an_opinion_the_second_is_not_asked_while_the_first_is_sound(make: Make) -> None:
    world = make(ever_new(3), low_of(9))

    world.run(24)

    assert world.wire.times(SECOND) == []
    assert world.low() == pytest.approx(3.0, abs=0.2)


def test_a_restart_does_not_ask_again(make: Make) -> None:
    world = make(low_of(3))
    world.updater.refresh_due()
    world.clock.move(minutes=10)

    world.updater.refresh_due()

    assert len(world.wire.asked) == 1


def test_what_passes_is_tried_again_at_once_and_what_does_not_is_not(make: Make) -> None:
    broken = SourceError(f"{FIRST}: broke off", passing=True)
    world = make([broken, low_of("{"), low_of(3)])

    world.updater.refresh_due()

    assert len(world.wire.asked) == TRIES
    assert len(world.pauses) == TRIES - 1
    assert world.pauses[0] < world.pauses[1] <= 4.0
    assert world.updater.store.is_usable(SITE)

    lasting = make(DOWN)
    lasting.updater.refresh_due()
    assert len(lasting.wire.asked) == 1


def test_a_source_that_goes_on_failing_is_asked_less_and_less(make: Make) -> None:
    world = make(SourceError(f"{FIRST}: broke off", passing=True))

    world.run(24)

    assert TRIES + 5 <= len(world.wire.asked) <= TRIES + 45
    gaps = np.diff([at.timestamp() for at in world.wire.times(FIRST)])
    assert gaps[TRIES:].max() >= 40 * 60
    assert all(pause <= 4.0 for pause in world.pauses)


def test_a_provider_that_asks_to_wait_is_left_alone_and_nobody_sleeps(make: Make) -> None:
    busy = SourceError(f"{FIRST}: too many requests (429)", wait=timedelta(hours=1))
    world = make([busy, low_of(3)])

    world.run(0.99)
    assert len(world.wire.asked) == 1

    world.run(0.4)
    assert len(world.wire.asked) == 2
    assert world.pauses == []
    assert world.updater.store.is_usable(SITE)


def test_a_provider_that_asks_to_wait_is_left_alone_by_hand_too(make: Make) -> None:
    world = make([SourceError(f"{FIRST}: too many requests (429)", wait=timedelta(hours=1))])
    world.updater.refresh_due()

    with pytest.raises(SourceError, match="asked not to be asked"):
        world.updater.fetch_now()
    assert len(world.wire.asked) == 1


def test_where_nothing_can_be_written_nobody_is_asked(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk must not make a call of every tick."""
    world = make(low_of(3))

    def full(*_: object) -> None:
        msg = "ledger: database or disk is full"
        raise LedgerError(msg)

    monkeypatch.setattr(Database, "replace", full)
    for _ in range(20):
        with pytest.raises(LedgerError):
            world.updater.refresh_due()
        world.clock.move(seconds=30)

    assert world.wire.asked == []


def test_a_call_that_ends_the_process_is_not_made_again_at_every_start(make: Make) -> None:
    world = make(low_of(3))

    def killed(_: int) -> Answer:
        raise KeyboardInterrupt  # nothing of ours catches it, as nothing catches a kill

    world.wire.answers[FIRST] = killed
    for _ in range(60):
        with suppress(KeyboardInterrupt):
            world.updater.refresh_due()
        world.clock.move(seconds=10)

    assert len(world.wire.asked) <= 6


def test_members_are_asked_for_at_most_twice_a_day_although_they_fail(make: Make) -> None:
    world = make(ever_new(3))
    world.wire.answers["Open-Meteo ensemble"] = SourceError("broke off", passing=True)
    updater = world.updater
    updater.store.ensemble = Ensemble()

    for _ in range(48 * 60):
        updater.refresh_due()
        world.clock.move(minutes=1)

    assert len(world.wire.times("Open-Meteo ensemble")) == 4
    assert len(world.wire.asked) <= 2 * 30


def test_members_wait_until_the_forecast_itself_can_be_had(make: Make) -> None:
    world = make([DOWN, low_of(3)])
    world.wire.answers["Open-Meteo ensemble"] = SourceError("cannot be reached")
    updater = world.updater
    updater.store.ensemble = Ensemble()

    updater.refresh_due()
    assert world.wire.times("Open-Meteo ensemble") == []
    world.clock.move(minutes=4)
    updater.refresh_due()
    assert world.wire.times("Open-Meteo ensemble") == [world.clock.now]


def test_asking_by_hand_does_not_wait_for_the_schedule(make: Make) -> None:
    world = make([low_of(3), low_of(5)])
    world.updater.refresh_due()
    world.clock.move(minutes=5)

    world.updater.fetch_now()

    assert world.low() == pytest.approx(5.0, abs=0.2)


def test_a_failure_by_hand_does_not_put_off_the_daemons_next_call(make: Make) -> None:
    world = make([low_of(3), DOWN])
    world.updater.refresh_due()
    planned = world.ledger.call_schedules.get(FIRST)
    world.clock.move(minutes=5)

    for _ in range(4):
        with pytest.raises(SourceError, match="cannot be reached"):
            world.updater.fetch_now()

    after = world.ledger.call_schedules.get(FIRST)
    assert planned is not None
    assert after is not None
    assert after.next_at <= planned.next_at
    assert after.failures == 1


# -- conditional requests


def test_validators_are_sent_back_exactly_and_304_confirms(make: Make) -> None:
    modified = "Thu, 14 May 2026 15:58:10 GMT"
    world = make([low_of(3, last_modified=modified, etag='"x1"'), Answer(304, {}, b"")])
    world.updater.refresh_due()
    world.clock.move(hours=2)

    world.updater.refresh_due()

    assert world.wire.conditions[0] == {}
    assert world.wire.conditions[1] == {"If-Modified-Since": modified, "If-None-Match": '"x1"'}
    stored = world.ledger.forecasts.get(SITE.name, FIRST)
    assert stored is not None
    assert stored.fetched_at == world.clock.now
    assert stored.changed_at == NOW
    assert world.low() == pytest.approx(3.0, abs=0.2)


def test_304_without_having_asked_for_it_is_a_failure(make: Make) -> None:
    world = make(Answer(304, {}, b""))

    world.updater.refresh_due()

    assert not world.updater.store.is_usable(SITE)
    assert "304" in str(world.updater.store.trouble())


def test_what_expires_later_is_not_asked_for_before(make: Make) -> None:
    expires = format_datetime(NOW + timedelta(hours=3), usegmt=True)
    world = make(low_of(3, expires=expires))

    world.run(2.9)
    assert len(world.wire.asked) == 1
    world.run(0.5)
    assert len(world.wire.asked) == 2


# -- the last good one, and its age


def test_what_is_no_forecast_never_replaces_the_last_good_one(make: Make) -> None:
    world = make([low_of(3), low_of("<html>log in</html>"), DOWN])
    world.updater.refresh_due()

    world.run(5)

    assert world.low() == pytest.approx(3.0, abs=0.2)
    assert world.weather().fetched_at == NOW


def test_the_last_good_one_ages_from_fresh_to_old_to_expired(make: Make) -> None:
    world = make([low_of(3), DOWN])
    world.updater.refresh_due()

    ages = {}
    for hours in (1, 7, 25):
        world.clock.now = NOW + timedelta(hours=hours)
        ages[hours] = (
            world.weather().freshness(world.clock.now),
            world.updater.store.is_usable(SITE),
        )

    assert ages == {
        1: (Freshness.FRESH, True),
        7: (Freshness.OLD, True),
        25: (Freshness.EXPIRED, False),
    }


def test_without_any_forecast_nothing_is_known_and_that_is_said(make: Make) -> None:
    world = make(DOWN)
    world.updater.refresh_due()

    weather = world.weather()

    assert np.isnan(weather.temp_c).all()
    assert weather.remarks == (NoForecast(),)


def test_a_forecast_that_never_changes_grows_old_though_it_is_fetched_anew(make: Make) -> None:
    """A provider whose own feed has died goes on answering 200 with the same numbers."""
    world = make(low_of(3))

    world.run(11)
    assert world.weather().freshness(world.clock.now) is Freshness.FRESH
    world.run(3)
    weather = world.weather()
    assert weather.freshness(world.clock.now) is Freshness.OLD
    assert weather.issued_at == NOW
    world.run(11)
    assert not world.updater.store.is_usable(SITE)

    world.wire.answers[FIRST] = low_of(4)
    world.run(2)
    assert world.weather().freshness(world.clock.now) is Freshness.FRESH


def test_an_older_run_never_replaces_a_newer_one(make: Make) -> None:
    """A provider's servers do not all have the same run."""
    world = make([low_of("3 ago 4"), low_of("9 late")])
    world.run(5)

    held = world.updater.store.held(SITE)[0]

    assert held.weather.issued_at == NOW - timedelta(hours=4)
    assert world.low() == pytest.approx(3.0, abs=0.2)
    assert world.updater.store.trouble() == f"{FIRST}: gives an older forecast than before"


def test_a_forecast_for_other_days_is_refused(make: Make) -> None:
    world = make(low_of(3))
    world.sources[0].history_days = -9  # it begins nine days from now

    world.updater.refresh_due()

    assert "does not cover the present hour" in str(world.updater.store.trouble())


def test_a_defect_in_a_source_costs_no_more_than_a_call(make: Make) -> None:
    world = make(ZeroDivisionError("ours"), low_of(9))

    world.updater.refresh_due()

    assert world.updater.store.trouble() == f"{FIRST}: failed (ZeroDivisionError)"
    assert world.weather().source == SECOND


# -- the next in the list


def test_the_next_is_asked_when_the_first_fails_and_the_notice_says_so(make: Make) -> None:
    world = make(DOWN, low_of(9))

    world.updater.refresh_due()

    weather = world.weather()
    assert weather.source == SECOND
    assert remarked(weather) == (f"forecast by {SECOND}; {DOWN}",)


def test_a_fresh_first_is_gone_by_although_its_last_call_failed(make: Make) -> None:
    world = make([low_of(3), DOWN], low_of(9))
    world.updater.refresh_due()
    world.clock.move(hours=2)

    world.updater.refresh_due()

    assert world.weather().source == FIRST
    assert world.weather().remarks == ()


def test_the_next_is_asked_at_the_first_failure_and_takes_over_when_the_first_is_old(
    make: Make,
) -> None:
    world = make([low_of(3), DOWN], ever_new(9))

    world.run(5)
    assert world.weather().source == FIRST
    assert world.wire.times(SECOND)[0] == world.wire.times(FIRST)[1]

    world.run(2)
    assert world.weather().source == SECOND


def test_the_first_is_gone_by_again_once_it_is_back(make: Make) -> None:
    world = make([DOWN, DOWN, low_of(3)], low_of(9))

    world.run(2)

    assert world.weather().source == FIRST
    assert world.weather().remarks == ()


def test_the_next_is_asked_when_the_first_has_gaps_tonight(make: Make) -> None:
    world = make(low_of("3 gap"), low_of(9))

    world.updater.refresh_due()

    assert world.weather().source == SECOND
    assert remarked(world.weather()) == (f"forecast by {SECOND}; {FIRST} has gaps tonight",)


def test_the_next_is_asked_when_the_first_worked_it_out_a_day_ago(make: Make) -> None:
    world = make(low_of("3 late"), low_of(9))

    world.updater.refresh_due()

    assert world.weather().source == SECOND
    assert f"{FIRST} has nothing new" in remarked(world.weather())[0]


def test_gaps_are_better_than_nothing(make: Make) -> None:
    world = make(low_of("3 gap"), DOWN)

    world.updater.refresh_due()

    assert world.weather().source == FIRST
    assert world.updater.store.is_usable(SITE)


def test_of_two_old_ones_the_fresher_counts(make: Make) -> None:
    world = make([low_of(3), DOWN], [low_of(9), SourceError(f"{SECOND}: answered 500")])

    world.run(20)

    assert world.weather().source == SECOND
    assert world.weather().freshness(world.clock.now) is Freshness.OLD
    assert world.weather().fetched_at > NOW


def test_by_hand_the_first_sources_reason_is_told_if_all_fail(make: Make) -> None:
    world = make(DOWN, SourceError(f"{SECOND}: answered 500"))

    with pytest.raises(SourceError, match=f"{FIRST}: cannot be reached"):
        world.updater.fetch_now()
    assert [name for name, _ in world.wire.asked] == [FIRST, SECOND]


def test_a_second_opinion_that_is_colder_counts(make: Make) -> None:
    world = make(low_of(6), low_of(2), second_opinion_k=2.0)
    world.updater.refresh_due()

    weather = world.weather()

    assert weather.source == FIRST
    assert float(np.nanmin(weather.temp_c[weather.times > NOW.timestamp()])) < 2.5
    (remark,) = weather.remarks
    assert isinstance(remark, ForecastsDisagree)
    assert (remark.source, remark.other_source) == (FIRST, SECOND)
    assert remark.other_temp_c < 2.5 < 5.5 < remark.temp_c


def test_a_second_opinion_that_is_missing_changes_nothing_but_is_missed(make: Make) -> None:
    """Who asked for it must not rely on what is not there."""
    world = make(low_of(6), SourceError(f"{SECOND}: turns us away (403)"), second_opinion_k=2.0)
    world.updater.refresh_due()

    assert world.low() == pytest.approx(6.0, abs=0.2)
    assert remarked(world.weather()) == (f"no second opinion; {SECOND}: turns us away (403)",)


def test_a_second_opinion_is_asked_for_by_hand_too(make: Make) -> None:
    """As `sillward send` from cron does, where no daemon runs."""
    world = make(ever_new(6), ever_new(2), second_opinion_k=2.0)

    world.updater.fetch_now()
    assert world.low() == pytest.approx(2.0, abs=0.2)
    world.clock.move(minutes=30)
    world.updater.fetch_now()

    assert len(world.wire.times(SECOND)) == 1


def test_a_second_opinion_that_cannot_be_had_fails_no_call_by_hand(make: Make) -> None:
    world = make(low_of(6), SourceError(f"{SECOND}: turns us away (403)"), second_opinion_k=2.0)

    world.updater.fetch_now()

    assert world.low() == pytest.approx(6.0, abs=0.2)


def test_a_source_without_history_gets_the_past_of_the_other(make: Make) -> None:
    world = make([low_of(3), DOWN], low_of(9))
    world.sources[0].history_days = 7
    world.sources[1].history_days = 0
    world.run(7)

    weather = world.weather()

    assert weather.source == SECOND
    assert weather.times[0] < (NOW - timedelta(days=6)).timestamp()


# -- the clock


def dated(behind: timedelta) -> Answer:
    return low_of(3, date=format_datetime(NOW + behind, usegmt=True))


@pytest.mark.parametrize(
    ("behind", "told"),
    [
        (timedelta(minutes=12), "this machine's clock is 12 min behind Invented weather's"),
        (timedelta(minutes=-12), "this machine's clock is 12 min ahead of Invented weather's"),
        (timedelta(hours=5), "this machine's clock is 5 h behind"),
    ],
)
def test_a_clock_that_is_off_is_told_first(make: Make, behind: timedelta, told: str) -> None:
    world = make(dated(behind))

    world.updater.refresh_due()

    assert remarked(world.weather())[0].startswith(told)
    assert remarked(world.weather())[0].endswith("mind the hours")


def test_a_pretended_clock_is_not_doubted(make: Make) -> None:
    """As with --at: what the provider's clock says is no news then."""
    date_ = format_datetime(NOW + timedelta(days=2), usegmt=True)
    world = make(low_of(3, date=date_))
    updater = replace(world.updater, pretending=True)

    updater.refresh_due()

    assert updater.store.weather(SITE).remarks == ()


def test_a_clock_at_the_bound_does_not_come_and_go(make: Make) -> None:
    world = make(low_of(3))

    def dated(seconds: int) -> None:
        at = world.clock.now + timedelta(seconds=seconds)
        world.wire.answers[FIRST] = low_of(3, date=format_datetime(at, usegmt=True))
        world.clock.move(hours=2)
        world.updater.refresh_due()

    dated(301 + 7200)
    assert world.updater.store.clock_doubt() is not None
    dated(299 + 7200)
    assert world.updater.store.clock_doubt() is not None
    dated(60 + 7200)
    assert world.updater.store.clock_doubt() is None


@pytest.mark.parametrize("minutes", [-4, 0, 4])
def test_a_few_minutes_are_no_matter(make: Make, minutes: int) -> None:
    world = make(dated(timedelta(minutes=minutes)))

    world.updater.refresh_due()

    assert world.updater.store.clock_doubt() is None


def test_a_clock_of_1970_is_told_although_the_forecast_is_of_no_use(make: Make) -> None:
    world = make(low_of(3, date=format_datetime(NOW, usegmt=True)))
    body = world.sources[0].read(b"3", SITE, NOW)
    world.clock.now = datetime(1970, 1, 1, 0, 7, tzinfo=UTC)
    world.sources[0].read = lambda *_: body  # type: ignore[method-assign]

    world.updater.refresh_due()

    assert not world.updater.store.is_usable(SITE)
    assert "this machine's clock is 20588 days behind" in str(world.updater.store.clock_doubt())


def test_a_clock_that_is_set_right_is_doubted_no_more(make: Make) -> None:
    world = make([dated(timedelta(minutes=12)), dated(timedelta(hours=2))])
    world.updater.refresh_due()
    world.clock.move(hours=2)

    world.updater.refresh_due()

    assert world.updater.store.clock_doubt() is None


@pytest.mark.parametrize("date", ["yesterday", "", "Thu, 99 May 2026 99:99:99 GMT", "\udcff"])
def test_a_date_that_is_none_says_nothing_of_the_clock(make: Make, date: str) -> None:
    world = make(low_of(3, date=date))

    world.updater.refresh_due()

    assert world.updater.store.clock_doubt() is None
    assert world.updater.store.is_usable(SITE)


# -- several sites


def test_several_sites_are_asked_for_in_one_call_where_the_source_can(make: Make) -> None:
    world = make(low_of("3|8"), sites=[SITE, OTHER_SITE])
    world.sources[0].max_sites = 10

    world.updater.refresh_due()

    assert len(world.wire.asked) == 1
    assert float(np.nanmin(world.weather(OTHER_SITE).temp_c)) == pytest.approx(8.0, abs=0.2)
    assert float(np.nanmin(world.weather(SITE).temp_c)) == pytest.approx(3.0, abs=0.2)


def test_several_sites_are_asked_for_one_by_one_where_it_cannot(make: Make) -> None:
    world = make([low_of(3), low_of(8)], sites=[SITE, OTHER_SITE])

    world.updater.refresh_due()

    assert [query.params["sites"] for query in world.wire.queries] == ["Test court", "Far court"]
    plan = world.ledger.call_schedules.get(FIRST)
    assert plan is not None
    assert plan.calls == 2


def test_what_is_wrong_with_one_sites_forecast_is_not_with_the_others(make: Make) -> None:
    one_call = make(low_of("nonsense|8"), sites=[SITE, OTHER_SITE])
    one_call.sources[0].max_sites = 10
    one_call.updater.refresh_due()

    each_its_own = make([low_of("nonsense"), low_of(8)], sites=[SITE, OTHER_SITE])
    each_its_own.ledger.call_schedules.keep(FIRST, CallSchedule(NOW, failures=1))  # one try each
    each_its_own.updater.refresh_due()

    for world in (one_call, each_its_own):
        assert world.updater.store.is_usable(OTHER_SITE)
        assert not world.updater.store.is_usable(SITE)
        assert world.updater.store.trouble() == f"{FIRST}: the answer is not whole JSON"


def test_two_processes_with_one_ledger_take_no_turn_from_each_other(make: Make) -> None:
    """Whose site is asked for moves the schedule of the source for both."""
    world = make(ever_new(3))
    other = World(world.clock, world.wire, world.ledger, world.sources, [OTHER_SITE])
    updaters = [other.updater, world.updater]  # this one is always first
    for _ in range(24 * 60):
        for updater in updaters:
            updater.refresh_due()
        world.clock.move(minutes=1)
        assert world.updater.store.best(SITE) is not None
        age = world.clock.now - world.updater.store.held(SITE)[0].saved.fetched_at
        assert age <= timedelta(hours=2)
    assert len(world.wire.asked) <= 2 * 20


def test_a_new_site_does_not_wait_for_the_schedule(make: Make) -> None:
    world = make(low_of(3))
    world.updater.refresh_due()
    world.clock.move(minutes=1)
    world.sites = [SITE, OTHER_SITE]

    world.updater.refresh_due()

    assert world.updater.store.is_usable(OTHER_SITE)


# -- the archive


def test_each_changed_forecast_leaves_its_nights_and_an_unchanged_one_none(make: Make) -> None:
    world = make([low_of(3), low_of(3), low_of(5)])
    for _ in range(3):
        world.updater.refresh_due()
        world.clock.move(hours=2)

    nights = world.ledger.nights.since(SITE.name, date(2026, 5, 1))

    assert {fetched_at for _, fetched_at, _ in nights} == {NOW, NOW + timedelta(hours=4)}
    tonight = [night for _, _, night in nights if night.night == NOW.date()]
    assert [round(night.low_c) for night in tonight] == [3, 5]
    assert tonight[0].lead_h > tonight[1].lead_h > 0


def test_it_is_noted_since_when_nights_are_for_where_the_site_is(make: Make) -> None:
    world = make([low_of(3), low_of(5), low_of(4)])
    moved = replace(SITE, latitude=-32.5)
    noted = []
    for site in (SITE, SITE, moved):
        world.sites = [site]
        world.updater.refresh_due()
        mark = world.ledger.marks.get(f"{PLACE_MARK}, {SITE.name}")
        assert mark is not None
        noted.append(mark.at)
        world.clock.move(hours=2)

    assert noted[0] == noted[1] < NOW, "nothing is known of another place before"
    assert noted[2] == NOW + timedelta(hours=4)


def test_a_clock_set_back_does_not_stop_the_asking(make: Make) -> None:
    world = make(low_of(3))
    world.updater.refresh_due()
    world.clock.now = NOW - timedelta(hours=3)

    world.updater.refresh_due()

    assert len(world.wire.asked) == 2


# -- what cannot be believed


def doubted(world: World) -> ForecastDoubted | None:
    """What is said of a doubt."""
    said = [remark for remark in world.weather().remarks if isinstance(remark, ForecastDoubted)]
    assert len(said) <= 1
    return said[0] if said else None


def night_known(world: World) -> bool:
    """Whether the coming night is known, hour by hour."""
    night = sun.night_at_or_after(SITE, world.clock.now)
    return covers(world.weather(), night.start, night.end)


def test_a_warm_jump_is_kept_apart_and_the_last_good_one_gone_by(make: Make) -> None:
    world = make([low_of(3), low_of(18)])
    world.run(2)

    said = doubted(world)

    assert said is not None
    assert said.why == "it is 15 K warmer than the one before for the same hours"
    assert (said.used, said.fetched, said.colder) == (FIRST, NOW, False)
    assert world.low() == pytest.approx(3.0, abs=0.2)
    assert world.ledger.nights.since(SITE.name, date(2026, 1, 1)) != []
    assert {at for _, at, _ in world.ledger.nights.since(SITE.name, date(2026, 1, 1))} == {NOW}
    assert world.updater.store.is_usable(SITE)
    assert world.updater.store.trouble() == f"{FIRST}: the forecast looks wrong: {said.why}"


def test_the_right_one_ends_the_doubt_at_once(make: Make) -> None:
    world = make([low_of(3), low_of(18), low_of(4)])
    world.run(2)

    assert doubted(world) is None
    assert world.low() == pytest.approx(4.0, abs=0.2)
    assert world.updater.store.trouble() is None
    assert world.ledger.forecasts.get(SITE.name, f"{FIRST}, doubted") is None


def test_what_is_the_last_one_still_ends_it_too(make: Make) -> None:
    unchanged = low_of("", 304)
    world = make([low_of(3, etag='"a"'), low_of(18), unchanged])
    world.run(2)

    assert doubted(world) is None
    assert world.low() == pytest.approx(3.0, abs=0.2)


def test_a_doubt_outlives_a_restart(make: Make) -> None:
    """Every `world.updater` is a new one."""
    world = make([low_of(3), low_of(18)])
    world.run(2)
    before = doubted(world)

    world.run(3)

    after = doubted(world)
    assert (before, after) != (None, None)
    assert before == after


@pytest.mark.parametrize(("low", "holds"), [(18, WARMER_HOLDS), (-17, COLDER_HOLDS)])
def test_a_jump_that_lasts_and_fits_the_season_is_believed_in_the_end(
    make: Make, low: float, holds: timedelta
) -> None:
    world = make([low_of(3), *[low_of(low + 0.01 * number) for number in range(200)]])
    hours = holds / timedelta(hours=1)

    world.run(hours, step_min=5)
    assert doubted(world) is not None
    assert world.updater.store.is_usable(SITE)

    world.run(2.5, step_min=5)
    assert doubted(world) is None
    assert world.low() == pytest.approx(low, abs=2)
    assert world.updater.store.trouble() is None


def test_one_that_jumps_about_is_not(make: Make) -> None:
    wild = [low_of(22 if number % 2 else -22) for number in range(200)]
    world = make([low_of(3), *wild])

    world.run(23, step_min=5)

    assert doubted(world) is not None
    assert world.low() == pytest.approx(3.0, abs=0.2)


@pytest.mark.parametrize("body", ["40", "60", "-60", "3 flat"])
def test_nothing_out_of_season_and_nothing_flat_is_ever_believed(make: Make, body: str) -> None:
    world = make([low_of(3), low_of(body)])

    world.run(60, step_min=20)

    said = doubted(world)
    assert said is not None
    assert said.used is None  # the last good one is of no use any more
    assert not world.updater.store.is_usable(SITE)


def test_nights_that_a_doubted_one_has_much_colder_are_unjudged(make: Make) -> None:
    """It may be true: the warmer one before it must not let plants stay out."""
    world = make([low_of(3), low_of(-17)])
    world.run(2)

    said = doubted(world)

    assert said is not None
    assert said.colder
    assert said.why == "it is 20 K colder than the one before for the same hours"
    assert not night_known(world)
    assert np.isfinite(world.weather().temp_c).any()


def test_what_is_doubted_for_itself_takes_no_night_away(make: Make) -> None:
    world = make([low_of(3), low_of("-60")])
    world.run(2)

    said = doubted(world)

    assert said is not None
    assert not said.colder
    assert night_known(world)


def test_the_first_forecast_of_all_may_be_doubted_and_then_nothing_is_known(make: Make) -> None:
    world = make(low_of(40))
    world.run(2)

    said = doubted(world)

    assert said is not None
    assert (said.used, said.fetched) == (None, None)
    assert said.why == (
        "it says nights no cooler than 40.0 °C, but here this season brings at most 32 °C"
    )
    assert not np.isfinite(world.weather().temp_c).any()
    assert not world.updater.store.is_usable(SITE)
    assert NoForecast() not in world.weather().remarks


def test_by_hand_a_doubted_one_is_no_failure_but_it_is_said(make: Make) -> None:
    world = make(low_of(40), DOWN)

    world.updater.fetch_now()

    assert [name for name, _ in world.wire.asked] == [FIRST, SECOND]
    assert doubted(world) is not None


def test_while_the_first_is_doubted_the_next_is_asked_and_takes_over(make: Make) -> None:
    world = make([low_of(3), low_of(18)], ever_new(4))
    world.run(3)

    assert world.wire.times(SECOND) != []
    assert world.weather().source == FIRST  # its last good one is fresh

    world.run(5)

    said = doubted(world)
    assert said is not None
    assert (said.source, said.used) == (FIRST, SECOND)
    assert world.weather().source == SECOND
    assert world.weather().remarks == (said,)


def test_a_second_source_that_says_the_same_ends_the_doubt(make: Make) -> None:
    world = make([low_of(3), low_of(18)], ever_new(17))
    world.run(3)

    assert doubted(world) is None
    assert world.low() == pytest.approx(18, abs=0.2)


def test_one_much_warmer_than_the_second_is_doubted_as_long_as_there_is_a_second(
    make: Make,
) -> None:
    """Without any jump: it was wrong from the start, and the second came later."""
    world = make(ever_new(18), ever_new(3), second_opinion_k=2.0)
    world.run(30, step_min=20)

    said = doubted(world)

    assert said is not None
    assert said.why.endswith(f"K warmer than {SECOND}'s for the same hours")
    assert world.weather().source == SECOND
    assert world.low() == pytest.approx(3, abs=0.5)


def test_of_several_sites_only_the_doubted_one_is_told(make: Make) -> None:
    world = make([low_of("3|3"), low_of("3.1|18")], sites=[SITE, OTHER_SITE])
    for source in world.sources:
        source.max_sites = 5
    world.run(2)

    assert world.weather().remarks == ()
    assert world.low() == pytest.approx(3.1, abs=0.2)
    (said,) = world.weather(OTHER_SITE).remarks
    assert isinstance(said, ForecastDoubted)
