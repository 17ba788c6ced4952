"""What a proposed limit costs: one plant, replayed twice over the nights of a ledger."""

from datetime import timedelta

import pytest

from sillward.errors import SourceError
from sillward.ledger import Ledger
from sillward.replay.limit_trial import limit_trial
from sillward.service.accepted_limits import LimitChange
from sillward_rules.replay.records import NightRecord
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.sun import night_of
from tests.support.desks import DAY, SITE, a_household, local

HOUSEHOLD = a_household()
PLANT = HOUSEHOLD.collection.plants[0]
CHANGE = LimitChange("night_low", 8.0, 12.0, 8.0)


def test_a_higher_limit_carries_more() -> None:
    ledger = Ledger(":memory:")
    seen: list[NightRecord] = []
    for back in range(6, 0, -1):
        night = DAY - timedelta(days=back)
        low_at = night_of(SITE, night).end.replace(minute=0, second=0, microsecond=0)
        for lead_h in (4.0, 16.0):
            told = NightForecast(night, lead_h, 10.0, low_at, 4.0, 2.0, 0.5, 20.0)
            fetched_at = low_at - timedelta(hours=lead_h)
            ledger.nights.keep(SITE.name, "model", fetched_at, [told])

    collection, now = HOUSEHOLD.collection, local("12:00")
    before, after = limit_trial(
        ledger, HOUSEHOLD, collection, PLANT, [CHANGE], now, seen.append, processes=1
    )

    assert before.plants == after.plants == 1
    assert len(seen) == len(before.nights) + len(after.nights) > 2
    assert sum(night.carried_in for night in before.nights) == 0
    assert sum(night.carried_in for night in after.nights) >= 1


def test_without_nights_there_is_nothing_to_replay() -> None:
    with pytest.raises(SourceError, match="knows of no night"):
        limit_trial(
            Ledger(":memory:"), HOUSEHOLD, HOUSEHOLD.collection, PLANT, [CHANGE], local("12:00")
        )
