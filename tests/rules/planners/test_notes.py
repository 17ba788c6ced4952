"""Rules that ask for a word on the sheet."""

import numpy as np
import pytest

from sillward_rules.plants.rule_reading import read_rule
from sillward_rules.remark import Note
from sillward_rules.sheet import Round, draw_up
from tests.support.core import MENDOZA, collection, fetched, plant, utc, warned, weather

START = utc("2026-01-22T00:00")
MORNING = utc("2026-01-23T10:00")


def test_a_noting_rule_is_one_remark_for_each_spot_with_its_worst_hour() -> None:
    rule, problems = read_rule(
        {"name": "hot wind", "watch": "gust", "above": "15 m/s", "hours": "day", "asks": "note"}
    )
    assert rule is not None, problems
    gust = np.full(72, 4.0)
    gust[[42, 43, 44]] = [16.0, 18.5, 17.0]  # 18:00 to 20:00 UTC on the 23rd
    household = collection(plant("a"), plant("b"), rules=[rule])
    sky = fetched(weather(START, np.full(72, 30.0), gust_m_s=gust), MORNING)

    sheet = draw_up(Round.MORNING, household, sky, {}, MORNING)

    at = utc("2026-01-23T19:00")
    assert sheet.warnings == (Note("hot wind", "bench", "gust", 18.5, "m/s", at),)
    assert warned(sheet, Note)[0].at.tzinfo is MENDOZA.zone


def test_it_is_silent_where_it_does_not_fire() -> None:
    rule, _ = read_rule({"name": "hot wind", "watch": "gust", "above": "15 m/s", "asks": "note"})
    assert rule is not None
    sky = fetched(weather(START, np.full(72, 30.0), gust_m_s=np.nan), MORNING)

    sheet = draw_up(Round.MORNING, collection(plant(), rules=[rule]), sky, {}, MORNING)

    assert sheet.warnings == ()


def test_the_lowest_value_counts_where_the_rule_looks_downwards() -> None:
    rule, _ = read_rule(
        {"name": "frost", "watch": "temperature", "below": "2 degC", "asks": "note"}
    )
    assert rule is not None
    temp = np.full(72, 1.5)
    temp[40] = -0.04  # 16:00 UTC on the 23rd
    sky = fetched(weather(START, temp), MORNING)

    sheet = draw_up(Round.MORNING, collection(plant(), rules=[rule]), sky, {}, MORNING)

    (note,) = warned(sheet, Note)
    assert (note.rule, note.quantity, note.unit) == ("frost", "temperature", "°C")
    assert note.value == pytest.approx(-0.04)
    assert note.at == utc("2026-01-23T16:00")
