"""What the charts of a spot's readings show: its nights expected and read, and its correction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import NormalDist
from typing import Any, Literal, TypeAlias, get_args

import numpy as np

from sillward.charts.data.common import MAX_NAME, limit_lines
from sillward.charts.data.model import LimitLine
from sillward.errors import one_line
from sillward.text.units import SI, Units, fixed
from sillward_rules.plants.plant import Plant
from sillward_rules.readings.night_correction import CorrectionCourse
from sillward_rules.readings.night_lows import NightLow

SpotKind: TypeAlias = Literal["readings", "correction"]

SPOT_KINDS: tuple[SpotKind, ...] = get_args(SpotKind)

LAST_NIGHTS = 30
"""Nights that are shown, the last ones. Judgement: a month can be told apart on a phone."""

RANGE = 0.8
"""Share of nights that should come within the range that is drawn."""

_RANGE_SD = NormalDist().inv_cdf((1 + RANGE) / 2)


@dataclass(frozen=True, slots=True)
class ReadNight:
    """A night that was read, by the date of its evening [°C].

    expected_c: its low by the forecast before sunset and all that was known of the spot until then;
    low_c, high_c: the range about it that eight nights in ten should lie in.
    """

    night: date
    expected_c: float
    low_c: float
    high_c: float
    read_c: float


@dataclass(frozen=True, slots=True)
class ReadingsChart:
    """The last nights of a spot, as they were expected and as they were read."""

    spot: str
    title: str
    subtitle: str
    first: date
    last: date
    nights: tuple[ReadNight, ...]
    limits: tuple[LimitLine, ...]
    footer: tuple[str, ...]
    units: Units = SI
    kind: Literal["readings"] = "readings"


@dataclass(frozen=True, slots=True)
class LearnedNight:
    """A night that taught something [K].

    off_k: by how much the spot was warmer than forecast that night. level_k, sd_k: by how much it
    was known to be after it, on average over the nights before, and how sure that was.
    """

    night: date
    off_k: float
    level_k: float
    sd_k: float


@dataclass(frozen=True, slots=True)
class SuddenStep:
    """The first night after a sudden change; explained: someone has said that it is right."""

    night: date
    explained: bool


@dataclass(frozen=True, slots=True)
class CorrectionChart:
    """How the correction of a spot was learned, night by night.

    given_k: the grower's own offset as it counts on an average night [K]; None if there is none.
    """

    spot: str
    title: str
    subtitle: str
    nights: tuple[LearnedNight, ...]
    steps: tuple[SuddenStep, ...]
    given_k: float | None
    footer: tuple[str, ...]
    units: Units = SI
    kind: Literal["correction"] = "correction"


SpotChart: TypeAlias = ReadingsChart | CorrectionChart


def readings_chart(
    spot: str,
    lows: Sequence[NightLow],
    course: CorrectionCourse,
    plants: Sequence[Plant],
    made: str,
    units: Units = SI,
) -> ReadingsChart:
    """Return the last nights of a spot, expected and read; there is at least one.

    plants: those whose night limits are shown. made: when the chart is made, in words.
    """
    read_c = {low.night.toordinal(): low.low_c for low in lows}
    last = int(course.nights.day[-1])
    nights = []
    for row, day in enumerate(course.nights.day.tolist()):
        if day <= last - LAST_NIGHTS:
            continue
        half = _RANGE_SD * float(course.expected_sd_k[row])
        expected = read_c[day] - float(course.nights.error_k[row] - course.expected_k[row])
        numbers = (expected, expected - half, expected + half, read_c[day])
        nights.append(ReadNight(date.fromordinal(day), *(round(value, 2) for value in numbers)))
    within = sum(night.low_c <= night.read_c <= night.high_c for night in nights)
    first = date.fromordinal(last - LAST_NIGHTS + 1)
    return ReadingsChart(
        spot,
        title=f"{one_line(spot, MAX_NAME)}: expected and read",
        subtitle=f"Lows of {_count(len(nights))}, {_span(nights[0].night, nights[-1].night)}",
        first=first,
        last=nights[-1].night,
        nights=tuple(nights),
        limits=tuple(limit_lines("low_c", "night_low", plants)),
        footer=(
            "expected: by the forecast before sunset, and what was known of the spot then",
            f"range: 8 nights in 10; {within} of {len(nights)} came within it, triangles did not",
            made,
        ),
        units=units,
    )


def correction_chart(
    spot: str,
    given_k: float | None,
    course: CorrectionCourse,
    made: str,
    units: Units = SI,
) -> CorrectionChart:
    """Return how the correction of a spot was learned; from one night at least.

    given_k: the grower's own offset [K]. made: when the chart is made, in words.
    """
    nights = course.nights
    said_k = float(np.mean(nights.said_k))
    learned = tuple(
        LearnedNight(date.fromordinal(day), *(round(float(value), 3) for value in values))
        for day, *values in zip(
            nights.day.tolist(),
            nights.error_k + said_k,
            course.level_k + said_k,
            course.level_sd_k,
            strict=True,
        )
    )
    own = () if given_k is None else ("your offset: as it counts on an average night",)
    return CorrectionChart(
        spot,
        title=f"{one_line(spot, MAX_NAME)}: what the nights have taught",
        subtitle=_learned_now(course, units),
        nights=learned,
        steps=tuple(
            SuddenStep(date.fromordinal(step.day), step.explained) for step in course.steps
        ),
        given_k=None if given_k is None else round(said_k, 3),
        footer=("dots: single nights; band: how sure it was, 2 in 3", *own, made),
        units=units,
    )


def _learned_now(course: CorrectionCourse, units: Units) -> str:
    """Return what is known now, in words; or what is asked, if there is a question."""
    learned = course.learned
    assert learned is not None
    if learned.asks and learned.since is not None:
        return f"changed all at once on {learned.since:%d %b %Y}: was the thermometer moved?"
    size, unit = units.difference(abs(learned.total_k))
    sure, _ = units.difference(learned.sd_k)
    way = "warmer" if learned.total_k > 0 else "colder"
    return (
        f"{fixed(size, 1)} {unit} {way} than forecast, give or take {fixed(sure, 1)} {unit}; "
        f"from {_count(learned.nights)}"
    )


def _span(first: date, last: date) -> str:
    return f"{first:%d %b %Y}" if first == last else f"{first:%d %b} to {last:%d %b %Y}"


def _count(nights: int) -> str:
    return "1 night" if nights == 1 else f"{nights} nights"


# -- for the process that draws


def from_plain(plain: Mapping[str, Any]) -> SpotChart:
    """Return the chart that `codec.to_plain` wrote. Raise KeyError, TypeError or ValueError."""
    fields = dict(plain)
    fields |= {"footer": tuple(plain["footer"]), "units": Units(**plain["units"])}
    nights = [night | {"night": _date(night["night"])} for night in plain["nights"]]
    if plain["kind"] == "correction":
        fields["nights"] = tuple(LearnedNight(**night) for night in nights)
        fields["steps"] = tuple(
            SuddenStep(_date(step["night"]), step["explained"]) for step in plain["steps"]
        )
        return CorrectionChart(**fields)
    fields["nights"] = tuple(ReadNight(**night) for night in nights)
    fields |= {name: _date(plain[name]) for name in ("first", "last")}
    fields["limits"] = tuple(
        LimitLine(**limit | {"plants": tuple(limit["plants"])}) for limit in plain["limits"]
    )
    return ReadingsChart(**fields)


def _date(text: str) -> date:
    return date.fromisoformat(text)
