"""A real year under forecasts that err: how many cold nights go by unwarned, how many orders are
late or needless.

The truth is the airport's (`airport`), in steps of ten minutes, until two hours after sunrise. Each
day has a forecast of its own, with errors that are independent of those of other days: an AR(1)
whose standard deviation grows with the lead time. Deviations: 1.3 K for the first dawn, 1.7 K for
the second (86.5 % of the minima of the first night within 2 K at stations of the Met Office; the
rest, and 0.5 K at once, is judgement). The dew point is kept under the temperature.

Nothing here shares code with the core but the sheet that is being judged.
"""

from collections import Counter
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from sillward.forecast.sources.open_meteo import parse
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.remark import CloseCall
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.spot import Spot
from tests.support.airport import NEWARK, answered, body, days, errors, in_steps

LIMITS_C = (4.0, 7.0, 10.0, 13.0, 16.0, 19.0)
LEAD_H, SD_K = (0.0, 18.0, 42.0), (0.5, 1.3, 1.7)


def six() -> Collection:
    """A plant for each limit, in a spot that changes nothing, under a roof: no leaf is wet."""
    spots = (
        Spot("step", sky_view=0.0, wind=1.0, rain=0.0, night_offset_k=0.0, day_offset_k=0.0),
        Spot("hall", indoors=True, night_low_c=20.0),
    )
    plants = (
        Plant(f"from {limit:g}", "step", "hall", "basket", Limits(night_low=Limit(limit, "own")))
        for limit in LIMITS_C
    )
    return Collection(NEWARK, spots, tuple(plants), standard_rules(), Habits())


def dusk(day: date, rng: np.random.Generator) -> Sheet:
    """The dusk sheet by a forecast of that afternoon, 15:00 local time, and its errors."""
    at = datetime(day.year, day.month, day.day, 15, tzinfo=NEWARK.zone)
    rows = answered(day).copy()
    lead_h = (rows.index - pd.Timestamp(at)) / pd.Timedelta(hours=1)
    off = errors(rng, lead_h.to_numpy(), np.interp(lead_h, LEAD_H, SD_K))
    rows["temperature_2m"] += off
    rows["dew_point_2m"] = np.minimum(rows.dew_point_2m, rows.temperature_2m)
    return draw_up(Round.DUSK, six(), parse(body(rows.round(2)), NEWARK, at), {}, at)


def counted(seed: int) -> Counter[str]:
    """What became of the plant-nights of a year. Nights that were not all recorded are left out.

    missed: under the limit without an order. unwarned: and without a word that it may be a close
    call. late: ordered in by a moment at which it is under its limit already. needless: ordered in
    for a night that stays above the limit.
    """
    truth = in_steps()[in_steps().counts]
    by_night = dict(iter(truth.groupby("evening").temperature_2m))
    rng = np.random.default_rng(seed)
    count: Counter[str] = Counter()
    for day in days():
        sheet, night = dusk(day, rng), by_night[day]
        if night.isna().any():
            continue
        orders = {
            name: chore
            for chore in sheet.chores
            if chore.kind is ChoreKind.CARRY_IN
            for name in chore.plants
        }
        named = {
            name
            for remark in sheet.warnings
            if isinstance(remark, CloseCall)
            for threat in remark.threats
            for name in threat.plants
        }
        for limit in LIMITS_C:
            name, under = f"from {limit:g}", night[night < limit]
            order = orders.get(name)
            count["nights"] += 1
            count["cold"] += not under.empty
            count["orders"] += order is not None
            if order is None:
                count["missed"] += not under.empty
                count["unwarned"] += not under.empty and name not in named
            elif under.empty:
                count["needless"] += 1
            else:
                count["late"] += order.before > max(under.index[0], sheet.at)
    return count


def test_a_year_of_forecasts_that_err() -> None:
    count = counted(2013)
    print(dict(count))  # noqa: T201 the counts are what one runs this for

    assert count["cold"] > 1200
    assert 1 <= count["missed"] <= 9, "measured: 4 of 1230, and 23 by the bare forecast"
    assert count["unwarned"] <= 9, "measured: 4"
    assert 60 <= count["needless"] <= 150, "measured: 109 of 1335 orders, and 32 of 1239"
    assert count["late"] == 0


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_years_of_other_errors(seed: int) -> None:
    count = counted(seed)
    print(seed, dict(count))  # noqa: T201 the counts are what one runs this for

    assert count["missed"] <= 0.01 * count["cold"]
    assert count["unwarned"] <= 0.01 * count["cold"]
    assert count["needless"] <= 0.12 * count["orders"]
    assert count["late"] <= 0.01 * count["orders"]
