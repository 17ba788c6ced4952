"""The nights that a plant went through: counted each morning, forgotten slowly, hardening it."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind
from sillward_rules.physics.cold_harm import (
    HARDENED_FOR_NIGHTS,
    HARDENING_NIGHTS,
    RECOVERY_NIGHTS,
)
from sillward_rules.planners.cold_history import after_last_night
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.scene.cohorts import States
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.care import Wetting
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import ColdHistory, PlantState, State
from sillward_rules.sheet import Round, draw_up
from sillward_rules.transitions import acknowledged, called_off, next_state, watered
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import EXPIRED_AFTER, Weather
from sillward_rules.weather.spot import Spot
from tests.support.core import (
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    weather,
)

START = utc("2026-05-13T00:00")
DAY = date(2026, 5, 14)
NIGHT = sun.night_of(MENDOZA, DAY)  # from 18:42 to 08:17
MORNING = utc("2026-05-15T11:33")  # 08:33 at the site
DUSK = utc("2026-05-15T20:00")
HOURS = 96

few = settings(deadline=None, derandomize=True)


def sky(temp: Array) -> Weather:
    return fetched(weather(START, temp), MORNING)


def after(
    temp: Array,
    *plants: Plant,
    state: State | None = None,
    spots: tuple[Spot, ...] = (OPEN_BENCH, WARM_ROOM),
) -> dict[str, ColdHistory | None]:
    """What is known of the nights on the morning of the 15th."""
    scene = Scene(collection(*plants, spots=spots), sky(temp), state or {}, MORNING)
    return {name: known.cold for name, known in _states_after(scene).items()}


def _states_after(scene: Scene) -> States:
    return States(scene.cohorts, after_last_night(scene))


def outside(cold: ColdHistory | None = None, name: str = "Test strap") -> dict[str, PlantState]:
    return {name: PlantState("bench", START, assumed=False, cold=cold)}


def hurt(name: str, night_low: float, brief_low: float, **more: str) -> Plant:
    one = plant(name, night_low=night_low, **more)  # type: ignore[arg-type]
    return replace(one, limits=replace(one.limits, brief_low=Limit(brief_low, "test")))


# -- one night


def test_a_night_is_counted_with_its_dose_and_its_low() -> None:
    """12 °C all night, limits 13 and 9 °C: 1 K for 15.6 h, of 16 K h, halved over five nights."""
    (cold,) = after(
        np.full(HOURS, 12.0), hurt("Pot", 13.0, 9.0), state=outside(name="Pot")
    ).values()

    hours = (NIGHT.cold_until - NIGHT.start) / timedelta(hours=1)
    dose = hours / (4.0 * 4.0)
    assert cold == ColdHistory(DAY, round(dose * 0.5 ** (1 / RECOVERY_NIGHTS), 2), 12.0)


def test_a_mild_night_leaves_no_dose_but_counts_as_usual() -> None:
    before = ColdHistory(DAY - timedelta(days=1), 0.4, 13.0)

    (cold,) = after(np.full(HOURS, 20.0), state=outside(before)).values()

    usual = 13.0 + (20.0 - 13.0) / HARDENING_NIGHTS
    carried = 0.4 * 0.5 ** (1 / RECOVERY_NIGHTS)
    assert cold == ColdHistory(DAY, round(carried, 2), round(usual, 1))


def test_who_was_under_cover_had_what_that_spot_holds() -> None:
    inside = {"Test strap": PlantState("room", START, assumed=False)}

    (cold,) = after(np.full(HOURS, 2.0), state=inside).values()

    assert cold == ColdHistory(DAY, 0.0, 16.0)


def test_a_plant_without_a_limit_has_a_usual_low_and_no_dose() -> None:
    (cold,) = after(np.full(HOURS, 2.0), plant(night_low=None), state=outside()).values()

    assert cold == ColdHistory(DAY, 0.0, 2.0)


def test_a_spot_that_holds_nobody_knows_what_is_not_counted() -> None:
    porch = Spot("porch", indoors=True)
    there = {"Test strap": PlantState("porch", START, assumed=False)}
    temp = np.full(HOURS, 10.0)

    counted = after(temp, state=there, spots=(OPEN_BENCH, WARM_ROOM, porch))

    assert counted == {"Test strap": None}


@pytest.mark.parametrize("why", ["gap", "too short", "expired"])
def test_a_night_that_is_not_wholly_known_is_not_counted(why: str) -> None:
    before = ColdHistory(DAY - timedelta(days=1), 0.4, 13.0)
    temp = np.full(HOURS, 10.0)
    air = sky(temp)
    if why == "gap":
        temp[52:57] = np.nan
        air = sky(temp)
    elif why == "too short":  # a source that gives no past hours
        air = fetched(weather(utc("2026-05-15T04:00"), np.full(72, 10.0)), MORNING)
    else:
        air = fetched(air, MORNING - EXPIRED_AFTER - timedelta(minutes=1))

    scene = Scene(collection(), air, outside(before), MORNING)

    assert _states_after(scene)["Test strap"].cold == before


def test_a_night_is_counted_once() -> None:
    """Also if the morning round is drawn up again an hour later."""
    temp = np.full(HOURS, 10.0)
    (once,) = after(temp, state=outside()).values()

    (again,) = after(temp, state=outside(once)).values()

    assert once is not None
    assert again == once


def test_a_night_that_goes_on_is_not_counted_at_dusk() -> None:
    scene = Scene(collection(), sky(np.full(HOURS, 10.0)), outside(), utc("2026-05-14T23:00"))

    cold = _states_after(scene)["Test strap"].cold

    assert cold is None or cold.night < DAY


def test_a_morning_round_before_sunrise_counts_the_night_too() -> None:
    early = utc("2026-05-15T10:00")  # 07:00 at the site
    made, air = collection(), fetched(sky(np.full(HOURS, 10.0)), early)

    sheet = draw_up(Round.MORNING, made, air, outside(), early)

    assert sheet.states["Test strap"].cold is not None


# -- night after night


def of_nights(*doses: float, low_c: float = 10.0) -> ColdHistory:
    cold = ColdHistory(DAY - timedelta(days=1), 0.0, low_c)
    for number, dose in enumerate(doses):
        cold = cold.after(DAY + timedelta(days=number), dose, low_c)
    return cold


def test_doses_add_up_and_are_forgotten_by_half_in_five_nights() -> None:
    kept = 0.5 ** (1 / RECOVERY_NIGHTS)

    assert of_nights(0.5).carried == pytest.approx(0.5 * kept, abs=0.006)
    assert of_nights(0.5, 0.5).carried == pytest.approx(0.5 * (kept + kept**2), abs=0.011)
    assert of_nights(1.0, *[0.0] * 4).carried == pytest.approx(0.5, abs=0.03)


@few
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_what_is_carried_is_bounded_and_never_less_for_a_colder_night(doses: list[float]) -> None:
    """At most what full doses every night come to: k + k^2 + ... with k = 2^(-1/5)."""
    kept = 0.5 ** (1 / RECOVERY_NIGHTS)
    colder = [min(dose + 0.1, 1.0) for dose in doses]

    carried = of_nights(*doses).carried

    assert 0.0 <= carried <= kept / (1 - kept) + 0.05
    assert of_nights(*colder).carried >= carried - 0.01


def test_mornings_without_a_round_count_as_mild_nights() -> None:
    """The dose is forgotten meanwhile; what is usual stays as it was."""
    cold = of_nights(0.8)
    later = DAY + timedelta(days=6)

    assert cold.carried_into(DAY + timedelta(days=1)) == cold.carried
    assert cold.carried_into(later) == pytest.approx(cold.carried / 2)
    after_all = cold.after(later, 0.0, 10.0)
    assert after_all.carried == pytest.approx(cold.carried / 2 * 0.5 ** (1 / 5), abs=0.006)
    assert (after_all.night, after_all.usual_low_c) == (later, 10.0)


def test_a_night_before_the_last_one_that_is_counted_carries_no_more() -> None:
    cold = of_nights(0.8)

    assert cold.carried_into(cold.night) == cold.carried


@few
@given(st.floats(0, 1), st.floats(-5, 20), st.floats(0, 1.0), st.floats(-5, 20), st.integers(1, 20))
def test_two_ways_to_one_history_agree(
    dose: float, low: float, carried: float, usual: float, nights: int
) -> None:
    """A night after some without a round is as one after as many mild nights of the usual low."""
    first = ColdHistory(DAY, round(carried, 2), round(usual, 1))
    mild = first
    for number in range(1, nights):
        mild = mild.after(DAY + timedelta(days=number), 0.0, first.usual_low_c)

    one = first.after(DAY + timedelta(days=nights), dose, low)
    other = mild.after(DAY + timedelta(days=nights), dose, low)

    assert one.carried == pytest.approx(other.carried, abs=0.005 * (nights + 1))
    assert one.usual_low_c == pytest.approx(other.usual_low_c)


# -- what it does to the next night


def harm_after(cold: ColdHistory | None) -> float:
    air = uncertain(fetched(weather(START, daily_curve(12.5, 22.0, HOURS)), DUSK))
    scene = Scene(collection(), air, outside(cold), DUSK)
    needs = find_night_needs(scene, sun.night_at_or_after(MENDOZA, DUSK))
    return float(needs.harm[0])


def test_a_plant_that_was_in_the_cold_takes_more_harm_and_a_hardened_one_less() -> None:
    """Warm nights, a dose of 0.5 carried, nights at the limit: 1, 1.5 and 0.6 times the harm."""
    plain = harm_after(None)
    strained = harm_after(ColdHistory(DAY, 0.5, 25.0))
    hardened = harm_after(ColdHistory(DAY, 0.0, 13.0))

    assert plain > 0
    assert harm_after(ColdHistory(DAY, 0.0, 25.0)) == pytest.approx(plain)
    assert plain < strained <= 1.5 * plain
    assert hardened == pytest.approx(0.6 * plain)


def test_who_was_in_the_cold_goes_in_where_others_may_stay_out() -> None:
    strained = {"Strained": PlantState("bench", START, cold=ColdHistory(DAY, 0.9, 25.0))}
    hardened = {"Hardened": PlantState("bench", START, cold=ColdHistory(DAY, 0.0, 13.0))}
    plants = tuple(plant(name) for name in ("Strained", "Plain", "Hardened"))
    air = uncertain(fetched(weather(START, daily_curve(14.4, 24.0, HOURS)), DUSK))
    night = sun.night_at_or_after(MENDOZA, DUSK)

    def gains(caution: float) -> dict[str, float]:
        made = collection(*plants, habits=Habits(caution=caution))
        scene = Scene(made, air, {**strained, **hardened}, DUSK)
        needs = find_night_needs(scene, night)
        return {cohort.names[0]: float(needs.gain[cohort.index]) for cohort in scene.cohorts}

    found = gains(60.0)

    assert found["Strained"] > 1.5 * found["Plain"]
    assert found["Plain"] > 1.5 * found["Hardened"] > 0


# -- through rounds


def rounds(
    made: Collection, lows: list[float], *, missed: frozenset[int] = frozenset()
) -> dict[str, PlantState]:
    """Told dusk and morning rounds, every night as cold as this, but for some mornings."""
    temp = np.concatenate([daily_curve(low, low + 10.0, 24, warmest_utc=20) for low in lows])
    temp = np.concatenate([temp, temp[-24:], temp[-24:]])
    state: dict[str, PlantState] = {}
    for number in range(1, len(lows)):
        day = START + timedelta(days=number)
        for round_, hour in ((Round.MORNING, 11.55), (Round.DUSK, 20.0)):
            if round_ is Round.MORNING and number in missed:
                continue
            now = day + timedelta(hours=hour)
            air = fetched(weather(START, temp), now)
            state = next_state(state, draw_up(round_, made, air, state, now))
    return state


def test_the_morning_round_leaves_the_night_in_the_state_and_dusk_changes_nothing() -> None:
    made = collection(plant(shelter=None), spots=(OPEN_BENCH,))
    temp = daily_curve(12.0, 22.0, HOURS, warmest_utc=20)
    morning = draw_up(Round.MORNING, made, sky(temp), outside(), MORNING)

    told = next_state(outside(), morning)
    evening = next_state(told, draw_up(Round.DUSK, made, fetched(sky(temp), DUSK), told, DUSK))

    cold = told["Test strap"].cold
    assert cold is not None
    assert cold.night == DAY
    assert cold.carried > 0
    assert evening["Test strap"].cold == cold


def test_what_happens_to_a_plant_by_day_keeps_its_nights() -> None:
    cold = ColdHistory(DAY, 0.3, 12.0)
    state = PlantState("bench", START, cold=cold)

    for changed in (
        acknowledged(state, ChoreKind.CARRY_IN, "room", MORNING),
        watered(state, Wetting(ChoreKind.MIST, MORNING)),
        called_off(state, ChoreKind.CARRY_IN, MORNING),
        state.at(DUSK),
        state.as_if_ignored(),
    ):
        assert changed.cold == cold


def test_a_morning_round_that_was_missed_loses_its_night_alone() -> None:
    made = collection(plant(shelter=None), spots=(OPEN_BENCH,))
    lows = [20.0, 12.0, 12.0, 12.0, 12.0, 12.0]

    every, but_one = rounds(made, lows), rounds(made, lows, missed=frozenset({3}))

    whole, less = every["Test strap"].cold, but_one["Test strap"].cold
    assert whole is not None
    assert less is not None
    assert whole.night == less.night
    assert 0 < less.carried < whole.carried


def test_plants_that_go_through_the_same_stay_one_cohort() -> None:
    """And those that part by what they went through are decided apart."""
    plants = [plant(f"Pot {number}", shelter=None) for number in range(12)]
    made = collection(*plants, spots=(OPEN_BENCH, WARM_ROOM))
    state = rounds(made, [20.0, 12.3, 11.7, 14.2, 9.1, 13.3, 12.9, 17.0])
    now = START + timedelta(days=7, hours=20)
    air = fetched(weather(START, np.full(9 * 24, 15.0)), now)

    together = Scene(made, air, state, now)
    one = replace(state["Pot 3"], cold=ColdHistory(DAY, 0.9, 5.0))
    apart = Scene(made, air, {**state, "Pot 3": one}, now)

    assert [len(cohort.names) for cohort in together.cohorts] == [12]
    assert sorted(len(cohort.names) for cohort in apart.cohorts) == [1, 11]


# -- what is not known any more


def test_hardening_is_forgotten_when_no_night_was_counted_for_long() -> None:
    """Cool nights of last autumn spare no plant in spring."""
    tonight = sun.night_at_or_after(MENDOZA, DUSK).day

    def hardened(nights_ago: int) -> float:
        return harm_after(ColdHistory(tonight - timedelta(days=nights_ago), 0.0, 13.0))

    plain = harm_after(None)

    assert hardened(1) == hardened(HARDENED_FOR_NIGHTS) == pytest.approx(0.6 * plain)
    for nights_ago in (HARDENED_FOR_NIGHTS + 2, 200):
        assert hardened(nights_ago) == pytest.approx(plain)


def test_who_was_told_to_go_in_and_not_confirmed_may_have_been_in_the_cold() -> None:
    """The dose is that of the bench, in doubt; the low is that of the room, for it hardens only who
    is known to have been outside."""
    pot = hurt("Pot", 10.0, 5.0)
    made, temp = collection(pot), daily_curve(3.0, 22.0, HOURS, warmest_utc=20)
    before = NIGHT.start - timedelta(hours=1)
    told = next_state(
        {}, draw_up(Round.DUSK, made, fetched(weather(START, temp), before), {}, before)
    )
    assert told["Pot"].asked is not None
    confirmed = {"Pot": acknowledged(told["Pot"], ChoreKind.CARRY_IN, "room", before)}

    left_out = after(temp, pot, state=outside(name="Pot"))["Pot"]
    unsure = after(temp, pot, state=told)["Pot"]
    sure = after(temp, pot, state=confirmed)["Pot"]

    assert left_out is not None
    assert left_out.carried > 0
    assert unsure == ColdHistory(DAY, left_out.carried, 16.0)
    assert sure == ColdHistory(DAY, 0.0, 16.0)
