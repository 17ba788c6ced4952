"""The season outlook in the ledger: kept for the week sheet, dropped where the place changed."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.service.season_memory import SEASON_MARK, keep_season, with_season
from sillward_rules.plants.collection import Collection
from sillward_rules.remark import NightsSafe, Remark
from sillward_rules.replay.past_nights import PastNights
from sillward_rules.replay.season import SeasonOutlook, season_outlook
from sillward_rules.sheet import Round, draw_up
from tests.support.core import (
    HALL_FOLLOWS,
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    plant,
    weather,
)

NOW = datetime(2026, 11, 8, 21, tzinfo=UTC)

PLACE = collection(plant("A", night_low=13.0), plant("B", night_low=13.0))


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(IN_MEMORY)) as opened:
        yield opened


def outlook() -> SeasonOutlook:
    """Twelve years whose nights are cold from 1 April to 19 November."""
    first, days = date(2001, 1, 1), (date(2013, 1, 1) - date(2001, 1, 1)).days
    dates = [first + timedelta(days=day) for day in range(days)]
    low = np.array([[8.0 if (4, 1) <= (day.month, day.day) <= (11, 19) else 18.0] for day in dates])
    return season_outlook(PLACE, PastNights(first, ("bench",), low, low))


def told(place: Collection, ledger: Ledger, *, round_: Round = Round.WEEK) -> Remark | None:
    start = NOW.replace(hour=0) - timedelta(days=1)
    forecast = replace(weather(start, daily_curve(15, 25, 9 * 24)), fetched_at=NOW)
    sheet = with_season(draw_up(round_, place, forecast, {}, NOW), place, ledger)
    return None if sheet.outlook is None else sheet.outlook.season


def test_what_is_kept_is_told_in_its_season(ledger: Ledger) -> None:
    assert told(PLACE, ledger) is None

    assert keep_season(ledger, PLACE, outlook(), NOW) == 1

    expected = NightsSafe("bench", ("A", "B"), date(2026, 11, 20), begins=True, years=12)
    assert told(PLACE, ledger) == expected
    assert told(PLACE, ledger, round_=Round.DUSK) is None


def test_a_second_time_replaces_the_first(ledger: Ledger) -> None:
    keep_season(ledger, PLACE, outlook(), NOW)
    keep_season(ledger, PLACE, replace(outlook(), limits=()), NOW)

    assert told(PLACE, ledger) is None


@pytest.mark.parametrize(
    "changed",
    [
        collection(plant("A"), spots=(replace(OPEN_BENCH, sky_view=0.6), WARM_ROOM)),
        collection(plant("A"), site=replace(MENDOZA, latitude=-33.5)),
        collection(plant("A", night_low=12.0)),
    ],
    ids=["spot", "site", "limit"],
)
def test_another_climate_or_limit_is_not_spoken_for(ledger: Ledger, changed: Collection) -> None:
    keep_season(ledger, PLACE, outlook(), NOW)

    assert told(changed, ledger) is None


def test_what_readings_teach_does_not_make_it_another_place(ledger: Ledger) -> None:
    keep_season(ledger, PLACE, outlook(), NOW)
    read = replace(OPEN_BENCH, response=HALL_FOLLOWS)
    assert repr(read) == repr(OPEN_BENCH)

    place = collection(plant("A"), plant("B"), spots=(read, WARM_ROOM))
    assert told(place, ledger) is not None


@pytest.mark.parametrize(
    ("key", "value"),
    [("grows", [1]), ("since", [13, 45]), ("until", "x"), ("limit_c", "cold"), ("years", None)],
)
def test_a_damaged_value_is_not_told(ledger: Ledger, key: str, value: object) -> None:
    keep_season(ledger, PLACE, outlook(), NOW)
    (kept,) = json.loads(ledger.marks.all()[f"{SEASON_MARK}, {MENDOZA.name}"].text)

    ledger.marks.set(f"{SEASON_MARK}, {MENDOZA.name}", NOW, json.dumps([kept | {key: value}]))

    assert told(PLACE, ledger) is None or key == "grows"


@pytest.mark.parametrize(
    "text", ["", "{", "[1]", '[{"spot": "bench"}]', "null", '{"a": 1}', '[{"spot": ["x"]}]']
)
def test_what_cannot_be_read_is_not_told(ledger: Ledger, text: str) -> None:
    ledger.marks.set(f"{SEASON_MARK}, {MENDOZA.name}", NOW, text)

    assert told(PLACE, ledger) is None
