"""Shade, cover, secured baskets, damp floors; and getting used to light after a stay inside."""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.light_ramp import RAMP_DAYS, RAMP_START
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import LONG_STAY, PlantState
from sillward_rules.remark import NoShelter
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import acknowledged, next_state, told_to_move
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot, SunWindow
from tests.support.core import collection, daily_curve, fetched, plant, utc, warned, weather
from tests.support.summer import (
    HOT,
    HOURS,
    NOW,
    START,
    at_home,
    garden,
    limited,
    raining,
    rule,
    sky,
)

OPEN = Spot(
    "bench", sky_view=0.5, wind=1.0, height_m=10.0, rain=1.0, night_offset_k=0.0, day_offset_k=0.0
)
"""Wind and rain are the forecast's own."""

SUNNY = replace(OPEN, sun_windows=(SunWindow(0.0, 360.0),), wind=0.3)
EVENING = utc("2026-01-20T21:30")
GUARDS = (ChoreKind.SHADE, ChoreKind.SECURE, ChoreKind.COVER, ChoreKind.DAMP_DOWN)
MILD = daily_curve(17.0, 27.0, HOURS)


def told(
    *plants: Plant,
    air: Weather,
    bench: Spot = OPEN,
    round_: Round = Round.MORNING,
    now: datetime = NOW,
    state: dict[str, PlantState] | None = None,
) -> Sheet:
    return draw_up(round_, garden(*plants, bench=bench), air, state or {}, now)


def guards(sheet: Sheet, *kinds: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind in (kinds or GUARDS)]


def in_hours(values: dict[str, float], other: float = 0.0) -> Array:
    """A series that has these values in the hours that end at these times (UTC)."""
    series = np.full(HOURS, other)
    for hour, value in values.items():
        series[round((utc(hour) - START).total_seconds() / 3600)] = value
    return series


# -- what fires


def test_shade_where_the_sun_makes_the_leaf_too_hot() -> None:
    air = sky(MILD, dew=15.0)
    tender = limited(plant(), leaf_high=32.0)

    (chore,) = guards(told(tender, air=air, bench=SUNNY))

    assert chore.kind is ChoreKind.SHADE
    (reason,) = chore.because
    assert reason.quantity == "leaf temperature"
    assert reason.above
    assert reason.limit == 32.0
    assert reason.value is not None
    assert reason.value > 32.0 > MILD.max(), "the sun, not the air"
    assert chore.before <= reason.at - timedelta(hours=1)


def test_no_shade_where_no_sun_comes_or_a_cloth_hangs_or_the_leaf_stands_it() -> None:
    air = sky(MILD, dew=15.0)
    tender = limited(plant(), leaf_high=32.0)

    assert not guards(told(tender, air=air, bench=replace(SUNNY, sun_windows=())))
    assert not guards(told(tender, air=air, bench=replace(SUNNY, shade=0.8)))
    assert not guards(told(limited(plant(), leaf_high=48.0), air=air, bench=SUNNY))


@pytest.mark.parametrize("holder", ["basket", "mount", "moss", "pot"])
def test_containers_are_secured_against_gusts(holder: str) -> None:
    air = sky(MILD, gust_m_s=in_hours({"2026-01-20T16:00": 14.0, "2026-01-20T18:00": 19.0}, 3.0))
    hung = replace(limited(plant(), gust_high=12.0), holder=holder)  # type: ignore[arg-type]

    chores = guards(told(hung, air=air))

    (chore,) = chores
    assert chore.kind is ChoreKind.SECURE
    assert chore.before == utc("2026-01-20T15:00"), "an hour before the hour that ends at 16"
    assert chore.because[0].value == 19.0
    assert chore.because[0].at == utc("2026-01-20T18:00")


def test_sheltered_spots_have_weaker_gusts() -> None:
    air = sky(MILD, gust_m_s=in_hours({"2026-01-20T16:00": 14.0}, 3.0))

    assert not guards(
        told(limited(plant(), gust_high=12.0), air=air, bench=replace(OPEN, wind=0.5))
    )


def test_cover_before_heavy_rain() -> None:
    air = sky(MILD, rain_mm=raining("2026-01-20T17:00", mm=25.0))

    (chore,) = guards(told(limited(plant(), rain_high=20.0), air=air))

    assert (chore.kind, chore.before) == (ChoreKind.COVER, utc("2026-01-20T16:00"))
    assert (chore.because[0].value, chore.because[0].limit) == (25.0, 20.0)


def test_rain_that_a_roof_keeps_off_needs_no_cover() -> None:
    air = sky(MILD, rain_mm=raining("2026-01-20T17:00", mm=25.0), hail_pct=100.0)
    tender = limited(plant(), rain_high=20.0)

    assert guards(told(tender, air=air, bench=replace(OPEN, rain=0.9)))
    assert not guards(told(tender, air=air, bench=replace(OPEN, rain=0.0)))


@pytest.mark.parametrize("rests", [True, False])
def test_cover_in_any_rain_while_a_plant_rests_dry(rests: bool) -> None:
    start, now = utc("2026-06-19T00:00"), utc("2026-06-20T12:00")
    rain = raining("2026-06-20T17:00", mm=1.0, start=start)
    air = sky(daily_curve(6.0, 14.0, HOURS), dew=2.0, start=start, now=now, rain_mm=rain)
    resting = limited(plant(night_low=0.0), rest=rests)

    chores = guards(told(resting, air=air, now=now))

    assert [chore.kind for chore in chores] == ([ChoreKind.COVER] if rests else [])
    if rests:
        assert chores[0].because[0].origin == 'rule "rain at rest"'


def test_no_cover_from_a_shower_while_it_grows() -> None:
    air = sky(MILD, rain_mm=raining("2026-01-20T17:00", mm=1.0))

    assert not guards(told(limited(plant(), rest=True), air=air))


def test_cover_before_hail_whatever_the_limits() -> None:
    air = sky(MILD, hail_pct=in_hours({"2026-01-20T19:00": 100.0}))

    (chore,) = guards(told(plant(night_low=None), air=air))

    assert (chore.kind, chore.before) == (ChoreKind.COVER, utc("2026-01-20T18:00"))


@pytest.mark.parametrize("holder", ["pot", "moss", "basket"])
def test_damp_down_round_pots_in_parched_air(holder: str) -> None:
    thirsty = replace(limited(plant(), humidity_low=50.0), holder=holder)  # type: ignore[arg-type]

    chores = guards(told(thirsty, air=sky(HOT, dew=1.0)))

    assert [chore.kind for chore in chores] == ([] if holder == "basket" else [ChoreKind.DAMP_DOWN])
    for chore in chores:
        assert chore.because[0].limit == 50.0, "its own, not the 25 % that the rule waits for"
        assert not chore.because[0].above


@pytest.mark.parametrize("late_h", [0, 2, 4, 6])
def test_there_is_time_to_damp_down_even_if_it_is_too_dry_already(late_h: int) -> None:
    thirsty = replace(limited(plant(), humidity_low=50.0), holder="pot")
    now = NOW + timedelta(hours=late_h)

    damped = guards(told(thirsty, air=sky(HOT, dew=1.0, now=now), now=now), ChoreKind.DAMP_DOWN)

    for chore in damped:
        assert chore.not_before is not None
        assert chore.not_before >= now
        assert timedelta(minutes=50) <= chore.before - chore.not_before <= timedelta(hours=1)
    assert damped


def test_one_chore_of_a_kind_by_the_earliest_of_its_reasons() -> None:
    air = sky(
        MILD,
        rain_mm=raining("2026-01-20T17:00", mm=25.0),
        hail_pct=in_hours({"2026-01-20T15:00": 100.0}),
    )

    (chore,) = guards(told(limited(plant(), rain_high=20.0), air=air))

    assert chore.before == utc("2026-01-20T14:00")
    assert chore.because[0].rule == "hail"


def stormy(now: datetime = NOW) -> Weather:
    return sky(
        HOT,
        dew=1.0,
        now=now,
        rain_mm=raining("2026-01-20T17:00", "2026-01-21T03:00", mm=25.0),
        gust_m_s=in_hours({"2026-01-20T16:00": 14.0, "2026-01-21T02:00": 15.0}, 3.0),
    )


EVERYTHING = limited(
    plant(night_low=5.0),
    leaf_high=32.0,
    gust_high=12.0,
    rain_high=20.0,
    humidity_low=60.0,
    light_high=400.0,
)


def test_each_is_silent_without_its_limit() -> None:
    bare = plant(night_low=None, vpd_high=None, day_high=None)

    for holder in ("basket", "pot"):
        sheet = told(replace(bare, holder=holder), air=stormy(), bench=SUNNY)
        assert not guards(sheet)


def test_each_speaks_with_its_limit() -> None:
    windy = replace(SUNNY, wind=1.0)
    basket = told(EVERYTHING, air=stormy(), bench=windy)
    pot = told(replace(EVERYTHING, holder="pot"), air=stormy(), bench=windy)

    assert {chore.kind for chore in guards(basket)} == {*GUARDS} - {ChoreKind.DAMP_DOWN}
    assert {chore.kind for chore in guards(pot)} == {*GUARDS}


def test_nothing_is_secured_before_it_is_out() -> None:
    start, now = utc("2026-06-19T00:00"), utc("2026-06-20T12:00")
    bench = Spot("bench", sky_view=0.0, wind=1.0, height_m=10.0, night_offset_k=0.0)
    hung = limited(plant(night_low=10.0), gust_high=12.0)
    inside_since = PlantState("room", now - timedelta(days=1), assumed=False)

    def told_with(row: int) -> Sheet:
        gust = np.full(HOURS, 3.0)
        gust[row] = 30.0
        air = sky(daily_curve(4.0, 20.0, HOURS), dew=0.0, start=start, now=now, gust_m_s=gust)
        return told(hung, air=air, bench=bench, now=now, state={"Test strap": inside_since})

    before, after = told_with(37), told_with(42)  # the hours to 13:00 and 18:00 UTC
    (out,) = [chore for chore in before.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert out.not_before is not None
    assert utc("2026-06-20T13:00") < out.not_before < utc("2026-06-20T17:00")
    assert not guards(before, ChoreKind.SECURE)
    assert guards(after, ChoreKind.SECURE)


def test_nothing_is_asked_for_what_is_in_by_then() -> None:
    """Cold from ten in the morning on, and a storm in the afternoon: one of two plants goes in."""
    cold = np.where(np.arange(HOURS) < 37, 20.0, 9.0)
    air = sky(
        cold,
        dew=5.0,
        rain_mm=raining("2026-01-20T17:00", mm=25.0),
        gust_m_s=in_hours({"2026-01-20T18:00": 19.0}, 3.0),
    )
    tender = limited(plant("tender", rot="low"), rain_high=20.0, gust_high=12.0)
    hardy = limited(plant("hardy", night_low=5.0, rot="low"), rain_high=20.0, gust_high=12.0)

    sheet = told(tender, hardy, air=air)

    (into,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert into.plants == ("tender",)
    assert into.before < utc("2026-01-20T14:00")
    asked = {chore.kind: tuple(chore.plants) for chore in guards(sheet, *GUARDS)}
    assert asked == {ChoreKind.COVER: ("hardy",), ChoreKind.SECURE: ("hardy",)}


def test_a_storm_before_it_goes_in_is_guarded_against() -> None:
    cold = np.where(np.arange(HOURS) < 43, 20.0, 9.0)
    air = sky(cold, dew=5.0, gust_m_s=in_hours({"2026-01-20T16:00": 19.0}, 3.0))

    sheet = told(limited(plant(), gust_high=12.0), air=air)

    assert [chore.before for chore in guards(sheet)] == [utc("2026-01-20T15:00")]
    assert [chore.kind for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]


def test_no_shade_in_the_sun_of_hours_that_it_spends_inside() -> None:
    """It gets used to light again, and goes in at noon."""
    cold = np.where(np.arange(HOURS) < 40, 20.0, 6.0)
    late = {"2026-01-20T18:00": 250.0, "2026-01-20T19:00": 250.0}
    air = sky(cold, dew=5.0, direct_w_m2=in_hours(late))
    bright = at_home(brighter_since=NOW - timedelta(days=1))

    def shade(low: float) -> list[Chore]:
        one = limited(plant(night_low=low), light_high=900.0)
        sheet = told(one, air=air, bench=SUNNY, state={"Test strap": bright})
        return guards(sheet, ChoreKind.SHADE)

    assert shade(0.0)
    assert not shade(13.0)


def test_no_walk_secures_what_is_not_out_yet() -> None:
    """One is outside all the time; the other goes out after the walk for the first."""
    start, now = utc("2026-06-19T00:00"), utc("2026-06-20T12:00")
    bench = Spot("bench", sky_view=0.0, wind=1.0, height_m=10.0, night_offset_k=0.0)
    hung = limited(plant("hung", night_low=0.0), gust_high=12.0)
    tender = limited(plant("tender", night_low=10.0), gust_high=12.0)
    gust = np.where(np.arange(HOURS) >= 37, 30.0, 3.0)
    state = {"tender": PlantState("room", now - timedelta(days=1), assumed=False)}

    air = sky(daily_curve(4.0, 24.0, HOURS), dew=0.0, start=start, now=now, gust_m_s=gust)
    sheet = told(hung, tender, air=air, bench=bench, now=now, state=state)

    (out,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert out.not_before is not None
    by = {tuple(chore.plants): chore.before for chore in guards(sheet, ChoreKind.SECURE)}
    assert by == {("hung",): now, ("tender",): out.not_before}
    assert out.not_before > now


def test_what_has_nowhere_to_go_is_guarded_all_day() -> None:
    """Too cold for it from ten in the morning on, and no cover anywhere."""
    cold = np.where(np.arange(HOURS) < 37, 20.0, 9.0)
    air = sky(cold, dew=5.0, gust_m_s=in_hours({"2026-01-20T18:00": 19.0}, 3.0))
    homeless = limited(plant(shelter=None, rot="low"), gust_high=12.0)

    sheet = draw_up(Round.MORNING, collection(homeless, spots=(OPEN,)), air, {}, NOW)

    assert warned(sheet, NoShelter)
    assert [chore.kind for chore in guards(sheet)] == [ChoreKind.SECURE]


def test_what_goes_in_by_an_hour_is_not_covered_at_that_hour() -> None:
    """The order rounds to the safe side: two minutes past three is told as three."""
    cold = np.where(np.arange(HOURS) < 40, 20.0, 11.15)
    hail = in_hours({"2026-01-20T16:00": 100.0})
    tender = limited(plant(rot="low"))

    sheet = told(tender, air=sky(cold, dew=5.0, hail_pct=hail))

    (into,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert into.before == utc("2026-01-20T15:00")
    assert not guards(sheet)


def test_no_walk_shades_what_is_not_out_yet() -> None:
    """Both get used to light; one is out already, the other goes out later."""
    bright = {f"2026-01-20T{hour}:00": 700.0 for hour in range(14, 20)}
    air = sky(daily_curve(14.0, 30.0, HOURS), dew=5.0, direct_w_m2=in_hours(bright))
    out = limited(plant("out", night_low=5.0), light_high=900.0)
    later = limited(plant("later", night_low=20.0), light_high=900.0)
    state = {"out": at_home(brighter_since=NOW - timedelta(days=1)), "later": inside(10)}

    sheet = told(out, later, air=air, bench=SUNNY, state=state)

    (walk,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert walk.not_before is not None
    by = {name: chore.before for chore in guards(sheet, ChoreKind.SHADE) for name in chore.plants}
    assert by["out"] < walk.not_before <= by["later"]


def test_deadlines_are_never_in_the_past() -> None:
    for minutes in range(0, 12 * 60, 95):
        now = NOW + timedelta(minutes=minutes)
        sheet = told(EVERYTHING, air=stormy(now), bench=replace(SUNNY, wind=1.0), now=now)
        assert all(chore.before >= now for chore in guards(sheet)), minutes


def test_what_is_over_is_not_told_any_more() -> None:
    now = utc("2026-01-20T17:30")

    kinds = {
        chore.kind for chore in guards(told(EVERYTHING, air=stormy(now), bench=SUNNY, now=now))
    }

    assert ChoreKind.SECURE not in kinds
    assert ChoreKind.COVER not in kinds


def test_nothing_on_a_forecast_that_is_too_old() -> None:
    windy = replace(SUNNY, wind=1.0)
    for hours, some in ((23, True), (25, False)):
        old = fetched(stormy(), NOW - timedelta(hours=hours))
        assert bool(guards(told(EVERYTHING, air=old, bench=windy))) is some


def test_the_dusk_round_tells_of_gusts_and_rain_in_the_night_and_of_nothing_else() -> None:
    windy = replace(SUNNY, wind=1.0)

    chores = guards(
        told(EVERYTHING, air=stormy(EVENING), bench=windy, round_=Round.DUSK, now=EVENING)
    )

    assert {chore.kind: chore.before for chore in chores} == {
        ChoreKind.SECURE: utc("2026-01-21T01:00"),
        ChoreKind.COVER: utc("2026-01-21T02:00"),
    }


def test_what_goes_in_for_the_night_needs_no_cover() -> None:
    tender = replace(EVERYTHING, limits=replace(EVERYTHING.limits), name="tender")
    tender = limited(tender, night_low=24.0)

    sheet = told(
        tender, EVERYTHING, air=stormy(EVENING), bench=OPEN, round_=Round.DUSK, now=EVENING
    )

    assert [chore.plants for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN] == [
        ("tender",)
    ]
    assert {name for chore in guards(sheet) for name in chore.plants} == {EVERYTHING.name}


# -- getting used to light


def shaded(state: PlantState, *, now: datetime = NOW, days: int = 4) -> list[Chore]:
    """Shade for a plant of so much light in the sun, in this state."""
    curve = daily_curve(20.0, 27.0, 24 * days)
    air = sky(curve, dew=15.0, now=now)
    bright = limited(plant(), light_high=900.0)
    sheet = told(bright, air=air, bench=SUNNY, now=now, state={"Test strap": state})
    return guards(sheet, ChoreKind.SHADE)


def allowed(chores: list[Chore]) -> float:
    (chore,) = chores
    (reason,) = chore.because
    assert reason.quantity == "ppfd"
    assert reason.limit is not None
    return reason.limit


def inside(days: float) -> PlantState:
    return PlantState("room", NOW - timedelta(days=days), assumed=False)


def test_the_day_it_goes_out_after_a_long_stay_it_is_shaded() -> None:
    chores = shaded(inside(10))

    assert allowed(chores) == round(RAMP_START * 900)
    assert chores[0].because[0].origin.startswith(f"day 1 of {RAMP_DAYS} in brighter light")
    assert chores[0].from_spot == "bench"


def test_no_ramp_after_a_short_stay() -> None:
    assert not shaded(inside(1))
    assert not shaded(inside(6))


def test_day_by_day_it_may_have_more_light_and_after_a_week_all_of_it() -> None:
    out = [at_home(brighter_since=NOW - timedelta(days=day)) for day in range(10)]
    limits = [allowed(chores) for hour in out if (chores := shaded(hour))]

    assert limits == sorted(limits)
    assert limits[0] == round(RAMP_START * 900)
    assert limits[0] < limits[4] < 900
    assert len(limits) <= RAMP_DAYS
    assert not shaded(out[RAMP_DAYS])
    assert not shaded(out[RAMP_DAYS + 2])


def test_no_ramp_for_what_is_outside_all_the_time() -> None:
    assert not shaded(at_home(since=NOW - timedelta(days=60)))


def test_no_ramp_without_a_light_limit_or_in_dim_light() -> None:
    air = sky(MILD, dew=15.0)
    state = {"Test strap": inside(10)}

    assert guards(told(limited(plant(), light_high=900.0), air=air, bench=SUNNY, state=state))
    assert not guards(told(plant(), air=air, bench=SUNNY, state=state))
    dim = replace(SUNNY, sun_windows=())
    assert not guards(told(limited(plant(), light_high=900.0), air=air, bench=dim, state=state))


def test_the_stay_is_remembered_from_the_advice_on() -> None:
    bright = limited(plant(), light_high=900.0)
    state = {"Test strap": inside(10)}
    now = NOW
    limits = []
    for _ in range(9):
        curve = daily_curve(20.0, 27.0, 14 * 24)
        made = garden(bright, bench=SUNNY)
        sheet = draw_up(Round.MORNING, made, sky(curve, dew=15.0, now=now), state, now)
        limits += [chore.because[0].limit for chore in guards(sheet, ChoreKind.SHADE)]
        state = dict(next_state(state, sheet))
        now += timedelta(days=1)

    known = [limit for limit in limits if limit is not None]
    assert known == limits
    assert 4 <= len(known) <= RAMP_DAYS
    assert known[0] == round(RAMP_START * 900)
    assert all(before < other for before, other in pairwise(known))


def carried_out() -> Chore:
    sheet = told(plant(), air=sky(MILD, dew=15.0), state={"Test strap": inside(10)})
    return next(chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT)


def test_the_ramp_begins_when_the_grower_says_it_was_carried_out() -> None:
    after = acknowledged(inside(10), ChoreKind.CARRY_OUT, "bench", NOW)

    assert after.brighter_since == NOW
    assert acknowledged(inside(6), ChoreKind.CARRY_OUT, "bench", NOW).brighter_since is None


def test_carrying_out_is_put_down_with_the_ramp_and_carrying_in_is_not() -> None:
    chore = carried_out()

    after = told_to_move(inside(10), chore)

    assert after.brighter_since == chore.not_before
    assert (after.spot, after.came_from, after.assumed) == ("bench", "room", True)
    back = acknowledged(after, ChoreKind.CARRY_IN, "room", NOW + timedelta(hours=9))
    assert back.brighter_since == chore.not_before, "one night inside does not end it"
    assert (back.spot, back.assumed, back.came_from) == ("room", False, None)


def test_a_plant_that_never_went_in_has_no_ramp() -> None:
    told_in = PlantState("room", NOW - timedelta(days=12), came_from="bench")
    still_out = acknowledged(
        told_in, ChoreKind.CARRY_OUT, "bench", NOW - timedelta(days=12) + timedelta(hours=1)
    )

    assert not still_out.assumed
    assert still_out.brighter_since is None
    assert shaded(told_in), "as long as nobody says so"
    assert not shaded(still_out)


def test_stay_in_acknowledged_keeps_the_beginning_of_the_stay() -> None:
    after = acknowledged(inside(9), ChoreKind.STAY_IN, "room", NOW)

    assert after.since == NOW - timedelta(days=9)
    assert NOW - after.since >= LONG_STAY


def ramp_in(hours: dict[str, float], *, fetched_at: datetime = NOW) -> Sheet:
    """A plant that goes out today after ten days inside, in sun [W/m2] in these hours alone."""
    curve = daily_curve(14.0, 30.0, HOURS)
    air = fetched(sky(curve, dew=5.0, direct_w_m2=in_hours(hours)), fetched_at)
    tender = limited(plant(night_low=20.0), light_high=900.0)
    return told(tender, air=air, bench=SUNNY, state={"Test strap": inside(10)})


def test_light_before_the_plant_is_out_asks_for_no_shade() -> None:
    bright = {"2026-01-20T11:00": 700.0, "2026-01-20T12:00": 700.0}

    early = ramp_in(bright)
    late = ramp_in({**bright, "2026-01-20T18:00": 700.0})

    (out,) = [chore for chore in early.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert out.not_before is not None
    assert out.not_before > utc("2026-01-20T12:00")
    assert not guards(early, ChoreKind.SHADE)
    (shade,) = guards(late, ChoreKind.SHADE)
    assert utc("2026-01-20T16:30") <= shade.before <= utc("2026-01-20T18:00")


def test_no_ramp_on_a_forecast_that_is_too_old() -> None:
    state = {"Test strap": at_home(brighter_since=NOW - timedelta(days=1))}
    bright = limited(plant(), light_high=900.0)
    air = sky(MILD, dew=15.0)

    def asked(hours: int) -> list[Chore]:
        old = fetched(air, NOW - timedelta(hours=hours))
        return guards(told(bright, air=old, bench=SUNNY, state=state), ChoreKind.SHADE)

    assert asked(24)
    assert not asked(25)


def test_at_dusk_chores_of_the_night_come_before_those_of_tomorrow() -> None:
    tender = plant("tender", night_low=20.0)
    sheet = told(
        tender, EVERYTHING, air=stormy(EVENING), bench=OPEN, round_=Round.DUSK, now=EVENING
    )

    kinds = [chore.kind for chore in sheet.chores]
    assert ChoreKind.SECURE in kinds
    out = kinds.index(ChoreKind.CARRY_OUT)
    assert all(
        chore.before <= (sheet.chores[out].not_before or NOW) for chore in sheet.chores[:out]
    )
    assert not set(kinds[out:]) & set(GUARDS)


def test_a_bound_raised_by_wet_crowns_is_the_one_that_is_told() -> None:
    start, now = utc("2026-05-13T00:00"), utc("2026-05-14T20:00")
    wet = np.zeros(96)
    wet[45] = 3.0  # 21:00 UTC on the 14th
    flat = weather(start, np.full(96, 14.0), dew_point_c=11.0, cloud=1.0, wind_m_s=0.3, rain_mm=wet)
    chilly = rule("temperature below night_low", asks="cover", hours="night")
    made = garden(plant(night_low=13.0), rules=[chilly], bench=replace(OPEN, rain=1.0))

    sheet = draw_up(Round.DUSK, made, fetched(flat, now), {}, now)

    (cover,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.COVER]
    (reason,) = cover.because
    assert (reason.value, reason.limit) == (14.0, 14.5)


# -- what comes before a plant goes in for the night


@pytest.mark.parametrize(
    ("hail_at", "due"),
    [
        ("2026-01-20T22:00", EVENING),  # it falls within half an hour: now
        ("2026-01-20T23:00", utc("2026-01-20T22:00")),
    ],
)
def test_what_goes_in_tonight_goes_in_before_hail_comes(hail_at: str, due: datetime) -> None:
    """Once, and by then: it is not to be covered first and carried in later."""
    late = np.where(np.arange(HOURS) < 52, 20.0, 8.0)  # cold from four UTC on
    air = sky(late, dew=5.0, now=EVENING, hail_pct=in_hours({hail_at: 100.0}))
    tender, hardy = plant("tender", rot="low"), plant("hardy", night_low=2.0, rot="low")

    sheet = told(tender, hardy, air=air, round_=Round.DUSK, now=EVENING)

    (into,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert (tuple(into.plants), into.before) == (("tender",), due)
    assert into.because[0].quantity == "leaf temperature"
    assert [(other.rule, other.at) for other in into.because[0].also] == [("hail", utc(hail_at))]
    (cover,) = guards(sheet)
    assert (tuple(cover.plants), cover.before) == (("hardy",), due)


def test_hail_after_it_has_gone_in_changes_nothing() -> None:
    late = np.where(np.arange(HOURS) < 52, 20.0, 8.0)

    def into(hail: str) -> Chore:
        air = sky(late, dew=5.0, now=EVENING, hail_pct=in_hours({hail: 100.0}))
        sheet = told(plant(rot="low"), air=air, round_=Round.DUSK, now=EVENING)
        assert not guards(sheet)
        (chore,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
        return chore

    after = into("2026-01-21T05:00")
    assert after.before > utc("2026-01-20T23:00")
    assert not after.because[0].also
    assert after.before == into("2026-01-19T05:00").before


def test_what_has_nowhere_to_go_is_covered_where_it_stands() -> None:
    late = np.where(np.arange(HOURS) < 52, 20.0, 8.0)
    air = sky(late, dew=5.0, now=EVENING, hail_pct=in_hours({"2026-01-20T23:00": 100.0}))
    of = collection(plant(shelter=None, rot="low"), spots=(OPEN,))

    sheet = draw_up(Round.DUSK, of, air, {}, EVENING)

    assert warned(sheet, NoShelter)
    assert [chore.kind for chore in guards(sheet)] == [ChoreKind.COVER]
