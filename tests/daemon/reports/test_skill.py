"""The words of `sillward skill`: what is said of sources, and what is not."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from sillward.reports.skill import SkillReport, chart, document, text
from sillward.text.columns import Screen, width
from sillward.text.units import Units
from sillward.wording.voice import Voice
from sillward_rules.readings.skill import Comparison, LeadSkill, Skill
from sillward_rules.scores import MeanDifference
from tests.support.core import MENDOZA

NIGHTS = [date(2026, 5, 1) + timedelta(days=number) for number in range(60)]
VOICE = Voice(MENDOZA)


def row(source: str, day: int = 1, off: float = 0.0) -> LeadSkill:
    """A row whose told range has more nights in it than 80 of 100 by so much, give or take 0.1."""
    within = MeanDifference(off, off - 0.1, off + 0.1, 60)
    return LeadSkill(source, day, 60, -0.04, 1.0, 1.3, 0.7, 0.8 + off, within)


def against(other: str, mean: float, half: float = 0.2, day: int = 1) -> Comparison:
    return Comparison("First", other, day, MeanDifference(mean, mean - half, mean + half, 60))


def report(*comparisons: Comparison, off: float = 0.0) -> SkillReport:
    others = dict.fromkeys(found.other for found in comparisons)
    rows = (row("First", off=off), *(row(other) for other in others))
    keys = {"First": "first", "Second": "second"}
    return SkillReport("Yard", ["pergola"], NIGHTS, "First", keys, Skill(rows, comparisons))


def said(of: SkillReport) -> str:
    return " ".join(text(of, VOICE).split())


def test_the_better_source_is_proposed_once_and_it_is_the_best_one() -> None:
    told = said(report(against("Second", 0.4), against("Third", 0.6)))

    assert "Second: off by 0.4 °C less on the first night (by 0.2 °C to 0.6 °C, 60 nights)" in told
    assert told.count("it is better here") == 1
    assert "put it first in SILLWARD_FORECAST__SOURCE" in told, "Third is not in the settings"


def test_the_setting_keeps_the_others_behind_it() -> None:
    assert "SILLWARD_FORECAST__SOURCE=second,first" in said(report(against("Second", 0.4)))


def test_a_worse_source_is_told_and_not_proposed() -> None:
    told = said(report(against("Second", -0.4)))

    assert "Second: off by 0.4 °C more on the first night (by 0.2 °C to 0.6 °C, 60 nights)" in told
    assert "SILLWARD_FORECAST__SOURCE" not in told


def test_what_is_not_clear_is_not_said() -> None:
    told = said(report(against("Second", 0.1)))

    assert "Second: no clear difference in 60 nights; at most 0.3 °C either way" in told
    assert "better" not in told.split("source night")[0]


def test_a_later_night_alone_proposes_nothing() -> None:
    of = report(against("Second", 0.1), against("Second", 0.9, day=5))

    assert "SILLWARD_FORECAST__SOURCE" not in said(of)
    assert document(of)["better"] is None
    assert [found["clear"] for found in document(of)["compared"]] == [False, True]


@pytest.mark.parametrize(
    ("off", "words"),
    [
        (-0.2, "its stated range is too narrow: 60 nights of 100 fell within it, not 80"),
        (0.15, "its stated range is too wide: 95 nights of 100 fell within it, not 80"),
        (0.05, None),
    ],
)
def test_a_told_range_that_is_clearly_wrong_is_named(off: float, words: str | None) -> None:
    told = said(report(off=off))

    assert words is None or words in told
    assert ("stated range is too" in told) == (words is not None)


def test_without_enough_nights_of_the_source_in_use_it_says_so() -> None:
    of = report(against("Second", 0.4))
    second = [one for one in of.skill.rows if one.source == "Second"]

    told = said(replace(of, skill=Skill(tuple(second), ())))

    assert "First, in use: not enough nights yet" in told
    assert "Second: compared from 30 nights on that both have told" in told


def test_names_from_elsewhere_keep_the_page_and_the_picture_whole() -> None:
    of = replace(
        report(against("Second", 0.4)), spots=["蘭の花壇" * 20, "a\x1b[31m"], site="x" * 90
    )

    lines = text(of, VOICE, Screen(60)).splitlines()
    drawn = chart(of, Voice(MENDOZA, Units("°F")))

    assert all(width(line) <= 60 for line in lines)
    assert "\x1b" not in drawn.title + drawn.subtitle
    assert drawn.sources[1].clear == (True,)
    assert drawn.units.temperature == "°F"


def test_a_document_says_what_is_known_of_shares() -> None:
    first, *_ = document(report(off=0.15))["skill"]

    assert (first["within_80"], first["within_80_low"], first["within_80_high"]) == (0.95, 0.85, 1)
    assert first["bias_k"] == -0.04
