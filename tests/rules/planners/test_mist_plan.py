"""The plan of a day's mistings: how many by holder, none at rest, rain, and the grower's hours."""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners import mist, mist_day
from sillward_rules.planners.day_films import SpotFilms
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import ROT_CLASSES, Rot
from sillward_rules.plants.plant import HOLDERS, Holder
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import MistingMissed
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import acknowledged
from sillward_rules.trips import MIN_WINDOW, round_down, round_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from sillward_rules.weather.spot import Spot
from tests.support.core import (
    MENDOZA,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    utc,
    warned,
    weather,
)
from tests.support.summer import (
    DAY,
    HOT,
    HOURS,
    NOW,
    at_home,
    each_plan,
    free,
    garden,
    limited,
    planned,
    raining,
    rule,
    sky,
)

SETTLED = settings(max_examples=25, derandomize=True, deadline=None)
ANY_HOLDER = rule("vpd above limit", hours="day", asks="mist")
MANY = Habits(mistings_most=8)
WINTER = utc("2026-06-19T00:00")
WINTER_NOW = utc("2026-06-20T14:00")  # 11:00 at the site


def one_plan(holder: Holder = "basket", **series: object) -> mist_day.Plan:
    habits = series.pop("habits", MANY)
    assert isinstance(habits, Habits)
    air = sky(**series)  # type: ignore[arg-type]
    made = garden(plant(holder=holder), habits=habits, rules=[ANY_HOLDER])
    return planned(made, air)[2][0]


def starts(chore: Chore) -> datetime:
    assert chore.not_before is not None
    return chore.not_before


# -- by holder


def test_what_hangs_barer_is_misted_more_often_and_sooner_again() -> None:
    plans = {holder: one_plan(holder, dew=2.0) for holder in mist_day.DRY_TOLERANCE_KPA_H}

    counts = [len(plans[holder].mistings) for holder in ("mount", "basket", "moss", "pot")]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[1] > counts[2] > counts[3] >= 1
    again = [plans[holder].mistings[1].at for holder in ("mount", "basket", "moss")]
    assert again[0] < again[1] < again[2]


@pytest.mark.parametrize("holder", list(mist_day.DRY_TOLERANCE_KPA_H))
def test_between_two_mistings_roots_dry_as_much_as_their_holder_lets_them(holder: Holder) -> None:
    made = garden(plant(holder=holder), habits=MANY, rules=[ANY_HOLDER])
    _, _, (plan,), day_films = planned(made, sky())
    films = day_films.at_spot(0)

    wetted = [plan.mistings[0].opens, *(misting.at for misting in plan.mistings[1:])]
    for before, after in pairwise(wetted):
        dry_from = before + timedelta(hours=films.at(films.velamen, before))
        dose = deficit_sum(films, dry_from, after)
        # A step of five minutes at 4 kPa is 0.33 kPa h; the ends are good to two of them.
        assert dose == pytest.approx(mist_day.DRY_TOLERANCE_KPA_H[holder], abs=0.8)


def deficit_sum(films: SpotFilms, start: datetime, end: datetime) -> float:
    """Deficit times hours [kPa h] by Tetens' formula (FAO-56, eq. 11), step by step."""
    air = films.day_air.air
    temp, vapour = air.temp_c[:, films.column], air.vapour_kpa[:, films.column]
    deficit = 0.6108 * np.exp(17.27 * temp / (temp + 237.3)) - vapour
    within = (films.starts >= start.timestamp()) & (films.starts < end.timestamp())
    return float(deficit[within].sum() * 5 / 60)


def test_a_drier_day_asks_for_more() -> None:
    milder = one_plan("mount", temp=daily_curve(19.0, 29.0, 96), dew=12.0)
    drier = one_plan("mount", dew=2.0)

    assert len(drier.mistings) > len(milder.mistings) >= 1


@pytest.mark.parametrize("holder", list(mist_day.DRY_TOLERANCE_KPA_H))
@pytest.mark.parametrize(
    ("low", "high", "dew"), [(20.0, 25.0, 19.8), (7.0, 17.9, -10.0)], ids=["humid", "cool"]
)
def test_nothing_on_humid_or_cool_days(holder: Holder, low: float, high: float, dew: float) -> None:
    plan = one_plan(holder, temp=daily_curve(low, high, 96), dew=dew)

    assert plan == mist_day.Plan()


def test_a_grower_who_never_mists_gets_no_plan() -> None:
    assert one_plan("mount", habits=Habits(mistings_most=0)) == mist_day.Plan()


def test_the_last_wetting_hour_binds_every_misting() -> None:
    for rot in ("high", "medium", "low"):
        made = garden(plant(holder="mount", rot=rot), habits=MANY)
        _, _, (plan,), day_films = planned(made, sky())
        last = day_films.at_spot(0).last_wetting(rot)

        assert last is not None
        assert plan.mistings
        assert all(misting.closes <= last for misting in plan.mistings)


def test_what_goes_out_later_is_not_misted_before_it_is_there() -> None:
    made = garden(plant(holder="mount"), habits=MANY)
    scene, places, _, day_films = planned(made, sky())
    since = NOW + timedelta(hours=3)
    late = replace(places, since=np.array([since.timestamp()]))

    (plan,) = each_plan(scene, late, day_films)

    assert plan.mistings
    assert all(misting.opens >= since for misting in plan.mistings)


def test_what_goes_in_early_is_not_misted_after_that() -> None:
    made = garden(plant(holder="mount"), habits=MANY)
    scene, places, _, day_films = planned(made, sky())
    until = utc("2026-01-20T17:00")
    early = replace(places, until=np.array([until.timestamp()]))

    (plan,) = each_plan(scene, early, day_films)

    assert plan.mistings
    assert all(misting.closes <= until for misting in plan.mistings)


# -- the dry rest


@pytest.mark.parametrize("rests", [True, False])
def test_a_dry_rest_is_kept_dry_and_other_plants_are_not(rests: bool) -> None:
    resting = limited(plant(holder="mount", night_low=5.0), rest=rests)
    air = sky(daily_curve(8.0, 25.0, 96), dew=-8.0, start=WINTER, now=WINTER_NOW)
    scene, _, (plan,), _ = planned(garden(resting), air, now=WINTER_NOW)

    assert scene.seasons[0] is Season.REST
    assert bool(plan.mistings) is not rests


def test_in_its_growing_season_a_plant_that_rests_dry_is_misted() -> None:
    growing = limited(plant(holder="mount"), rest=True)
    scene, _, (plan,), _ = planned(garden(growing), sky())

    assert scene.seasons[0] is Season.GROWING
    assert plan.mistings


# -- rain


def test_rain_in_the_morning_window_replaces_the_first_misting() -> None:
    dry = one_plan("basket")
    wet = one_plan("basket", rain_mm=raining("2026-01-20T11:00"))

    assert dry.mistings[0].takes
    assert dry.mistings[0].opens <= utc("2026-01-20T10:30") <= dry.mistings[0].closes
    assert wet.mistings
    assert not any(misting.takes for misting in wet.mistings)
    assert all(misting.opens > utc("2026-01-20T11:00") for misting in wet.mistings)


def test_rain_at_noon_puts_off_the_repeat_that_follows_it() -> None:
    dry = one_plan("basket")
    wet = one_plan("basket", rain_mm=raining("2026-01-20T15:00"))

    assert dry.mistings[1].at > utc("2026-01-20T15:00")
    assert wet.mistings[0] == dry.mistings[0]
    assert wet.mistings[1].at - dry.mistings[1].at > timedelta(hours=1)


def test_rain_that_does_not_wet_replaces_nothing() -> None:
    dry = one_plan("basket")
    drizzle = one_plan("basket", rain_mm=raining("2026-01-20T11:00", "2026-01-20T15:00", mm=0.1))

    assert [misting.at for misting in drizzle.mistings] == [misting.at for misting in dry.mistings]


def test_unknown_rain_is_no_reason_not_to_mist() -> None:
    assert one_plan("basket", rain_mm=np.full(96, np.nan)).mistings


# -- the grower's hours


def slots_of(habits: Habits) -> list[tuple[datetime, datetime]]:
    """The grower's hours of the day, both ends included."""
    return [
        (hour.start.on(MENDOZA, DAY), hour.end.on(MENDOZA, DAY))
        for hour in habits.hours
        if hour.start is not None and hour.end is not None
    ]


def test_hours_that_suffice_miss_nothing() -> None:
    roomy = free("06:00-20:30", most=8)
    scene, places, plans, day_films = planned(garden(plant(holder="basket"), habits=roomy), sky())

    best = one_plan("basket")
    assert [misting.at for misting in plans[0].mistings] == [
        misting.at for misting in best.mistings
    ]
    assert plans[0].missed == ()
    assert mist.missed(scene, places, mist.plan_mistings(scene, places, day_films)) == []


def test_hours_around_each_due_time_suffice_too() -> None:
    best = planned(garden(plant(holder="basket")), sky())[2][0]
    local = [misting.at.astimezone(MENDOZA.zone) for misting in best.mistings[1:]]
    around = [
        f"{at - timedelta(minutes=20):%H:%M}-{at + timedelta(minutes=20):%H:%M}" for at in local
    ]
    habits = free("06:50-09:00", *around)

    scene, places, plans, day_films = planned(garden(plant(holder="basket"), habits=habits), sky())

    assert len(plans[0].mistings) == len(best.mistings)
    assert mist.missed(scene, places, mist.plan_mistings(scene, places, day_films)) == []


def test_hours_that_do_not_suffice_are_told_with_what_they_miss() -> None:
    habits = free("06:50-08:30", "18:00-20:00")
    scene, places, plans, day_films = planned(garden(plant(holder="mount"), habits=habits), sky())

    (missed,) = mist.missed(scene, places, mist.plan_mistings(scene, places, day_films))
    assert isinstance(missed, MistingMissed)
    assert plans[0].dry is not None
    assert plans[0].missed
    assert missed == MistingMissed(
        plants=("Test strap",),
        spot="bench",
        dry_from=round_down(plans[0].dry[0], MENDOZA),
        dry_until=round_up(plans[0].dry[1], MENDOZA),
        due=tuple(round_down(due, MENDOZA) for due in plans[0].missed),
    )
    for at in (missed.dry_from, missed.dry_until, *missed.due):
        assert at.tzinfo is MENDOZA.zone
    for due in plans[0].missed:
        assert not any(start <= due <= end for start, end in slots_of(habits))


def test_one_warning_for_all_plants_alike() -> None:
    habits = free("06:50-08:30")
    made = garden(plant("a", holder="mount"), plant("b", holder="mount"), habits=habits)
    sheet = draw_up(Round.MORNING, made, sky(), {}, NOW)

    (missed,) = warned(sheet, MistingMissed)
    assert (missed.plants, missed.spot) == (("a", "b"), "bench")


@pytest.mark.parametrize("text", ["22:00-05:00", "sunset+1h to sunrise-1h", "night", "19:30-20:10"])
def test_hours_at_night_or_after_the_last_wetting_hour_mist_nothing_and_say_so(text: str) -> None:
    habits = free(text)
    scene, places, plans, day_films = planned(garden(plant(holder="mount"), habits=habits), sky())

    last = day_films.at_spot(0).last_wetting("high")
    assert last is not None
    assert last < utc("2026-01-20T22:30")  # 19:30 at the site
    assert plans[0].mistings == ()
    (missed,) = mist.missed(scene, places, mist.plan_mistings(scene, places, day_films))
    assert isinstance(missed, MistingMissed)
    assert missed.due


@pytest.mark.parametrize(
    ("text", "misted"),
    [("15:00-17:30", True), ("16:20-17:30", False), ("12:00-12:20", True), ("12:00-12:05", False)],
)
def test_short_hours_are_kept_to_and_so_is_the_last_wetting_hour(text: str, misted: bool) -> None:
    made = garden(plant(holder="mount"), habits=free(text))
    _, _, (plan,), day_films = planned(made, sky())

    last = day_films.at_spot(0).last_wetting("high")
    assert last is not None
    assert utc("2026-01-20T19:20") < last < utc("2026-01-20T19:30")  # past 16:20 at the site
    ((_, end),) = slots_of(made.habits)
    assert bool(plan.mistings) is misted
    assert all(misting.closes <= min(last, end) for misting in plan.mistings)


def test_in_scarce_hours_nothing_is_misted_or_fed_in_the_rain() -> None:
    habits = free("06:50-08:30", "18:00-20:00")
    made = garden(plant(holder="mount"), habits=habits)
    wet = raining("2026-01-20T11:00", "2026-01-20T12:00")  # 07:00 to 09:00 at the site

    def before_nine(air: Weather) -> set[ChoreKind]:
        sheet = draw_up(Round.MORNING, made, air, {}, NOW)
        watering = [
            chore for chore in sheet.chores if chore.kind in (ChoreKind.MIST, ChoreKind.FEED)
        ]
        return {chore.kind for chore in watering if starts(chore) < utc("2026-01-20T12:00")}

    assert before_nine(sky()) == {ChoreKind.MIST, ChoreKind.FEED}
    assert before_nine(sky(rain_mm=wet)) == set()


CLOCKS = st.integers(6 * 60, 20 * 60).map(lambda m: m - m % 5)
SPANS = st.lists(st.tuples(CLOCKS, st.integers(4, 48)), min_size=1, max_size=3)


def written(span: tuple[int, int]) -> str:
    start, end = span[0], min(span[0] + 5 * span[1], 23 * 60)
    return f"{start // 60:02d}:{start % 60:02d}-{end // 60:02d}:{end % 60:02d}"


@SETTLED
@given(spans=SPANS, holder=st.sampled_from(["mount", "basket"]), most=st.integers(1, 3))
def test_mistings_lie_inside_the_hours(
    spans: list[tuple[int, int]], holder: Holder, most: int
) -> None:
    habits = free(*map(written, spans), most=most)
    scene, _, (plan,), day_films = planned(garden(plant(holder=holder), habits=habits), sky())

    last = day_films.at_spot(0).last_wetting("high")
    assert last is not None
    assert len(plan.mistings) <= most
    starts = day_films.starts
    free_steps = np.zeros(starts.shape, dtype=bool)
    for start, end in slots_of(scene.habits):
        free_steps |= (starts >= start.timestamp()) & (starts <= end.timestamp())
    for misting in plan.mistings:
        assert NOW <= misting.opens < misting.closes <= last
        inside = (starts >= misting.opens.timestamp()) & (starts <= misting.closes.timestamp())
        assert free_steps[inside].all()


# -- the least bad plan, against every plan on a finer grid


def longest_dry(films: SpotFilms, plan: list[datetime], start: datetime, end: datetime) -> float:
    """Worst drying [kPa h] between mistings at these moments, counted anew from the air."""
    worst, dry_from = 0.0, start
    for at in [*plan, end]:
        worst = max(worst, deficit_sum(films, dry_from, min(at, end)))
        dry_from = at + timedelta(hours=min(films.at(films.velamen, at), 48.0))
    return worst


@pytest.mark.parametrize("holder", ["mount", "basket"])
@pytest.mark.parametrize(
    "texts",
    [
        ("06:50-08:30", "18:00-20:00"),
        ("12:00-13:00",),
        ("07:00-07:30", "15:00-16:30"),
        ("06:30-08:30", "12:30-13:30"),
        ("09:00-10:10", "14:20-15:00"),
    ],
)
def test_the_plan_in_scarce_hours_is_as_good_as_any(texts: tuple[str, ...], holder: Holder) -> None:
    habits = free(*texts, most=3)
    made = garden(plant(holder=holder), habits=habits)
    scene, _, (plan,), day_films = planned(made, sky())
    films, tolerance = day_films.at_spot(0), mist_day.DRY_TOLERANCE_KPA_H[holder]
    last = films.last_wetting("high")
    assert last is not None
    end = min(last, last_thirsty_hour(scene.weather.temp_c))
    choices = [
        at
        for opens, closes in slots_of(habits)
        for at in (opens + timedelta(minutes=10) * k for k in range(24))
        if max(opens, NOW) <= at <= min(closes, last)
    ]
    plans = [list(choice) for count in range(4) for choice in combinations(choices, count)]
    best = min(longest_dry(films, tried, NOW, end) for tried in plans)

    # A misting that feed may go with has its number from another moment than its own.
    told = [
        misting.at if misting.at <= misting.closes else misting.closes for misting in plan.mistings
    ]
    ours = longest_dry(films, told, NOW, end)

    assert ours <= 1.1 * max(tolerance, best)


def last_thirsty_hour(temp_c: np.ndarray) -> datetime:
    """The last hour by day with more than 1.4 kPa of deficit, by Tetens and a dew point of 9 °C."""
    deficit = 0.6108 * (
        np.exp(17.27 * temp_c / (temp_c + 237.3)) - np.exp(17.27 * 9.0 / (9.0 + 237.3))
    )
    hours = [
        utc("2026-01-19T00:00") + timedelta(hours=int(k)) for k in np.flatnonzero(deficit > 1.4)
    ]
    sunset = sun.day_events(MENDOZA, DAY).sunset
    return max(hour for hour in hours if hour < sunset)


def test_every_misting_window_is_long_enough_to_walk() -> None:
    for texts in (("06:50-08:30", "18:00-20:00"), ("12:00-13:00",), ("07:00-07:10",)):
        _, _, (plan,), _ = planned(garden(plant(holder="mount"), habits=free(*texts)), sky())
        assert all(misting.closes - misting.opens >= MIN_WINDOW for misting in plan.mistings)


def test_standard_rules_leave_pots_alone() -> None:
    made = garden(plant(holder="pot"), habits=MANY, rules=standard_rules())

    assert planned(made, sky(HOT, dew=2.0))[2] == [mist_day.Plan()]
    sheet = draw_up(Round.MORNING, made, sky(HOT, dew=2.0), {}, NOW)
    assert not [chore for chore in sheet.chores if chore.kind is ChoreKind.MIST]


# -- on the sheet


def any_morning(random: np.random.Generator, *, rainy: bool) -> Weather:
    """A hot day and the days around it, more or less dry and windy; with showers if rainy."""
    low = random.uniform(14, 24)
    temp = daily_curve(low, low + random.uniform(6, 18), HOURS)
    temp = temp + random.normal(0, random.choice([0.0, 0.7]), HOURS)
    showers = (random.random(HOURS) < random.choice([0.05, 0.2])) & rainy
    return sky(
        temp,
        dew=low - random.uniform(0, 18),
        wind_m_s=np.abs(random.normal(1.0, 1.0, HOURS)),
        cloud=random.uniform(0, 1),
        rain_mm=np.where(showers, random.exponential(1.5, HOURS), 0.0),
    )


@pytest.mark.parametrize("rainy", [False, True], ids=["dry", "showers"])
@settings(SETTLED, max_examples=30)
@given(seed=st.integers(0, 2**32 - 1), texts=st.sampled_from([(), ("06:50-09:30", "12:00-18:30")]))
def test_no_plant_is_told_two_mistings_at_once_or_waits_long_for_others(
    rainy: bool, seed: int, texts: tuple[str, ...]
) -> None:
    plants = [
        plant(f"{holder} {rot}", holder=holder, rot=rot, vpd_high=vpd, velamen=velamen)
        for holder, vpd in zip(HOLDERS, (1.0, 1.4, 1.8, 1.2), strict=True)
        for rot, velamen in zip(ROT_CLASSES, (True, False, True), strict=True)
    ]
    made = garden(*plants, habits=free(*texts, most=4), rules=[ANY_HOLDER])
    random = np.random.default_rng(seed)
    air = any_morning(random, rainy=rainy)
    # Some were misted lately, so that each wants its first at an hour of its own.
    state = {
        plant.name: at_home(misted_at=NOW - timedelta(minutes=int(random.integers(0, 240))))
        for plant in plants
        if random.random() < 0.6
    }
    scene, _, plans, _ = planned(made, air, state=state)
    mists = [
        chore
        for chore in draw_up(Round.MORNING, made, air, state, NOW).chores
        if chore.kind is ChoreKind.MIST
    ]

    for cohort, plan in zip(scene.cohorts, plans, strict=True):
        for name in cohort.names:
            told = sorted((chore for chore in mists if name in chore.plants), key=starts)
            assert len(told) == len(plan.mistings), name
            for first, again in pairwise(told):
                assert first.before <= starts(again), (name, first, again)
            if told:
                own = round_up(plan.mistings[0].opens, MENDOZA)
                assert starts(told[0]) <= own + timedelta(minutes=90), name


@pytest.mark.parametrize(
    ("low", "dew"),
    [(8.0, 0.0), (8.0, 5.0), *product((12.0, 15.0, 19.0), (0.0, 5.0, 9.0, 12.0))],
)
def test_plants_that_only_their_history_tells_apart_are_misted_alike(
    low: float, dew: float
) -> None:
    """A rinse of long ago makes each plant a cohort of its own, and matters to no misting."""
    plants = [plant(f"p{number}", rot="low") for number in range(3)]
    bench = Spot("bench", sky_view=0.3, wind=0.3, night_offset_k=0.0, day_offset_k=0.0)
    made = collection(*plants, spots=(bench, WARM_ROOM))
    start = utc("2026-01-19T00:00")
    now = utc("2026-01-20T10:00")
    air = fetched(weather(start, daily_curve(low, low + 12, 96), dew_point_c=dew), now)
    rinsed = utc("2025-01-01T00:00")

    def mists(state: dict[str, PlantState]) -> set[tuple[str, datetime, datetime]]:
        return {
            (name, starts(chore), chore.before)
            for chore in draw_up(Round.MORNING, made, air, state, now).chores
            if chore.kind is ChoreKind.MIST
            for name in chore.plants
        }

    alike = mists({plant.name: PlantState("bench") for plant in plants})
    apart = mists(
        {
            plant.name: PlantState("bench", rinsed_at=rinsed + timedelta(hours=number))
            for number, plant in enumerate(plants)
        }
    )
    assert alike == apart
    assert alike, "or the test tells nothing"


def test_what_was_just_misted_is_not_to_be_misted_again_at_once() -> None:
    done = acknowledged(at_home(), ChoreKind.MIST, "bench", NOW + timedelta(minutes=10))
    later = NOW + timedelta(minutes=20)

    sheet = draw_up(Round.MORNING, garden(plant()), sky(now=later), {"Test strap": done}, later)

    mists = [chore for chore in sheet.chores if chore.kind is ChoreKind.MIST]
    assert mists
    assert all(starts(chore) > later + timedelta(hours=2) for chore in mists)


# -- late, and in scarce hours


def mists(sheet: Sheet) -> list[Chore]:
    """The mistings of a sheet in the order of their windows."""
    return sorted((chore for chore in sheet.chores if chore.kind is ChoreKind.MIST), key=starts)


@pytest.mark.parametrize("later_h", [6, 7, 8])
def test_a_repeat_whose_hour_was_missed_is_due_now(later_h: int) -> None:
    bare = plant(rot="low", velamen=False, holder="mount")
    state = {"Test strap": at_home(misted_at=NOW)}
    later = NOW + timedelta(hours=later_h)

    at_dawn = mists(draw_up(Round.MORNING, garden(bare), sky(), state, NOW))
    now = mists(draw_up(Round.MORNING, garden(bare), sky(now=later), state, later))

    assert at_dawn[0].before < later, "or nothing was missed"
    assert starts(now[0]) == later
    assert later + MIN_WINDOW <= now[0].before <= later + timedelta(hours=1)


SCARCE = ("06:50-07:30", "09:00-10:00", "10:10-11:00", "16:00-17:00")


@pytest.mark.parametrize(
    "texts", [("14:00-14:45",), ("14:30-15:00",), ("14:30-15:30",), SCARCE, SCARCE[:2]]
)
@pytest.mark.parametrize("most", [2, 3, 8])
@pytest.mark.parametrize("rot", ["low", "high"])
def test_windows_of_a_plant_never_reach_into_each_other(
    texts: tuple[str, ...], most: int, rot: Rot
) -> None:
    bare = plant(rot=rot, velamen=False, holder="mount")
    made = garden(bare, habits=free(*texts, most=most))

    told = mists(draw_up(Round.MORNING, made, sky(), {}, NOW))

    assert 1 <= len(told) <= most
    assert all(earlier.before <= starts(following) for earlier, following in pairwise(told))


@pytest.mark.parametrize("most", [1, 2, 3])
def test_a_misting_already_done_counts_against_the_most_of_a_day(most: int) -> None:
    bare = plant(rot="low", velamen=False, holder="mount")
    habits = free("06:00-07:00", "09:00-10:00", "16:00-17:00", most=most)
    made = garden(bare, habits=habits)
    state = {"Test strap": at_home(misted_at=NOW)}
    later = NOW + timedelta(minutes=15)

    told = mists(draw_up(Round.MORNING, made, sky(now=later), state, later))

    assert len(told) == most - 1


def test_long_hours_and_many_mistings_are_not_tried_out_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    doses = 0
    dose = SpotFilms.dose

    def counted(films: SpotFilms, start: datetime, end: datetime) -> float:
        nonlocal doses
        doses += 1
        assert doses < 50_000, "2**12 choices of at most nine times dry each are fewer"
        return dose(films, start, end)

    monkeypatch.setattr(SpotFilms, "dose", counted)
    bare = plant(rot="low", velamen=False, holder="mount")
    habits = free("08:00-11:00", "12:30-19:00", most=8)

    told = mists(draw_up(Round.MORNING, garden(bare, habits=habits), sky(), {}, NOW))

    assert doses > 8, "or nothing was tried"
    assert 3 <= len(told) <= 8


@pytest.mark.parametrize("hours", [8, 9])
def test_what_is_overdue_is_asked_for_once(hours: int) -> None:
    later = NOW + timedelta(hours=hours)
    made = garden(plant(rot="low", velamen=False, holder="mount"))
    state = {"Test strap": at_home(misted_at=NOW)}

    sheet = draw_up(Round.MORNING, made, sky(now=later), state, later)

    first, *rest = [chore for chore in sheet.chores if chore.kind is ChoreKind.MIST]
    assert first.before <= later + timedelta(hours=1)
    # The next one counts from this one, not from the hour that was missed.
    assert all(chore.not_before is not None and chore.not_before > first.before for chore in rest)
    assert all(chore.because[0].at > later + timedelta(hours=2) for chore in rest)
