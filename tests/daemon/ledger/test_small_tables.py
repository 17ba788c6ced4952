"""The tables that few rows go into, in every place where a ledger may be."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from sillward.ledger import Device, Ledger
from sillward.ledger.tables.accepted_limits import AcceptedLimit
from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.ledger.tables.plant_years import Given
from sillward_rules.chore import ChoreKind
from tests.support.chores import a_chore
from tests.support.ledger_places import TWO_PLACES, place_of

NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)
DAY = date(2026, 5, 14)
SITE = "Test court"


@pytest.fixture(params=TWO_PLACES)
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    with closing(Ledger(place_of(request, tmp_path))) as opened:
        yield opened


def test_absences(ledger: Ledger) -> None:
    table, last = ledger.absences, DAY + timedelta(days=3)
    first = table.insert(SITE, DAY, last, "Luz", "Luz's phone", NOW)

    assert table.insert(SITE, DAY, last, "Luz", "Luz's phone", LATER) == first
    table.mark_briefed(first, NOW)
    assert table.covering(SITE, last) == [replace(first, briefed_at=NOW)]
    table.end(replace(first, briefed_at=NOW), LATER)
    assert table.covering(SITE, last) == []
    assert table.get(first.id) == replace(first, briefed_at=NOW, ended_at=LATER)
    second = table.insert(SITE, DAY, last, "Ana", "phone", NOW, "the key is with Ana")
    assert second.id > first.id
    table.end(second, NOW)  # she knew nothing of it
    table.prune(last + timedelta(days=1))
    assert table.of_site(SITE) == []


def test_accepted_limits(ledger: Ledger) -> None:
    limit = AcceptedLimit("Strap", "night_low", 9.5, 8.0, NOW, "Ana", "damage on 14 May")
    other = replace(limit, plant="Curls")
    ledger.accepted_limits.keep(SITE, [limit, other])
    ledger.accepted_limits.keep(SITE, [replace(limit, value=10.0)])

    assert ledger.accepted_limits.of_site(SITE) == [other, replace(limit, value=10.0)]
    assert ledger.accepted_limits.remove(SITE, "Strap") == 1
    assert ledger.accepted_limits.of_site(SITE) == [other]


def test_devices(ledger: Ledger) -> None:
    phone = Device("phone of Inés", "Inés", "https://push.example/1", "key", "auth", NOW)
    ledger.devices.write(SITE, phone)
    ledger.devices.write(SITE, replace(phone, endpoint="https://push.example/2"))

    assert not ledger.devices.mark_gone(SITE, "https://push.example/1", LATER)
    assert ledger.devices.mark_gone(SITE, "https://push.example/2", LATER)
    (known,) = ledger.devices.of_site(SITE)
    assert known.gone_at == LATER
    ledger.devices.remove(SITE, phone.name)
    assert ledger.devices.of_site(SITE) == []


def test_harmful_nights(ledger: Ledger) -> None:
    table = ledger.harmful_nights
    night = HarmfulNight("Strap", DAY, 2.1, 0.4, True, False, 8.0, NOW, given={"night_low": 8.0})
    table.note(SITE, [night])
    table.note(SITE, [replace(night, low_c=-5.0)])  # what is there stays

    assert table.unanswered(SITE, DAY) == [night]
    table.mark_asked(SITE, [night], LATER)
    answered = replace(night, asked_at=LATER, answered_at=LATER, damaged=True, person="Ana")
    table.keep(SITE, answered)
    assert table.of_plant(SITE, "Strap") == table.answered(SITE) == [answered]
    assert table.unanswered(SITE, DAY) == []
    table.remove(SITE, answered)
    assert table.of_plant(SITE, "Strap") == []


def test_coldest_nights(ledger: Ledger) -> None:
    nights = [
        ColdNight(date(2025, 7, 3), -1.25, True, 8.0, ("bench",), True),
        ColdNight(date(2026, 7, 9), 0.5, False, None, (), False),
    ]
    ledger.coldest_nights.keep(SITE, {"Strap": nights[:1]})
    ledger.coldest_nights.keep(SITE, {"Strap": nights})

    assert ledger.coldest_nights.of_plant(SITE, "Strap") == nights


def test_what_plants_were_given_is_counted_when_its_chores_are_forgotten(ledger: Ledger) -> None:
    chore = replace(a_chore(f"{DAY}-mist-bench", NOW), kind=ChoreKind.MIST)
    ledger.keep_round(SITE, "morning", DAY, NOW, notices=[], chores=[chore], states_now={})
    ledger.confirm(SITE, NOW, {chore.id: None}, {})
    plant = chore.plants[0]
    for times in (1, 2):
        ledger.plant_years.count(SITE, ledger.chores.of_day(SITE, DAY))
        assert ledger.plant_years.of_plant(SITE, plant) == [Given(2026, "mist", "", times)]
    assert [found.id for found in ledger.chores.about(SITE, plant)] == [chore.id]
    assert ledger.chores.about(SITE, plant[:-1]) == []


def test_calendar_events(ledger: Ledger) -> None:
    def versions(digest: str, at: datetime) -> tuple[int, datetime]:
        version = ledger.calendar_events.versions(SITE, {f"{DAY}-mist": digest}, at)[f"{DAY}-mist"]
        return version.sequence, version.changed_at

    assert versions("one", LATER) == (0, LATER)
    assert versions("one", LATER + timedelta(hours=1)) == (0, LATER)
    assert versions("two", NOW) == (1, LATER)  # a clock that was set back
    assert versions("three", LATER + timedelta(hours=1)) == (2, LATER + timedelta(hours=1))
    ledger.calendar_events.prune(DAY + timedelta(days=1))
    assert versions("four", NOW) == (0, NOW)
