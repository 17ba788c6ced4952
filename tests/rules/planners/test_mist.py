"""Misting windows, repeats, feed, and the last hour for wet crowns."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Rot
from sillward_rules.plants.plant import Holder
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather import sun
from tests.support.core import MENDOZA, WARM_ROOM, collection, daily_curve, fetched, plant, weather
from tests.support.summer import BENCH, HOT, NOW, START


def morning(
    temp: np.ndarray = HOT,
    *,
    dew: float = 9.0,
    holder: Holder = "basket",
    velamen: bool = True,
    rot: Rot = "high",
    habits: Habits | None = None,
    **series: object,
) -> Sheet:
    household = collection(
        plant(holder=holder, velamen=velamen, rot=rot), spots=(BENCH, WARM_ROOM), habits=habits
    )
    hours = np.arange(temp.size) % 24
    sun_up = np.maximum(np.sin((hours - 10) / 14 * np.pi), 0.0)
    sky = weather(START, temp, **{"dew_point_c": dew, "direct_w_m2": 500.0 * sun_up, **series})
    return draw_up(Round.MORNING, household, fetched(sky, NOW), {}, NOW)


def of(sheet: Sheet, kind: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is kind]


def test_window_shuts_when_the_film_no_longer_lasts_the_uptake_time() -> None:
    first = of(morning(), ChoreKind.MIST)[0]

    (reason,) = first.because
    assert reason.quantity == "film life"
    assert reason.value is not None
    assert reason.limit is not None
    assert reason.value < reason.limit
    assert reason.at - first.before <= timedelta(minutes=65)


def test_film_outlasts_the_uptake_time_all_through_the_window() -> None:
    sheet = morning()
    first = of(sheet, ChoreKind.MIST)[0]
    household = collection(plant(), spots=(BENCH, WARM_ROOM))
    hours = np.arange(96) % 24
    sky = weather(
        START,
        HOT,
        dew_point_c=9.0,
        direct_w_m2=500.0 * np.maximum(np.sin((hours - 10) / 14 * np.pi), 0.0),
    )
    films = DayFilms(Scene(household, fetched(sky, NOW), {}, NOW), date(2026, 1, 20)).at_spot(0)

    assert first.not_before is not None
    at = first.not_before
    while at < first.before - timedelta(minutes=5):
        assert films.at(films.leaf, at) * 60 >= 15
        at += timedelta(minutes=5)
    assert films.at(films.leaf, first.before + timedelta(minutes=10)) * 60 < 15


def test_leaves_without_velamen_need_the_longer_uptake_time() -> None:
    bare = of(morning(), ChoreKind.MIST)[0]
    leafy = of(morning(velamen=False), ChoreKind.MIST)[0]

    assert leafy.because[0].limit == 45
    assert leafy.before <= bare.before


def test_a_dawn_too_dry_for_any_film_still_gets_water_but_no_feed() -> None:
    sheet = morning(daily_curve(27.0, 41.0, 96), dew=-5.0, wind_m_s=8.0)

    first = of(sheet, ChoreKind.MIST)[0]
    assert first.because[0].value is not None
    assert first.because[0].value < 15
    assert not of(sheet, ChoreKind.FEED)


def test_humid_day_asks_for_no_misting() -> None:
    assert not of(morning(daily_curve(20.0, 26.0, 96), dew=19.5), ChoreKind.MIST)


def test_cool_day_asks_for_no_misting_however_dry() -> None:
    assert not of(morning(daily_curve(8.0, 16.0, 96), dew=-10.0), ChoreKind.MIST)


def test_pots_hold_their_own_water() -> None:
    assert not of(morning(holder="pot"), ChoreKind.MIST)


@pytest.mark.parametrize("most", [1, 2, 3])
def test_no_more_mistings_than_the_grower_will_do(most: int) -> None:
    mistings = of(morning(habits=Habits(mistings_most=most)), ChoreKind.MIST)

    assert len(mistings) <= most


def test_a_mount_dries_out_sooner_than_a_basket() -> None:
    mount, basket = (of(morning(holder=holder), ChoreKind.MIST) for holder in ("mount", "basket"))

    assert len(mount) >= len(basket) >= 2
    assert mount[1].before <= basket[1].before


def test_no_misting_after_the_last_hour_for_wet_crowns() -> None:
    sheet = morning(holder="mount")

    (stop,) = of(sheet, ChoreKind.STOP_WETTING)
    assert all(chore.before <= stop.before for chore in of(sheet, ChoreKind.MIST))


def test_feed_window_ends_while_a_rinse_can_still_follow() -> None:
    (feed,) = of(morning(), ChoreKind.FEED)

    assert feed.because[0].quantity == "film until rinse"
    assert feed.because[0].value is not None
    assert feed.because[0].value >= 10


def test_nothing_is_planned_where_the_air_is_not_known() -> None:
    sheet = morning(dew=np.nan)

    assert not [c for c in sheet.chores if c.kind is not ChoreKind.CARRY_OUT]


def test_more_sensitive_crowns_stop_earlier() -> None:
    last = {}
    for rot in ("high", "medium"):
        (stop,) = of(morning(rot=rot), ChoreKind.STOP_WETTING)
        last[rot] = stop.before

    assert last["high"] < last["medium"]


def test_crowns_wetted_at_the_last_hour_are_dry_an_hour_before_sunset() -> None:
    (stop,) = of(morning(), ChoreKind.STOP_WETTING)

    sunset = sun.day_events(MENDOZA, date(2026, 1, 20)).sunset
    (reason,) = stop.because
    assert reason.value is not None
    dry = reason.at + timedelta(hours=reason.value)
    assert dry <= sunset - timedelta(hours=1) + timedelta(minutes=4)
    assert dry >= sunset - timedelta(hours=1, minutes=30)


def test_first_misting_waits_until_the_air_is_above_the_night_limit() -> None:
    cold_dawn = daily_curve(9.0, 31.0, 96)
    sheet = morning(cold_dawn, dew=-2.0)

    for chore in of(sheet, ChoreKind.MIST):
        assert chore.not_before is not None
        row = int((chore.not_before - START) / timedelta(hours=1))
        assert cold_dawn[row + 1] >= 13.0


def test_mistings_are_told_in_order_and_never_for_the_past() -> None:
    mistings = of(morning(holder="mount"), ChoreKind.MIST)

    deadlines = [chore.before for chore in mistings]
    assert deadlines == sorted(deadlines)
    assert all(chore.not_before is not None and chore.not_before >= NOW for chore in mistings)
    assert all(isinstance(chore.before, datetime) for chore in mistings)
