"""What a plant was given: told, confirmed, declined, and merged with what was said since."""

from dataclasses import replace
from datetime import timedelta

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import KEPT, NO_CARE, Care, Wetting
from tests.support.core import utc

NOON = utc("2026-01-14T15:00")
HOUR = timedelta(hours=1)
TOLD = Wetting(ChoreKind.FEED, NOON, due=NOON, of="orchids")
DONE = Wetting(ChoreKind.FEED, NOON - HOUR, confirmed=True, due=NOON, of="orchids")


def test_a_confirmed_watering_replaces_what_was_assumed_of_its_chore() -> None:
    assert NO_CARE.wetted(TOLD).wetted(DONE).wettings == (DONE,)


def test_two_chores_of_a_day_are_two_waterings() -> None:
    again = Wetting(ChoreKind.FEED, NOON + HOUR, due=NOON + HOUR)

    assert Care((TOLD,)).wetted(again).wettings == (TOLD, again)


def test_waterings_are_in_order_and_kept_for_some_days() -> None:
    early = Wetting(ChoreKind.MIST, NOON - HOUR, confirmed=True)
    later = Wetting(ChoreKind.MIST, NOON - HOUR + KEPT, confirmed=True)

    assert Care((TOLD,)).wetted(early).wettings == (early, TOLD)
    assert Care((early, TOLD)).wetted(later).wettings == (TOLD, later)


def test_what_lies_ahead_has_not_happened_yet() -> None:
    assert Care((TOLD,)).at(NOON - HOUR) == NO_CARE
    assert Care((TOLD,)).at(NOON) == Care((TOLD,))


def test_a_chore_that_was_not_needed_was_not_done() -> None:
    assert Care((TOLD,)).not_wetted(ChoreKind.FEED, NOON) == NO_CARE
    assert Care((DONE,)).not_wetted(ChoreKind.FEED, NOON) == Care((DONE,))


def test_what_was_not_needed_leaves_another_chore_of_the_same_hour() -> None:
    misted = Wetting(ChoreKind.MIST, NOON, due=NOON)

    assert NO_CARE.wetted(TOLD).wetted(misted).not_wetted(ChoreKind.MIST, NOON) == Care((TOLD,))


def test_a_watering_that_is_told_days_late_is_kept_until_it_has_been_counted() -> None:
    late = Wetting(ChoreKind.LEACH, NOON - KEPT, confirmed=True, due=NOON - KEPT, said_at=NOON)

    assert late in Care((late,)).wetted(replace(TOLD, at=NOON + HOUR)).wettings
