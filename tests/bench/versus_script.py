"""200 plants: sillward's sheets against the script that a grower with some Python would write.

    python -m tests.bench.versus_script [--plants 200] [--times 7]

The script is honest: pandas for the hours, psychrolib for the air, plain rules of thumb for the
leaf and the sun. It has a frame for each plant, because that is how one thinks of it, and does
much less than a sheet: no energy balance, no films, no walks. For each round it is run at the
moment of the round, on the same plants and the same forecast, in turns with the sheet. The same
script with the air worked out once for each spot is timed too, for those who would have thought of
it. Times are processor times. Exit status 1 if a goal is missed.
"""

import argparse
import math
import sys
import time
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from datetime import datetime, timedelta

import pandas as pd
import psychrolib

from sillward_rules import ChoreKind, Plant, Round, Sheet, Spot, Weather, draw_up
from tests.bench import invented
from tests.bench.table import Row, report, say

FASTER_LEAST = 40.0
"""Least times that the sheet of every round, and all of them together, are faster than it."""

ALL = "all three"

SCRIPT_TIMES = 3
"""The script takes long: it is the best of no more than so many."""

CLEAR_NIGHT_K = 2.0
"""What the script takes off for a leaf on a clear calm night: 1 to 3 K are measured."""

AGREE_LEAST = 0.85
"""Least share of plants on which script and sheet agree for tonight, or they do other work."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What the script says of a plant."""

    plant: str
    in_before: datetime | None
    out_from: datetime | None
    mist_days: tuple[datetime, ...]
    lows: tuple[float, ...]


def forecast_frame(weather: Weather, now: datetime) -> pd.DataFrame:
    """The coming 168 hours as a forecast has them: temperature, humidity, wind and cloud."""
    index = pd.to_datetime(weather.times, unit="s", utc=True).tz_convert(invented.SITE.zone)
    frame = pd.DataFrame(
        {
            "temp": weather.temp_c,
            "humidity": [
                psychrolib.GetRelHumFromTDewPoint(temp, min(dew, temp))
                for temp, dew in zip(weather.temp_c, weather.dew_point_c, strict=True)
            ],
            "wind": weather.wind_m_s,
            "cloud": weather.cloud,
        },
        index=index,
    )
    return frame[frame.index >= now][:168]


def air_at(forecast: pd.DataFrame, spot: Spot) -> pd.DataFrame:
    """The forecast at a spot, with dew point, VPD and leaf temperature, hour by hour."""
    frame = forecast.copy()
    frame["night"] = (frame.index.hour >= 20) | (frame.index.hour < 8)
    frame["temp"] += frame["night"].map(
        {True: spot.night_offset_k or 0.0, False: spot.day_offset_k or 0.0}
    )
    dew_points, deficits = [], []
    for before, temp, humidity in zip(
        forecast["temp"].tolist(), frame["temp"].tolist(), frame["humidity"].tolist(), strict=True
    ):
        most = psychrolib.GetSatVapPres(temp)
        vapour = min(psychrolib.GetVapPresFromRelHum(before, humidity), most)
        dew_points.append(psychrolib.GetTDewPointFromVapPres(temp, vapour))
        deficits.append((most - vapour) / 1000)
    frame["dew_point"] = dew_points
    frame["vpd"] = deficits
    radiates = frame["night"] & (frame["cloud"] < 0.4) & (frame["wind"] < 2.0)
    sky = 0.0 if spot.sky_view is None else min(1.0, 2 * spot.sky_view)
    frame["leaf"] = frame["temp"] - radiates * CLEAR_NIGHT_K * sky
    return frame


def advice_for(plant: Plant, frame: pd.DataFrame, now: datetime) -> Advice:
    """Pick the chores of a plant from its hours."""
    low, vpd_high = plant.limits.night_low, plant.limits.vpd_high
    frame["cold"] = frame["leaf"] < (low.value if low else -math.inf)
    frame["dry"] = ~frame["night"] & (frame["vpd"] > (vpd_high.value if vpd_high else math.inf))
    nights = frame[frame["night"]].resample("24h", offset="12h").agg({"leaf": ["min", "max"]})
    days = frame[~frame["night"]].resample("24h").agg({"temp": ["min", "max"], "dry": "sum"})

    tonight = frame[frame["night"] & (frame.index < now + timedelta(hours=20))]
    cold = tonight[tonight["cold"]]
    in_before = cold.index[0] - timedelta(minutes=45) if len(cold) else None
    later = frame[~frame["night"] & (frame.index > tonight.index[-1])]
    warm = later[later["leaf"] >= (low.value + 1.0 if low else -math.inf)]
    out_from = warm.index[0] if in_before is not None and len(warm) else None
    warm_days = days[("temp", "max")] >= 18.0
    mist = days.index[(days[("dry", "sum")] >= 2) & warm_days] if plant.holder != "pot" else ()
    return Advice(plant.name, in_before, out_from, tuple(mist), tuple(nights[("leaf", "min")]))


def script(
    forecast: pd.DataFrame,
    plants: Sequence[Plant],
    spots: Sequence[Spot],
    now: datetime,
    *,
    once_per_spot: bool = False,
) -> list[Advice]:
    """The whole script: every plant, its hours, its chores."""
    by_name = {spot.name: spot for spot in spots}
    frames: dict[str, pd.DataFrame] = {}
    advice = []
    for plant in plants:
        if once_per_spot:
            if plant.home not in frames:
                frames[plant.home] = air_at(forecast, by_name[plant.home])
            frame = frames[plant.home].copy()
        else:
            frame = air_at(forecast, by_name[plant.home])
        advice.append(advice_for(plant, frame, now))
    return advice


def require_agreement(advice: Sequence[Advice], sheet: Sheet) -> None:
    """Raise ValueError unless script and dusk sheet say much the same of tonight."""
    goes_in = {
        name for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN for name in chore.plants
    }
    agree = sum((advised.in_before is not None) == (advised.plant in goes_in) for advised in advice)
    say(f"tonight: script and sheet agree on {agree} of {len(advice)} plants")
    if agree < AGREE_LEAST * len(advice):
        msg = f"script and sheet agree on {agree} of {len(advice)} plants only"
        raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Taken:
    """The least processor times of a round [s]."""

    script: float
    script_per_spot: float
    sheet: float


def measure(round_: Round, count: int, times: int) -> Taken:
    """Time a round by the script and by the first sheet on a fresh collection, in turns.

    Other plants every time. At dusk the script must say what the sheet says.
    """
    now = invented.MOMENTS[round_]
    per_plant, per_spot, sheets = list[float](), list[float](), list[float]()
    for turn in range(times):
        collection, weather = invented.collection(count, seed=turn), invented.weather(now)
        start = time.process_time()
        sheet = draw_up(round_, collection, weather, {}, now)
        sheets.append(time.process_time() - start)
        invented.require_work(sheet, count)
        if turn >= SCRIPT_TIMES:
            continue
        forecast = forecast_frame(weather, now)
        for once_per_spot, taken in ((False, per_plant), (True, per_spot)):
            start = time.process_time()
            advice = script(
                forecast, collection.plants, collection.spots, now, once_per_spot=once_per_spot
            )
            taken.append(time.process_time() - start)
            if round_ is Round.DUSK and not turn:
                require_agreement(advice, sheet)
    return Taken(min(per_plant), min(per_spot), min(sheets))


def main() -> int:
    """Time the script and the sheets; print the table; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--plants", type=int, default=200)
    parser.add_argument("--times", type=int, default=7, help="best of so many")
    options = parser.parse_args()
    psychrolib.SetUnitSystem(psychrolib.SI)

    named = {round_.value: measure(round_, options.plants, options.times) for round_ in Round}
    columns = zip(*(astuple(taken) for taken in named.values()), strict=True)
    named[ALL] = Taken(*map(sum, columns))

    rows = list[Row]()
    for name, taken in named.items():
        rows.append(Row(f"{name}: script", taken.script * 1e3, "ms"))
        rows.append(
            Row(f"{name}: script, the air once per spot", taken.script_per_spot * 1e3, "ms")
        )
        rows.append(Row(f"{name}: first sheet", taken.sheet * 1e3, "ms"))
    for name, taken in named.items():
        faster = taken.script / taken.sheet
        rows.append(Row(f"{name}: faster than the script", faster, "x", at_least=FASTER_LEAST))
        faster = taken.script_per_spot / taken.sheet
        rows.append(Row(f"{name}: faster, air once per spot", faster, "x"))
    return report(f"{options.plants} plants, the grower's script against the sheets", rows)


if __name__ == "__main__":
    sys.exit(main())
