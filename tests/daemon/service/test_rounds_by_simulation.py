"""Each round once on each local date, on machines whose clocks wander, around clock changes.

In every zone by the code that decides it, in some by the whole desk. The slow set has two whole
years in 22 zones: `tests/slow/test_two_years_of_rounds.py`.
"""

import random
from datetime import UTC, date, datetime, time, timedelta

import pytest

from tests.support.round_simulation import PLANS, check, kept_by_desk, told_on
from tests.support.wandering_clock import SITES, changes, looks

FIRST, LAST = date(2026, 1, 1), date(2027, 12, 31)


@pytest.mark.parametrize("number", range(len(SITES)), ids=[site.name for site in SITES])
def test_each_round_is_told_once_on_each_date_around_a_clock_change(number: int) -> None:
    site, plan = SITES[number], list(PLANS.values())[number % len(PLANS)]
    days = changes(site.zone, FIRST, LAST) or [date(2026, 3, 29)]

    due = 0
    for change in days[:2]:
        start = datetime.combine(change - timedelta(days=4), time(0), tzinfo=UTC)
        seen, told = told_on(site, plan, start, 8, seed=number)
        due += check(site, plan, seen, told)

    assert due >= 9 * len(days[:2])


@pytest.mark.parametrize(
    ("name", "plan"),
    [("Berlin", "clock"), ("Lord_Howe", "midnight"), ("Cairo", "clock"), ("New_York", "sun")],
)
def test_the_whole_desk_tells_each_round_once_and_sends_it_once(name: str, plan: str) -> None:
    site = next(site for site in SITES if site.name == name)
    change = changes(site.zone, FIRST, LAST)[1]
    start = datetime.combine(change - timedelta(days=3), time(0), tzinfo=UTC)
    seen = list(looks(random.Random(name), start, start + timedelta(days=5), lambda _: 45.0))

    told, post = kept_by_desk(site, PLANS[plan], seen)

    assert check(site, PLANS[plan], seen, told) >= 4
    assert len(post.pushes) >= len(told)
