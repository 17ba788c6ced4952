"""Plants that may have to go in tonight: the morning names them, the dusk round decides."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.chore import ChoreKind
from sillward_rules.planners.morning_round import MAX_UNSURE_GAIN, MIN_UNSURE_GAIN
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState, State
from sillward_rules.remark import Undecided
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.core import (
    MENDOZA,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    warned,
    weather,
)

START = utc("2026-05-13T00:00")
MORNING = utc("2026-05-14T11:33")  # 08:33 at the site
DUSK = utc("2026-05-14T20:00")  # 17:00
NIGHT = sun.night_at_or_after(MENDOZA, DUSK)
HOURS = 96
LOW_C = 13.0

few = settings(deadline=None, derandomize=True, max_examples=25)


def sky(low: float = LOW_C) -> Weather:
    return uncertain(fetched(weather(START, daily_curve(low, low + 9.0, HOURS)), MORNING))


def at(round_: Round, made: Collection, air: Weather, state: State | None = None) -> Sheet:
    return draw_up(round_, made, air, state or {}, MORNING if round_ is Round.MORNING else DUSK)


def named(sheet: Sheet) -> tuple[str, ...]:
    return tuple(name for remark in warned(sheet, Undecided) for name in remark.plants)


def carried(sheet: Sheet) -> set[str]:
    return {
        name for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN for name in chore.plants
    }


def pots(*margins: float, **more: str) -> tuple[Plant, ...]:
    """Plants whose limit is so far under the low of the night [K]."""
    return tuple(
        plant(f"Pot {margin:+.1f}", night_low=LOW_C - margin, **more)  # type: ignore[arg-type]
        for margin in margins
    )


def test_the_morning_names_who_is_undecided_and_when_that_is_told() -> None:
    """Who is surely out, who surely goes in, and in between the doubtful ones, by name."""
    sheet = at(Round.MORNING, collection(*pots(8.0, 2.0, 1.0, -4.0)), sky())

    (remark,) = warned(sheet, Undecided)
    assert remark.plants == ("Pot +1.0", "Pot +2.0")
    assert remark.told_by == Habits().told_at.on(MENDOZA, NIGHT.day)
    assert not carried(sheet)


def test_the_hour_is_that_of_the_growers_dusk_round() -> None:
    habits = Habits(told_at=parse_moment("16:20"))

    (remark,) = warned(at(Round.MORNING, collection(*pots(1.0), habits=habits), sky()), Undecided)

    assert remark.told_by == utc("2026-05-14T19:20")


def test_dusk_decides_and_names_nobody_as_undecided() -> None:
    made = collection(*pots(8.0, 2.0, 1.0, -4.0))

    colder, milder = (
        at(Round.DUSK, made, fetched(sky(low), DUSK - timedelta(hours=1))) for low in (11.5, 17.0)
    )

    assert {"Pot +1.0", "Pot +2.0"} <= carried(colder)
    assert not carried(milder) & {"Pot +1.0", "Pot +2.0"}
    assert not named(colder)
    assert not named(milder)


@few
@given(st.floats(9, 17), st.sampled_from([5.0, 60.0, 300.0]))
def test_who_goes_in_for_a_risk_at_dusk_was_named_in_the_morning_if_it_was_in_doubt(
    low: float, caution: float
) -> None:
    plants = pots(*np.arange(-2.0, 5.0, 0.5).tolist())
    made = collection(*plants, habits=Habits(caution=caution))
    air = sky(low)

    morning = named(at(Round.MORNING, made, air))
    scene = Scene(made, air, {}, MORNING)
    needs = find_night_needs(scene, NIGHT)

    for cohort in scene.cohorts:
        gain = float(needs.gain[cohort.index])
        for name in cohort.names:
            usual = float(needs.usual_gain[cohort.index])
            doubtful = gain >= MIN_UNSURE_GAIN and usual < MAX_UNSURE_GAIN
            assert (name in morning) == doubtful, (name, gain)
    dusk = carried(at(Round.DUSK, made, fetched(air, DUSK)))
    sure = {
        name
        for cohort in scene.cohorts
        for name in cohort.names
        if needs.usual_gain[cohort.index] >= MAX_UNSURE_GAIN and needs.gain[cohort.index] > 1.0
    }
    assert sure <= dusk, "of these nothing was in doubt"


def test_nothing_is_undecided_where_nothing_can_be_done_or_is_known() -> None:
    temp = daily_curve(LOW_C, LOW_C + 9.0, HOURS)
    temp[50:56] = np.nan
    unknown = uncertain(fetched(weather(START, temp), MORNING))
    inside = {"Pot +1.0": PlantState("room", START, assumed=False)}
    cool_day = uncertain(fetched(weather(START, np.full(HOURS, LOW_C + 1.0)), MORNING))

    assert named(at(Round.MORNING, collection(*pots(1.0)), sky()))
    assert not named(at(Round.MORNING, collection(*pots(1.0)), unknown))
    assert not named(at(Round.MORNING, collection(plant(night_low=None)), sky()))
    assert not named(at(Round.MORNING, collection(*pots(1.0), habits=Habits(caution=0.0)), sky()))
    outside = {"Pot +1.0": PlantState("bench", START, assumed=False)}
    assert named(at(Round.MORNING, collection(*pots(1.0)), cool_day, outside))
    stays = at(Round.MORNING, collection(*pots(1.0)), cool_day, inside)
    assert not named(stays), "it does not go out to begin with"


def test_what_must_go_in_before_the_dusk_round_is_ordered_and_not_undecided() -> None:
    """A cold afternoon: in by then, whatever the night may do."""
    temp = daily_curve(LOW_C, LOW_C + 9.0, HOURS)
    temp[42:46] = 3.0  # 15:00 to 18:00 at the site
    one = plant("Pot", night_low=LOW_C + 1.0)
    injured = replace(one, limits=replace(one.limits, brief_low=one.limits.night_low))
    air = uncertain(fetched(weather(START, temp), MORNING))

    outside = {"Pot": PlantState("bench", START, assumed=False)}
    sheet = at(Round.MORNING, collection(injured), air, outside)

    assert carried(sheet) == {"Pot"}
    assert not named(sheet)


@pytest.mark.parametrize("goes_out", [True, False])
def test_who_goes_out_this_morning_counts_as_outside(goes_out: bool) -> None:
    inside = {"Pot +1.0": PlantState("room", START, assumed=False)}
    air = sky() if goes_out else uncertain(fetched(weather(START, np.full(HOURS, 8.0)), MORNING))

    sheet = at(Round.MORNING, collection(*pots(1.0)), air, inside)

    out = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT]
    assert bool(out) == goes_out
    assert bool(named(sheet)) == goes_out


def test_who_goes_out_this_morning_is_weighed_against_a_walk_of_its_own() -> None:
    """It may be cool at sunset for an hour, and the dusk round is too late for that: alone, that is
    not worth a walk; with another plant that must be in by then it goes along."""
    temp = daily_curve(22.0, 26.0, HOURS)
    temp[45:48] = 13.5  # from 18:00 to 20:00 at the site
    air = uncertain(fetched(weather(START, temp), MORNING))
    late = Habits(told_at=parse_moment("18:20"))
    doubtful, tender = plant("Doubtful", night_low=12.3), plant("Tender", night_low=16.0)
    inside = {name: PlantState("room", START, assumed=False) for name in ("Doubtful", "Tender")}

    alone = at(Round.MORNING, collection(doubtful, habits=late), air, inside)
    both = at(Round.MORNING, collection(doubtful, tender, habits=late), air, inside)

    scene = Scene(collection(doubtful), air, inside, MORNING)
    assert 0.25 < find_night_needs(scene, NIGHT).gain[0] < 1.0
    assert not carried(alone)
    assert named(alone) == ("Doubtful",)
    assert carried(both) == {"Doubtful", "Tender"}


def test_nobody_is_told_of_an_hour_that_is_over() -> None:
    """A morning sheet that is drawn up in the evening."""
    made = collection(*pots(1.0))
    told_by = Habits().told_at.on(MENDOZA, NIGHT.day)

    def drawn_up(now: datetime) -> Sheet:
        return draw_up(Round.MORNING, made, fetched(sky(), MORNING), {}, now)

    assert named(drawn_up(told_by - timedelta(minutes=1)))
    for later in (timedelta(0), timedelta(minutes=1), timedelta(hours=3), timedelta(hours=6)):
        assert not named(drawn_up(told_by + later)), later
