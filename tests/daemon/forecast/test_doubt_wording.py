"""Doubts in words, each kind once, and in the units of who reads them."""

import pytest

from sillward.forecast.doubt_wording import in_words, reason
from sillward.text.units import Units
from sillward.wording.voice import Voice
from sillward_rules.weather import doubt
from sillward_rules.weather.doubt import (
    DewPointAbove,
    Doubt,
    HumidityMisfit,
    Jump,
    Leap,
    NoDayAndNight,
    OutOfSeason,
    WarmerThanAnother,
)
from tests.support.core import MENDOZA

SAMPLES: list[tuple[Doubt, str]] = [
    (Jump(20.2), "it is 20 K warmer than the one before for the same hours"),
    (Jump(-19.8), "it is 20 K colder than the one before for the same hours"),
    (
        WarmerThanAnother("MET Norway", 12.4),
        "it is 12 K warmer than MET Norway's for the same hours",
    ),
    (
        OutOfSeason("nights", 59.9, 32.4),
        "it says nights no cooler than 59.9 °C, but here this season brings at most 32 °C",
    ),
    (
        OutOfSeason("hours", -62.0, -40.0),
        "it says -62.0 °C, but here this season brings at least -40 °C",
    ),
    (
        OutOfSeason("days", 32.31, 29.4),
        "it says a daily mean of 32.3 °C, but here this season brings at most 29 °C",
    ),
    (NoDayAndNight(15.0, 216, 1), "it says 15.0 °C for 216 hours on end"),
    (NoDayAndNight(12.0, 96, 6), "it repeats the same 6 hours over 96 hours"),
    (Leap(31.0), "it changes by 31 K within an hour"),
    (DewPointAbove(60), "its dew point is above the temperature in 60 hours"),
    (
        HumidityMisfit(69.0, 9.2),
        "its humidity is 69 % where its temperature and dew point make 9 %",
    ),
]

AMERICAN = Voice(MENDOZA, Units("°F", "12 h", "mph"))


@pytest.mark.parametrize(("given", "words"), SAMPLES)
def test_a_doubt_says_what_is_wrong_with_the_forecast(given: Doubt, words: str) -> None:
    assert in_words(given) == words


def test_every_kind_is_among_them() -> None:
    kinds = {
        kind for kind in vars(doubt).values() if isinstance(kind, type) and issubclass(kind, Doubt)
    }

    assert {type(given) for given, _ in SAMPLES} == kinds - {Doubt}


def test_the_first_is_reason_enough() -> None:
    assert reason([Leap(31.0), Jump(20.0)]) == "it changes by 31 K within an hour"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (Jump(20.0), "it is 36 °F warmer than the one before for the same hours"),
        (
            OutOfSeason("nights", 40.0, 30.0),
            "it says nights no cooler than 104 °F, but here this season brings at most 86 °F",
        ),
        (NoDayAndNight(15.0, 216, 1), "it says 59 °F for 216 hours on end"),
    ],
)
def test_it_is_told_in_the_growers_units(given: Doubt, words: str) -> None:
    assert AMERICAN.retold(in_words(given)) == words
