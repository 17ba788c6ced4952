"""What growers do, as scenarios: on each of these days the advice must be what practice says.

Common practice, no source, for every expectation in this file; plants and places are invented.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.physics import air
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import next_state
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_moment
from tests.support.core import collection, daily_curve, fetched, plant, weather

LISBON = Site("Roof terrace", 38.72, -9.14, 60, ZoneInfo("Europe/Lisbon"))
TERRACE = Spot("terrace", sky_view=0.4, wind=0.35, night_offset_k=0.0, day_offset_k=0.0)
PARLOUR = Spot("parlour", indoors=True, night_low_c=14.0, day_low_c=19.0, humidity_pct=50.0)
HYBRID = plant("Warm hybrid", night_low=13.0, home="terrace", shelter="parlour")
HABITS = Habits(in_by=parse_moment("18:00"))


def told(
    round_: Round,
    at: str,
    low: float,
    high: float,
    *,
    humidity_at_noon: float = 50.0,
    wind: float = 1.5,
    cloud: float = 0.3,
    state: dict[str, PlantState] | None = None,
) -> Sheet:
    """A sheet for the terrace with the same day repeated, from two days before to four after."""
    now = datetime.fromisoformat(at).replace(tzinfo=LISBON.zone)
    start = (now - timedelta(days=2)).replace(hour=0, minute=0)
    # Lowest about sunrise, highest at three in the afternoon.
    temp = daily_curve(low, high, 6 * 24, warmest_utc=15)
    dew = float(air.dew_point(air.vapour_pressure(high, humidity_at_noon)))
    hours = np.arange(temp.size) % 24
    sun = np.maximum(np.sin((hours - 6.5) / 12.5 * np.pi), 0.0) * (hours > 6) * (hours < 20)
    sky = weather(
        start,
        temp,
        dew_point_c=np.minimum(dew, temp),
        wind_m_s=wind,
        cloud=cloud,
        direct_w_m2=600.0 * sun,
        diffuse_w_m2=120.0 * sun,
    )
    household = collection(HYBRID, spots=(TERRACE, PARLOUR), site=LISBON, habits=HABITS)
    return draw_up(round_, household, fetched(sky, now), state or {}, now)


def of(sheet: Sheet, kind: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is kind]


def clock(at: datetime) -> str:
    return f"{at.astimezone(LISBON.zone):%H:%M}"


@pytest.mark.parametrize("low", [10.0, 10.5, 11.0])
def test_a_night_of_10_to_11_degrees_marks_leaves_so_the_plant_goes_in(low: float) -> None:
    (chore,) = of(told(Round.DUSK, "2026-01-14T16:00", low, 17.0), ChoreKind.CARRY_IN)

    assert chore.to_spot == "parlour"
    assert "15:30" <= clock(chore.before) <= "18:00"


def test_14_degrees_indoors_is_fine_so_the_shelter_is_not_complained_of() -> None:
    sheet = told(Round.DUSK, "2026-01-14T16:00", 10.0, 17.0)

    assert of(sheet, ChoreKind.CARRY_IN)
    assert not sheet.warnings


@pytest.mark.parametrize("date", ["2025-12-10", "2026-01-14", "2026-02-11", "2026-03-04"])
def test_winter_rhythm_out_in_the_morning_and_in_by_six(date: str) -> None:
    dusk = told(Round.DUSK, f"{date}T16:00", 9.0, 18.0)
    morning = told(Round.MORNING, f"{date}T08:15", 9.0, 18.0)

    (going_in,) = of(dusk, ChoreKind.CARRY_IN)
    (going_out,) = of(morning, ChoreKind.CARRY_OUT)
    assert clock(going_in.before) <= "18:00"
    assert going_out.not_before is not None
    assert "09:00" <= clock(going_out.not_before) <= "14:00"


def test_a_mild_april_needs_no_carrying_any_more() -> None:
    assert not of(told(Round.DUSK, "2026-04-20T18:00", 15.5, 23.0), ChoreKind.CARRY_IN)


def test_a_cold_april_night_still_does() -> None:
    assert of(told(Round.DUSK, "2026-04-08T18:00", 10.0, 19.0), ChoreKind.CARRY_IN)


def test_a_day_that_stays_cold_is_not_worth_two_trips() -> None:
    sheet = told(Round.MORNING, "2026-01-14T08:15", 7.0, 12.0)

    assert not of(sheet, ChoreKind.CARRY_OUT)
    assert of(sheet, ChoreKind.STAY_IN)


@pytest.mark.parametrize("date", ["2026-07-08", "2026-08-12"])
def test_hot_months_near_30_percent_ask_for_two_to_three_mistings_the_first_at_dawn(
    date: str,
) -> None:
    sheet = told(Round.MORNING, f"{date}T06:35", 18.0, 33.0, humidity_at_noon=30.0)

    mistings = of(sheet, ChoreKind.MIST)
    assert 2 <= len(mistings) <= 3
    first = mistings[0]
    assert first.not_before is not None
    assert clock(first.not_before) <= "07:15"
    assert clock(first.before) <= "10:30"


@pytest.mark.parametrize("date", ["2025-12-10", "2026-01-14", "2026-02-11"])
def test_in_winter_hardly_any_misting_and_no_feed(date: str) -> None:
    sheet = told(Round.MORNING, f"{date}T08:15", 8.0, 15.0, humidity_at_noon=55.0)

    assert not of(sheet, ChoreKind.MIST)
    assert not of(sheet, ChoreKind.FEED)


def test_summer_mornings_are_fed_and_rinsed_before_the_film_dries() -> None:
    sheet = told(Round.MORNING, "2026-07-08T06:35", 18.0, 33.0, humidity_at_noon=30.0)

    (feed,) = of(sheet, ChoreKind.FEED)
    rinse_min = feed.because[0].value
    assert feed.because[0].quantity == "film until rinse"
    assert rinse_min is not None
    assert 10 <= rinse_min <= 60
    assert clock(feed.before) <= "10:30"


def test_late_wetting_without_wind_endangers_the_crown() -> None:
    breezy = told(Round.MORNING, "2026-07-08T06:35", 18.0, 33.0, humidity_at_noon=30.0, wind=4.0)
    still = told(Round.MORNING, "2026-07-08T06:35", 18.0, 33.0, humidity_at_noon=30.0, wind=0.2)

    (early,), (late,) = of(still, ChoreKind.STOP_WETTING), of(breezy, ChoreKind.STOP_WETTING)
    assert early.before < late.before
    assert clock(late.before) <= "19:30"


def test_on_a_cool_still_humid_day_crowns_stay_dry_all_day() -> None:
    sheet = told(
        Round.MORNING,
        "2026-01-14T08:15",
        9.0,
        14.5,
        humidity_at_noon=85.0,
        wind=0.2,
        cloud=0.9,
        state={"Warm hybrid": PlantState("terrace")},
    )

    (stop,) = of(sheet, ChoreKind.STOP_WETTING)
    assert stop.not_before is not None
    assert stop.before <= stop.not_before


def test_direct_low_winter_sun_is_nothing_to_warn_of() -> None:
    sheet = told(Round.MORNING, "2026-01-14T08:15", 9.0, 18.0, cloud=0.0)

    assert not sheet.warnings
    assert {chore.kind for chore in sheet.chores} <= {
        ChoreKind.CARRY_OUT,
        ChoreKind.STOP_WETTING,
    }


def test_a_winter_week_of_following_the_advice_moves_the_plant_out_and_in_each_day() -> None:
    state: dict[str, PlantState] = {}
    stood = []
    for moment in _two_rounds_a_day("2026-01-12", 5):
        round_ = Round.MORNING if moment.endswith("08:15") else Round.DUSK
        sheet = told(round_, moment, 9.0, 18.0, state=state)
        state = next_state(state, sheet)
        stood.append(state["Warm hybrid"].spot)

    assert stood == ["terrace", "parlour"] * 5
    assert state["Warm hybrid"].assumed


def _two_rounds_a_day(first: str, days: int) -> Iterator[str]:
    for offset in range(days):
        day = datetime.fromisoformat(first).date() + timedelta(days=offset)
        yield f"{day}T08:15"
        yield f"{day}T16:00"
