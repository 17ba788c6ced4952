"""What records of a replay come to."""

import json
import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules import scores
from sillward_rules.replay.records import (
    Cause,
    ChanceBin,
    Exposure,
    NearMiss,
    NightRecord,
    ReplayResult,
    Warned,
    as_json,
)
from sillward_rules.replay.summary import (
    by_month,
    differences,
    harm_by_night,
    harm_by_plant,
    narrowest,
    reliability,
    saved,
    totals,
    walks_of_month,
    worst,
)
from sillward_rules.scores import share_interval

FIRST = date(2026, 3, 30)


def exposure(
    *plants: str,
    depth_k: float = 0.3,
    cause: Cause = Cause.MISSED,
    dose: float = 0.1,
    warned: Warned = Warned.NOTHING,
) -> Exposure:
    at = datetime(2026, 3, 31, 6, tzinfo=UTC)
    return Exposure(
        cause, plants, "bench", 13.0, 13.0 - depth_k, at, 2.0, depth_k, dose, warned=warned
    )


def night(number: int = 0, *exposures: Exposure, **values: object) -> NightRecord:
    day = FIRST + timedelta(days=number)
    record = NightRecord(night=day, lows_c={"bench": 12.0}, exposures=exposures)
    return replace(record, **values)  # type: ignore[arg-type]


def result(*nights: NightRecord) -> ReplayResult:
    last = FIRST + timedelta(days=4)
    return ReplayResult("Court", 3, 2, "perfect", None, FIRST, last, nights)


def test_misses_by_depth_and_by_warning() -> None:
    found = totals(
        [
            night(0, exposure("a", "b", depth_k=0.49), exposure("c", depth_k=0.5)),
            night(1, exposure("a", depth_k=1.0, warned=Warned.CLOSE_CALL)),
            night(2, exposure("a", depth_k=3.0, cause=Cause.LATE), deadlines=4),
        ]
    )

    assert (found.misses, found.shallow, found.half_k, found.deep) == (4, 2, 1, 1)
    assert found.unwarned == 3
    assert found.late == 1
    assert found.deadline_kept == 0.75
    assert found.hours_under == 10.0
    assert found.degree_hours == pytest.approx(2 * 0.49 + 0.5 + 1.0 + 3.0)


def test_no_deadline_and_no_night_have_no_share() -> None:
    assert totals([night()]).deadline_kept is None
    assert totals([]).corrected_share is None


def test_harm_grows_while_an_earlier_dose_is_not_forgotten() -> None:
    nights = [night(0, exposure("a")), night(1, exposure("a")), night(2, exposure("b"))]

    first, second, other = harm_by_night(nights)

    assert first == other == pytest.approx(0.1)
    # Half a dose is forgotten within five nights (`cold_harm.RECOVERY_NIGHTS`).
    assert second == pytest.approx(0.1 * (1 + 0.1 * 0.5 ** (1 / 5)))
    assert harm_by_plant(nights) == pytest.approx({"a": first + second, "b": other})


def test_months_are_named_by_year_and_add_up() -> None:
    nights = [night(n, exposure("a"), walks=n, pushes=1) for n in range(5)]

    months = by_month(nights)

    assert list(months) == ["2026-03", "2026-04"]
    assert (months["2026-03"].nights, months["2026-04"].walks) == (2, 2 + 3 + 4)
    whole = totals(nights)
    assert sum(month.harm for month in months.values()) == pytest.approx(whole.harm)
    assert sum(month.misses for month in months.values()) == whole.misses == 5


def test_walks_are_averaged_over_months_that_are_wholly_there() -> None:
    first = (date(2027, 3, 1) - FIRST).days
    nights = [night(n, walks=1) for n in range(70)]  # all of April and May, 2026, part of June
    nights += [night(first + n, walks=3) for n in range(61)]  # all of March and April, 2027

    found = walks_of_month(nights)

    assert (found[3], found[4], found[5]) == (93, (30 + 90) / 2, 31)
    assert math.isnan(found[6])
    assert set(found) == set(range(1, 13))


def test_chances_are_told_by_bins_with_the_sampling_error_of_their_nights() -> None:
    lowest, third = reliability(
        [
            night(0, chances=(ChanceBin(0, 10, 0.2, 0), ChanceBin(3, 2, 0.7, 1))),
            night(1, chances=(ChanceBin(3, 1, 0.3, 1),)),
        ]
    )

    assert (lowest.at_least, lowest.below, lowest.plants, lowest.nights) == (0.0, 0.05, 10, 1)
    assert (lowest.told, lowest.came_true) == pytest.approx((0.02, 0.0))
    # one night, whatever the number of its plants: Wilson's bound is z^2 / (1 + z^2)
    assert (lowest.low, lowest.high) == pytest.approx((0.0, 1.96**2 / (1 + 1.96**2)), abs=1e-4)
    assert (third.at_least, third.below, third.plants, third.nights) == (0.25, 0.35, 3, 2)
    assert (third.told, third.came_true) == pytest.approx((1 / 3, 2 / 3))
    assert (third.low, third.high) == pytest.approx(
        [float(bound) for bound in share_interval(4 / 3, 2)]
    )
    assert reliability([night()]) == ()


def test_a_replay_has_the_table_that_its_chances_have_by_themselves() -> None:
    """One plant in each bin of a night: then plants are nights."""
    rng = np.random.default_rng(5)
    chance = rng.random(200)
    fell = rng.random(200) < chance
    nights = [
        night(0, chances=(ChanceBin(int(scores.bin_of(one)), 1, one, int(came)),))
        for one, came in zip(chance.tolist(), fell.tolist(), strict=True)
    ]

    table, found = scores.reliability(chance, fell), reliability(nights)

    for name in ("told", "came_true", "nights", "low", "high"):
        got = [getattr(line, name) for line in found]
        assert got == pytest.approx(getattr(table, name).tolist())


def test_what_was_nearly_lost() -> None:
    near, nearer = (NearMiss(("a",), "bench", 13.0, low) for low in (13.4, 13.1))
    cold = NearMiss(("b",), "bench", 13.0, 4.0)
    nights = [
        night(0, exposure("a", dose=0.2), narrowest=near),
        night(1, exposure("b", dose=0.4), narrowest=nearer, saved=cold),
        night(2),
    ]

    assert [day.day for day, _ in narrowest(nights, 5)] == [31, 30]
    assert saved(nights, 5) == [(date(2026, 3, 31), cold)]
    assert [one.plants for _, one in worst(nights, 1)] == [("b",)]


def test_two_replays_are_compared_over_the_nights_that_both_have() -> None:
    before = result(*(night(n, exposure("a"), walks=2) for n in range(5)))
    after = result(*(night(n, walks=3) for n in range(3)))

    table = {one.name: one for one in differences(before, after)}

    assert (table["nights"].before, table["nights"].after) == (3, 3)
    assert (table["walks"].change, table["misses"].change) == (3, -3)
    assert table["deadline_kept"].change is None
    assert before.complete
    assert not after.complete


def test_everything_can_be_written_as_json() -> None:
    one = night(0, exposure("a"), narrowest=NearMiss(("a",), "bench", 13.0, 13.5))
    read = json.loads(json.dumps(as_json(result(one))))

    assert read["first"] == "2026-03-30"
    assert read["complete"] is False
    assert read["nights"][0]["exposures"][0]["cause"] == "missed"
    assert read["nights"][0]["exposures"][0]["depth_k"] == pytest.approx(0.3)
    assert read["nights"][0]["narrowest"]["margin_k"] == 0.5
    assert read["nights"][0]["lows_c"] == {"bench": 12.0}
    assert json.dumps(as_json(totals([one])))


depths = st.floats(0.0, 8.0, exclude_min=True)
causes = st.sampled_from(Cause)
groups = st.lists(
    st.builds(
        lambda depth, cause, dose, plants: exposure(*plants, depth_k=depth, cause=cause, dose=dose),
        depths,
        causes,
        st.floats(0.0, 1.0),
        st.sets(st.sampled_from("abcd"), min_size=1),
    ),
    max_size=4,
)


@given(st.lists(groups, max_size=80))
def test_totals_add_up(found: list[list[Exposure]]) -> None:
    nights = [night(number, *of_night) for number, of_night in enumerate(found)]

    whole, months = totals(nights), by_month(nights).values()

    assert whole.misses == whole.shallow + whole.half_k + whole.deep
    everything = sum(one.count for record in nights for one in record.exposures)
    assert everything == (
        whole.misses + whole.late + whole.out_too_early + whole.not_done + whole.no_cover
    )
    assert sum(month.nights for month in months) == whole.nights == len(nights)
    assert sum(month.hours_under for month in months) == pytest.approx(whole.hours_under)
    assert sum(harm_by_plant(nights).values()) == pytest.approx(whole.harm)
