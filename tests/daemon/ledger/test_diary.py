"""The diary of a plant: kept for good, corrected and removed one by one."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.diary import ALL, DiaryEntry, EntryKind
from tests.support.ledger_files import NOW, SITE
from tests.support.ledger_places import TWO_PLACES, place_of


def seen(text: str, at: datetime = NOW, plant: str = "Strap", **more: object) -> DiaryEntry:
    kind = EntryKind.OBSERVATION
    return DiaryEntry(plant, at, NOW, **({"kind": kind, "text": text} | more))  # type: ignore[arg-type]


@pytest.fixture(params=TWO_PLACES)
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    with closing(Ledger(place_of(request, tmp_path))) as opened:
        yield opened


def texts(ledger: Ledger, plant: str = "Strap", most: int = ALL) -> list[str]:
    return [entry.text for entry in ledger.diary.of_plant(SITE, plant, most)]


def test_what_was_seen_last_comes_first_whenever_it_was_entered(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("now"), seen("earlier", NOW - timedelta(days=3))])
    ledger.diary.add(SITE, [seen("between", NOW - timedelta(days=1)), seen("at once, too")])

    assert texts(ledger) == ["at once, too", "now", "between", "earlier"]
    assert texts(ledger, most=2) == ["at once, too", "now"]


def test_plants_and_sites_have_diaries_of_their_own(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("a"), seen("b", plant="Other"), seen("c", plant="Other")])
    ledger.diary.add("Elsewhere", [seen("d")])

    assert texts(ledger) == ["a"]
    assert ledger.diary.counts(SITE) == {"Strap": 1, "Other": 2}
    (there,) = ledger.diary.of_plant("Elsewhere", "Strap")
    assert ledger.diary.entry(SITE, there.id) is None
    assert not ledger.diary.correct(SITE, replace(there, text="not mine"))
    ledger.diary.remove(SITE, there.id)
    assert texts(ledger) == ["a"]
    assert ledger.diary.counts("Elsewhere") == {"Strap": 1}


def test_an_entry_comes_back_as_it_was_written(ledger: Ledger) -> None:
    entry = seen(
        "‮Größe 蘭\n'\"<b>", NOW - timedelta(hours=5), kind=EntryKind.PHOTO, person="Ana",
        photo="a" * 32,
    )  # fmt: skip
    (written,) = ledger.diary.add(SITE, [entry])

    (found,) = ledger.diary.of_plant(SITE, "Strap")
    assert written.id == found.id
    assert found == ledger.diary.entry(SITE, found.id)
    assert found.text == entry.text
    assert (found.seen_at, found.entered_at) == (entry.seen_at, entry.entered_at)
    assert (found.person, found.kind, found.photo) == ("Ana", EntryKind.PHOTO, "a" * 32)
    assert ledger.diary.has_photo(SITE, "a" * 32)
    assert not ledger.diary.has_photo("Elsewhere", "a" * 32)
    assert not ledger.diary.has_photo(SITE, "b" * 32)


def test_an_entry_can_be_corrected_and_removed(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("wrnog"), seen("stays")])
    first = ledger.diary.of_plant(SITE, "Strap")[1]

    right = replace(
        first, seen_at=NOW - timedelta(days=1), kind=EntryKind.DAMAGE, text="right", what="spots",
        amount="some",
    )  # fmt: skip
    assert ledger.diary.correct(SITE, right)
    assert ledger.diary.entry(SITE, first.id) == right
    assert texts(ledger) == ["stays", "right"]
    ledger.diary.remove(SITE, first.id)
    assert texts(ledger) == ["stays"]
    assert ledger.diary.entry(SITE, first.id) is None


def test_moves_are_found_in_order(ledger: Ledger) -> None:
    moves = [
        seen(spot, NOW - timedelta(days=days), kind=EntryKind.MOVE)
        for spot, days in (("bench", 1), ("room", 3), ("long ago", 30))
    ]
    ledger.diary.add(SITE, [*moves, seen("a note")])

    found = ledger.diary.moves_since(SITE, "Strap", NOW - timedelta(days=10))
    assert [move.text for move in found] == ["room", "bench"]


def test_what_was_seen_is_found_by_its_kind_and_by_its_time(ledger: Ledger) -> None:
    day = timedelta(days=1)
    ledger.diary.add(
        SITE,
        [
            seen("soft", NOW - 2 * day, kind=EntryKind.DAMAGE, what="soft tissue"),
            seen("spotted", NOW - 9 * day, kind=EntryKind.DAMAGE, what="spots"),
            seen("", NOW - 5 * day, kind=EntryKind.LOOK, what="pot", amount="dry"),
            seen("", NOW - 4 * day, kind=EntryKind.LOOK, what="leaf", amount="better"),
            seen("other", NOW - 3 * day, "Other", kind=EntryKind.DAMAGE),
        ],
    )
    ledger.diary.add("Elsewhere", [seen("there", kind=EntryKind.DAMAGE)])
    diary = ledger.diary

    damage = diary.of_kind(SITE, EntryKind.DAMAGE, NOW - 9 * day)
    assert [entry.text for entry in damage] == ["spotted", "other", "soft"]
    damage = diary.of_kind(SITE, EntryKind.DAMAGE, NOW - 8 * day, "Strap")
    assert [entry.text for entry in damage] == ["soft"]
    last = diary.last_of_kind(SITE, "Strap", EntryKind.LOOK)
    assert last is not None
    assert (last.what, last.amount) == ("leaf", "better")
    last = diary.last_of_kind(SITE, "Strap", EntryKind.LOOK, "pot")
    assert last is not None
    assert last.amount == "dry"
    assert diary.last_of_kind(SITE, "Other", EntryKind.LOOK) is None
    since = diary.seen_since(SITE, NOW - 4 * day)
    assert [entry.plant for entry in since] == ["Strap", "Other", "Strap"]
    assert [entry.text for entry in diary.last_entered(SITE, 2)] == ["other", ""]


def test_it_is_kept_for_good(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("the first", NOW - timedelta(days=3650))])
    ledger.prune(NOW)

    assert texts(ledger) == ["the first"]


def test_an_entry_of_a_kind_that_is_not_known_costs_no_other(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("a"), seen("b")])
    ledger.database.execute("UPDATE diary SET kind = 'dream' WHERE text = 'a'")

    assert texts(ledger) == ["b"]


def test_what_was_noted_on_both_sides_of_a_full_disk_is_there_in_the_end(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger.open_or_in_memory(path, clock=lambda: NOW)) as daemon:
        daemon.diary.add(SITE, [seen("before"), seen("removed meanwhile")])
        daemon.to_memory()
        removed = daemon.diary.of_plant(SITE, "Strap")[0]
        daemon.diary.add(SITE, [seen("in memory")])
        daemon.diary.remove(SITE, removed.id)
        with closing(Ledger(path)) as page:
            page.diary.add(SITE, [seen("in the file"), seen("in the file, too")])
        assert daemon.to_file()

        assert sorted(texts(daemon)) == ["before", "in memory", "in the file", "in the file, too"]
        ids = [entry.id for entry in daemon.diary.of_plant(SITE, "Strap")]
        assert len(set(ids)) == 4


def test_a_diary_of_years_is_read_by_its_index() -> None:
    ledger = Ledger(":memory:")
    for query in (
        "SELECT * FROM diary WHERE site = 'a' AND plant = 'b' ORDER BY seen_at DESC, id DESC",
        "SELECT * FROM diary WHERE site = 'a' AND seen_at >= 'b' ORDER BY seen_at, id",
        "SELECT * FROM diary WHERE site = 'a' AND kind = 'b' AND seen_at >= 'c'"
        " AND (NULL IS NULL OR plant = NULL) ORDER BY seen_at, id",
        "SELECT 1 FROM diary WHERE photo = 'a' AND site = 'b'",
    ):
        plan = [row["detail"] for row in ledger.database.rows(f"EXPLAIN QUERY PLAN {query}")]
        assert plan
        assert all("USING INDEX diary_" in step for step in plan)


def test_times_are_kept_in_utc(ledger: Ledger) -> None:
    ledger.diary.add(SITE, [seen("a", datetime(2026, 5, 14, 6, 40, tzinfo=UTC))])

    (row,) = ledger.database.rows("SELECT seen_at FROM diary")
    assert row["seen_at"].startswith("2026-05-14T06:40")
