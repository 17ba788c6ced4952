"""A replay: what it finds follows from the weather that was and from what was told and done."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from sillward_rules.chore import ChoreKind
from sillward_rules.physics import cold_harm
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.collection import DEFAULT_CAUTION, Collection, Habits
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.salt_balance import SaltBalance
from sillward_rules.plants.state import PlantState
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.replay.desk import Desk
from sillward_rules.replay.engine import WARM_UP, Plan, Run, nights, replay, result_of
from sillward_rules.replay.forecasts import ErringForecasts
from sillward_rules.replay.grower import Step
from sillward_rules.replay.records import Cause, NightRecord, ReplayResult, as_json
from sillward_rules.replay.summary import totals
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.chores import a_chore
from tests.support.core import MENDOZA
from tests.support.past_weather import LIMITS_C, past_weather, plan, some_plants

AUTUMN = date(2023, 4, 1)
"""Of the south."""

BREMEN = Site("Test yard", 53.1, 8.8, 3, ZoneInfo("Europe/Berlin"))


def large_errors(truth: Weather, seed: int) -> ErringForecasts:
    """Forecasts that come so rarely and err so much that a month has some of everything."""
    return ErringForecasts(
        truth, seed, every=timedelta(hours=12), error_k=((0.0, 72.0), (2.5, 4.0))
    )


@pytest.fixture(scope="module")
def truth() -> Weather:
    return past_weather(AUTUMN - timedelta(days=14), 80)


@pytest.fixture(scope="module")
def later() -> Weather:
    """Weather that begins so late that little is replayed before the first night."""
    return past_weather(AUTUMN - timedelta(days=5), 40)


@pytest.fixture(scope="module")
def erring(truth: Weather) -> Plan:
    """Of a grower who takes forecasts at their word, so that plants are left in the cold."""
    at_its_word = some_plants(habits=Habits(caution=0.0))
    return plan(at_its_word, truth, AUTUMN, 30, large_errors(truth, 3))


@pytest.fixture(scope="module")
def erred(erring: Plan) -> ReplayResult:
    return replay(erring)


# -- what must never happen


@pytest.mark.parametrize(
    ("site", "caution"),
    [(MENDOZA, 0.0), (BREMEN, DEFAULT_CAUTION)],
    ids=["south", "north, cautious"],
)
def test_with_perfect_forecasts_nothing_is_missed_or_late(site: Site, caution: float) -> None:
    """And nothing is carried in vain by a grower who takes them at their word: nobody knows that
    they are right, so the cautious carry for the usual errors."""
    first = AUTUMN if site.latitude < 0 else date(2023, 10, 1)
    truth = past_weather(first - timedelta(days=5), 40, site=site)

    household = some_plants(site=site, habits=Habits(caution=caution))
    result = replay(plan(household, truth, first, 30))

    found = totals(result.nights)
    assert found.needed > 80, "there were cold nights"
    assert found.carried_in > 40
    assert found.unwarned == found.late == found.out_too_early == found.not_done == 0
    assert found.corrections == 0
    assert (found.needless_carried == 0) == (caution == 0)
    assert found.needless_walks == 0 or caution > 0
    assert found.deadline_kept == 1.0
    # What is left are the frame, which does not hold every night, and the plant without a shelter.
    exposed = {
        name
        for night in result.nights
        for one in night.of_cause(Cause.NO_COVER)
        for name in one.plants
    }
    assert exposed <= {"framed", "unsheltered"}


def test_errors_cost_misses_needless_trips_and_corrections(erred: ReplayResult) -> None:
    found = totals(erred.nights)

    assert found.misses > 0
    assert found.needless_carried > 0
    assert found.corrections > 0
    assert (erred.seed, erred.plants, erred.kinds) == (3, 16, 16)
    assert "2.5 K at once" in erred.forecasts


# -- recounted in plain pandas


def test_a_month_recounted(erring: Plan, truth: Weather) -> None:
    """From where the grower put the plants, minute by minute; the bench is as warm as the air."""
    air = pd.Series(truth.temp_c, index=pd.to_datetime(truth.times, unit="s", utc=True))
    minutes = air.resample("1min").interpolate()
    run = Run(erring)
    compared = 0
    for offset in range(-5, 30):
        day = AUTUMN + timedelta(days=offset)
        record = run.night(day)
        span = sun.night_of(MENDOZA, day)
        night = minutes[pd.Timestamp(span.start) : pd.Timestamp(span.cold_until)]
        outside = {
            f"from {limit:g}": _outside(run, f"from {limit:g}", night.index) for limit in LIMITS_C
        }
        for limit in LIMITS_C:
            compared += _compare(record, f"from {limit:g}", limit, night, outside)
        assert record.lows_c["bench"] == pytest.approx(float(night.min()), abs=0.05)

    assert compared > 5, "some of them stood in the cold"


def _outside(run: Run, name: str, index: pd.DatetimeIndex) -> np.ndarray:
    """Whether a plant is on the bench, minute by minute, from the steps of the grower."""
    row, places = run.places.index[name], run.places
    out = np.full(len(index), places.at_start[row] == 0)
    for step in places.steps:
        if row in step.plants:
            out[index >= pd.Timestamp(step.at, unit="s", tz="UTC")] = step.column == 0
    return out


def _compare(
    record: NightRecord,
    name: str,
    limit: float,
    night: "pd.Series[float]",
    outside: Mapping[str, np.ndarray],
) -> bool:
    """Hold what was recorded of a plant against its minutes; return whether it was in the cold."""
    there = night[outside[name]]
    under = (limit - there[there < limit]).to_numpy()
    found = [one for one in record.exposures if name in one.plants]
    hours, degree_hours = under.size / 60, under.sum() / 60
    assert sum(one.hours for one in found) == pytest.approx(hours, abs=0.1)
    assert sum(one.degree_hours for one in found) == pytest.approx(degree_hours, abs=0.1)
    if found:
        assert max(one.depth_k for one in found) == pytest.approx(under.max(), abs=0.05)
    return bool(found)


def test_what_is_counted_of_a_night_fits_together(erred: ReplayResult) -> None:
    for record in erred.nights:
        assert record.covered <= record.needed <= erred.plants
        assert record.needless_carried <= record.carried_in <= erred.plants
        assert record.needless <= record.plants_in <= erred.plants
        assert record.needless_walks <= record.walks
        assert record.deadlines <= record.carried_in
        assert sum(one.plants for one in record.chances) <= erred.plants
        assert all(one.came <= one.plants for one in record.chances)
        for one in record.exposures:
            assert one.depth_k > 0
            assert one.hours >= 0
            assert 0 <= one.dose <= 1
        named = [name for one in record.of_cause(Cause.MISSED) for name in one.plants]
        assert len(named) == len(set(named))
        # Who was not covered stood in the cold, or was told to go where it is no better.
        assert record.covered >= record.needed - sum(one.count for one in record.exposures)


# -- the grower


def test_nobody_carries_on_days_away_and_that_is_counted(later: Weather) -> None:
    cold_from = MENDOZA.middle_of_day(AUTUMN + timedelta(days=6)).timestamp()
    turn = replace(later, temp_c=later.temp_c + np.where(later.times < cold_from, 9.0, 0.0))
    away = frozenset(AUTUMN + timedelta(days=offset) for offset in (6, 7, 8))
    at_home = replay(plan(some_plants(), turn, AUTUMN, 16))

    gone = replay(plan(some_plants(), turn, AUTUMN, 16, away=away))

    by_night = {record.night: record for record in gone.nights}
    assert {night for night, record in by_night.items() if record.away} == away
    # Back on the ninth, the grower still takes in what was told for the night and would help.
    assert not by_night[AUTUMN + timedelta(days=6)].carried_in
    assert not by_night[AUTUMN + timedelta(days=7)].carried_in
    assert totals(at_home.nights).not_done == 0
    found = totals(gone.nights)
    assert found.not_done > 3
    assert found.unwarned == found.late == 0
    assert found.harm > totals(at_home.nights).harm
    # Back home all is done again.
    afterwards = [record for record in gone.nights if record.night > max(away)]
    assert totals(afterwards).not_done == 0
    assert totals(afterwards).carried_in > 0


def test_pots_are_watered_and_salts_washed_out_as_the_tool_asks_for() -> None:
    summer = date(2024, 1, 10)
    made = some_plants()
    pots = tuple(replace(one, pot=Pot(3.0, "peat"), span_cm=40.0) for one in made.plants[:2])
    of = replace(made, plants=pots, water=Water(0.2))
    run = Run(plan(of, past_weather(summer - timedelta(days=2), 12), summer, 8))
    salty = SaltBalance(of.site.middle_of_day(summer - timedelta(days=1)), 4.0, 0.1)
    known = PlantState("bench", care=Care(salt=salty))
    run.desk.states = {one.name: known for one in pots}

    given: set[Wetting] = set()
    for night in (summer + timedelta(days=number) for number in range(8)):
        run.night(night)
        noon = of.site.middle_of_day(night + timedelta(days=1))
        for state in run.desk.states.values():
            given.update(one for one in state.care.wettings if one.at < noon)

    done = [one for one in given if one.kind is not ChoreKind.MIST]
    kinds = Counter(one.kind for one in done)
    assert kinds[ChoreKind.LEACH] == 1
    assert kinds[ChoreKind.WATER] >= 2
    assert all(one.confirmed for one in done)


def test_what_is_confirmed_is_told_by_its_name() -> None:
    desk = Desk(some_plants(), timedelta(minutes=20), 4)
    by = datetime(2024, 1, 10, 12, tzinfo=UTC)
    chore = a_chore("2024-01-10-course", by, ChoreKind.COURSE, ("from 10",), ("bench", "bench"))

    desk.confirm(replace(chore, what="magnesium"), ("from 10",), by - timedelta(hours=1))

    (wetting,) = desk.states["from 10"].care.wettings
    assert (wetting.of, wetting.confirmed) == ("magnesium", True)


def test_an_order_lies_between_the_two_places_of_a_plant(erring: Plan) -> None:
    run = Run(erring)
    steps: list[Step] = []
    for offset in range(10):
        day = AUTUMN + timedelta(days=offset)
        run.night(day)
        steps += run.places.steps
        noon = MENDOZA.middle_of_day(day).timestamp()
        assert all(noon <= step.at < noon + 86400 for step in run.places.steps)

    assert [step.at for step in steps] == sorted(step.at for step in steps)
    assert {step.column for step in steps} >= {0, 1}


# -- any way of running it gives the same


def test_the_same_seed_gives_the_same_and_another_does_not(
    erring: Plan, erred: ReplayResult, truth: Weather
) -> None:
    again = replay(replace(erring, last=AUTUMN + timedelta(days=4)))
    other = replay(
        plan(some_plants(), truth, AUTUMN, 5, large_errors(truth, 4)),
    )

    assert again.nights == erred.nights[:5]
    assert other.nights != again.nights


def test_records_come_night_by_night_and_what_is_there_is_a_result(erring: Plan) -> None:
    told: list[NightRecord] = []
    running: Iterator[NightRecord] = nights(erring)
    records = [next(running) for _ in range(3)]

    def stop(record: NightRecord) -> None:
        told.append(record)
        if len(told) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replay(erring, stop)

    assert told == records[:2]
    partial = result_of(erring, records)
    assert not partial.complete
    assert [record.night for record in partial.nights] == [
        AUTUMN + timedelta(days=offset) for offset in range(3)
    ]


def test_a_leap_day_is_a_night_like_any_other() -> None:
    truth = past_weather(date(2024, 2, 10), 40)

    result = replay(plan(some_plants(), truth, date(2024, 2, 26), 6))

    assert [record.night.isoformat() for record in result.nights][2:5] == [
        "2024-02-28",
        "2024-02-29",
        "2024-03-01",
    ]
    assert totals(result.nights).unjudged == 0


def test_nights_that_are_not_known_are_not_judged(later: Weather) -> None:
    temp = later.temp_c.copy()
    gap = AUTUMN + timedelta(days=5)
    start = np.searchsorted(later.times, MENDOZA.middle_of_day(gap).timestamp())
    temp[start + 12 : start + 18] = np.nan

    result = replay(plan(some_plants(), replace(later, temp_c=temp), AUTUMN, 12))

    assert [record.night for record in result.nights if record.unjudged] == [gap]
    record = result.nights[5]
    assert record.lows_c == {"bench": None}
    assert record.unjudged == result.plants
    assert record.needless == record.needless_carried == 0
    assert record.narrowest is None


def test_weather_that_ends_early_leaves_nights_unjudged(later: Weather) -> None:
    short = {name: getattr(later, name)[: 24 * 9] for name in ("times", *SERIES)}
    cut = replace(later, **short)

    result = replay(plan(some_plants(), cut, AUTUMN, 8))

    assert result.complete
    assert [record.unjudged for record in result.nights] == [0, 0, 0, 16, 16, 16, 16, 16]


@pytest.mark.parametrize("offset", [11, 26])
def test_a_part_by_itself_is_as_in_the_whole(
    erring: Plan, erred: ReplayResult, offset: int
) -> None:
    """A replay begins before its first night, so that plants are where they would be by then."""
    first = AUTUMN + timedelta(days=offset)

    part = replay(replace(erring, first=first, last=first + timedelta(days=3)))

    assert part.nights == erred.nights[offset : offset + 4]


def test_what_plants_went_through_before_a_replay_is_forgotten_when_it_begins() -> None:
    """Of two plants of one kind one comes from cold nights and harm, the other from mild ones."""
    limit, low = 12.0, 15.0
    cold, mild = limit, limit + cold_harm.HARDENED_WITHIN_K
    dose = 1.0
    for _ in range(WARM_UP.days):
        cold, mild = (float(cold_harm.usual_low_c(usual, low)) for usual in (cold, mild))
        dose = float(cold_harm.carried_dose(dose, 0.0))

    hardened = cold_harm.hardened_share(limit, np.array([cold, mild]))

    assert hardened[0] - hardened[1] < 0.05
    assert dose < 0.06


def test_nights_before_the_weather_begins_are_not_judged() -> None:
    truth = past_weather(AUTUMN, 10)

    result = replay(plan(some_plants(), truth, AUTUMN - timedelta(days=2), 6))

    assert [bool(record.unjudged) for record in result.nights] == [True, True] + [False] * 4


ANYWHERE = {
    "polar night and midnight sun": Site("North", 69.65, 18.95, 10, ZoneInfo("Europe/Oslo")),
    "east of the date line by zone": Site("Atoll", 1.9, -157.4, 3, ZoneInfo("Pacific/Kiritimati")),
    "clocks change": Site("Plateau", 40.4, -3.7, 600, ZoneInfo("Europe/Madrid")),
}


@pytest.mark.parametrize("site", ANYWHERE.values(), ids=ANYWHERE.keys())
@pytest.mark.parametrize("first", [date(2024, 3, 29), date(2024, 6, 20)], ids=str)
def test_a_replay_goes_through_anywhere(site: Site, first: date) -> None:
    truth = past_weather(first - timedelta(days=3), 9, site=site)

    result = replay(plan(some_plants(site=site), truth, first, 3, large_errors(truth, 1)))

    assert [record.night for record in result.nights] == [
        first + timedelta(days=offset) for offset in range(3)
    ]
    assert totals(result.nights).unjudged == 0


@pytest.mark.parametrize(("dusk", "morning"), [("00:15", "05:00"), ("sunset+2h", "sunrise-2h")])
def test_rounds_may_be_at_any_hour(later: Weather, dusk: str, morning: str) -> None:
    habits = Habits(told_at=parse_moment(dusk), morning_at=parse_moment(morning))

    result = replay(plan(some_plants(habits=habits), later, AUTUMN, 3))

    assert totals(result.nights).pushes == 6
    assert totals(result.nights).covered > 0


def test_nothing_is_found_where_nothing_grows_or_nothing_is_known(later: Weather) -> None:
    garden = some_plants()
    empty = Collection(garden.site, garden.spots, (), garden.rules, garden.habits)
    unknown = replace(later, temp_c=np.full(later.times.shape, np.nan))

    nobody = replay(plan(empty, later, AUTUMN, 2))
    blind = replay(plan(garden, unknown, AUTUMN, 2))

    assert totals(nobody.nights) == totals([replace(one, pushes=0) for one in nobody.nights])
    assert [record.plants_in for record in nobody.nights] == [0, 0]
    assert [record.unjudged for record in blind.nights] == [16, 16]
    # Nights of which nothing is known count as cold: what has a shelter is in.
    assert all(record.plants_in >= 14 for record in blind.nights)
    assert json.dumps(as_json(blind), allow_nan=False)
