"""Hot air: who is moved where and until when, what shade and water are for, what is only told."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.heat import COOLER_BY_K, COOLS_FROM_K, MIN_HOT_HOURS, TOO_HOT_K
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import Holder, Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.plants.state import PlantState, State
from sillward_rules.remark import HeatAhead, HeatUnrelieved, Spell, WarmNights
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import acknowledged, next_state, told_to_move
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot, SunWindow
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.core import MENDOZA, WARM_ROOM, collection, daily_curve, plant, utc, weather
from tests.support.core import fetched as of_hour
from tests.support.summer import DAY, HOURS, NOW, START, limited, sky

SUNNY = Spot(
    "bench",
    sky_view=0.5,
    wind=0.3,
    sun_windows=(SunWindow(0.0, 360.0),),
    night_offset_k=0.0,
    day_offset_k=0.0,
)
DEEP_SHADE = replace(SUNNY, sky_view=0.1, shade=0.8, sun_windows=())
SILENT_ROOM = replace(WARM_ROOM, day_low_c=None)
"""Nobody has said how warm it gets by day."""

WAVE = daily_curve(18.0, 38.0, HOURS)
DUSK = utc("2026-01-20T22:30")
AGAINST = (ChoreKind.MOVE, ChoreKind.SHADE, ChoreKind.DAMP_DOWN, ChoreKind.MIST)


def cool(name: str = "Snowdrop", *, holder: Holder = "mount", **changes: object) -> Plant:
    """A masdevallia: day limit 27 °C, night limit 10 °C."""
    made = replace(plant(name, holder=holder), limits=standard_groups()["masdevallia"].limits)
    return replace(made, **changes)  # type: ignore[arg-type]


def of(*plants: Plant, spots: tuple[Spot, ...] = (SUNNY, WARM_ROOM), **more: object) -> Collection:
    return collection(*plants, spots=spots, **more)  # type: ignore[arg-type]


def told(
    *plants: Plant,
    air: Weather | None = None,
    spots: tuple[Spot, ...] = (SUNNY, WARM_ROOM),
    round_: Round = Round.MORNING,
    now: datetime = NOW,
    state: State | None = None,
    **more: object,
) -> Sheet:
    made = of(*plants, spots=spots, **more)
    return draw_up(round_, made, air or sky(WAVE), state or {}, now)


def chores(sheet: Sheet, *kinds: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind in kinds]


# -- the move


def test_at_38_degrees_a_masdevallia_goes_to_the_cool_room_before_it_is_too_hot_for_it() -> None:
    air = sky(WAVE)

    (move,) = chores(told(cool(), air=air), ChoreKind.MOVE)

    (reason,) = move.because
    assert (move.from_spot, move.to_spot) == ("bench", "room")
    assert (reason.quantity, reason.unit, reason.limit) == ("temperature", "°C", 27.0)
    assert reason.value == pytest.approx(38.0, abs=0.5)
    assert reason.there == 20.0
    assert reason.above
    assert reason.origin.startswith('group "masdevallia"')
    by = move.before.timestamp()
    assert np.interp(by, air.times, air.temp_c) < 27.0, "not only when it is far too hot"
    assert by > NOW.timestamp()


def test_it_comes_back_when_its_home_is_within_its_limit_again() -> None:
    cooler = replace(cool(), limits=replace(cool().limits, day_high=None))
    tender = limited(cooler, day_high=31.0)
    air = sky(WAVE)

    (move,) = chores(told(tender, air=air), ChoreKind.MOVE)

    back = move.because[0].until
    assert back is not None
    assert move.before < back < sun.day_events(MENDOZA, DAY).sunset + timedelta(hours=2)
    assert np.interp(back.timestamp(), air.times, air.temp_c) <= 31.0
    assert np.interp(back.timestamp() - 3600 * 1.5, air.times, air.temp_c) > 31.0


def test_a_move_and_the_leaf_in_the_sun_are_one_walk_with_both_reasons() -> None:
    sheet = told(cool())

    (move,) = chores(sheet, ChoreKind.MOVE)
    assert [reason.quantity for reason in move.because[0].also] == ["leaf temperature"]
    assert move.because[0].also[0].plant == "Snowdrop"
    assert not chores(sheet, ChoreKind.SHADE, ChoreKind.DAMP_DOWN)


@pytest.mark.parametrize("holder", ["mount", "basket", "moss", "pot"])
def test_what_has_left_for_the_day_is_not_wetted_there_any_more(holder: Holder) -> None:
    sheet = told(cool(holder=holder))

    (move,) = chores(sheet, ChoreKind.MOVE)
    assert all(
        chore.before <= move.before
        for chore in chores(sheet, ChoreKind.MIST, ChoreKind.FEED, ChoreKind.DAMP_DOWN)
    )


def test_crowns_of_what_is_moved_for_the_day_may_be_wet_as_long_as_those_of_others() -> None:
    def last(*spots: Spot) -> list[datetime]:
        return [chore.before for chore in chores(told(cool(), spots=spots), ChoreKind.STOP_WETTING)]

    assert last(SUNNY, WARM_ROOM) == last(SUNNY, SILENT_ROOM)


@pytest.mark.parametrize(
    ("spot", "goes"),
    [
        (Spot("room", indoors=True, night_low_c=16.0), False),  # by day nobody knows
        (Spot("room", indoors=True, night_low_c=16.0, day_low_c=39.0), False),
        (Spot("room", indoors=True, night_low_c=16.0, day_low_c=36.0), True),  # out of the sun
        (Spot("room", indoors=True, night_low_c=8.0, day_low_c=20.0), False),  # too cold by night
        (Spot("room", indoors=True, night_low_c=16.0, day_low_c=30.0), True),
        (Spot("room", indoors=True, night_offset_k=2.0), False),  # a porch, unknown by day
        (Spot("room", indoors=True, night_offset_k=2.0, day_offset_k=-6.0), True),
        (replace(DEEP_SHADE, name="room", day_offset_k=-4.0), True),
        (replace(DEEP_SHADE, name="room"), True),  # as warm, but out of the sun
        (replace(DEEP_SHADE, name="room", day_offset_k=2.0), False),
        (replace(DEEP_SHADE, name="room", sun_windows=None), False),  # the sun there is not known
        (replace(SUNNY, name="room"), False),
    ],
)
def test_it_goes_only_where_it_is_known_to_be_cooler(spot: Spot, goes: bool) -> None:
    sheet = told(cool(), spots=(SUNNY, spot))

    assert bool(chores(sheet, ChoreKind.MOVE)) == goes
    assert chores(sheet, *AGAINST), "then there is shade and water"


def test_the_own_shelter_is_taken_if_it_is_within_the_limit_though_others_are_cooler() -> None:
    cellar = Spot("cellar", indoors=True, night_low_c=12.0, day_low_c=13.0)
    hot_room = replace(WARM_ROOM, day_low_c=29.0)

    def target(*spots: Spot, shelter: str | None = "room") -> str:
        (move,) = chores(told(cool(shelter=shelter), spots=spots), ChoreKind.MOVE)
        return move.to_spot

    assert target(SUNNY, WARM_ROOM, cellar) == "room"
    assert target(SUNNY, hot_room, cellar) == "cellar"
    # Without a shelter: the least change that is within the limit.
    assert target(SUNNY, WARM_ROOM, cellar, shelter=None) == "room"
    assert target(SUNNY, hot_room, cellar, shelter=None) == "cellar"


def test_a_few_degrees_over_the_limit_are_no_cause_for_a_move() -> None:
    warm = sky(daily_curve(18.0, 31.5, HOURS))

    assert not chores(told(cool(), air=warm), ChoreKind.MOVE)
    assert chores(told(cool(), air=warm), ChoreKind.SHADE)


def test_an_old_forecast_moves_nothing() -> None:
    old = of_hour(sky(WAVE), NOW - timedelta(hours=30))

    sheet = told(cool(), air=old)

    assert not chores(sheet, *AGAINST)
    assert not [remark for remark in sheet.warnings if isinstance(remark, HeatUnrelieved)]


# -- afterwards


def test_what_comes_back_in_the_evening_is_still_at_home_by_the_ledger() -> None:
    sheet = told(limited(cool(), day_high=31.0))

    assert chores(sheet, ChoreKind.MOVE)
    assert next_state({}, sheet)["Snowdrop"].spot == "bench"


def test_what_stays_the_night_stays_in_while_the_heat_lasts_and_then_goes_out() -> None:
    """Two hot days of hot nights, then a mild one."""
    curve = np.concatenate([daily_curve(24.0, 38.0, 72), daily_curve(16.0, 25.0, 72)])
    air = sky(curve)
    first = told(cool(), air=air)
    after = next_state({}, first)
    (move,) = chores(first, ChoreKind.MOVE)
    assert move.because[0].until is None
    assert (after["Snowdrop"].spot, after["Snowdrop"].assumed) == ("room", True)

    def days_later(days: int) -> Sheet:
        now = NOW + timedelta(days=days)
        return told(cool(), air=of_hour(air, now), state=after, now=now)

    second, third = days_later(1), days_later(2)

    (stay,) = chores(second, ChoreKind.STAY_IN)
    assert (stay.because[0].quantity, stay.because[0].limit) == ("temperature", 27.0)
    assert not chores(second, ChoreKind.MOVE, ChoreKind.CARRY_OUT)
    assert [chore.to_spot for chore in chores(third, ChoreKind.CARRY_OUT)] == ["bench"]


def test_done_a_move_confirms_where_a_plant_is_and_changes_no_more() -> None:
    home, there = PlantState("bench", START), PlantState("room", START, came_from="bench")

    assert acknowledged(home, ChoreKind.MOVE, "room", NOW) == home
    assert not acknowledged(there, ChoreKind.MOVE, "room", NOW).assumed
    (move,) = chores(told(cool()), ChoreKind.MOVE)
    assert told_to_move(home, move).spot == "room"


# -- shade and water


def test_in_dry_heat_water_is_asked_for_and_in_damp_heat_it_is_not() -> None:
    """38 °C with a wet bulb of some 20, and 34 °C with one of 31."""
    dry, damp = sky(WAVE, dew=9.0), sky(daily_curve(28.0, 34.0, HOURS), dew=30.0)
    pot = limited(cool(holder="pot"), humidity_low=None)
    mount = limited(cool(), humidity_low=None, vpd_high=None)
    spots = (DEEP_SHADE, SILENT_ROOM)

    assert chores(told(pot, air=dry, spots=spots), ChoreKind.DAMP_DOWN)
    assert chores(told(mount, air=dry, spots=spots), ChoreKind.MIST)
    for either in (pot, mount):
        sheet = told(either, air=damp, spots=spots)
        assert not chores(sheet, *AGAINST)
        (said,) = [remark for remark in sheet.warnings if isinstance(remark, HeatUnrelieved)]
        assert (said.plants, said.spot, said.limit_c, said.dry) == (
            ("Snowdrop",),
            "bench",
            27,
            False,
        )
        assert said.high_c == pytest.approx(34.0, abs=0.5)


def test_a_floor_is_damped_shortly_before_the_heat_and_not_at_dawn() -> None:
    pot = limited(cool(holder="pot"), humidity_low=None)

    (damp,) = chores(told(pot, spots=(DEEP_SHADE, SILENT_ROOM)), ChoreKind.DAMP_DOWN)

    assert damp.because[0].limit == 27.0, "its own limit, not what the rule waits for"
    assert damp.not_before is not None
    assert timedelta(0) < damp.before - damp.not_before <= timedelta(hours=1, minutes=5)
    assert damp.not_before > NOW + timedelta(hours=1)


def test_what_is_too_hot_by_air_and_by_leaf_is_shaded_once_and_told_both() -> None:
    warm = limited(plant("Strap"), day_high=36.0, leaf_high=40.0)

    (shade,) = chores(told(warm), ChoreKind.SHADE)

    (reason,) = shade.because
    both = {reason.quantity, *(other.quantity for other in reason.also)}
    assert both == {"temperature", "leaf temperature"}
    assert {cause.limit for cause in (reason, *reason.also)} == {36.0, 40.0}


def test_no_shade_against_hot_air_where_the_sun_does_not_come() -> None:
    sheet = told(cool(), spots=(DEEP_SHADE, SILENT_ROOM))

    assert not chores(sheet, ChoreKind.SHADE)


@settings(deadline=None, derandomize=True)
@given(
    high=st.floats(26, 44),
    dew=st.floats(0, 30),
    limit=st.floats(24, 38),
    holder=st.sampled_from(["mount", "basket", "moss", "pot"]),
    shaded=st.booleans(),
    room=st.sampled_from([WARM_ROOM, SILENT_ROOM]),
)
def test_nobody_is_too_hot_for_hours_without_an_order_or_a_word(
    high: float, dew: float, limit: float, holder: Holder, shaded: bool, room: Spot
) -> None:
    temp = daily_curve(min(18.0, high - 4), high, HOURS)
    air = sky(temp, dew=min(dew, temp.min()))
    one = limited(plant("Test", holder=holder), day_high=limit)
    spots = (DEEP_SHADE if shaded else SUNNY, room)

    sheet = told(one, air=air, spots=spots)

    events = sun.day_events(MENDOZA, DAY)
    by_day = (air.times >= NOW.timestamp()) & (air.times <= events.sunset.timestamp())
    suffers = np.count_nonzero(air.temp_c[by_day] > limit + TOO_HOT_K) >= MIN_HOT_HOURS
    said = [remark for remark in sheet.warnings if isinstance(remark, HeatUnrelieved)]
    assert bool(chores(sheet, *AGAINST) or said) or not suffers
    assert suffers or not said
    assert len(chores(sheet, ChoreKind.MOVE)) <= 1
    for kind in (ChoreKind.SHADE, ChoreKind.DAMP_DOWN, ChoreKind.MOVE):
        names = [name for chore in chores(sheet, kind) for name in chore.plants]
        assert len(names) == len(set(names)), "nobody is told twice"


@settings(deadline=None, derandomize=True, max_examples=40)
@given(offset=st.floats(-12, 12), shade=st.floats(0, 1), limit=st.floats(24, 36))
def test_no_move_leads_to_where_it_is_as_hot(offset: float, shade: float, limit: float) -> None:
    other = replace(SUNNY, name="room", day_offset_k=offset, shade=shade)
    made = of(limited(cool(), day_high=limit), spots=(SUNNY, other))
    air = sky(WAVE)

    for move in chores(draw_up(Round.MORNING, made, air, {}, NOW), ChoreKind.MOVE):
        climate = Scene(made, air, {}, NOW).climate
        row = int(np.searchsorted(climate.times, move.because[0].at.timestamp()))
        felt = np.fmax(climate.leaf_c, climate.temp_c)[row]
        assert felt[1] < felt[0]
        assert climate.temp_c[row, 1] <= climate.temp_c[row, 0]


# -- dusk and the week


@pytest.mark.parametrize("holder", ["pot", "mount"])
def test_warm_nights_are_told_of_cool_growers_and_order_nothing(holder: Holder) -> None:
    def at_dusk(low: float) -> Sheet:
        air = sky(daily_curve(low, 26.0, HOURS), dew=12)
        return told(cool(holder=holder), plant("Strap"), air=air, round_=Round.DUSK, now=DUSK)

    warm, mild = at_dusk(22.0), at_dusk(16.0)

    (said,) = [remark for remark in warm.warnings if isinstance(remark, WarmNights)]
    assert (said.plants, said.limit_c, said.first_day, said.nights) == (("Snowdrop",), 18.0, DAY, 1)
    assert said.low_c == pytest.approx(22.0, abs=0.3)
    assert not warm.chores
    assert not [remark for remark in mild.warnings if isinstance(remark, WarmNights)]


def test_the_growers_own_limit_for_warm_nights_counts() -> None:
    air = sky(daily_curve(22.0, 26.0, HOURS), dew=15)

    sheet = told(limited(plant("Strap"), night_high=21.0), air=air, round_=Round.DUSK, now=DUSK)

    assert [type(remark) for remark in sheet.warnings if isinstance(remark, WarmNights)] == [
        WarmNights
    ]


def a_week(temp: Array) -> Weather:
    hours = np.arange(temp.size) % 24
    light = 500.0 * np.maximum(np.sin((hours - 10) / 14 * np.pi), 0.0)
    return of_hour(weather(START, temp, dew_point_c=9.0, direct_w_m2=light), NOW)


def test_the_week_names_hot_days_what_they_ask_for_and_warm_nights() -> None:
    air = a_week(daily_curve(22.0, 38.0, 9 * 24))

    sheet = told(cool(), plant("Strap", day_high=45.0), air=air, round_=Round.WEEK)

    assert sheet.outlook is not None
    assert {day.too_hot_for for day in sheet.outlook.days} == {1}
    assert {dict(day.others).get(ChoreKind.MOVE) for day in sheet.outlook.days} == {1}
    kinds = {type(spell) for spell in sheet.outlook.spells}
    assert kinds >= {Spell, WarmNights}


def test_dusk_names_what_heat_asks_for_before_the_morning_round_and_only_that() -> None:
    def ahead(morning: str) -> list[HeatAhead]:
        habits = Habits(morning_at=parse_moment(morning))
        sheet = told(cool(), round_=Round.DUSK, now=DUSK, habits=habits)
        return [remark for remark in sheet.warnings if isinstance(remark, HeatAhead)]

    assert ahead("sunrise+15min") == []
    (said,) = ahead("12:00")
    assert (said.plants, said.kind, said.limit_c) == (("Snowdrop",), "move", 27.0)
    assert said.by.astimezone(MENDOZA.zone).hour < 12


# -- limits


def test_leaf_limits_are_lower_for_thin_leaves_of_cool_growers_and_higher_for_succulents() -> None:
    groups = standard_groups()

    def leaf(name: str) -> float:
        limit = groups[name].limits.leaf_high
        assert limit is not None
        assert len(limit.origin.split(": ", 1)[1]) > 5
        return limit.value

    thin = ("masdevallia", "miltoniopsis", "odontoglossum", "dendrobium high-altitude")
    assert max(map(leaf, thin)) < 38 < leaf("phalaenopsis") <= 42 <= leaf("cattleya")
    assert leaf("cattleya") < leaf("desert cactus")
    for name, group in groups.items():
        day = group.limits.day_high
        assert day is not None
        assert leaf(name) > day.value, name


def test_the_constants_are_those_of_the_rules() -> None:
    rules = {standard_rule.name: standard_rule for standard_rule in standard_rules()}
    for name in ("hot dry air", "hot dry floor"):
        also = rules[name].also
        assert also is not None
        assert also.bound.value == COOLS_FROM_K
        assert rules[name].bound.more == TOO_HOT_K
        assert rules[name].lasting == timedelta(hours=MIN_HOT_HOURS)
    assert rules["far too hot"].bound.more > COOLER_BY_K


def test_a_cold_night_after_a_hot_day_does_not_rely_on_a_move_that_nobody_confirmed() -> None:
    air = daily_curve(14.0, 36.0, HOURS)
    air[34:52] = np.interp(np.arange(18), [0, 6, 15, 17], [24.0, 36.0, 34.0, 30.0])
    air[52:61] = 6.0  # a front after midnight
    household = of(cool())
    hot = of_hour(weather(START, air, direct_w_m2=300.0), NOW)
    morning = draw_up(Round.MORNING, household, hot, {}, NOW)
    state = next_state({}, morning)
    (move,) = [chore for chore in morning.chores if chore.kind is ChoreKind.MOVE]
    assert state["Snowdrop"].spot == "room"  # it stays the night

    again = draw_up(Round.MORNING, household, hot, state, move.before + timedelta(minutes=5))
    assert [chore.plants for chore in again.chores if chore.kind is ChoreKind.MOVE] == [move.plants]

    def carried(state: State) -> list[Chore]:
        dusk = draw_up(Round.DUSK, household, of_hour(hot, DUSK), state, DUSK)
        return [chore for chore in dusk.chores if chore.kind is ChoreKind.CARRY_IN]

    (order,) = carried(state)
    assert (order.from_spot, order.to_spot, order.unconfirmed) == ("bench", "room", ())
    done = acknowledged(state["Snowdrop"], ChoreKind.MOVE, "room", move.before)
    assert carried({"Snowdrop": done}) == []
