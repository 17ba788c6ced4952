"""The years of a plant: flowers, growth, damage, what it was given, its coldest night."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from sillward.ledger import Ledger
from sillward.ledger.ledger import KEPT_DAYS
from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.ledger.tables.plant_years import Given
from sillward.reports.plant_year_words import year_rows
from sillward.reports.plant_years import PlantYear, years_from, years_of
from sillward.service import answers
from sillward.service.plant_nights import PlantNight
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from tests.support.chores import a_chore
from tests.support.core import plant
from tests.support.desks import DAY, SITE, local

NOW = local("17:00")
STRAP = plant().name


def seen(kind: EntryKind, day: str, amount: str | None = None, text: str = "") -> DiaryEntry:
    at = datetime.fromisoformat(f"{day}T12:00").replace(tzinfo=SITE.zone)
    return DiaryEntry(STRAP, at, at, kind, text, amount=amount)


def years(*entries: DiaryEntry) -> list[PlantYear]:
    ordered = sorted(entries, key=lambda entry: entry.seen_at)
    return years_from(ordered, [], [], SITE, NOW)


FLOWER, FADED = EntryKind.FLOWER, EntryKind.FADED


@pytest.mark.parametrize(
    ("entries", "told"),
    [
        (
            [(FLOWER, "2025-02-20", "3"), (FLOWER, "2025-03-01", "2"), (FADED, "2025-04-21")],
            [("2025-02-20", "2025-04-21", 60, False, 5)],
        ),
        (
            [(FLOWER, "2025-12-20"), (FADED, "2026-01-03")],
            [("2025-12-20", "2026-01-03", 14, False, 1)],
        ),
        ([(FLOWER, "2026-05-01")], [("2026-05-01", "None", None, True, 1)]),
        ([(FLOWER, "2025-05-01")], [("2025-05-01", "None", None, False, 1)]),
        (
            [(FLOWER, "2025-02-20"), (FLOWER, "2025-09-01", "4"), (FADED, "2025-09-08")],
            [("2025-02-20", "None", None, False, 1), ("2025-09-01", "2025-09-08", 7, False, 4)],
        ),
        ([(FADED, "2025-02-20")], []),
        (
            [(FLOWER, "2026-01-01"), (FADED, "2026-01-09"), (FLOWER, "2026-01-20")],
            [("2026-01-01", "2026-01-09", 8, False, 1), ("2026-01-20", "None", None, True, 1)],
        ),
        ([(FLOWER, "2025-02-20"), (FADED, "2025-09-01")], [("2025-02-20", "None", None, False, 1)]),
    ],
)  # fmt: skip
def test_a_blooming_lasts_from_the_first_flower_to_the_note_of_its_end(
    entries: list[tuple[EntryKind, str]], told: list[object]
) -> None:
    found = [each for year in years(*(seen(*entry) for entry in entries))[::-1]
             for each in year.bloomings]  # fmt: skip
    assert [
        (str(each.first), str(each.last), each.days, each.lasts, each.flowers) for each in found
    ] == told


def test_what_was_noted_is_counted_by_the_year_of_the_site() -> None:
    night = datetime(2026, 1, 1, 1, tzinfo=SITE.zone)
    entry = DiaryEntry(STRAP, night.astimezone(), night, EntryKind.ROOT, "", amount="12")
    (last, first) = years(
        entry,
        seen(EntryKind.GROWTH, "2025-12-31"),
        seen(EntryKind.SPIKE, "2025-12-31", "some"),
        seen(EntryKind.OBSERVATION, "2019-01-01", text="x"),
    )

    assert (last.year, last.roots, last.growths) == (2026, 12, 0)
    assert (first.year, first.roots, first.growths, first.spikes) == (2025, 0, 1, 1)


def test_a_year_in_words() -> None:
    (year,) = years_from(
        [
            seen(EntryKind.GROWTH, "2026-01-05"),
            seen(EntryKind.REPOTTED, "2026-03-02", text="bark"),
            replace(seen(EntryKind.LOOK, "2026-03-03", "same"), what="leaf"),
            replace(seen(EntryKind.LOOK, "2026-03-04", "dry"), what="pot"),
            replace(seen(EntryKind.LOOK, "2026-03-05", "better"), what="leaf"),
            seen(EntryKind.DAMAGE, "2026-04-03", "some", "x" * 3000),
            seen(FLOWER, "2026-05-01", "3"),
        ],
        [Given(2026, "feed", "bloom", 1), Given(2026, "mist", "", 1203), Given(2026, "new", "", 2)],
        [ColdNight(date(2026, 4, 2), 7.96, is_read=True, limit_c=8.0, spots=("bench", "room")),
         ColdNight(date(2026, 5, 2), 9.0, is_read=False, limit_c=8.0)],
        SITE,
        NOW,
    )  # fmt: skip

    rows = dict[str, list[str]]()
    for head, words in year_rows(year, NOW, Voice(SITE)):
        rows.setdefault(head, []).append(words)
    (damage,) = rows.pop("Damage")
    assert len(damage) < 300
    assert damage.startswith("Fri 03 Apr: some; xxx")
    assert rows == {
        "Flowers": ["3 opened", "in flower since Fri 01 May"],
        "Growth": ["1 new growth"],
        "Repotted": ["Mon 02 Mar: bark"],
        "Leaf": ["Tue 03 Mar same, Thu 05 Mar better"],
        "Given": ["fed bloom once", "misted 1,203 times", "new twice"],
        "Coldest": ["7.96 °C read at bench or room, Thu 02 Apr, limit 8 °C"],
    }


def test_of_many_damages_the_last_ones_are_told() -> None:
    (year,) = years(*(seen(EntryKind.DAMAGE, f"2026-01-{day:02}") for day in range(1, 31)))

    told = [words for _, words in year_rows(year, NOW, Voice(SITE))]
    assert told[:2] == ["30 times, last:", "Sun 25 Jan"]
    assert len(told) == 7


# -- what it was given


def done(ledger: Ledger, day: date, kind: ChoreKind = ChoreKind.FEED) -> None:
    at = local("08:00", day)
    chore = a_chore(f"{day}-{kind.value}-bench", at, kind)
    ledger.keep_round(SITE.name, kind.value, day, at, notices=[], chores=[chore], states_now={})
    (stored,) = [each for each in ledger.chores.of_day(SITE.name, day) if each.id == chore.id]
    answers.confirm(ledger, SITE.name, [(stored, [STRAP])], at)


def given(ledger: Ledger) -> dict[int, list[tuple[str, int]]]:
    told = years_of(ledger, SITE, STRAP, [], NOW)
    return {year.year: [(each.kind, each.count) for each in year.given] for year in told}


def test_what_was_given_is_still_counted_when_its_chores_are_forgotten() -> None:
    ledger, past = Ledger(":memory:"), DAY - timedelta(days=KEPT_DAYS + 200)
    for day in (past, past + timedelta(days=1), DAY):
        done(ledger, day)
    done(ledger, past, ChoreKind.FLUSH)
    before = given(ledger)
    assert before == {past.year: [("feed", 2), ("flush", 1)], DAY.year: [("feed", 1)]}

    for _ in range(2):
        ledger.prune(NOW)
        assert given(ledger) == before
    assert [chore.day for chore in ledger.chores.about(SITE.name, STRAP)] == [str(DAY)]


def test_an_answer_that_was_taken_back_is_not_counted() -> None:
    ledger = Ledger(":memory:")
    done(ledger, DAY)
    answers.take_back(ledger, SITE.name, None, NOW)

    assert given(ledger) == {}


def test_the_coldest_night_is_that_which_was_read_and_goes_back_to_harmful_ones() -> None:
    ledger = Ledger(":memory:")
    harmful = HarmfulNight(STRAP, date(2024, 7, 1), 3.0, 1.0, False, True, 8.0, NOW)
    ledger.harmful_nights.note(SITE.name, [harmful])
    nights = [
        PlantNight(date(2026, 5, 3), ("bench",), True, (), 4.0, 8.0, 9.5),
        PlantNight(date(2026, 5, 2), ("bench",), True, (), 7.0, 8.0, None),
    ]

    told = years_of(ledger, SITE, STRAP, nights, NOW)
    assert [(year.year, year.coldest and year.coldest.low_c) for year in told] == [
        (2026, 7.0),
        (2024, 3.0),
    ]
