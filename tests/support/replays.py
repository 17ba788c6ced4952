"""Results of replays made by hand: a year with cold nights, as a replay would find it."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from sillward_rules.replay.records import (
    Cause,
    ChanceBin,
    Exposure,
    NearMiss,
    NightRecord,
    ReplayResult,
    Warned,
)
from sillward_rules.scores import bin_of

FIRST, LAST = date(2025, 6, 1), date(2026, 5, 31)

PLANTS = ("Blue basket", "Old cattleya", "Lady of the night", "Strap-leaf by the door")


def exposure(
    night: date,
    *plants: str,
    depth_k: float = 0.6,
    cause: Cause = Cause.MISSED,
    warned: Warned = Warned.NOTHING,
    chance: float | None = 0.12,
    spot: str = "pergola",
) -> Exposure:
    """Plants that stood under 13 °C at 10:00 UTC of the morning after."""
    at = datetime.combine(night + timedelta(days=1), time(10), tzinfo=UTC)
    return Exposure(
        cause, plants, spot, 13.0, 13.0 - depth_k, at, 2.5 * depth_k, depth_k**2,
        0.05 * depth_k, chance, warned,
    )  # fmt: skip


def year(
    first: date = FIRST,
    last: date = LAST,
    *,
    seed: int | None = 7,
    warmer_k: float = 0.0,
    done: int | None = None,
) -> ReplayResult:
    """A year in Mendoza: coldest in July, a few misses in spring and autumn.

    warmer_k: added to every low. done: only so many nights are there, as after an interruption.
    """
    rng = np.random.default_rng(7)
    nights = []
    day = first
    while day <= last:
        turn = np.cos(2 * np.pi * (day - date(2025, 7, 15)).days / 365)
        low = float(14.0 - 9.0 * turn + rng.normal(0.0, 2.5)) + warmer_k
        nights.append(_night(day, low, float(rng.random())))
        day += timedelta(days=1)
    return ReplayResult(
        "Courtyard", len(PLANTS), 4, "usual errors of forecasts", seed, first, last,
        tuple(nights[:done]),
    )  # fmt: skip


def _night(day: date, low_c: float, luck: float) -> NightRecord:
    cold = low_c < 13.0
    missed = cold and low_c > 12.0 and luck < 0.3
    called = not cold and low_c < 14.0 and luck < 0.5
    count = len(PLANTS) if (cold and not missed) or called else 0
    exposures = (exposure(day, *PLANTS[:2], depth_k=13.0 - low_c),) if missed else ()
    record = NightRecord(
        night=day,
        lows_c={"pergola": round(low_c, 2), "wall bench": round(low_c + 1.2, 2)},
        plants_in=count,
        carried_in=count,
        carried_out=count,
        walks=2 if count else 0,
        needless_walks=int(called),
        pushes=2 if count else 1,
        corrections=int(luck < 0.03),
        needed=len(PLANTS) if cold else 0,
        covered=count if cold else 0,
        deadlines=count if cold else 0,
        needless=count if called else 0,
        needless_carried=count if called else 0,
        exposures=exposures,
        chances=(ChanceBin(int(bin_of(luck)), 4, 4 * luck, 4 * int(cold)),),
    )
    if cold and not missed:
        return replace(record, saved=NearMiss(PLANTS, "pergola", 13.0, low_c))
    if not cold:
        return replace(record, narrowest=NearMiss(PLANTS[:1], "pergola", 13.0, low_c))
    return record
